"""Given or entry, decided on the page: one typeface printed the givens, one pen wrote the rest.

What speaks for a cell's mark being written by hand, added up by logistic regression (fitted by
``digits_model/training/fit_hand.py`` on drawn pages whose typefaces and writers the classifier
never saw): the classifier's own verdict; whether its ink is more like the page's writing or its
print, in colour, weight, height and place; and whether the page shows the same digit alike
elsewhere, in print, where one typeface makes copies, or by hand, where they are merely alike.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from papernudge.vision.patches import CELL, MARGIN, PAPER

Floats = npt.NDArray[np.float64]

FLOOR = 0.012
"""Least spread of a feature: pages with few examples would claim too much."""
WORTH = 6.0
"""Marks that the page's usual spread is worth beside those of one class."""
OUTLIER = 30.0
"""Squared distance, in spreads, from which a mark is like neither class: a blot, a ringed digit."""
ROUNDS = 4
"""Rounds of EM: the evidence hardly moves after three."""
SURE = 4.0
"""Log-odds from which a cell's own verdict counts as print where nothing is surely written."""
ENOUGH = 4
"""Examples of each class without which the page says nothing."""
MOST_INK = 12.0
"""Greatest log-odds that the ink may add or take, before its weight."""
MOST_UNLIKE = 2.0
OWN_MOST = 8.0
"""The cell's own verdict counts up to these log-odds."""
EXAMPLE = 2.5
"""Log-odds from which another cell is an example of print or of the hand."""
APART = 0.004
"""Added to the distance of two feature vectors before its logarithm is taken."""

EVIDENCE = (
    *("own", "ink", "unlike"),
    *("printed and written too", "then as print", "then as writing"),
    *("printed too", "as print"),
    *("written too", "as writing"),
)
"""What the columns of :func:`evidence` hold."""
FIRST = np.array([-1.934, 0.684, 0.371, 0.965])
"""Start, own, ink and unlike, for a first verdict that finds the examples."""
WEIGHTS = np.array([-1.564, 0.799, 0.374, 0.768, 0.016, -0.296, 1.11, 0.517, -0.356, -0.945, -1.59])
"""Start, then one for each of EVIDENCE."""


def ink_features(pixels: npt.NDArray[np.uint8]) -> Floats:
    """Colour, weight, size and place of the ink in each cell.

    ``pixels``: uint8 (N, S, S, 3) patches, blue, green, red. Returns float64 (N, 6): the ink's
    darkness in the three channels (weighted by darkness, 0–1), the share of the cell that is
    inked, the height of the ink in cells, and how far down its middle lies, in cells.
    """
    inner = slice(MARGIN + 3, MARGIN + CELL - 3)
    dark = [
        np.clip((PAPER - pixels[:, inner, inner, k].astype(np.float32)) / PAPER, 0, 1)
        for k in range(3)
    ]
    ink = np.maximum(np.maximum(dark[0], dark[1]), dark[2])
    strong = np.where(ink > 0.5 * ink.max(axis=(1, 2))[:, None, None], ink, np.float32(0))
    total = strong.sum(axis=(1, 2)) + 1e-9
    colour = [np.einsum("nij,nij->n", channel, strong) / total for channel in dark]
    mass = (strong > 0).mean(axis=(1, 2))
    rows = np.asarray((strong > 0).any(axis=2))
    height = rows.sum(axis=1) / CELL
    middle = (rows.argmax(axis=1) + rows.shape[1] - 1 - rows[:, ::-1].argmax(axis=1)) / 2 / CELL
    return np.column_stack([*colour, mass, height, middle]).astype(np.float64)


def page_evidence(features: Floats, hand: Floats, marked: npt.NDArray[np.bool_]) -> Floats:
    """What the ink says for "handwritten", float64 (N, 2), before weighing.

    ``features``: float64 (N, K); ``hand``: float64 (N,) each cell's own log-odds; ``marked``:
    bool (N,) where a digit stands. Column 0: log-odds of two Gaussians, one for the page's
    print, one for its writing, fitted to its marks by EM from the cells' own verdicts (A.
    Dempster, N. Laird and D. Rubin, 1977), so that a typeface of which the classifier makes
    little is still told from the pen by its colour. Column 1, where the page shows too little
    writing for that: how unlike its print a mark is.
    """
    found = np.zeros((len(hand), 2))
    own = np.clip(hand, -OWN_MOST, OWN_MOST)[marked]
    marks, ink = features[marked], np.zeros(int(marked.sum()))
    for _ in range(ROUNDS):
        written = 1 / (1 + np.exp(-own - ink))
        if (written < 0.3).sum() < ENOUGH:
            return found
        if (written > 0.9).sum() < ENOUGH:
            found[marked, 1] = _unlike(marks, own < -SURE)
            return found
        ink = _two_inks(marks, written)
    found[marked, 0] = ink
    return found


def _two_inks(marks: Floats, written: Floats) -> Floats:
    """Log-odds for the writing's Gaussian, (M,), of marks (M, K) written with these chances."""
    shares = [1 - written, written]
    means = [share @ marks / share.sum() for share in shares]
    usual = sum(
        share @ (marks - mean) ** 2 for share, mean in zip(shares, means, strict=True)
    ) / len(marks)
    logs = []
    for share, mean in zip(shares, means, strict=True):
        away = marks - mean
        spread = (away * share[:, None]).T @ away + WORTH * np.diag(usual)
        spread = spread / (share.sum() + WORTH) + FLOOR**2 * np.eye(len(mean))
        squares = (away @ np.linalg.inv(spread) * away).sum(axis=1)
        logs.append(-0.5 * (np.linalg.slogdet(spread)[1] + squares))
    neither = -0.5 * (np.log(usual + FLOOR**2).sum() + OUTLIER)
    odds = np.logaddexp(logs[1], neither) - np.logaddexp(logs[0], neither)
    return np.asarray(np.clip(odds, -MOST_INK, MOST_INK), np.float64)


def _unlike(marks: Floats, printed: npt.NDArray[np.bool_]) -> Floats:
    """With nothing surely written: how unlike the page's print a mark is.

    The print's Gaussian against one four times as wide around the same centre.
    """
    if printed.sum() < ENOUGH:
        return np.zeros(len(marks))
    spread = np.sqrt(marks[printed].var(axis=0) + 0.03**2)
    far = (((marks - marks[printed].mean(axis=0)) / spread) ** 2).mean(axis=1)
    wide = 4.0
    odds = 0.5 * far * (1 - 1 / wide**2) - math.log(wide)
    return np.asarray(np.clip(odds, -MOST_UNLIKE, MOST_UNLIKE), np.float64)


def evidence(
    hand: Floats, digits: npt.NDArray[np.int64], features: npt.NDArray[np.float32], ink: Floats
) -> Floats:
    """All that speaks, float64 (N, 10), in the order of EVIDENCE; see :func:`hand_on_page`."""
    own = np.clip(hand, -OWN_MOST, OWN_MOST)
    first = FIRST[0] + np.column_stack([own, ink]) @ FIRST[1:]
    length = np.linalg.norm(features, axis=1, keepdims=True)
    rows = features.astype(np.float64) / np.maximum(length, 1e-9)
    out = np.zeros((len(hand), len(EVIDENCE)))
    out[:, :3] = np.column_stack([own, ink])
    for digit in range(1, int(digits.max(initial=0)) + 1):
        same = np.flatnonzero(digits == digit)
        alike = -np.log(1 - rows[same] @ rows[same].T + APART)
        np.fill_diagonal(alike, -np.inf)
        nearest = [
            np.where(examples, alike, -np.inf).max(axis=1, initial=-np.inf)
            for examples in (first[same] < -EXAMPLE, first[same] > EXAMPLE)
        ]
        for cell, as_print, as_writing in zip(same, *nearest, strict=True):
            if np.isfinite(as_print) and np.isfinite(as_writing):
                out[cell, 3:6] = 1.0, as_print, as_writing
            elif np.isfinite(as_print):
                out[cell, 6:8] = 1.0, as_print
            elif np.isfinite(as_writing):
                out[cell, 8:10] = 1.0, as_writing
    return out


def hand_on_page(
    hand: Floats, digits: npt.NDArray[np.int64], features: npt.NDArray[np.float32], ink: Floats
) -> Floats:
    """Log-odds for "handwritten", float64 (N,), in the light of the whole page.

    ``hand``: float64 (N,) each cell's own log-odds; ``digits``: int64 (N,) the likeliest digit, 0
    blank; ``features``: float32 (N, F) behind the classifier's heads; ``ink``: float64 (N, 2)
    from :func:`page_evidence`. Blank cells keep their own verdict.
    """
    weighed = WEIGHTS[0] + evidence(hand, digits, features, ink) @ WEIGHTS[1:]
    return np.asarray(np.where(digits > 0, weighed, hand), np.float64)
