"""Straightens the symbol of a sheet code on curled paper, so that a usual reader reads it.

A reader of QR symbols takes the symbol for flat. Its own marks say how it is bent: the three finder
patterns and the alignment patterns (ISO/IEC 18004, annex E says where they stand). They are looked
for near where a flat symbol would have them; as data may look like them by chance, the bend is
chosen that most of them agree on (random sample consensus, M. A. Fischler and R. C. Bolles, 1981;
here all samples are tried). A smooth map is laid through their shifts, each module is sampled
through it, and the symbol is drawn anew.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from itertools import combinations, product
from typing import Any

import numpy as np
import numpy.typing as npt

Grey = npt.NDArray[np.uint8]
Points = npt.NDArray[np.float64]

VERSIONS = range(2, 16)
_PIXELS = 8
"""Pixels to a module while it is straightened."""
_QUIET = 6
"""Modules kept around the symbol."""
_REACH = (6.0, 1.2)
"""How far from its place a pattern is looked for, modules: at first, and when the bend is known."""
_PEAKS = 5
"""So many places are weighed for each pattern at first."""
_ALIKE = 0.45
"""Least correlation at which a pattern counts as found."""


def straightened(grey: Grey, corners: Points) -> Iterator[Grey]:
    """The symbol drawn anew, flat and clean, for each size that it may have, likeliest first.

    ``grey``: uint8 (H, W); ``corners``: float (4, 2), x/y, top left, top right, bottom right,
    bottom left of the symbol's outermost modules, as a flat symbol would have them.
    """
    tried = []
    for version in VERSIONS:
        modules = 17 + 4 * version
        flat = _flattened(grey, corners, modules)
        if flat is None:
            return
        places = _pattern_places(version)
        if _found(flat, places[:3], np.zeros((3, 2)), _REACH[1])[1].min() < _ALIKE:
            continue
        start = _agreed(flat, places, modules)
        shifts, alike = _found(flat, places, start, _REACH[1])
        seen = alike > _ALIKE
        if seen[:3].all() and seen.sum() >= max(4, 0.5 * len(places)):
            tried.append((float(alike.mean()), modules, flat, places, shifts, alike))
    for _, modules, flat, places, shifts, alike in sorted(tried, key=lambda one: -one[0])[:2]:
        smooth = _bent(places, shifts, alike, modules, places)
        shifts, alike = _found(flat, places, smooth, _REACH[1])
        yield _sampled(flat, modules, places, shifts, alike)


def _flattened(grey: Grey, corners: Points, modules: int) -> Grey | None:
    import cv2

    side = (modules + 2 * _QUIET) * _PIXELS
    low, high = _QUIET * _PIXELS, (modules + _QUIET) * _PIXELS
    there = np.array([(low, low), (high, low), (high, high), (low, high)], np.float32)
    matrix = cv2.getPerspectiveTransform(corners.astype(np.float32), there)
    if not np.isfinite(matrix).all() or abs(np.linalg.det(matrix)) < 1e-12:
        return None
    flat = cv2.warpPerspective(
        grey, matrix, (side, side), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(flat, np.uint8)


@lru_cache(maxsize=32)
def _alignment_lines(version: int) -> tuple[int, ...]:
    """Rows and columns whose crossings hold alignment patterns, but for the finders' corners.

    They lie an even number of modules apart, as evenly as that goes, counted from the far end.
    """
    if version == 1:
        return ()
    many = version // 7 + 2
    last = 10 + 4 * version
    step = -(-(last - 6) // (2 * many - 2)) * 2
    return (6, *(last - step * k for k in range(many - 2, -1, -1)))


def _pattern_places(version: int) -> Points:
    """Centres, modules x/y: the three finder patterns first."""
    far = 17 + 4 * version - 3.5
    lines = _alignment_lines(version)
    corners = {(6, 6), (6, lines[-1]), (lines[-1], 6)}
    places = [(3.5, 3.5), (far, 3.5), (3.5, far)]
    places += [(x + 0.5, y + 0.5) for y in lines for x in lines if (x, y) not in corners]
    return np.array(places)


@lru_cache(maxsize=2)
def _pattern(finder: bool) -> npt.NDArray[np.float32]:
    """A finder with its light rim, 9 modules wide, or an alignment pattern, 5 modules wide."""
    rings = (255, 0, 255, 0, 0) if finder else (0, 255, 0)
    side = 2 * len(rings) - 1
    at = np.abs(np.arange(side) - len(rings) + 1)
    away = len(rings) - 1 - np.maximum(at[:, None], at[None, :])
    small = np.array(rings, np.float32)[away]
    return np.kron(small, np.ones((_PIXELS, _PIXELS), np.float32)).astype(np.float32)


def _likeness(flat: Grey, place: Points, finder: bool, reach: float) -> tuple[Points, Points]:
    """How like its pattern each place around looks, (H, W), and the place of its first, modules."""
    import cv2

    pattern = _pattern(finder)
    half = pattern.shape[0] / 2
    middle = (place + _QUIET) * _PIXELS
    low = np.round(middle - half - reach * _PIXELS).astype(int)
    high = low + pattern.shape[0] + int(2 * reach * _PIXELS)
    low, high = np.maximum(low, 0), np.minimum(high, flat.shape[0])
    if (high - low).min() < pattern.shape[0]:
        return np.zeros((1, 1)), place
    window = flat[low[1] : high[1], low[0] : high[0]].astype(np.float32)
    likeness = cv2.matchTemplate(window, pattern, cv2.TM_CCOEFF_NORMED)
    return np.asarray(likeness, np.float64), (low + half) / _PIXELS - _QUIET


def _found(flat: Grey, places: Points, shifts: Points, reach: float) -> tuple[Points, Points]:
    """How far off each pattern lies (modules), near where it is expected, and how like itself it
    looks.
    """
    found, alike = shifts.copy(), np.zeros(len(places))
    for k, place in enumerate(places):
        likeness, first = _likeness(flat, place + shifts[k], k < 3, reach)
        at = np.unravel_index(likeness.argmax(), likeness.shape)
        alike[k] = likeness[at]
        found[k] = first + np.array(at[::-1]) / _PIXELS - place
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
            (first + np.array([column, row]) / _PIXELS - place, float(likeness[row, column]))
        )
        around = slice(max(0, row - _PIXELS), row + _PIXELS + 1)
        likeness[around, max(0, column - _PIXELS) : column + _PIXELS + 1] = 0.0
    return found


def _bent(places: Points, shifts: Points, alike: Points, modules: int, at: Points) -> Points:
    """A smooth map through the shifts of the patterns that were found: quadratic in x and in y,
    the less of it the fewer patterns there are.
    """
    trust = np.where(alike > _ALIKE, alike, 0.0)
    mine, there = _terms(places, modules), _terms(at, modules)
    stiff = np.diag([0, 0, 0, 2e-3, 2e-3, 2e-3, 2e-2, 2e-2, 5e-2])
    share = np.linalg.solve(
        mine.T @ (mine * trust[:, None]) + stiff + 1e-9 * np.eye(9),
        mine.T @ (shifts * trust[:, None]),
    )
    return np.asarray(there @ share)


def _terms(points: Points, modules: int) -> Points:
    x, y = (2 * points / modules - 1).T
    one = np.ones_like(x)
    return np.stack([one, x, y, x * y, x * x, y * y, x * x * y, x * y * y, x * x * y * y], axis=1)


def _sampled(flat: Grey, modules: int, places: Points, shifts: Points, alike: Points) -> Grey:
    """Each module dark or light, by its middle against what is dark and light around it."""
    import cv2

    middles = np.stack(np.meshgrid(*[np.arange(modules) + 0.5] * 2), axis=-1).reshape(-1, 2)
    moved = middles + _bent(places, shifts, alike, modules, middles)
    at = ((moved + _QUIET) * _PIXELS - 0.5).astype(np.float32).reshape(modules, modules, 2)
    around = np.ones((5 * _PIXELS, 5 * _PIXELS), np.uint8)
    soft = cv2.GaussianBlur(flat, (0, 0), 0.22 * _PIXELS)
    dark, light = cv2.erode(soft, around), cv2.dilate(soft, around)
    level: Any = cv2.addWeighted(dark, 0.5, light, 0.5, 0)
    level = cv2.GaussianBlur(level, (0, 0), 2.0 * _PIXELS)
    value, middle = (
        cv2.remap(one, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        for one in (soft, level)
    )
    symbol = np.where(value < middle, 0, 255).astype(np.uint8)
    symbol = np.pad(symbol, 4, constant_values=255)
    return np.kron(symbol, np.ones((_PIXELS, _PIXELS), np.uint8))


__all__: Any = ["straightened"]
