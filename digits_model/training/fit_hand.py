"""Fits how a page's evidence adds up to "handwritten": the weights in ``papernudge.vision.hand``.

    python -m papernudge.digits_model.training.fit_hand --pages 300

Pages of the preset newspaper, filled from a little to wholly, of the split "calibrate" (typefaces
and writers that the classifier never saw) are fitted; as many of the split "test" are reported:
mean log-loss of the cell's own verdict and of the weighted evidence.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.scores import score
from papernudge.digits_model.training.drawn import label_rows, moved
from papernudge.digits_model.training.labels import HAND
from papernudge.digits_model.training.pages import draw, preset
from papernudge.vision.hand import (
    BOTH,
    ONLY_PRINTED,
    ONLY_WRITTEN,
    Weights,
    evidence_of,
    ink_features,
    page_evidence,
)
from papernudge.vision.patches import cut_patches

Floats = npt.NDArray[np.float64]
NAMES = {id(BOTH): "BOTH", id(ONLY_PRINTED): "ONLY_PRINTED", id(ONLY_WRITTEN): "ONLY_WRITTEN"}
FILL = (0.75, 0.4, 1.0, 0.15)


def rows_of(split: str, first: int, pages: int) -> Iterator[tuple[str, list[float], bool]]:
    """Which weights apply, the evidence, and whether a hand wrote it, for cells of drawn pages."""
    for k in range(pages):
        page = draw(preset("newspaper", first + k, split=split, fill=FILL[k % 4], grids=1))
        for grid in page.truth.grids:
            if grid.kind != "puzzle":
                continue
            pixels = cut_patches(page.image, moved(grid, np.random.default_rng(k))).pixels
            said = score(pixels)
            digits = said.digits.argmax(axis=1)
            ink = page_evidence(ink_features(pixels), said.hand, digits > 0)
            length = np.linalg.norm(said.features, axis=1, keepdims=True)
            rows = said.features.astype(np.float64) / np.maximum(length, 1e-9)
            truth = label_rows(grid)[:, HAND]
            for cell in np.flatnonzero((digits > 0) & (truth >= 0)):
                weights, evidence = evidence_of(int(cell), said.hand, digits, rows, ink)
                if weights is not None:
                    yield NAMES[id(weights)], list(evidence), bool(truth[cell])


def fitted(evidence: Floats, written: npt.NDArray[np.bool_]) -> Weights:
    """Logistic regression with a slight pull towards zero."""
    from sklearn.linear_model import LogisticRegression

    used = np.ptp(evidence, axis=0) > 0
    model = LogisticRegression(C=3.0, max_iter=1000).fit(evidence[:, used], written)
    slopes = np.zeros(4)
    slopes[used] = model.coef_[0]
    return Weights(round(float(model.intercept_[0]), 3), *(round(float(w), 3) for w in slopes))


def log_loss(odds: Floats, written: npt.NDArray[np.bool_]) -> float:
    """Mean log-loss of log-odds, nats."""
    return float(np.logaddexp(0, -np.where(written, 1, -1) * odds).mean())


def main() -> None:
    """Print the weights and how well they do."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pages", type=int, default=300)
    given = parser.parse_args()
    fit = list(rows_of("calibrate", 52_000_000, given.pages))
    report = list(rows_of("test", 70_000_000, given.pages))
    for name in NAMES.values():
        evidence = np.array([e for n, e, _ in fit if n == name])
        written = np.array([w for n, _, w in fit if n == name])
        if len(written) < 50 or written.all() or not written.any():
            print(f"{name}: too few cells")
            continue
        weights = fitted(evidence, written)
        slopes = [weights.own, weights.like_print, weights.like_hand, weights.ink]
        test = np.array([e for n, e, _ in report if n == name]).reshape(-1, 4)
        truth = np.array([w for n, _, w in report if n == name], np.bool_)
        now = weights.start + test @ np.array(slopes)
        own = log_loss(test[:, 0], truth) if len(truth) else math.nan
        print(f"{name} = {weights}")
        print(f"  fitted on {len(written)}; on {len(truth)} others log-loss {own:.4f} by the cell")
        print(f"  alone, {log_loss(now, truth) if len(truth) else math.nan:.4f} by the page")


if __name__ == "__main__":
    main()
