"""Whose hand a digit in a harmed cell is, asked of several exposures of it.

A line, a rim of light or a veil across printed ink makes it look written, and the other way round;
what it does differs with how the light is evened. A digit that looks printed in every exposure is
printed, one on which they disagree may be either.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.scores import Scores, looked_at
from papernudge.vision.even import Exposure, even_to_the_rim, without_lines
from papernudge.vision.hand import hand_on_page, ink_features, page_evidence
from papernudge.vision.patches import cells_of, even_light
from papernudge.vision.scored import of_board

Floats = npt.NDArray[np.float64]
Cells = npt.NDArray[np.int64]
Sheet = npt.NDArray[np.uint8]

MOST = 12.0
"""Log-odds beyond which an exposure's word counts no more."""
_SOFT, _CRISP = 1.6, 1.5
"""Sigma, sheet pixels, of what unsharp masking takes away, and its weight."""


def sharpened(even: Sheet) -> Sheet:
    """An evenly lit sheet, uint8 (S, S, 3), by unsharp masking."""
    import cv2

    soft = cv2.GaussianBlur(even, (0, 0), _SOFT)
    return np.asarray(cv2.addWeighted(even, 1 + _CRISP, soft, -_CRISP, 0), np.uint8)


def lightest(even: Sheet) -> Sheet:
    """An evenly lit sheet, uint8 (S, S, 3), in the channel that is lightest at each place:
    coloured marks fade.
    """
    return np.repeat(even.max(axis=2)[..., None], 3, axis=2)


def _exposures(sheet: Sheet) -> Iterator[Sheet]:
    sharp = even_to_the_rim(sheet)
    yield without_lines(sharp)[0]
    yield sharpened(even_light(sheet))
    yield lightest(sharp)


def hands(exposure: Exposure, scores: Scores, hand: Floats, cells: Cells) -> Floats:
    """What the exposures of some cells say of their hand: least, greatest and mean, (N, 3).

    ``scores``: of all cells as they are read; ``hand``: float64 (N,), log-odds for "handwritten"
    by the whole page. Where a cell is not among ``cells`` all are its own ``hand``.
    """
    said = [hand]
    if len(cells):
        said += [_hand(cells_of(even), scores, cells) for even in _exposures(exposure.sheet)]
    all_ = np.clip(np.stack(said), -MOST, MOST)
    return np.column_stack([all_.min(axis=0), all_.max(axis=0), all_.mean(axis=0)])


def _hand(pixels: Sheet, scores: Scores, cells: Cells) -> Floats:
    """The page's word on hands, (N,), where ``cells`` are seen as in ``pixels``."""
    seen = looked_at(pixels[cells], scores)
    digits, own = scores.digits.copy(), scores.hand.copy()
    features = scores.features.copy()
    digits[cells] = of_board(seen.digits, digits.shape[1] - 1)
    own[cells], features[cells] = seen.hand, seen.features
    ink = page_evidence(ink_features(pixels), own, digits[:, 0] < np.log(0.5))
    return hand_on_page(own, digits.argmax(axis=1), features, ink)
