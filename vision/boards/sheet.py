"""A board laid flat, as the network that tells boards sees it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from papernudge.vision.mesh import Mesh, spread

Floats = npt.NDArray[np.float32]
Raster = npt.NDArray[np.uint8]

CELL, MARGIN = 32, 16
"""Side of a cell and rim around the board, pixels of the sheet."""
_LIGHT = 0.9
"""Share of a board's pixels that are darker than its light paper."""


@dataclass(frozen=True, eq=False)
class Flat:
    """A flat board. ``pixels``: uint8 (P, P, 3), blue, green, red, P = S · CELL + 2 · MARGIN;
    ``paper``: float32 (3,), the board's light paper.
    """

    pixels: Raster
    paper: Floats

    @property
    def side(self) -> int:
        """Cells a side."""
        return (len(self.pixels) - 2 * MARGIN) // CELL

    @property
    def planes(self) -> Floats:
        """Darkness as a share of the light paper, float32 (3, P, P): 0 paper, 1 black."""
        dark = 1 - self.pixels.astype(np.float32) / self.paper
        return np.ascontiguousarray(dark.transpose(2, 0, 1))


def flattened(raster: Raster, mesh: Mesh) -> Flat:
    """The board under a mesh (S + 1, S + 1, 2), at one resampling. ``raster``: uint8 (H, W, 3)."""
    import cv2

    side = len(mesh.crossings) - 1
    pixels = np.arange(side * CELL + 2 * MARGIN, dtype=np.float64)
    where = spread(mesh.crossings, (pixels + 0.5 - MARGIN) / CELL)
    low = np.clip(np.floor(where.min(axis=(0, 1))).astype(int) - 2, 0, None)
    high = np.ceil(where.max(axis=(0, 1))).astype(int) + 3
    crop = raster[low[1] : high[1], low[0] : high[0]]
    steps = np.linalg.norm(np.diff(mesh.crossings, axis=1), axis=2)
    shrink = max(int(np.median(steps) / CELL + 0.5), 1)
    size = (max(crop.shape[1] // shrink, 1), max(crop.shape[0] // shrink, 1))
    scale = np.array([size[0] / crop.shape[1], size[1] / crop.shape[0]])
    small = cv2.resize(crop, size, interpolation=cv2.INTER_AREA) if shrink > 1 else crop
    at = ((where - low + 0.5) * scale - 0.5).astype(np.float32)
    flat = cv2.remap(
        small, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    laid = np.asarray(flat, np.uint8)
    return Flat(laid, light(laid))


def light(pixels: Raster) -> Floats:
    """The light paper of a flat board's pixels (P, P, 3), float32 (3,)."""
    paper = np.quantile(pixels[::5, ::5].reshape(-1, 3), _LIGHT, axis=0)
    return np.asarray(np.maximum(paper, 1.0), np.float32)
