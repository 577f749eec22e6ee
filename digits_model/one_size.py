"""What stands in a cell brought to one size in the middle, whatever size the hand writes.

Normalising the size of a character before it is read is as old as reading by machine (R. Casey,
"Moment normalization of handprinted characters", IBM Journal 14(5), 1970).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.tensors import PAPER, SIDE

Pixels = npt.NDArray[np.uint8]

RIM = 9
"""Ink this near to a patch's side, pixels, may be the grid's own or a neighbour's."""
FAINTEST, OF_DARKEST, SPECK = 25.0, 0.45, 3
"""Ink is darker than paper by this share of the darkest, which is darker by so much at least; fewer
pixels together are a speck."""
HEIGHT = 24.0
"""Height that is brought to, pixels, if unsaid."""
SLIM, LEAST = 0.9, 7.0
"""What is wide counts as high as this share of its width, so that a 1 that lies stays within its
cell; and nothing counts as lower than so many pixels."""
SMALLEST, LARGEST = 0.8, 2.6
"""By what it may be enlarged."""
_ALIASED, _SOFT = 0.75, 0.45
"""Made smaller than this it is softened before, by so many pixels."""


def one_size(
    pixels: Pixels, height: float = HEIGHT, turn: float = 0.0, fine: Pixels | None = None
) -> Pixels:
    """Patches in which what stands in the cell is in the middle, ``height`` pixels high.

    ``pixels``: uint8 (N, S, S, 3), paper near PAPER; ``turn``: degrees by which it is turned
    against the clock; ``fine``: the same cells with more pixels, uint8 (N, kS, kS, 3), to take it
    from. Returns the shape of ``pixels``; cells without ink stay as they are.
    """
    import cv2

    out = pixels.copy()
    for at, cell in enumerate(pixels if fine is None else fine):
        box = ink_box(cell)
        if box is None:
            continue
        left, top, right, bottom = box
        finer = cell.shape[0] / SIDE
        size = max(bottom - top, SLIM * (right - left), LEAST * finer)
        scale = float(np.clip(height / size, SMALLEST / finer, LARGEST / finer))
        middle = ((left + right - 1) / 2, (top + bottom - 1) / 2)
        move: Any = cv2.getRotationMatrix2D(middle, turn, scale)
        move[:, 2] += (SIDE - 1) / 2 - np.array(middle)
        soft: Any = cell if scale >= _ALIASED else cv2.GaussianBlur(cell, (0, 0), _SOFT)
        out[at] = cv2.warpAffine(soft, move, (SIDE, SIDE), borderMode=cv2.BORDER_REPLICATE)
    return out


def ink_box(cell: Pixels) -> tuple[int, int, int, int] | None:
    """Left, top, and behind the right and the bottom end of what is written in a patch.

    ``cell``: uint8 (kS, kS, 3). None where nothing is.
    """
    import cv2

    finer = cell.shape[0] // SIDE
    rim = RIM * finer
    depth = PAPER - cell[rim:-rim, rim:-rim].min(axis=2).astype(np.float32)
    darkest = float(np.percentile(depth, 98))
    if darkest < FAINTEST:
        return None
    ink = (depth > OF_DARKEST * darkest).astype(np.uint8)
    _, _, blobs, _ = cv2.connectedComponentsWithStats(ink, connectivity=8)
    blobs = blobs[1:][blobs[1:, cv2.CC_STAT_AREA] >= SPECK * finer**2]
    if not len(blobs):
        return None
    left, top = (int(blobs[:, k].min()) for k in (cv2.CC_STAT_LEFT, cv2.CC_STAT_TOP))
    right, bottom = (int((blobs[:, k] + blobs[:, k + 2]).max()) for k in (0, 1))
    return left + rim, top + rim, right + rim, bottom + rim
