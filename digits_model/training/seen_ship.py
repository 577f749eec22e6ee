"""Writes seen.onnx and its manifest, measured on pages and photos that training never saw.

    python -m papernudge.digits_model.training.seen_ship --weights .work/seen/weights.pt \
        --log .work/seen/log.txt --data ../shared/data --to digits_model

Temperatures are fitted on drawn pages of the split ``calibrate`` (Guo et al., "On calibration of
modern neural networks", ICML 2017), figures told of the split ``test`` and of photos of the
fold of puzzles that was left out; both hold every kind of harm, those left out of training too.
"""

from __future__ import annotations

import argparse
import hashlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import torch

from papernudge.digits_model.files import session_of
from papernudge.digits_model.seen import CELL, MARGIN, NAMES, SIDE, logits
from papernudge.digits_model.training import seen_truth
from papernudge.digits_model.training.drawn import LEAST, label_rows, recipe
from papernudge.digits_model.training.export import write
from papernudge.digits_model.training.labels import DIGIT
from papernudge.digits_model.training.measure import Rate
from papernudge.digits_model.training.pages import draw
from papernudge.digits_model.training.pages.harms import KINDS, harms
from papernudge.digits_model.training.real import photos, puzzle_key
from papernudge.digits_model.training.seen import UNSEEN
from papernudge.digits_model.training.seen_net import SeenNet
from papernudge.digits_model.training.seen_truth import (
    CROSSED,
    LAID,
    LEFT_OUT,
    SEEN,
    TRUSTED,
    Sample,
)

Floats = npt.NDArray[np.float64]
Held = tuple[npt.NDArray[np.uint8], npt.NDArray[np.int8], list[str]]
"""Sheets, truth and the kind of harm of each."""
DATA = (
    "drawn pages: this project's page maker (glyphs of Debian font packages under their own free"
    " licences; pen trajectories of Alpaydin & Alimoglu, CC-BY-4.0)",
    "photos: Wicht & Hennebert, Sudoku Dataset v2, CC-BY-4.0, without the puzzles of fold 0",
    "harms: this project's own",
)


def drawn(split: str, first: int, pages: int) -> Iterator[tuple[Sample, str]]:
    """Samples of drawn pages: each as it is, and once for each of a few kinds in turn."""
    kinds = list(KINDS)
    for seed in range(first, first + pages):
        page = draw(recipe(seed, split))
        whole = [g for g in page.truth.grids if g.kind in ("puzzle", "full") and g.cell_px >= LEAST]
        for grid in whole[:1]:
            assert grid.crossings is not None
            digits = label_rows(grid)[:, DIGIT].astype(np.int64)
            image, crossings = seen_truth.cropped(page.image, grid.crossings)
            rng = np.random.default_rng([seed, 47])
            for kind in ("none", *(kinds[(4 * seed + k) % len(kinds)] for k in range(4))):
                which = [] if kind == "none" else [(kind, float(rng.uniform(0.5, 5.5)))]
                harmed = harms(image, crossings, which, int(rng.integers(1 << 40)))
                yield seen_truth.sample(harmed, digits, rng, None, True), kind


def real(data: Path, each: int) -> Iterator[tuple[Sample, str]]:
    """Samples of every ``each``-th photo of the fold left out, as it is and with some kinds."""
    kinds, looks = list(KINDS), seen_truth.unseen_looks(LEFT_OUT)
    fold_of = json.loads(UNSEEN.read_text())["folds"]
    every = [p for p in photos(data / "photos") if p.path.parent.name != "highres"]
    held = [p for p in every if fold_of.get(puzzle_key(p.puzzle)) == LEFT_OUT]
    for at, photo in enumerate(held[::each]):
        mesh = photo.mesh()
        if mesh is None:
            continue
        digits = np.array([0 if char == "." else int(char) for char in photo.digits], np.int64)
        image, crossings = seen_truth.cropped(photo.raster(), mesh.crossings)
        rng = np.random.default_rng([at, 53])
        for kind in ("none", *(kinds[(4 * at + k) % len(kinds)] for k in range(4))):
            which = [] if kind == "none" else [(kind, float(rng.uniform(0.5, 5.5)))]
            harmed = harms(image, crossings, which, int(rng.integers(1 << 40)))
            yield seen_truth.sample(harmed, digits, rng, looks, True), kind


def gathered(parts: Iterator[tuple[Sample, str]]) -> Held:
    """All samples side by side."""
    sheets, truth, kinds = [], [], []
    for (sheet, rows), kind in parts:
        sheets.append(sheet)
        truth.append(rows)
        kinds.append(kind)
    return np.stack(sheets), np.stack(truth), kinds


def wanted(truth: npt.NDArray[np.int8]) -> dict[str, tuple[npt.NDArray[Any], npt.NDArray[Any]]]:
    """For each of NAMES what is true and whether it is clear: bool (N, 81) each."""
    seen, crossed, laid, trusted = (truth[..., k] for k in (SEEN, CROSSED, LAID, TRUSTED))
    known = seen >= 0
    return {
        "seen": (seen >= 50, known & ((seen < 40) | (seen >= 60))),
        "whole": (seen >= 95, known & ((seen < 92) | (seen >= 98))),
        "crossed": (crossed >= 1, known & ((crossed == 0) | (crossed >= 2))),
        "laid": (laid >= 50, known & (seen < 50) & ((laid < 30) | (laid > 70))),
        "trusted": (trusted == 1, trusted >= 0),
    }


def temperature(found: Floats, true: npt.NDArray[Any]) -> float:
    """The one by which log-odds must be divided for the least log-loss."""
    grid = np.exp(np.linspace(np.log(0.5), np.log(4.0), 61))
    sign = np.where(true, 1.0, -1.0)
    losses = [np.logaddexp(0, -sign * found / t).mean() for t in grid]
    return round(float(grid[int(np.argmin(losses))]), 4)


def figures(found: Floats, held: Held, calibration: dict[str, Any]) -> dict[str, Any]:
    """By name: of what is so, how much is told so at one half; of what is not; and log-loss."""
    out: dict[str, Any] = {}
    for k, (name, (true, clear)) in enumerate(wanted(held[1]).items()):
        odds = found[..., k] / calibration[name]["temperature"]
        sign = np.where(true, 1.0, -1.0)
        out[name] = {"log_loss": round(float(np.logaddexp(0, -sign * odds)[clear].mean()), 5)}
        for so in (True, False):
            asked = clear & (true == so)
            right = int(((odds > 0) == so)[asked].sum())
            out[name]["told so" if so else "told not so"] = Rate(right, int(asked.sum())).as_json()
    bare = np.array([kind == "none" for kind in held[2]])
    odds = found[bare][..., 0] / calibration["seen"]["temperature"]
    out["unharmed cells told unseen"] = {"count": int((odds < 0).sum()), "of": int(odds.size)}
    return out


def main() -> None:
    """Export, fit, measure, write."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--weights", type=Path, required=True)
    parser.add_argument("--log", type=Path)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--pages", type=int, default=60, help="drawn pages a split")
    parser.add_argument("--each", type=int, default=2, help="every so many-th photo")
    parser.add_argument("--command", action="append", default=[], help="what made the weights")
    parser.add_argument("--to", type=Path, required=True)
    given = parser.parse_args()
    net = SeenNet()
    net.load_state_dict(torch.load(given.weights, map_location="cpu", weights_only=True))
    net.eval()
    fitted = gathered(drawn("calibrate", 910_000_000, given.pages))
    sheets = torch.from_numpy(fitted[0][:3].transpose(0, 3, 1, 2).astype(np.float32))
    path = given.to / "seen.onnx"
    write(net, {"sheets": sheets}, ["cells"], path, [0], 0.1)
    session = session_of(path.read_bytes())
    found = logits(fitted[0], session)
    calibration = {
        name: {"temperature": temperature(found[..., k][clear], true[clear])}
        for k, (name, (true, clear)) in enumerate(wanted(fitted[1]).items())
    }
    sets = {
        "drawn": gathered(drawn("test", 920_000_000, given.pages)),
        "photos of fold 0": gathered(real(given.data, given.each)),
    }
    told = {
        name: figures(logits(held[0], session), held, calibration) for name, held in sets.items()
    }
    manifest = {
        "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
        "bytes": path.stat().st_size,
        "input": {
            "name": "sheets", "shape": ["grids", 3, SIDE, SIDE],
            "type": "float32, 0–255, blue, green, red, as photographed",
            "cell": CELL, "margin": MARGIN, "normalisation": "inside the network",
        },
        "output": {"cells": ["grids", 81, len(NAMES)], "names": list(NAMES), "type": "log-odds"},
        "data": list(DATA),
        "commands": given.command,
        "training_log": given.log.read_text().splitlines() if given.log else [],
        "calibration": calibration,
        "accuracy": told,
        "untaught": list(seen_truth.UNTAUGHT),
    }  # fmt: skip
    (given.to / "seen.json").write_text(json.dumps(manifest, indent=1, ensure_ascii=False) + "\n")
    print(
        json.dumps(
            {"calibration": calibration, "accuracy": told, "bytes": manifest["bytes"]}, indent=1
        )
    )


if __name__ == "__main__":
    main()
