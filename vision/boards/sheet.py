"""A board laid flat: its edges and its cells' paper, measured where they must lie."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from papernudge.vision.lines import ranked
from papernudge.vision.mesh import Mesh, spread

Floats = npt.NDArray[np.float32]
Cells = npt.NDArray[np.int64]
Raster = npt.NDArray[np.uint8]

CELL, MARGIN = 40, 12
"""Side of a cell and rim around the board, pixels of the sheet."""
_ALONG = (0.14, 0.86)
"""Part of an edge that is looked at: elsewhere others end at it."""
_CORE, _BESIDE, _BESIDE_TO = 0.11, 0.15, 0.27
"""Half the width of a line's own ink, cells, and where the paper beside it is."""
_NEAR, _NEAR_TO = 0.12, 0.3
"""Where the paper on either side of an edge is compared."""


@dataclass(eq=False)
class Sheet:
    """A flat board.

    ``grey``: float32 (P, P), brightness as a share of the board's own light paper, with P = S ·
    CELL + 2 · MARGIN; of the colours the darkest: a pale tint shows most in one of them.
    """

    grey: Floats

    @property
    def side(self) -> int:
        """Cells a side."""
        return (len(self.grey) - 2 * MARGIN) // CELL

    @cached_property
    def edges(self) -> Floats:
        """Strips across every inner edge, (2, S, S - 1, L, W): first of the verticals, row by row,
        then of the horizontals, column by column. L runs along the edge, W across it from left to
        right, or from top to bottom, half a cell to either side.
        """
        return np.stack([_strips(self.grey), _strips(self.grey.T)])


def pairs(side: int) -> tuple[Cells, Cells]:
    """The two cells beside each inner edge, each int64 (2, S, S - 1) in the order of
    :attr:`Sheet.edges`.
    """
    cells = np.arange(side * side).reshape(side, side)
    one = np.stack([cells[:, :-1], cells.T[:, :-1]])
    two = np.stack([cells[:, 1:], cells.T[:, 1:]])
    return one, two


def flattened(raster: Raster, mesh: Mesh) -> Sheet:
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
    paper = np.quantile(flat[::5, ::5].reshape(-1, 3), 0.9, axis=0)
    planes = [
        plane.astype(np.float32) / np.float32(max(level, 1.0))
        for plane, level in zip(cv2.split(flat), paper, strict=True)
    ]
    return Sheet(np.minimum(np.minimum(planes[0], planes[1]), planes[2]))


def _strips(grey: Floats) -> Floats:
    """Strips across the vertical inner edges of a grey sheet, (S, S - 1, L, CELL)."""
    side = (len(grey) - 2 * MARGIN) // CELL
    low, high = (round(share * CELL) for share in _ALONG)
    inner = grey[MARGIN:-MARGIN, MARGIN + CELL // 2 : -(MARGIN + CELL // 2)]
    return inner.reshape(side, CELL, side - 1, CELL).transpose(0, 2, 1, 3)[:, :, low:high]


_ACROSS = (np.arange(CELL) + 0.5) / CELL - 0.5
"""Places across an edge, cells."""


def line_ink(strips: Floats) -> Floats:
    """Ink of the line on each edge, (...), cells × shares of the paper's brightness.

    ``strips``: (..., L, W) as of :meth:`Sheet.edges`. Of every place across the median along the
    edge, against the mean of the paper on its two sides: so the rim of a tint is no line, and one
    along it weighs what it weighs elsewhere. What blur spreads it leaves in the sum.
    """
    light = ranked(strips.reshape(*strips.shape[:-2], -1), 0.9)
    dark = 1.0 - ranked(strips.swapaxes(-1, -2)) / np.maximum(light, 0.05)[..., None]
    beside = (np.abs(_ACROSS) > _BESIDE) & (np.abs(_ACROSS) < _BESIDE_TO)
    paper = (
        dark[..., beside & (_ACROSS < 0)].min(axis=-1)
        + dark[..., beside & (_ACROSS > 0)].min(axis=-1)
    ) / 2
    core = dark[..., np.abs(_ACROSS) <= _CORE] - paper[..., None]
    return np.asarray(np.clip(core.sum(axis=-1), 0, None) / CELL)


def steps(strips: Floats) -> Floats:
    """How much lighter the paper is after each edge than before it, logs of the ratio, (...)."""
    before = (_ACROSS < -_NEAR) & (_ACROSS > -_NEAR_TO)
    after = (_ACROSS > _NEAR) & (_ACROSS < _NEAR_TO)
    one, two = (_light(strips[..., part]) for part in (before, after))
    return np.asarray(np.log(two / one))


def unevenness(strips: Floats) -> Floats:
    """How far the paper along a cell's sides differs, (S, S), logs; ``strips`` as of
    :attr:`Sheet.edges`. Shade passes over cells, a tint ends with them.
    """
    before = (_ACROSS < -_NEAR) & (_ACROSS > -_NEAR_TO)
    after = (_ACROSS > _NEAR) & (_ACROSS < _NEAR_TO)
    one, two = (np.log(_light(strips[..., part])) for part in (before, after))
    side = strips.shape[1]
    sides = np.full((4, side, side), np.nan, np.float32)
    sides[0, :, :-1], sides[1, :, 1:] = one[0], two[0]
    sides[2].T[:, :-1], sides[3].T[:, 1:] = one[1], two[1]
    return np.asarray(np.nanmax(sides, axis=0) - np.nanmin(sides, axis=0))


def _light(strips: Floats) -> Floats:
    """Brightness of the paper in strips (..., L, W), (...)."""
    return np.maximum(ranked(strips.reshape(*strips.shape[:-2], -1), 0.8), np.float32(0.02))
