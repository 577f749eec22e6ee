"""What stands in a cell brought to one size in the middle, whatever size the hand writes.

Normalising the size of a character before it is read is as old as reading by machine (R. Casey,
"Moment normalization of handprinted characters", IBM Journal 14(5), 1970).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

PAPER, SIDE = 224, 48
"""Of patches: level of paper, and side in pixels (``papernudge.vision.patches``)."""
RIM = 9
"""Ink this near to a patch's side, pixels, may be the grid's own or a neighbour's."""
DARKEST = 0.02
"""Share of a cell's pixels that counts as its darkest."""
FAINTEST, OF_DARKEST = 25.0, 0.45
"""Ink is darker than paper by this share of the darkest, which is darker by so much at least."""
FELLOWS = 3
"""Pixels of ink in three by three, with its middle, from which on it is no speck."""
HEIGHT = 24.0
"""Height that is brought to, pixels, if unsaid."""
SLIM, LEAST = 0.9, 7.0
"""What is wide counts as high as this share of its width, so that a 1 that lies stays within its
cell; and nothing counts as lower than so many pixels."""
SMALLEST, LARGEST = 0.8, 2.6
"""By what it may be enlarged."""


def one_size(
    pixels: npt.NDArray[np.uint8], height: float = HEIGHT, turn: float = 0.0
) -> npt.NDArray[np.uint8]:
    """Patches in which what stands in the cell is in the middle, ``height`` pixels high.

    ``pixels``: uint8 (N, S, S, 3), paper near PAPER; ``turn``: degrees by which it is turned
    against the clock. Returns the same shape; cells without ink stay as they are.
    """
    import cv2

    out = pixels.copy()
    angle = np.deg2rad(turn)
    turned = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    for at, box in enumerate(boxes(pixels)):
        if box is None:
            continue
        left, top, right, bottom = box
        scale = scale_of(bottom - top, right - left, height)
        middle = np.array([(left + right - 1) / 2, (top + bottom - 1) / 2])
        back = turned / scale
        move = np.column_stack([back, middle - back @ np.full(2, (SIDE - 1) / 2)])
        out[at] = cv2.warpAffine(
            pixels[at],
            move,
            (SIDE, SIDE),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
    return out


def scale_of(high: Any, wide: Any, height: float) -> Any:
    """By what a box of ink is enlarged; numbers or arrays of them, pixels."""
    size = np.maximum(np.maximum(high, SLIM * wide), LEAST)
    return np.clip(height / size, SMALLEST, LARGEST)


def boxes(pixels: npt.NDArray[np.uint8]) -> list[tuple[int, int, int, int] | None]:
    """Left, top, and behind the right and bottom end of each cell's ink; None where is none."""
    import cv2

    inner = slice(RIM, SIDE - RIM)
    depth = PAPER - pixels[:, inner, inner].min(axis=3).astype(np.int16)
    flat = depth.reshape(len(depth), (SIDE - 2 * RIM) ** 2)
    rank = darkest_rank(flat.shape[1])
    darkest = -np.partition(-flat, rank - 1, axis=1)[:, rank - 1] if len(flat) else flat[:, 0]
    found: list[tuple[int, int, int, int] | None] = []
    for cell, most in zip(depth, darkest.tolist(), strict=True):
        if most < FAINTEST:
            found.append(None)
            continue
        ink = (cell > OF_DARKEST * most).astype(np.uint8)
        fellows = cv2.boxFilter(ink, -1, (3, 3), normalize=False, borderType=cv2.BORDER_CONSTANT)
        ink &= fellows >= FELLOWS
        rows, columns = (np.flatnonzero(ink.any(axis=axis)) for axis in (1, 0))
        if not len(rows):
            found.append(None)
            continue
        left, top = int(columns[0]) + RIM, int(rows[0]) + RIM
        found.append((left, top, int(columns[-1]) + RIM + 1, int(rows[-1]) + RIM + 1))
    return found


def darkest_rank(pixels: int) -> int:
    """Which of so many pixels, from the darkest on, is called a cell's darkest."""
    return max(1, round(DARKEST * pixels))
