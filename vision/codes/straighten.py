"""Straightens the symbol of a sheet code on curled paper, so that a usual reader reads it.

A reader of QR symbols takes the symbol for flat. Its own marks say how it is bent: the three finder
patterns and the alignment patterns (ISO/IEC 18004, annex E says where they stand). They are looked
for near where a flat symbol would have them; as data may look like them by chance, the bend is
chosen that most of them agree on (random sample consensus, M. A. Fischler and R. C. Bolles, 1981;
here all samples are tried). From there all modules that are known beforehand are matched
(``papernudge.vision.codes.bend``), each module is sampled, and the symbol is drawn anew.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from itertools import combinations, product

import numpy as np
import numpy.typing as npt

from papernudge.vision.codes import bend as bends
from papernudge.vision.codes.bend import PIXELS, pattern_places

Grey = npt.NDArray[np.uint8]
Points = npt.NDArray[np.float64]

VERSIONS = range(2, 16)
QUIET = 4 * PIXELS
"""Width of the quiet zone around a symbol that was drawn anew, pixels."""
_REACH = (6.0, 1.2)
"""How far from its place a pattern is looked for, modules: at first, and when the bend is known."""
_PEAKS = 5
"""So many places are weighed for each pattern at first."""
_ALIKE, _LIKELIEST = 0.35, 4
"""Least mean correlation of a symbol's patterns; so many sizes are tried at most."""
_MATCHED, _DRAWN = 0.35, 2
"""Least match of all known modules; so many symbols are drawn anew at most."""


def straightened(grey: Grey, corners: Points) -> Iterator[Grey]:
    """The symbol drawn anew, flat and clean, for each size that it may have, likeliest first.

    ``grey``: uint8 (H, W); ``corners``: float (4, 2), x/y, top left, top right, bottom right,
    bottom left of the symbol's outermost modules, as a flat symbol would have them.
    """
    likely = []
    for version in VERSIONS:
        modules = 17 + 4 * version
        flat = _flattened(grey, corners, modules)
        if flat is None:
            return
        places = pattern_places(version)
        shifts, alike = _found(flat, places, _agreed(flat, places, modules), _REACH[1])
        if alike.mean() > _ALIKE:
            start = bends.through(places, shifts, np.clip(alike - 0.3, 0, None), version)
            likely.append((float(alike.mean()), version, bends.evened(flat), start))
    tried = []
    for _, version, evenly, start in sorted(likely, key=lambda one: -one[0])[:_LIKELIEST]:
        bend, match = bends.matched(evenly, version, start)
        if match > _MATCHED:
            tried.append((match, version, evenly, bend))
    for _, version, evenly, bend in sorted(tried, key=lambda one: -one[0])[:_DRAWN]:
        yield _drawn(bends.modules_of(evenly, version, bend))


def _drawn(dark: npt.NDArray[np.bool_]) -> Grey:
    symbol = np.pad(np.where(dark, 0, 255).astype(np.uint8), QUIET // PIXELS, constant_values=255)
    return np.kron(symbol, np.ones((PIXELS, PIXELS), np.uint8))


def _flattened(grey: Grey, corners: Points, modules: int) -> Grey | None:
    import cv2

    side = (modules + 2 * bends.QUIET) * PIXELS
    low, high = bends.QUIET * PIXELS, (modules + bends.QUIET) * PIXELS
    there = np.array([(low, low), (high, low), (high, high), (low, high)], np.float32)
    matrix = cv2.getPerspectiveTransform(corners.astype(np.float32), there)
    if not np.isfinite(matrix).all() or abs(np.linalg.det(matrix)) < 1e-12:
        return None
    flat = cv2.warpPerspective(
        grey, matrix, (side, side), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(flat, np.uint8)


@lru_cache(maxsize=2)
def _pattern(finder: bool) -> npt.NDArray[np.float32]:
    """A finder with its light rim, 9 modules wide, or an alignment pattern, 5 modules wide."""
    rings = (255, 0, 255, 0, 0) if finder else (0, 255, 0)
    side = 2 * len(rings) - 1
    at = np.abs(np.arange(side) - len(rings) + 1)
    away = len(rings) - 1 - np.maximum(at[:, None], at[None, :])
    small = np.array(rings, np.float32)[away]
    return np.kron(small, np.ones((PIXELS, PIXELS), np.float32)).astype(np.float32)


def _likeness(flat: Grey, place: Points, finder: bool, reach: float) -> tuple[Points, Points]:
    """How like its pattern each place around looks, (H, W), and the place of its first, modules."""
    import cv2

    pattern = _pattern(finder)
    half = pattern.shape[0] / 2
    middle = (place + bends.QUIET) * PIXELS
    low = np.round(middle - half - reach * PIXELS).astype(int)
    high = low + pattern.shape[0] + int(2 * reach * PIXELS)
    low, high = np.maximum(low, 0), np.minimum(high, flat.shape[0])
    if (high - low).min() < pattern.shape[0]:
        return np.zeros((1, 1)), place
    window = flat[low[1] : high[1], low[0] : high[0]].astype(np.float32)
    likeness = cv2.matchTemplate(window, pattern, cv2.TM_CCOEFF_NORMED)
    return np.asarray(likeness, np.float64), (low + half) / PIXELS - bends.QUIET


def _found(flat: Grey, places: Points, shifts: Points, reach: float) -> tuple[Points, Points]:
    """How far off each pattern lies (modules), near where it is expected, and how like itself it
    looks.
    """
    found, alike = shifts.copy(), np.zeros(len(places))
    for k, place in enumerate(places):
        likeness, first = _likeness(flat, place + shifts[k], k < 3, reach)
        at = np.unravel_index(likeness.argmax(), likeness.shape)
        alike[k] = likeness[at]
        found[k] = first + np.array(at[::-1]) / PIXELS - place
    return found, alike


def _agreed(flat: Grey, places: Points, modules: int) -> Points:
    """The shifts, (N, 2), of the simplest bend that most patterns agree on: one that leaves the
    finders where they are, bulges along x and along y, and moves the fourth corner.
    """
    peaks = [_peaks(flat, place) for place in places[3:]]
    x, y = ((2 * places - modules) / (modules - 7)).T
    terms = np.stack([1 - x * x, 1 - y * y, (1 + x) * (1 + y) / 4], axis=1)
    shifts = np.zeros((len(places), 2))
    if len(peaks) < 3:  # just the fourth corner is known
        shifts[3:] = [here[0][0] for here in peaks]
        return shifts
    chosen = _spread_out(places[3:], modules)
    peak_shifts = np.array([[shift for shift, _ in here] for here in peaks])
    peak_alike = np.array([[alike for _, alike in here] for here in peaks])
    picks = np.array(list(product(range(_PEAKS), repeat=3)))
    best = -1.0
    for three in combinations(chosen, 3):
        base = terms[3:][list(three)]
        if abs(np.linalg.det(base)) < 1e-3:
            continue
        sampled = peak_shifts[np.array(three), picks]  # (picks, 3, 2)
        bends = terms[3:] @ (np.linalg.inv(base) @ sampled)  # (picks, patterns, 2)
        away = ((bends[:, :, None] - peak_shifts) ** 2).sum(axis=3)
        worth = (peak_alike * np.exp(-2 * away)).max(axis=2).sum(axis=1)
        if worth.max() > best:
            best = float(worth.max())
            shifts = np.vstack([np.zeros((3, 2)), bends[worth.argmax()]])
    return shifts


def _spread_out(places: Points, modules: int) -> list[int]:
    """At most six patterns that stand as differently as may be."""
    middle = np.full(2, modules / 2)
    order = np.argsort(((places - middle) ** 2).sum(axis=1))
    return [int(k) for k in (*order[:1], *order[-5:])]


def _peaks(flat: Grey, place: Points) -> list[tuple[Points, float]]:
    """Shifts at which an alignment pattern may lie, likeliest first, and how like itself it looks
    there.
    """
    likeness, first = _likeness(flat, place, False, _REACH[0])
    found = []
    for _ in range(_PEAKS):
        row, column = np.unravel_index(likeness.argmax(), likeness.shape)
        found.append(
            (first + np.array([column, row]) / PIXELS - place, float(likeness[row, column]))
        )
        around = slice(max(0, row - PIXELS), row + PIXELS + 1)
        likeness[around, max(0, column - PIXELS) : column + PIXELS + 1] = 0.0
    return found
