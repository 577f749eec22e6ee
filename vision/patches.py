"""Cuts the cells of a grid out of a photo, flat and evenly lit, at one resampling."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from papernudge.digits_model import tensors
from papernudge.vision.mesh import Mesh, spread

CELL, MARGIN, SIDE, PAPER = tensors.CELL, tensors.MARGIN, tensors.SIDE, tensors.PAPER
"""Of patches, as the networks take them."""

_MANY_PIXELS = 1_400_000
"""Crops up to this many pixels are averaged down as the model's training data were."""

FINE = 2 * CELL
"""Side of a cell in a fine patch, for small notes."""
FINE_MARGIN = 4
FINE_SIDE = FINE + 2 * FINE_MARGIN
"""Side of a fine patch, patch pixels."""


@dataclass(frozen=True, eq=False)
class Patches:
    """The cells of one grid.

    ``pixels``: uint8, shape (N, SIDE, SIDE, 3), channels blue, green, red; row-major cell order
    of the mesh they were cut by; paper is near PAPER in every channel.
    """

    pixels: npt.NDArray[np.uint8]

    def turned(self, quarter_turns: int) -> Patches:
        """The same patches in the order and the upright sense of ``Mesh.turned``."""
        side = math.isqrt(len(self.pixels))
        grid = self.pixels.reshape(side, side, SIDE, SIDE, 3)
        grid = np.rot90(grid, -quarter_turns, axes=(0, 1))
        grid = np.rot90(grid, -quarter_turns, axes=(2, 3))
        return Patches(np.ascontiguousarray(grid.reshape(-1, SIDE, SIDE, 3)))


def sheet_map(mesh: Mesh, cell: int = CELL, margin: int = MARGIN) -> npt.NDArray[np.float32]:
    """Raster position of every pixel of the flattened sheet.

    Returns float32, shape (S, S, 2), x/y in raster pixels with S = n·cell + 2·margin, n rows
    of cells. Inside a cell the map is the bilinear patch of its own four crossings; the outer
    margin continues the outermost cells in a straight line.
    """
    pixels = np.arange(mesh.side * cell + 2 * margin, dtype=np.float64)
    return spread(mesh.crossings, (pixels + 0.5 - margin) / cell)


def flat_sheet(
    raster: npt.NDArray[np.uint8], mesh: Mesh, cell: int = CELL, margin: int = MARGIN
) -> npt.NDArray[np.uint8]:
    """The whole grid flattened, as photographed: uint8 (S, S, 3), one resampling.

    ``raster``: uint8 (H, W, 3), blue, green, red, or (H, W) for a flat (S, S). Where the photo has
    many pixels to a cell it is first averaged down to about twice the patch's scale, since
    ``cv2.remap`` does not low-pass.
    """
    import cv2

    where = sheet_map(mesh, cell, margin)
    low = np.floor([where[..., k].min() for k in (0, 1)]).astype(int) - 2
    high = np.ceil([where[..., k].max() for k in (0, 1)]).astype(int) + 3
    height, width = raster.shape[:2]
    x0, y0 = np.clip(low, 0, [width - 1, height - 1])
    x1, y1 = np.clip(high, [x0 + 1, y0 + 1], [width, height])
    crop = raster[y0:y1, x0:x1]
    where = where - np.array([x0, y0], np.float32)
    steps = np.linalg.norm(np.diff(mesh.crossings, axis=1), axis=2)
    shrink = int(np.median(steps) / cell / 1.5 + 0.5)
    if shrink >= 2:
        crop, scale = _averaged(crop, shrink)
        where = (where + 0.5) * scale - 0.5
    return np.asarray(
        cv2.remap(
            crop, where[..., 0], where[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        ),
        dtype=np.uint8,
    )


def _averaged(
    crop: npt.NDArray[np.uint8], shrink: int
) -> tuple[npt.NDArray[np.uint8], npt.NDArray[np.float32]]:
    """The crop (H, W, 3) ``shrink`` times smaller by averaging, and its exact scale, x/y (2,)."""
    import cv2

    size = np.array([crop.shape[1], crop.shape[0]])
    small = np.maximum(size // shrink, 1)
    if crop.shape[0] * crop.shape[1] > _MANY_PIXELS:
        # Averages over whole pixels are several times as fast, halves the fastest of all; the
        # remainder cut off at the right and the bottom is less than one pixel of the result.
        size = small * shrink
        crop = crop[: size[1], : size[0]]
        while shrink % 2 == 0:
            shrink //= 2
            half = (crop.shape[1] // 2, crop.shape[0] // 2)
            crop = np.asarray(cv2.resize(crop, half, interpolation=cv2.INTER_AREA), np.uint8)
    scale = np.asarray(small / size, np.float32)
    if (crop.shape[1], crop.shape[0]) != (small[0], small[1]):
        crop = np.asarray(cv2.resize(crop, small.tolist(), interpolation=cv2.INTER_AREA), np.uint8)
    return crop, scale


def even_light(sheet: npt.NDArray[np.uint8], cell: int = CELL) -> npt.NDArray[np.uint8]:
    """Divides the sheet by its own paper so that shade, glare and colour cast drop out.

    ``sheet``: uint8 (S, S, 3) from :func:`flat_sheet`, ``cell`` pixels a cell; the result has the
    same shape, with paper near PAPER. The paper's colour at a place is a high quantile of the
    pixels around it (a morphological closing wider than any stroke, then a blur): the usual
    flat-field estimate of document imaging. Each channel has its own, so that a cast goes and
    coloured ink stays.
    """
    import cv2

    small = 9 / cell
    half = cv2.resize(sheet, None, fx=small, fy=small, interpolation=cv2.INTER_AREA)
    kernel = np.ones((7, 7), np.uint8)
    paper = cv2.morphologyEx(
        cv2.medianBlur(half, 3), cv2.MORPH_CLOSE, kernel, borderType=cv2.BORDER_REPLICATE
    )
    paper = cv2.GaussianBlur(paper, (0, 0), 2.0, borderType=cv2.BORDER_REPLICATE)
    paper = cv2.resize(paper, (sheet.shape[1], sheet.shape[0]), interpolation=cv2.INTER_LINEAR)
    return np.asarray(cv2.divide(sheet, np.maximum(paper, 1), scale=float(PAPER)), np.uint8)


def cut_patches(raster: npt.NDArray[np.uint8], mesh: Mesh) -> Patches:
    """The cells of the grid under ``mesh``.

    ``raster``: uint8 (H, W, 3), blue, green, red, as decoded. Neighbouring patches overlap by
    2·MARGIN pixels: a digit that crosses its cell's line is whole in its own patch.
    """
    return Patches(cells_of(even_light(flat_sheet(raster, mesh))))


def cells_of(sheet: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    """The patches, uint8 (N, SIDE, SIDE, 3), of the N cells of a sheet from :func:`flat_sheet`."""
    windows = np.lib.stride_tricks.sliding_window_view(sheet, (SIDE, SIDE), axis=(0, 1))
    cells = windows[::CELL, ::CELL].transpose(0, 1, 3, 4, 2)
    return np.ascontiguousarray(cells.reshape(-1, SIDE, SIDE, 3))


def cut_fine(
    raster: npt.NDArray[np.uint8],
    mesh: Mesh,
    cells: npt.NDArray[np.int64],
    cleaned: Callable[[npt.NDArray[np.uint8]], npt.NDArray[np.uint8]] | None = None,
) -> npt.NDArray[np.uint8]:
    """Some cells at twice the scale, in grey: what small notes need.

    ``cells``: their numbers, row-major by the mesh's upright sense; ``cleaned``: takes from a flat
    sheet, FINE pixels a cell with FINE_MARGIN around it, what the looks don't know. Returns uint8
    (len(cells), FINE_SIDE, FINE_SIDE), paper near PAPER.
    """
    import cv2

    sheet = flat_sheet(raster, mesh, FINE, FINE_MARGIN)
    sheet = even_light(sheet if cleaned is None else cleaned(sheet), FINE)
    grey = np.asarray(cv2.cvtColor(sheet, cv2.COLOR_BGR2GRAY), np.uint8)
    windows = np.lib.stride_tricks.sliding_window_view(grey, (FINE_SIDE, FINE_SIDE))
    every = windows[::FINE, ::FINE].reshape(-1, FINE_SIDE, FINE_SIDE)
    return np.ascontiguousarray(every[cells])
