"""Small drawn pages with exactly known crossings, for the tests of finding and flattening."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

Points = npt.NDArray[np.float64]
UNIT = 60
"""Pixels of a cell on the flat drawing."""
RIM = 90
"""Paper around the grid on the flat drawing, pixels."""


def drawing(
    size: int = 9,
    block: int = 3,
    thin: int = 3,
    thick: int = 7,
    filled: float = 0.4,
    seed: int = 0,
    extra: Callable[[npt.NDArray[np.uint8]], None] | None = None,
) -> npt.NDArray[np.uint8]:
    """A grid drawn flat: uint8 (S, S), its line middles RIM + k·UNIT pixels from the edge.

    ``thin`` and ``thick``: line widths, odd numbers of pixels, so that a line has a middle one.
    """
    import cv2

    chance = np.random.default_rng(seed)
    side = size * UNIT + 2 * RIM
    page = np.full((side, side), 235, np.uint8)
    for r in range(size):
        for c in range(size):
            if chance.random() < filled:
                at = (RIM + c * UNIT + 17, RIM + r * UNIT + 45)
                digit = str(int(chance.integers(1, 10)))
                cv2.putText(page, digit, at, cv2.FONT_HERSHEY_SIMPLEX, 1.3, 40, 3, cv2.LINE_AA)
    end = RIM + size * UNIT
    for k in range(size + 1):
        half = (thick if k % block == 0 else thin) / 2
        at = RIM + k * UNIT
        low, high = round(at - half + 0.5), round(at + half + 0.5)
        page[low:high, RIM:end] = 40
        page[RIM:end, low:high] = 40
    if extra is not None:
        extra(page)
    return page


def photo(
    flat: npt.NDArray[np.uint8],
    corners: Any,
    frame: tuple[int, int],
    size: int = 9,
    blur: float = 0.8,
    bend: float = 0.0,
    noise: float = 2.0,
) -> tuple[npt.NDArray[np.uint8], Points]:
    """The drawing as a camera sees it: uint8 (H, W, 3), and its crossings (n, n, 2).

    ``corners``: where the grid's corners (line middles) come to lie, top-left, clockwise;
    ``frame``: width, height; ``bend``: how far the page bows down in its middle, pixels.
    """
    import cv2

    end = RIM + size * UNIT
    source = np.array([[RIM, RIM], [end, RIM], [end, end], [RIM, end]], np.float32)
    matrix = cv2.getPerspectiveTransform(source, np.asarray(corners, np.float32))
    back = np.linalg.inv(matrix)
    x, y = np.meshgrid(np.arange(frame[0], dtype=float), np.arange(frame[1], dtype=float))
    low, high = np.min(corners, axis=0)[0], np.max(corners, axis=0)[0]

    def bow(at: Any) -> Any:
        part = (at - low) / (high - low)
        return 4 * bend * part * (1 - part)

    at = np.stack([x, y - bow(x), np.ones_like(x)], axis=-1) @ back.T
    at = (at[..., :2] / at[..., 2:]).astype(np.float32)
    seen = cv2.remap(flat, at[..., 0], at[..., 1], cv2.INTER_AREA, borderValue=(190, 0, 0, 0))
    seen = cv2.GaussianBlur(seen, (0, 0), blur).astype(float)
    seen += np.random.default_rng(1).normal(0, noise, seen.shape)
    grid = RIM + UNIT * np.arange(size + 1.0)
    gx, gy = np.meshgrid(grid, grid)
    on = np.stack([gx, gy, np.ones_like(gx)], axis=-1) @ matrix.T
    on = on[..., :2] / on[..., 2:]
    on[..., 1] += bow(on[..., 0])
    grey = np.clip(seen, 0, 255).astype(np.uint8)
    return np.repeat(grey[..., None], 3, axis=2), on


def turned_to_match(found: Points, true: Points) -> Points:
    """The found crossings in that of the four turns that lies nearest to the true ones."""
    turns = [np.rot90(found, k) for k in range(4)]
    return min(turns, key=lambda turn: float(np.abs(turn - true).max()))


SQUARE = [[110, 60], [530, 60], [530, 480], [110, 480]]
"""A grid that fills a 640×540 frame, upright."""
