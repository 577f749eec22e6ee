"""Fit the weights of ``papernudge.hints.grade`` anew, and say how well they predict.

    python tests/hints/bench_grade.py

Prints the weights and the spread to put into ``hints/grade.py``, and Spearman's rank correlation
between expected and human minutes, each puzzle predicted by weights that were fitted without it
(ten folds, ten shuffles), with the 95 % interval over puzzles drawn with replacement. Ridge
regression of log minutes, weighted by the square root of the finishers. The ridge, too, is chosen
without the puzzles that are predicted. The range that should hold four of five puzzles is judged in
fifths of the prediction, on puzzles that neither weights nor spread have seen.
"""

from __future__ import annotations

import csv
import os
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from ranks import spearman

from papernudge.hints import Position
from papernudge.hints.grade import WEIGHTS, features, spread

Array = NDArray[np.float64]
Index = NDArray[np.int64]
RIDGES = (40.0, 80.0, 150.0, 300.0)
OUTSIDE = 0.085
"""So large a share of the puzzles of each fifth lies below the range, and above it: somewhat less
than a tenth, so that four of five hold for puzzles that were not seen."""


def fitted(rows: Array, minutes: Array, weight: Array, ridge: float) -> Array:
    """Weights of the columns; the first column is the base and not held back."""
    mean, scale = rows.mean(0), rows.std(0) + 1e-12
    mean[0], scale[0] = 0.0, 1.0
    scaled = (rows - mean) / scale
    gram = (scaled * weight[:, None]).T @ scaled
    gram[1:, 1:] += ridge * np.eye(rows.shape[1] - 1)
    found = np.linalg.solve(gram, (scaled * weight[:, None]).T @ minutes) / scale
    found[0] -= (found[1:] * mean[1:]).sum()
    return np.asarray(found)


def folds(many: int, seed: int, parts: int = 10) -> Iterator[tuple[Index, Index]]:
    """Those to fit on and those to predict, each puzzle predicted once."""
    order = np.random.default_rng(seed).permutation(many)
    for k in range(parts):
        test = order[k::parts]
        yield np.setdiff1d(order, test), test


def best_ridge(rows: Array, minutes: Array, weight: Array) -> float:
    """The ridge that predicts best what it was not fitted on."""
    errors = dict.fromkeys(RIDGES, 0.0)
    for train, test in folds(len(rows), 99):
        for ridge in RIDGES:
            found = fitted(rows[train], minutes[train], weight[train], ridge)
            errors[ridge] += float((weight[test] * (minutes[test] - rows[test] @ found) ** 2).sum())
    return min(RIDGES, key=errors.__getitem__)


def predicted(rows: Array, minutes: Array, weight: Array, seed: int) -> Array:
    """Each puzzle's log minutes by weights and a ridge that were found without it."""
    out = np.zeros(len(rows))
    for train, test in folds(len(rows), seed):
        ridge = best_ridge(rows[train], minutes[train], weight[train])
        out[test] = rows[test] @ fitted(rows[train], minutes[train], weight[train], ridge)
    return out


def knots(out: Array, left: Array) -> Array:
    """Five rows of expected log minutes and what is left over below and above: one for each fifth
    of the predictions.
    """
    fifths = np.array_split(np.argsort(out), 5)
    ends = [np.quantile(left[part], [OUTSIDE, 1 - OUTSIDE]) for part in fifths]
    return np.array([[out[part].mean(), *end] for part, end in zip(fifths, ends, strict=True)])


def covered(out: Array, left: Array, seed: int) -> Array:
    """Whether each puzzle lies in the range that the others give."""
    inside = np.zeros(len(out), bool)
    for train, test in folds(len(out), seed):
        rows = knots(out[train], left[train])
        low, high = (np.interp(out[test], rows[:, 0], rows[:, k]) for k in (1, 2))
        inside[test] = (left[test] >= low) & (left[test] <= high)
    return inside


def main() -> None:
    data = Path(os.environ.get("PAPERNUDGE_DATA", "../shared/data")) / "puzzles/human_times.csv"
    with data.open() as file:
        puzzles = list(csv.DictReader(file))
    names = list(WEIGHTS)
    found = [features(Position.of(p["puzzle"])) for p in puzzles]
    rows = np.array([[f[name] for name in names] for f in found])
    minutes = np.log([float(p["mean_seconds"]) / 60 for p in puzzles])
    weight = np.sqrt([float(p["finishers"]) for p in puzzles])
    out = [predicted(rows, minutes, weight, seed) for seed in range(10)]
    scores = [spearman(o, minutes) for o in out]
    dice = np.random.default_rng(0)
    draws = [dice.integers(0, len(rows), len(rows)) for _ in range(2000)]
    low, high = np.quantile([spearman(out[0][d], minutes[d]) for d in draws], [0.025, 0.975])
    print(f"puzzles {len(puzzles)}")
    print(
        f"cross-validated Spearman {np.mean(scores):.3f} [{low:.3f}, {high:.3f}] "
        f"(shuffles {min(scores):.3f} to {max(scores):.3f})"
    )
    for name, column in zip(names[1:], rows.T[1:], strict=True):
        print(f"  {name} alone {spearman(column, minutes):+.3f}")
    ridge = best_ridge(rows, minutes, weight)
    print(f"weights (ridge {ridge:g}):")
    for name, value in zip(names, fitted(rows, minutes, weight, ridge), strict=True):
        print(f'    "{name}": {value:.4f},')
    print("SPREAD:")
    for row in np.mean([knots(o, minutes - o) for o in out], axis=0):
        print("    (" + ", ".join(f"{value:.3f}" for value in row) + "),")
    fifths = [np.array_split(np.argsort(o), 5) for o in out]
    inside = [covered(o, minutes - o, 7 + seed) for seed, o in enumerate(out)]
    shares = [
        np.mean([i[f[k]].mean() for i, f in zip(inside, fifths, strict=True)]) for k in range(5)
    ]
    print("inside the range, by fifth: " + ", ".join(f"{share:.0%}" for share in shares))
    now = rows @ np.array([WEIGHTS[name] for name in names])
    ends = np.array([spread(value) for value in now])
    left = minutes - now
    held = ((left >= ends[:, 0]) & (left <= ends[:, 1])).mean()
    print(f"as shipped: Spearman {spearman(now, minutes):.3f}, inside the range {held:.0%}")


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        sys.exit(main())
