"""Writes printed.onnx and its manifest, measured on typefaces and hands that training never saw.

    python -m papernudge.digits_model.training.sheets_ship --weights .work/sheets/weights.pt \
        --marks .work/tuned/weights.pt --log .work/sheets/log.txt \
        --photos .work/sheets-photos.npz --to vision/boards

Temperatures are fitted on pages of the split ``calibrate`` (Guo et al., "On calibration of modern
neural networks", ICML 2017), figures told of the split ``test``, and of the photos of the fold that
training left out. With ``--again`` the shipped network is measured and only its figures are written
anew.
"""

from __future__ import annotations

import argparse
import hashlib
import json
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import numpy.typing as npt
import torch

from papernudge.digits_model.files import session_of
from papernudge.digits_model.training.export import write
from papernudge.digits_model.training.measure import Rate
from papernudge.digits_model.training.pages import draw, use_pack
from papernudge.digits_model.training.sheets import unpacked
from papernudge.digits_model.training.sheets_net import SheetNet
from papernudge.digits_model.training.sheets_truth import Sheet, recipe, sheets_of, unmarked
from papernudge.digits_model.training.slim import slim
from papernudge.digits_model.training.twin import joined
from papernudge.vision.boards.printed import (
    BOARD_NAMES,
    CELL_NAMES,
    EDGE_NAMES,
    MARKS,
    Printed,
    calibrated,
    logits,
    place,
)
from papernudge.vision.boards.sheet import CELL, MARGIN, Flat

Floats = npt.NDArray[np.float64]
Parts = dict[str, tuple[Floats, npt.NDArray[np.int8]]]
"""Of each output its log-odds (N,) and what is true (N,), where known."""
DATA = (
    "drawn pages: typefaces as listed in digits_model/training/pages/fonts.json (free licences,"
    " each named there; none is shipped), own puzzles, marks and tints",
    "pen trajectories: Alpaydin & Alimoglu, Pen-Based Recognition of Handwritten Digits, UCI 1998,"
    " CC-BY-4.0",
    "photos of newspapers' grids: Wicht & Hennebert, Sudoku Dataset v2, CC-BY-4.0, two of three"
    " folds",
)
OUTPUTS = {"edges": EDGE_NAMES, "cells": CELL_NAMES, "board": BOARD_NAMES}
NAMED = MARKS[:4]
"""Marks that are told where the tuned network tells them, too."""
MOVED = 0.6
"""By how much log-odds may be off for weights of 8 bits."""


def shown(seed: int, split: str, supplies: Path | None = None) -> list[Sheet]:
    """The flat boards of the page of this seed, under meshes as finders give them."""
    import cv2

    cv2.setNumThreads(1)
    if supplies:
        use_pack(supplies)
    page = draw(recipe(seed, split))
    return [sheet for _, sheet in sheets_of(page, np.random.default_rng(seed), 0.6)]


def gathered(
    split: str, first: int, pages: int, jobs: int, supplies: Path | None = None
) -> list[Sheet]:
    """The flat boards of so many pages."""
    with ProcessPoolExecutor(jobs) as pool:
        shows = partial(shown, split=split, supplies=supplies)
        found = list(pool.map(shows, range(first, first + pages), chunksize=4))
    return [sheet for page in found for sheet in page]


def told(sheets: Iterable[Sheet], session: Any) -> list[tuple[Printed, Sheet]]:
    """What the network says of each."""
    return [(logits(Flat(sheet.pixels, sheet.paper).planes, session), sheet) for sheet in sheets]


def parts_of(said: list[tuple[Printed, Sheet]]) -> Parts:
    """All log-odds and truths, output by output, named as ``edges heavy``."""
    out: Parts = {}
    for group, names in OUTPUTS.items():
        for k, name in enumerate(names):
            odds = [np.atleast_1d(getattr(printed, group)[k]).ravel() for printed, _ in said]
            true = [np.atleast_1d(getattr(sheet, group)[k]).ravel() for _, sheet in said]
            o, t = np.concatenate(odds), np.concatenate(true)
            out[f"{group} {name}"] = (o[t >= 0], t[t >= 0])
    return out


def _loss(odds: Floats, true: npt.NDArray[np.int8]) -> float:
    return float(np.logaddexp(0, np.where(true > 0, -odds, odds)).mean())


def temperatures(parts: Parts) -> dict[str, list[float]]:
    """Those by which log-odds must be divided for the least log-loss, none below one: few pages on
    which all is right must not make surer than the network is.
    """
    grid = np.exp(np.linspace(0, np.log(4.0), 41))
    out: dict[str, list[float]] = {}
    for name, (odds, true) in parts.items():
        best = min(grid, key=lambda t: _loss(odds / t, true)) if len(true) else 1.0
        out.setdefault(name.split()[0], []).append(round(float(best), 4))
    return out


def figures(said: list[tuple[Printed, Sheet]], calibration: dict[str, list[float]]) -> Any:
    """Of each output how many there are, and how often it is missed and seen where it is not."""
    parts = parts_of([(calibrated(printed, calibration), sheet) for printed, sheet in said])
    return {"boards": len(said)} | {
        name: {
            "there": _rate(odds[true > 0] > 0),
            "not there": _rate(odds[true == 0] <= 0),
            "log_loss": round(_loss(odds, true), 5),
        }
        for name, (odds, true) in parts.items()
        if len(true)
    }


def _rate(right: npt.NDArray[np.bool_]) -> dict[str, object] | None:
    return Rate(int(right.sum()), len(right)).as_json() if len(right) else None


def table(found: dict[str, Any]) -> str:
    """The figures for reading."""
    lines = [f"{found['boards']} boards: told rightly where it is there, where it is not"]
    for name, held in found.items():
        if name == "boards":
            continue
        pair = [held["there"], held["not there"]]
        shares = "".join(f"{r['right']:>9} of {r['of']:<8}" if r else f"{'':>21}" for r in pair)
        lines.append(f"  {name:<16}{shares}  log-loss {held['log_loss']}")
    return "\n".join(lines)


def exported(weights: Path, to: Path) -> None:
    """Writes the network, its weights in 8 bits and its names short."""
    net = SheetNet()
    net.load_state_dict(torch.load(weights, map_location="cpu", weights_only=True))
    side = 9
    noise = np.random.default_rng(0).normal(0.05, 0.02, (1, 3, *2 * [side * CELL + 2 * MARGIN]))
    planes = torch.from_numpy(noise.astype(np.float32))
    for at in range(MARGIN, planes.shape[2], CELL):  # an empty board
        planes[:, :, at - 1 : at + 1] = planes[..., at - 1 : at + 1] = 0.7
    named = {"planes": planes, "place": torch.from_numpy(place(side).copy())[None]}
    outputs = ["upright", "level", "cells", "board"]
    write(net.eval(), named, outputs, to, [2, 3], MOVED, small=400)
    slim(to)


def with_marks(path: Path, marks: Path) -> None:
    """Lets marks be told that either this or another network tells, weights or an exported file,
    which was tuned from this one's: both share its look, and all else stays as it was.
    """
    with TemporaryDirectory() as folder:
        other = marks
        if marks.suffix != ".onnx":
            other = Path(folder) / "marks.onnx"
            exported(marks, other)
        named = range(len(NAMED))
        first = [names.index(NAMED[0]) for names in (CELL_NAMES, BOARD_NAMES)]
        parts = dict(zip(("cells", "board"), [(f, f + len(named)) for f in first], strict=True))
        joined(path, other, parts, path)
    slim(path)


def main() -> None:
    """Export, calibrate, measure, write the manifest."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--weights", type=Path)
    parser.add_argument("--marks", type=Path, help="what tells marks: weights of `sheets tune`")
    parser.add_argument("--again", action="store_true", help="measure what ships")
    parser.add_argument("--log", type=Path)
    parser.add_argument("--photos", type=Path, help="packed photos, whose fold 0 is told of")
    parser.add_argument("--supplies", type=Path, help="pack of typefaces and strokes")
    parser.add_argument("--pages", type=int, default=300, help="drawn pages a split")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--command", action="append", default=[], help="what made the weights")
    parser.add_argument("--to", type=Path, required=True)
    given = parser.parse_args()
    path, described = given.to / "printed.onnx", given.to / "printed.json"
    draws = partial(gathered, pages=given.pages, jobs=given.jobs, supplies=given.supplies)
    if given.again:
        manifest = json.loads(described.read_text(encoding="utf-8"))
    else:
        exported(given.weights, path)
        if given.marks:
            with_marks(path, given.marks)
        fit = told(draws("calibrate", 940_000_000), session_of(path.read_bytes()))
        manifest = {
            "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
            "bytes": path.stat().st_size,
            "input": {
                "planes": [1, 3, "P", "P"], "place": [1, 2, "S", "S"],
                "type": "float32, darkness as a share of the light paper: blue, green, red; cells"
                " on the falling and the rising diagonal",
                "cell": CELL, "margin": MARGIN, "normalisation": "papernudge.vision.boards.sheet",
            },
            "output": {
                "upright": [1, len(EDGE_NAMES), "S", "S - 1"],
                "level": [1, len(EDGE_NAMES), "S - 1", "S"],
                "cells": [1, len(CELL_NAMES), "S", "S"], "board": [1, len(BOARD_NAMES)],
                "names": OUTPUTS, "type": "log-odds",
            },
            "data": list(DATA),
            "commands": given.command,
            "training_log": given.log.read_text("utf-8").splitlines() if given.log else [],
            "calibration": temperatures(parts_of(fit)),
        }  # fmt: skip
    session = session_of(path.read_bytes())
    sets = {"drawn, split test": draws("test", 930_000_000)}
    if given.photos:
        held = [unmarked(pixels) for _, fold, pixels in unpacked(given.photos) if fold == 0]
        sets["photos, fold left out"] = held
    manifest["accuracy"] = {}
    for name, sheets in sets.items():
        found = figures(told(sheets, session), manifest["calibration"])
        manifest["accuracy"][name] = found
        print(f"{name}: {table(found)}", flush=True)
    text = json.dumps(manifest, indent=1, ensure_ascii=False) + "\n"
    described.write_text(text, encoding="utf-8")
    print(f"{path}: {manifest['bytes']} bytes, temperatures {manifest['calibration']}")


if __name__ == "__main__":
    main()
