"""Given or entry, decided on the page: one typeface printed the givens, one pen wrote the rest."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from papernudge.vision.patches import CELL, MARGIN, PAPER

Floats = npt.NDArray[np.float64]

FLOOR = 0.03
"""Least spread of a feature: pages with few examples would claim too much."""
SURE = 4.0
"""Log-odds from which a cell's own verdict counts as an example of its class."""
ENOUGH = 4
"""Examples of each class without which the page says nothing."""
MOST = 5.0
"""Greatest log-odds that likeness on the page may add or take."""


def ink_features(pixels: npt.NDArray[np.uint8]) -> Floats:
    """Colour, weight and size of the ink in each cell.

    ``pixels``: uint8 (N, S, S, 3) patches, blue, green, red. Returns float64 (N, 5): the ink's
    darkness in the three channels (weighted by darkness, 0–1), the share of the cell that is
    inked, and the height of the ink in cells.
    """
    inner = slice(MARGIN + 3, MARGIN + CELL - 3)
    dark = np.clip((PAPER - pixels[:, inner, inner].astype(np.float64)) / PAPER, 0, 1)
    ink = dark.max(axis=3)
    strong = np.where(ink > 0.5 * ink.max(axis=(1, 2), keepdims=True), ink, 0.0)
    total = strong.sum(axis=(1, 2)) + 1e-9
    colour = (dark * strong[..., None]).sum(axis=(1, 2)) / total[:, None]
    mass = (strong > 0).mean(axis=(1, 2))
    rows = (strong > 0).any(axis=2)
    height = rows.sum(axis=1) / CELL
    return np.column_stack([colour, mass, height])


def page_evidence(features: Floats, hand: Floats, marked: npt.NDArray[np.bool_]) -> Floats:
    """Log-odds for "handwritten" from likeness to the page's own sure cells.

    ``features``: float64 (N, K); ``hand``: float64 (N,) each cell's own log-odds; ``marked``:
    bool (N,) where a digit stands. Two Gaussians with a shared diagonal spread, fitted to the
    cells that are sure by themselves (linear discriminant analysis: R. A. Fisher, 1936). Zero
    where the page shows too little print.
    """
    printed = marked & (hand < -SURE)
    written = marked & (hand > SURE)
    if printed.sum() < ENOUGH:
        return np.zeros(len(hand))
    if written.sum() < ENOUGH:
        return _unlike(features, printed)
    centre_p, centre_w = features[printed].mean(axis=0), features[written].mean(axis=0)
    spread = np.sqrt(
        0.5 * (features[printed].var(axis=0) + features[written].var(axis=0)) + FLOOR**2
    )
    near_p = (((features - centre_p) / spread) ** 2).sum(axis=1)
    near_w = (((features - centre_w) / spread) ** 2).sum(axis=1)
    return np.asarray(np.clip(0.25 * (near_p - near_w), -MOST, MOST), np.float64)


def _unlike(features: Floats, printed: npt.NDArray[np.bool_]) -> Floats:
    """With nothing surely written: how unlike the page's print a mark is.

    The print's Gaussian against one four times as wide around the same centre.
    """
    spread = np.sqrt(features[printed].var(axis=0) + FLOOR**2)
    far = (((features - features[printed].mean(axis=0)) / spread) ** 2).mean(axis=1)
    wide = 4.0
    return np.asarray(
        np.clip(0.5 * far * (1 - 1 / wide**2) - math.log(wide), -MOST, MOST), np.float64
    )


@dataclass(frozen=True)
class Weights:
    """How the evidence adds up to log-odds for "handwritten"; see :func:`hand_on_page`."""

    start: float
    own: float
    like_print: float
    like_hand: float
    ink: float


# Logistic regression on drawn pages whose typefaces and writers the classifier never saw, printed
# by digits_model/training/fit_hand.py. One set for each of: the digit stands elsewhere on the
# page surely printed and surely written; only printed; only written.
BOTH = Weights(-1.619, 1.023, -0.71, 1.683, 0.77)
ONLY_PRINTED = Weights(0.243, 1.249, 0.028, 0.0, 1.225)
ONLY_WRITTEN = Weights(-1.475, 0.692, 0.0, -0.345, 0.955)
EXAMPLE = 2.5
"""Log-odds from which another cell is an example of print or of the hand."""
OWN_MOST = 8.0
"""The cell's own verdict counts up to these log-odds, as in the fit."""
APART = 0.004
"""Added to the distance of two feature vectors before its logarithm is taken."""


def likeness(features: Floats, cell: int, examples: npt.NDArray[np.int64]) -> float:
    """-log of the cosine distance to the nearest example; greater is more alike.

    ``features``: float64 (N, F), rows of length 1.
    """
    return float(-np.log(1 - (features[examples] @ features[cell]).max() + APART))


def evidence_of(
    cell: int, hand: Floats, digits: npt.NDArray[np.int64], features: Floats, ink: Floats
) -> tuple[Weights | None, tuple[float, float, float, float]]:
    """What the page says of one cell: own verdict, likeness to print and to the hand, ink.

    Printed digits of one typeface are copies of each other; a hand's are merely alike. The weights
    that apply come first, None where no cell of the page surely holds the same digit.
    """
    same = np.flatnonzero(digits == digits[cell])
    same = same[same != cell]
    printed, written = same[hand[same] < -EXAMPLE], same[hand[same] > EXAMPLE]
    as_print = likeness(features, cell, printed) if len(printed) else 0.0
    as_hand = likeness(features, cell, written) if len(written) else 0.0
    weights = {
        (True, True): BOTH,
        (True, False): ONLY_PRINTED,
        (False, True): ONLY_WRITTEN,
    }.get((len(printed) > 0, len(written) > 0))
    own = float(np.clip(hand[cell], -OWN_MOST, OWN_MOST))
    return weights, (own, as_print, as_hand, float(ink[cell]))


def hand_on_page(
    hand: Floats, digits: npt.NDArray[np.int64], features: npt.NDArray[np.float32], ink: Floats
) -> Floats:
    """Log-odds for "handwritten", float64 (N,), in the light of the whole page.

    ``hand``: float64 (N,) each cell's own log-odds; ``digits``: int64 (N,) the likeliest digit, 0
    blank; ``features``: float32 (N, F) behind the classifier's heads; ``ink``: float64 (N,)
    from :func:`page_evidence`. Cells that nothing on the page compares with keep their own
    verdict and the ink's.
    """
    length = np.linalg.norm(features, axis=1, keepdims=True)
    rows = features.astype(np.float64) / np.maximum(length, 1e-9)
    found = hand + ink
    for cell in np.flatnonzero(digits > 0):
        weights, (own, as_print, as_hand, inked) = evidence_of(int(cell), hand, digits, rows, ink)
        if weights is not None:
            found[cell] = (
                weights.start
                + weights.own * own
                + weights.like_print * as_print
                + weights.like_hand * as_hand
                + weights.ink * inked
            )
    return found
