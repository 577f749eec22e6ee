"""Finds every grid on a page."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
from papernudge.vision.find_cells import lattices, meshes_of, paper_pieces
from papernudge.vision.find_outlines import ink_mask, outlines
from papernudge.vision.flatten import Flat, flatten
from papernudge.vision.grid import FoundGrid, GridKind
from papernudge.vision.mesh import Mesh, Points
from papernudge.vision.quality import judge, outside

_LONG = 1000
"""Long side of the picture that is searched, pixels."""

_LEAST = 60
"""Smallest side of a grid that is looked for, pixels of that picture."""


def work_view(raster: npt.NDArray[np.uint8]) -> tuple[npt.NDArray[np.uint8], float]:
    """A grey picture of at most about _LONG pixels, uint8 (h, w), and raster pixels per pixel."""
    import cv2

    long = max(raster.shape[:2])
    scale = 1.0
    if long > _LONG:
        scale = long / _LONG
        size = (round(raster.shape[1] / scale), round(raster.shape[0] / scale))
        raster = np.asarray(cv2.resize(raster, size, interpolation=cv2.INTER_AREA), np.uint8)
    grey = cv2.cvtColor(raster, cv2.COLOR_BGR2GRAY)
    return np.asarray(cv2.GaussianBlur(grey, (3, 3), 0.7), np.uint8), scale


def is_nine(flat: Flat) -> bool:
    """Whether the lines seen make a 9×9 lattice: nearly every line, nearly along its length."""
    return float(flat.support.mean()) > 0.8 and float(np.sort(flat.support.ravel())[2]) > 0.4


def _candidates(mask: npt.NDArray[np.uint8]) -> Iterator[Points]:
    """Rough meshes (10, 10, 2) worth trying, from cells first, then from outlines."""
    centres, sizes, _ = paper_pieces(mask, _LEAST // 9)
    for lattice in lattices(centres, sizes):
        yield from meshes_of(lattice)
    yield from outlines(mask, _LEAST)


def _flats(view: npt.NDArray[np.uint8]) -> list[Flat]:
    """The 9×9 lattices of a view, the best one of those that overlap."""
    found: list[Flat] = []
    for keen in (0.5, 1.0, 2.0):
        for start in _candidates(ink_mask(view, keen)):
            centre = start.reshape(-1, 2).mean(axis=0)
            if any(_inside(centre, f.mesh.corners) and f.support.mean() > 0.95 for f in found):
                continue
            flat = flatten(view, start)
            if isinstance(flat, Flat) and is_nine(flat):
                found.append(flat)
        if any(flat.support.mean() > 0.9 for flat in found):
            break
    found.sort(key=lambda flat: -float(flat.support.mean()))
    kept: list[Flat] = []
    for flat in found:
        centre = flat.mesh.crossings.reshape(-1, 2).mean(axis=0)
        if not any(_inside(centre, other.mesh.corners) for other in kept):
            kept.append(flat)
    return kept


def find_grids(raster: npt.NDArray[np.uint8]) -> tuple[FoundGrid, ...]:
    """All grids of a page, in reading order of the raster.

    ``raster``: uint8 (H, W, 3), blue, green, red, as decoded. A whole 9×9 grid of good quality
    has kind puzzle (or full) and a mesh; others are marked by their kind. Which of the four
    turns is upright is not decided here.
    """
    view, scale = work_view(raster)
    size = (raster.shape[1], raster.shape[0])
    grids = [_found(flat, scale, size) for flat in _flats(view)]
    return tuple(sorted(grids, key=_reading_order))


def _reading_order(grid: FoundGrid) -> tuple[float, float]:
    """Top to bottom, then left to right; a grid's height decides what is one row."""
    low = grid.corners.min(axis=0)
    return float(low[1]), float(low[0])


def _inside(point: Points, corners: Points) -> bool:
    """Whether a point (2,) lies in a convex quadrilateral (4, 2) that runs clockwise."""
    side = np.roll(corners, -1, axis=0) - corners
    to = point - corners
    return bool((side[:, 0] * to[:, 1] - side[:, 1] * to[:, 0] > 0).all())


def _found(flat: Flat, scale: float, size: tuple[int, int]) -> FoundGrid:
    """A flattened 9×9 in raster pixels, with its kind."""
    mesh = Mesh((flat.mesh.crossings + 0.5) * scale - 0.5, flat.mesh.seen)
    quality = judge(flat, scale)
    kind = GridKind.PUZZLE
    if outside(mesh.crossings, size):
        kind = GridKind.CUT_OFF
    elif not quality.ok:
        kind = GridKind.TOO_POOR
    return FoundGrid(kind, mesh.corners, mesh if kind is GridKind.PUZZLE else None, quality)
