"""Digits in harmed cells, looked at again in several exposures.

A line, a rim of light or a veil across ink makes it look like another digit, or print look written,
and the other way round; what it does differs with how the light is evened. What all exposures
together make of a cell is right more often than any of them, and a digit on whose hand they
disagree may be of either.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.scores import Closer, Kept, Scores, looked_at
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
_FAINTEST = -14.0
"""Log-probability below which an exposure's word counts no more."""
_SURE, _FAITHFUL = 0.99, 0.8
"""Of the digits of which the first look is surer than this, the lightest channel must show such a
share as it does: coloured ink fades there."""
_TOGETHER = 1.15
"""By how much the mean of exposures is surer than one of them: of 1, 1.3 and 1.5 this asked least
in vain on 199 harmed grids, with as few wrong cells left to the other questions."""


@dataclass(frozen=True, eq=False)
class Again:
    """What several exposures say.

    ``digits``: log-probabilities (N, n + 1); ``hand``: log-odds for "handwritten" by the whole
    page, (N,); ``hands``: their least, greatest and mean, (N, 3).
    """

    digits: Floats
    hand: Floats
    hands: Floats


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


def look_again(exposure: Exposure, scores: Scores, hand: Floats, cells: Cells) -> Again:
    """What the exposures of some cells say together.

    ``scores``: of all cells as they are read; ``hand``: float64 (N,), log-odds for "handwritten"
    by the whole page. All other cells are as in these.
    """
    if not len(cells):
        return Again(scores.digits, hand, _spread([hand]))
    said = [_looked(cells_of(even), scores, cells) for even in _exposures(exposure.sheet)]
    _, (sharp, _), (light, _) = said
    digits = [scores.digits, sharp]
    if _faithful(scores.digits[cells], light[cells]):
        digits.append(light)
    else:
        said.pop()
    hands = _spread([hand, *(by for _, by in said)])
    merged, whose = scores.digits.copy(), hand.copy()
    merged[cells], whose[cells] = _merged([held[cells] for held in digits]), hands[cells, 2]
    return Again(merged, whose, hands)


def with_last_word(scores: Scores, again: Again, cells: Cells) -> Scores:
    """The scores with what exposures say of some cells; these are not looked at closer."""
    which = np.isin(np.arange(len(scores.digits)), cells)
    closer = scores.closer
    assert isinstance(closer, Closer)
    return replace(scores, digits=again.digits, closer=Kept(closer, which, again.digits))


def _spread(said: list[Floats]) -> Floats:
    """Least, greatest and mean of log-odds (N,), (N, 3)."""
    all_ = np.clip(np.stack(said), -MOST, MOST)
    return np.column_stack([all_.min(axis=0), all_.max(axis=0), all_.mean(axis=0)])


def _faithful(first: Floats, light: Floats) -> bool:
    """Whether the lightest channel shows the digits of which the first look is sure."""
    sure = first.max(axis=1) > np.log(_SURE)
    same = first.argmax(axis=1) == light.argmax(axis=1)
    return bool(not sure.any() or same[sure].mean() >= _FAITHFUL)


def _merged(looks: list[Floats]) -> Floats:
    """Log-probabilities (N, n + 1) of several looks together: their mean, a little surer.

    Where they make a blank of what the first look calls marked its own word is kept: something is
    there. So it is where all name its digit, if it is the surer.
    """
    mean = _TOGETHER * np.mean(np.maximum(looks, _FAINTEST), axis=0)
    mean -= np.logaddexp.reduce(mean, axis=1, keepdims=True)
    named = np.argmax(looks, axis=2)
    kept = (named == named[0]).all(axis=0) & (looks[0].max(axis=1) > mean.max(axis=1))
    kept |= mean.argmax(axis=1) == 0
    return np.where(kept[:, None], looks[0], mean)


def _looked(pixels: Sheet, scores: Scores, cells: Cells) -> tuple[Floats, Floats]:
    """Digits (N, n + 1) and the page's word on hands (N,), where ``cells`` are seen as in
    ``pixels``.
    """
    seen = looked_at(pixels[cells], scores)
    digits, own = scores.digits.copy(), scores.hand.copy()
    features = scores.features.copy()
    digits[cells] = of_board(seen.digits, digits.shape[1] - 1)
    own[cells], features[cells] = seen.hand, seen.features
    ink = page_evidence(ink_features(pixels), own, digits[:, 0] < np.log(0.5))
    return digits, hand_on_page(own, digits.argmax(axis=1), features, ink)
