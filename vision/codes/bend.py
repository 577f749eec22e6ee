"""How a symbol of a sheet code is bent, by all of its modules that are the same in every symbol.

Finder, timing and alignment patterns (ISO/IEC 18004) are one picture that is known beforehand. It
is laid over the photo by a smooth map, a polynomial in x and y, so that it matches: least squares
by the picture's slope, again and again, from blurred to sharp (B. D. Lucas and T. Kanade, *An
iterative image registration technique with an application to stereo vision*, 1981), with modules
that fit badly counting less. Places are counted in modules, x/y, from the symbol's upper left.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

Grey = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float32]
Points = npt.NDArray[np.float64]

PIXELS = 8
"""Pixels to a module of a flattened symbol."""
QUIET = 6
"""Modules kept around it."""
_BLURS = ((1.4, 20), (0.9, 20), (0.6, 20), (0.4, 20), (0.25, 15))
"""Modules by which the photo is blurred, and so many steps at most."""
_FIRST = (0, 2, 4)
"""Numbers of the blurs that are begun with."""
_POWERS = (
    *((0, 0), (1, 0), (0, 1)),
    *((1, 1), (2, 0), (0, 2)),
    *((2, 1), (1, 2), (3, 0), (0, 3)),
    *((2, 2), (4, 0), (0, 4), (3, 1), (1, 3)),
)
"""Of x and y, from -1 to 1 over the symbol."""
_STIFF = np.array([0.0] * 3 + [1.0] * 3 + [3.0] * 4 + [10.0] * 5)
"""How unlikely each term is: paper bends gently. Per module of the term and known module."""
_OUTLIER, _STRIDE, _SETTLED = 0.6, 0.7, 0.01
"""Misfit that counts half; modules that a step moves at most; a step that changes nothing."""


def alignment_lines(version: int) -> tuple[int, ...]:
    """Rows and columns whose crossings hold alignment patterns, but for the finders' corners.

    They lie an even number of modules apart, as evenly as that goes, counted from the far end.
    """
    if version == 1:
        return ()
    many = version // 7 + 2
    last = 10 + 4 * version
    step = -(-(last - 6) // (2 * many - 2)) * 2
    return (6, *(last - step * k for k in range(many - 2, -1, -1)))


def pattern_places(version: int) -> Points:
    """Centres, (N, 2): the three finder patterns first."""
    far = 17 + 4 * version - 3.5
    lines = alignment_lines(version)
    corners = {(6, 6), (6, lines[-1]), (lines[-1], 6)}
    places = [(3.5, 3.5), (far, 3.5), (3.5, far)]
    places += [(x + 0.5, y + 0.5) for y in lines for x in lines if (x, y) not in corners]
    return np.array(places)


@lru_cache(maxsize=16)
def known_modules(version: int) -> tuple[Points, Points]:
    """Middles (N, 2) of the modules known beforehand, and (N,) 1 for light and -1 for dark."""
    side = 17 + 4 * version
    known = np.zeros((side, side))
    known[6] = known[:, 6] = np.where(np.arange(side) % 2, 1, -1)
    patterns = pattern_places(version).astype(int)
    at_y, at_x = np.mgrid[:side, :side]
    for rings, centres in (((-1, 1, -1), patterns[3:]), ((-1, -1, 1, -1, 1), patterns[:3])):
        for x, y in centres:
            away = np.maximum(abs(at_x - x), abs(at_y - y))
            for ring, value in enumerate(rings):
                known[away == ring] = value
    rows, columns = np.nonzero(known)
    places = np.stack([columns, rows], axis=1).astype(np.float64) + 0.5
    return places, np.asarray(known[rows, columns], np.float64)


def terms(places: Points, version: int) -> Points:
    """The polynomial's terms at places, (N, 2) to (N, 15)."""
    x, y = (2 * places / (17 + 4 * version) - 1).T
    return np.stack([x**across * y**down for across, down in _POWERS], axis=1)


def through(places: Points, shifts: Points, trust: Points, version: int) -> Points:
    """The bend, (15, 2), that moves these places about so far: (N, 2) each, ``trust`` (N,)."""
    mine = terms(places, version)
    stiff = np.diag(0.05 * _STIFF + 1e-6)
    moved = mine.T @ (shifts * trust[:, None])
    return np.asarray(np.linalg.solve(mine.T @ (mine * trust[:, None]) + stiff, moved))


def evened(flat: Grey) -> Floats:
    """The flattened symbol from -1, as dark as it gets around there, to 1, as light."""
    import cv2

    around = np.ones((5 * PIXELS, 5 * PIXELS), np.uint8)
    soft = cv2.GaussianBlur(flat, (0, 0), 0.2 * PIXELS)
    dark, light = (
        cv2.GaussianBlur(part.astype(np.float32), (0, 0), 2.0 * PIXELS)
        for part in (cv2.erode(soft, around), cv2.dilate(soft, around))
    )
    depth = np.maximum((light - dark) / 2, 6)
    return np.asarray(np.clip((soft - (dark + light) / 2) / depth, -1.2, 1.2), np.float32)


def seen_at(picture: Floats, places: Points) -> Points:
    """The picture's values, (N,), at places, (N, 2)."""
    import cv2

    at = ((places + QUIET) * PIXELS - 0.5).astype(np.float32)
    x, y = np.ascontiguousarray(at[:, :1]), np.ascontiguousarray(at[:, 1:])
    seen = cv2.remap(picture, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(seen, np.float64).reshape(-1)


def matched(evenly: Floats, version: int, bend: Points) -> tuple[Points, float]:
    """The bend, (15, 2), by which the known modules match best, and how well, at most about 1.

    ``evenly``: from :func:`evened`; ``bend``: to start from. A blurred photo leads back from far
    off, and may lead away from where a good start already is: all ways are gone, none too.
    """
    places, value = known_modules(version)
    mine = terms(places, version)
    ways = [bend, *(_descended(evenly, places, value, version, bend, k) for k in _FIRST)]
    matches = [float((seen_at(evenly, places + mine @ way) * value).mean()) for way in ways]
    best = int(np.argmax(matches))
    return ways[best], matches[best]


def _descended(
    evenly: Floats, places: Points, value: Points, version: int, bend: Points, first: int
) -> Points:
    """The bend in which the steps end that begin with blur number ``first``."""
    import cv2

    mine = terms(places, version)
    for blur, steps in _BLURS[first:]:
        picture = cv2.GaussianBlur(evenly, (0, 0), blur * PIXELS)
        slopes: Any = [
            cv2.Sobel(picture, cv2.CV_32F, *axis, ksize=3) / 8 * PIXELS for axis in ((1, 0), (0, 1))
        ]
        for _ in range(steps):
            at = places + mine @ bend
            seen = seen_at(np.asarray(picture, np.float32), at)
            gain = max(0.1, float((seen * value).mean()))
            slope = np.stack([seen_at(one, at) for one in slopes], axis=1)
            step = _step(mine, slope, gain * value - seen, bend)
            far = float(np.abs(mine @ step).max())
            bend = bend + step * min(1.0, _STRIDE / max(far, 1e-9))
            if far < _SETTLED:
                break
    return bend


def _step(mine: Points, slope: Points, off: Points, bend: Points) -> Points:
    """What to add to the bend. ``slope`` (N, 2), ``off`` (N,): what the modules should gain."""
    away = np.concatenate([mine * slope[:, :1], mine * slope[:, 1:]], axis=1)
    trust = 1 / (1 + (off / _OUTLIER) ** 2)
    stiff = np.tile(_STIFF, 2) * 2e-4 * len(off)
    now = bend.T.reshape(-1)
    whole = away.T @ (away * trust[:, None]) + np.diag(stiff + 1e-6)
    step = np.linalg.solve(whole, away.T @ (trust * off) - stiff * now)
    return np.asarray(step.reshape(2, -1).T)


def modules_of(evenly: Floats, version: int, bend: Points) -> npt.NDArray[np.bool_]:
    """Which modules are dark, (S, S)."""
    side = 17 + 4 * version
    middles = np.stack(np.meshgrid(*[np.arange(side) + 0.5] * 2), axis=-1).reshape(-1, 2)
    seen = seen_at(evenly, middles + terms(middles, version) @ bend)
    return np.asarray(seen.reshape(side, side) < 0)
