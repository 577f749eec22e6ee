"""Where a square code may be: the marks in three of its corners, found by their proportions.

A row of pixels through the middle of such a mark is dark, light, dark, light and dark again for 1,
1, 3, 1 and 1 modules, and so is a column (ISO/IEC 18004). Looking for that in all rows and columns
at once takes a tenth of what a reader of such codes takes, so a reader is shown first, and longest,
what holds marks.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Points = npt.NDArray[np.float64]

_SIDES = (2400, 1200)
"""Longest side of the picture at which marks are looked for, pixels."""
_DARKER = 10
"""Grey levels by which ink is darker than what is around it."""
_AROUND = 61
"""Side of what counts as around, pixels."""
_ONE, _THREE = (0.4, 1.9), (1.9, 4.4)
"""Widths of a run of one module and of three, in modules, when a seventh of all five is one."""
_LEAST, _MOST = 8, 240
"""Width of a whole mark, pixels."""
_LEAST_AROUND = 16
"""Length of an outline, pixels, below which it counts for no box: views are enlarged."""
_BUSY = 0.3
"""Share of pixels at which ink begins or ends, along a row, above which a picture is noise."""


def marks_in(grey: Any) -> Points:
    """Middles of what looks like a mark, (N, 2), x/y. ``grey``: uint8 (H, W)."""
    import cv2

    found = [np.zeros((0, 2))]
    for side in _SIDES:
        scale = min(1.0, side / max(grey.shape))
        if side != _SIDES[0] and scale == 1.0:
            continue
        small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        ink = _ink(small)
        if not is_busy(ink):
            found.append(_crossed(ink) / scale)
    return np.concatenate(found)


def boxes_in(grey: Any) -> int:
    """About how many outlines of some size have four corners, of which a look at some hundred
    tells. ``grey``: uint8 (H, W).
    """
    import cv2

    scale = min(1.0, _SIDES[0] / max(grey.shape))
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    outlines, _ = cv2.findContours(_ink(small), cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)
    some = outlines[:: max(1, len(outlines) // 500)]
    return sum(map(_is_box, some)) * len(outlines) // max(1, len(some))


def _is_box(outline: Any) -> bool:
    import cv2

    around = cv2.arcLength(outline, True)
    return around >= _LEAST_AROUND and len(cv2.approxPolyDP(outline, 0.05 * around, True)) == 4


def _ink(grey: Any) -> Any:
    import cv2

    return cv2.adaptiveThreshold(
        grey, 1, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY_INV, _AROUND, _DARKER
    )


def is_noise(grey: Any) -> bool:
    """Whether a picture is nothing but specks, on which a reader of codes takes minutes."""
    return is_busy(_ink(grey))


def is_busy(ink: Any) -> bool:
    """The same of a picture of 0 and 1."""
    return bool((ink[:, 1:] != ink[:, :-1]).mean() > _BUSY)


def _crossed(ink: Any) -> Points:
    """Where a row and a column agree, pixels of this picture."""
    across, down = _along_rows(ink), _along_rows(np.ascontiguousarray(ink.T))[:, [1, 0, 2]]
    if not len(across) or not len(down):
        return np.zeros((0, 2))
    cell = 4
    seen: dict[tuple[int, int], list[int]] = {}
    for k, (x, y, _) in enumerate(down):
        seen.setdefault((int(x) // cell, int(y) // cell), []).append(k)
    found = []
    for x, y, wide in across:
        near = (
            k
            for i in (-1, 0, 1)
            for j in (-1, 0, 1)
            for k in seen.get((int(x) // cell + i, int(y) // cell + j), ())
        )
        if any(
            abs(down[k, 0] - x) + abs(down[k, 1] - y) < 1 + wide / 5
            and 0.3 < down[k, 2] / wide < 3.3
            for k in near
        ):
            found.append((x, y))
    return np.array(found, np.float64).reshape(-1, 2)


def _along_rows(ink: Any) -> Points:
    """Middle x, y and width of all marks that rows show, (N, 3)."""
    high, wide = ink.shape
    padded = np.zeros((high, wide + 2), np.uint8)
    padded[:, 1:-1] = ink
    steps = np.flatnonzero(padded.reshape(-1)[1:] != padded.reshape(-1)[:-1]) + 1
    if len(steps) < 6:
        return np.zeros((0, 3))
    six = np.lib.stride_tricks.sliding_window_view(steps, 6)[::2]  # from where ink begins
    runs = np.diff(six, axis=1).astype(np.float64)
    whole = runs.sum(axis=1)
    share = runs / whole[:, None] * 7
    fits = (
        (whole >= _LEAST) & (whole <= _MOST) & (six[:, 0] // (wide + 2) == six[:, 5] // (wide + 2))
    )
    for k, (low, top) in enumerate((_ONE, _ONE, _THREE, _ONE, _ONE)):
        fits &= (share[:, k] > low) & (share[:, k] < top)
    rows = six[fits]
    middle = (rows[:, 2] + rows[:, 3]) / 2
    y, x = np.divmod(middle, wide + 2)
    return np.stack([x - 1, y, whole[fits]], axis=1)
