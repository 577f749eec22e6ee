"""Readers that never saw a puzzle, and how far their chances are to be believed."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

from papernudge.digits_model.scores import Looks, score
from papernudge.digits_model.training.real import puzzle_key

UNSEEN = Path(__file__).resolve().parents[2] / "digits_model" / "training" / "unseen"


def log_loss(chances: list[tuple[float, bool]]) -> float:
    """Mean of −log of the chance given to what was true, nats."""
    if not chances:
        return math.nan
    return float(np.mean([-math.log(max(1e-12, c if ok else 1 - c)) for c, ok in chances]))


def scorers(folder: Path | None) -> Callable[[str], Callable]:
    """A scorer for each puzzle: the shipped model, or the fold's that never saw it."""
    if folder is None:
        return lambda _puzzle: score
    table = json.loads((folder / "folds.json").read_text())
    looks = [Looks.held(folder, f"fold{k}", f"fold{k}-closer") for k in range(table["count"])]

    def of(puzzle: str) -> Callable:
        fold = table["folds"].get(puzzle_key(puzzle))
        if fold is None:  # no model has seen it: the shipped one will do
            return score
        return partial(score, looks=looks[fold])

    return of
