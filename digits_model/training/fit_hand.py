"""Fits how a page's evidence adds up to "handwritten": the weights in ``papernudge.vision.hand``.

    python -m papernudge.digits_model.training.fit_hand --pages 300

Pages of the preset newspaper, filled from not at all to wholly, of the split "calibrate" (typefaces
and writers that the classifier never saw) are fitted; as many of the split "test" are reported:
mean log-loss of the cell's own verdict, of the first one and of all evidence weighed.
"""

from __future__ import annotations

import argparse

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.scores import score
from papernudge.digits_model.training.drawn import label_rows, moved
from papernudge.digits_model.training.labels import HAND
from papernudge.digits_model.training.pages import draw, preset
from papernudge.vision import hand
from papernudge.vision.patches import cut_patches

Floats = npt.NDArray[np.float64]
FILL = (0.75, 0.4, 1.0, 0.15, 0.06, 0.6, 0.25, 0.0)
PULL = 0.3
"""Inverse strength of the pull of all weights towards zero."""


Grid = tuple[Floats, npt.NDArray[np.int64], npt.NDArray[np.float32], Floats, npt.NDArray[np.int8]]


def grids_of(split: str, first: int, pages: int) -> list[Grid]:
    """Of every drawn puzzle the 81 cells' log-odds, digits, features, ink and true hand."""
    found: list[Grid] = []
    for k in range(pages):
        page = draw(preset("newspaper", first + k, split=split, fill=FILL[k % 8], grids=1))
        for grid in page.truth.grids:
            if grid.kind != "puzzle":
                continue
            pixels = cut_patches(page.image, moved(grid, np.random.default_rng(k))).pixels
            said = score(pixels)
            digits = said.digits.argmax(axis=1)
            ink = hand.page_evidence(hand.ink_features(pixels), said.hand, digits > 0)
            found.append((said.hand, digits, said.features, ink, label_rows(grid)[:, HAND]))
    return found


def rows_of(grids: list[Grid]) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """The evidence of all marked cells whose hand is known, (N, 10), and who wrote them, (N,)."""
    rows, written = [], []
    for odds, digits, features, ink, truth in grids:
        known = (digits > 0) & (truth >= 0)
        rows.append(hand.evidence(odds, digits, features, ink)[known])
        written.append(truth[known] > 0)
    return np.concatenate(rows), np.concatenate(written)


def fitted(evidence: Floats, written: npt.NDArray[np.bool_]) -> Floats:
    """Logistic regression: start and slopes."""
    from sklearn.linear_model import LogisticRegression

    model = LogisticRegression(C=PULL, max_iter=3000).fit(evidence, written)
    return np.concatenate([model.intercept_, model.coef_[0]]).round(3)


def told(weights: Floats, evidence: Floats, written: npt.NDArray[np.bool_]) -> str:
    """How good the log-odds are: mean log-loss in nats, and errors."""
    odds = weights[0] + evidence @ weights[1:]
    loss = np.logaddexp(0, -np.where(written, 1, -1) * odds).mean()
    return f"log-loss {loss:.4f}, {((odds > 0) != written).sum()} wrong of {len(written)}"


def main() -> None:
    """Print the weights and how well they do."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pages", type=int, default=300)
    given = parser.parse_args()
    fit = grids_of("calibrate", 52_000_000, given.pages)
    report = grids_of("test", 70_000_000, given.pages)
    # The first verdict finds the examples that the rest of the evidence is made of.
    evidence, written = rows_of(fit)
    hand.FIRST = fitted(evidence[:, :3], written)
    weights = fitted(*rows_of(fit))
    print(f"FIRST = np.array({hand.FIRST.tolist()})")
    print(f"WEIGHTS = np.array({weights.tolist()})")
    evidence, written = rows_of(report)
    print("on others, by the cell alone:", told(np.array([0.0, 1.0]), evidence[:, :1], written))
    print("  first verdict:", told(hand.FIRST, evidence[:, :3], written))
    print("  all evidence: ", told(weights, evidence, written))


if __name__ == "__main__":
    main()
