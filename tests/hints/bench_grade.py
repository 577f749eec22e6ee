"""Fit the weights of ``papernudge.hints.grade`` anew, and say how well they predict.

    python tests/hints/bench_grade.py

Prints the weights to put into ``hints/grade.py`` and Spearman's rank correlation between expected
and human minutes, each puzzle predicted by weights that were fitted without it (ten folds, ten
shuffles). Ridge regression of log minutes, weighted by the square root of the finishers.
"""

from __future__ import annotations

import csv
import os
import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from papernudge.hints import Position
from papernudge.hints.grade import SPREAD, WEIGHTS, features

Array = NDArray[np.float64]
RIDGE = 5.0


def fitted(rows: Array, minutes: Array, weight: Array) -> Array:
    """Weights of the columns; the first column is the base and not held back."""
    mean, scale = rows.mean(0), rows.std(0) + 1e-12
    mean[0], scale[0] = 0.0, 1.0
    scaled = (rows - mean) / scale
    gram = (scaled * weight[:, None]).T @ scaled
    gram[1:, 1:] += RIDGE * np.eye(rows.shape[1] - 1)
    found = np.linalg.solve(gram, (scaled * weight[:, None]).T @ minutes) / scale
    found[0] -= (found[1:] * mean[1:]).sum()
    return np.asarray(found)


def predicted(rows: Array, minutes: Array, weight: Array, seed: int, folds: int = 10) -> Array:
    """Each puzzle's log minutes by weights fitted without it."""
    order = np.random.default_rng(seed).permutation(len(rows))
    out = np.zeros(len(rows))
    for k in range(folds):
        test = order[k::folds]
        train = np.setdiff1d(order, test)
        out[test] = rows[test] @ fitted(rows[train], minutes[train], weight[train])
    return out


def spearman(a: Array, b: Array) -> float:
    def ranks(x: Array) -> Array:
        _, inverse, counts = np.unique(x, return_inverse=True, return_counts=True)
        return np.asarray((np.cumsum(counts) - (counts - 1) / 2)[inverse])

    return float(np.corrcoef(ranks(a), ranks(b))[0, 1])


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
    left = np.concatenate([minutes - o for o in out])
    print(f"puzzles {len(puzzles)}")
    print(
        f"cross-validated Spearman {np.mean(scores):.3f} "
        f"(shuffles {min(scores):.3f} to {max(scores):.3f})"
    )
    for name, column in zip(names[1:], rows.T[1:], strict=True):
        print(f"  {name} alone {spearman(column, minutes):+.3f}")
    print("weights:")
    for name, value in zip(names, fitted(rows, minutes, weight), strict=True):
        print(f'    "{name}": {value:.4f},')
    low, high = np.quantile(left, [0.1, 0.9])
    print(f"SPREAD = ({low:.3f}, {high:.3f})")
    now = rows @ np.array([WEIGHTS[name] for name in names])
    inside = ((minutes >= now + SPREAD[0]) & (minutes <= now + SPREAD[1])).mean()
    print(f"as shipped: Spearman {spearman(now, minutes):.3f}, inside the range {inside:.0%}")


if __name__ == "__main__":
    sys.exit(main())
