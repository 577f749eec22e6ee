"""Given or entry, decided on the page: one typeface printed the givens, one pen wrote the rest."""

from __future__ import annotations

import math

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
