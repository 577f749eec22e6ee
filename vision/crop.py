"""A grid flattened into one small picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

from papernudge.vision.mesh import spread

if TYPE_CHECKING:
    from papernudge.vision.mesh import Points
    from papernudge.vision.photo import Raster

CROP = 378
"""Side of a grid's crop, pixels: 9 cells of 40, and 9 around them."""
MARGIN = 9
CELL = 40


def crop(raster: Raster, points: Points) -> bytes | None:
    """A grid flattened, CROP pixels a side, as a JPEG file.

    ``points``: raster x/y, its crossings (10, 10, 2) or its corners (4, 2), clockwise from the
    top-left. None where the grid has no extent.
    """
    import cv2
    import numpy as np

    if points.shape == (4, 2):
        points = points[[0, 1, 3, 2]].reshape(2, 2, 2)
    sides = points[-1, 0] - points[0, 0], points[0, -1] - points[0, 0]
    spans = [float(np.linalg.norm(side)) for side in sides]
    if not np.isfinite(points).all() or min(spans) < 9:
        return None
    at = (np.arange(CROP) + 0.5 - MARGIN) / (9 * CELL) * (len(points) - 1)
    maps = np.moveaxis(spread(points, at), 2, 0)
    low = np.floor([at.min() for at in maps]).astype(int) - 2
    high = np.ceil([at.max() for at in maps]).astype(int) + 3
    low, high = np.clip(low, 0, None), np.minimum(high, raster.shape[1::-1])
    if (high - low < 9).any():
        return None
    part = raster[low[1] : high[1], low[0] : high[0]]
    x, y = (at - start for at, start in zip(maps, low.astype(np.float32), strict=True))
    shrink = min(1.0, 1.5 * CROP / max(spans))
    if shrink < 1:
        small = cv2.resize(part, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
        part = np.asarray(small, np.uint8)
        x, y = ((at + 0.5) * shrink - 0.5 for at in (x, y))
    flat = cv2.remap(part, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    done, file = cv2.imencode(".jpg", flat, [cv2.IMWRITE_JPEG_QUALITY, 80])
    return bytes(file.tobytes()) if done else None
