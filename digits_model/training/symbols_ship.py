"""Writes symbols.onnx and its manifest, measured on typefaces and hands that training never saw.

    python -m papernudge.digits_model.training.symbols_ship --weights .work/symbols/weights.pt \
        --log .work/symbols/log.txt --to digits_model

Temperatures are fitted on pages of the split ``calibrate`` (Guo et al., "On calibration of modern
neural networks", ICML 2017), figures told of the split ``test``: other typefaces, other writers,
other puzzles than those of training. All cells of those pages count, as often as they stand there.
With ``--again`` the shipped network is measured and only its figures are written anew.
"""

from __future__ import annotations

import argparse
import hashlib
import json
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import torch

from papernudge.digits_model.files import session_of
from papernudge.digits_model.symbols import NAMES, OUTPUTS, Symbols, calibrated, logits
from papernudge.digits_model.tensors import CELL, MARGIN, PAPER, SIDE
from papernudge.digits_model.training.export import write
from papernudge.digits_model.training.measure import Rate
from papernudge.digits_model.training.symbols import Cells, gathered
from papernudge.digits_model.training.symbols_net import SymbolsNet

Floats = npt.NDArray[np.float64]
DATA = (
    "drawn pages: typefaces as listed in digits_model/training/pages/fonts.json (free licences,"
    " each named there; none is shipped), own puzzles",
    "pen trajectories: Alpaydin & Alimoglu, Pen-Based Recognition of Handwritten Digits, UCI 1998,"
    " CC-BY-4.0; they hold no noughts: those of a handwritten 10 are this project's own",
)
UNTAUGHT = ("handwritten letters: there were none to learn from, none were drawn",)
_BINS = 10


def temperature(found: Floats, true: npt.NDArray[Any]) -> float:
    """The one by which logits (N, K) of classes (N,) must be divided for the least log-loss."""
    grid = np.exp(np.linspace(np.log(0.5), np.log(4.0), 61))
    losses = []
    for t in grid:
        logs = found / t - np.logaddexp.reduce(found / t, axis=1, keepdims=True)
        losses.append(-logs[np.arange(len(true)), true].mean())
    return round(float(grid[int(np.argmin(losses))]), 4)


def fitted(found: Floats, rows: npt.NDArray[np.int8]) -> dict[str, float]:
    """The temperatures of both outputs."""
    known = rows[:, 1] >= 0
    odds = found[known, len(NAMES)]
    return {
        "signs": temperature(found[:, : len(NAMES)], rows[:, 0].astype(np.int64)),
        "hand": temperature(
            np.stack([np.zeros_like(odds), odds], axis=1), rows[known, 1].astype(np.int64)
        ),
    }


def figures(said: Symbols, rows: npt.NDArray[np.int8]) -> dict[str, Any]:
    """What is told of a set of cells."""
    true = rows[:, 0].astype(np.int64)
    best, chance = said.signs.argmax(axis=1), np.exp(said.signs.max(axis=1))
    right = best == true
    known = rows[:, 1] >= 0
    sets = {"all": np.ones(len(true), np.bool_), "blank": true == 0}
    for k, kind in enumerate(("printed", "by hand")):
        sets[f"1 to 9, {kind}"] = (rows[:, 1] == k) & (true < 10) & (true > 0)
        sets[f"10 to 16, {kind}"] = (rows[:, 1] == k) & (true >= 10) & (true < 17)
    sets["letters, printed"] = true >= 17
    hand = (said.hand > 0)[known] == (rows[known, 1] == 1)
    return {
        "cells": len(true),
        "sets": {name: _rate(right[part]) for name, part in sets.items() if part.any()},
        "classes": {
            name: _rate(right[true == k]) for k, name in enumerate(NAMES) if (true == k).any()
        },
        "hand": _rate(hand),
        "log_loss": round(float(-said.signs[np.arange(len(true)), true].mean()), 4),
        "calibration_error": round(_off(chance, right), 4),
        "asked_below_0.95": {
            "share": round(float((chance < 0.95).mean()), 4),
            "wrong_among_the_rest": int((~right & (chance >= 0.95)).sum()),
            "of": int((chance >= 0.95).sum()),
        },
    }


def _rate(right: npt.NDArray[np.bool_]) -> dict[str, object]:
    return Rate(int(right.sum()), len(right)).as_json()


def _off(chance: Floats, right: npt.NDArray[np.bool_]) -> float:
    """Expected calibration error: chances against shares of right ones, in bins of equal size."""
    order = np.argsort(chance, kind="stable")
    parts = np.array_split(order, _BINS)
    off = sum(len(p) * abs(float(chance[p].mean() - right[p].mean())) for p in parts if len(p))
    return float(off / len(chance))


def table(told: dict[str, Any]) -> str:
    """The figures for reading."""
    lines = [f"{told['cells']} cells of typefaces and writers held out"]
    for name, rate in {**told["sets"], "hand or print": told["hand"]}.items():
        low, high = rate["interval95"]
        share = f"{rate['right']:6} of {rate['of']:6}  {rate['right'] / rate['of']:.4f}"
        lines.append(f"{name:22}{share}  ({low:.4f} to {high:.4f})")
    each = [f"{name} {rate['right'] / rate['of']:.3f}" for name, rate in told["classes"].items()]
    lines += ["  " + "  ".join(each[start : start + 8]) for start in range(0, len(each), 8)]
    asked = told["asked_below_0.95"]
    lines.append(
        f"log-loss {told['log_loss']}, calibration error {told['calibration_error']}; below 0.95:"
        f" {asked['share']}, wrong among the rest: {asked['wrong_among_the_rest']} of {asked['of']}"
    )
    return "\n".join(lines)


def _exported(weights: Path, cells: Cells, to: Path) -> None:
    net = SymbolsNet()
    net.load_state_dict(torch.load(weights, map_location="cpu", weights_only=True))
    planes = torch.from_numpy(cells[0][:64].transpose(0, 3, 1, 2).astype(np.float32))
    write(net.eval(), {"patches": planes}, ["signs"], to, [0], 0.1)


def main() -> None:
    """Export, calibrate, measure, write the manifest."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--weights", type=Path)
    parser.add_argument("--again", action="store_true", help="measure what ships")
    parser.add_argument("--log", type=Path)
    parser.add_argument("--pages", type=int, default=60, help="drawn pages a split")
    parser.add_argument("--command", action="append", default=[], help="what made the weights")
    parser.add_argument("--to", type=Path, required=True)
    given = parser.parse_args()
    path, described = given.to / "symbols.onnx", given.to / "symbols.json"
    held = gathered("test", 930_000_000, given.pages, every=True)
    if given.again:
        manifest = json.loads(described.read_text(encoding="utf-8"))
        calibration = manifest["calibration"]
    else:
        fit = gathered("calibrate", 940_000_000, given.pages, every=True)
        _exported(given.weights, fit, path)
        calibration = fitted(logits(fit[0], session_of(path.read_bytes())), fit[1])
        manifest = {
            "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
            "bytes": path.stat().st_size,
            "input": {
                "name": "patches", "shape": ["cells", 3, SIDE, SIDE],
                "type": f"float32, 0–255, blue, green, red, paper at {PAPER}",
                "cell": CELL, "margin": MARGIN, "normalisation": "inside the network",
            },
            "output": {
                "signs": ["cells", OUTPUTS],
                "names": [*NAMES, "handwritten"],
                "type": "logits: softmax over the names but the last, which is a log-odds",
            },
            "data": list(DATA),
            "untaught": list(UNTAUGHT),
            "commands": given.command,
            "training_log": given.log.read_text("utf-8").splitlines() if given.log else [],
            "calibration": calibration,
        }  # fmt: skip
    said = calibrated(logits(held[0], session_of(path.read_bytes())), calibration)
    manifest["accuracy"] = {"drawn, split test": figures(said, held[1])}
    text = json.dumps(manifest, indent=1, ensure_ascii=False) + "\n"
    described.write_text(text, encoding="utf-8")
    print(table(manifest["accuracy"]["drawn, split test"]))
    print(f"{path}: {manifest['bytes']} bytes, temperatures {calibration}")


if __name__ == "__main__":
    main()
