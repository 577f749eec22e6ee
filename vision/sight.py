"""What of each cell can be seen at all, by plain signs in the photo as it was taken.

The looks see evenly lit cells: what a thumb covers, light washes out or a shadow blackens is empty
to them. The signs are those of paper: between a cell's printed lines and its middle there is
contrast, its colour is the page's, its light neither the most nor the least that the camera knows,
and its mesh is no fold.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.seen import CELL, MARGIN, SIDE
from papernudge.vision.lines import ranked
from papernudge.vision.mesh import Mesh, Points
from papernudge.vision.patches import flat_sheet
from papernudge.vision.reading import Hidden

Floats = npt.NDArray[np.float32]
Chances = npt.NDArray[np.float64]
Sheet = npt.NDArray[np.uint8]

_WHITE, _BLACK = 250, 10
"""Grey levels at which a camera tells no more from less light."""
_REACH, _BESIDE = 2, 5
"""How far from its place a line is looked for, and paper beside it, sheet pixels."""
_PARTS = 3
"""Parts of a cell's side that are looked at one by one."""
_RIM = 3
"""Sheet pixels from a cell's edge to its inside."""

SIGNS = (
    *("white", "black", "line lost", "most lost", "corner lost", "paler", "darker"),
    *(
        "colour",
        "colour beside",
        "light beside",
        "smooth",
        "rough",
        "size",
        "outside",
        "mesh unseen",
    ),
)
"""What the columns of :func:`signs` hold."""


@dataclass(frozen=True, eq=False)
class Sight:
    """What of a grid can be seen.

    ``hidden``: the cells that can't be seen, and why; ``trust``: float64 (81,), the chance that
    what the looks say of a cell is about its ink and not about what befell the page; ``poor``: for
    a page beyond reading a word for programs and what to tell the person.
    """

    hidden: Mapping[int, Hidden] = field(default_factory=dict)
    trust: Chances = field(default_factory=lambda: np.ones(81))
    poor: tuple[str, str] | None = None

    def trusted(self, digits: Chances, cells: npt.NDArray[np.int64] | None = None) -> Chances:
        """The looks' log-probabilities (N, 10) of ``cells``, or of all, as far as they may be
        trusted; a hidden cell's say nothing.
        """
        trust = self.trust.copy()
        trust[list(self.hidden)] = 0.0
        trust = trust if cells is None else trust[cells]
        return np.asarray(np.log(trust[:, None] * np.exp(digits) + (1 - trust[:, None]) / 10))


def sheet_of(raster: npt.NDArray[np.uint8], mesh: Mesh) -> Sheet:
    """The grid with its surroundings, as photographed: uint8 (SIDE, SIDE, 3).

    ``raster``: uint8 (H, W, 3), blue, green, red.
    """
    return flat_sheet(raster, mesh, CELL, MARGIN)


def _cells(plane: Floats) -> Floats:
    """The insides of the 81 cells of a plane (SIDE, SIDE), (81, pixels)."""
    inner = plane[MARGIN:-MARGIN, MARGIN:-MARGIN].reshape(9, CELL, 9, CELL)
    inside = inner[:, _RIM:-_RIM, :, _RIM:-_RIM].transpose(0, 2, 1, 3)
    return inside.reshape(81, -1)


def _along(grey: Floats) -> Floats:
    """How dark the ten lines across the sheet are, as shares of the paper beside: (10, 27).

    ``grey``: (SIDE, SIDE). Of each of the _PARTS of each cell's side the median.
    """
    out = np.empty((10, 9 * _PARTS), np.float32)
    inner = grey[:, MARGIN:-MARGIN]
    for line in range(10):
        at = MARGIN + line * CELL
        on = inner[at - 1 - _REACH : at + 1 + _REACH].min(axis=0)
        over = inner[at - 1 - _BESIDE : at - 1 - _REACH].max(axis=0)
        below = inner[at + 1 + _REACH : at + 1 + _BESIDE].max(axis=0)
        # The darker of both sides: a shadow's or a cover's edge is no line.
        stands = 1 - on / np.maximum(np.minimum(over, below), 1.0)
        out[line] = np.median(stands.reshape(9 * _PARTS, -1), axis=1)
    return out


def _lost(grey: Floats) -> tuple[Floats, Floats, Floats]:
    """What is missing of the lines around each cell: the mean, the worst side, the worst corner.

    Each float32 (81,), 0 where lines are as dark as that line usually is, 1 where there are none.
    """
    lost = []
    for plane in (grey, grey.T):
        stands = _along(plane)
        usual = np.maximum(ranked(stands, 0.7), 0.02)
        gone = 1 - np.clip(stands / usual[:, None], 0, 1)
        lost.append(gone.reshape(10, 9, _PARTS))
    across, down = lost
    sides = np.stack([across[:-1], across[1:], down[:-1].swapaxes(0, 1), down[1:].swapaxes(0, 1)])
    parts = sides.reshape(4, 81, _PARTS)
    top, bottom, left, right = parts
    corners = np.stack(
        [
            (top[:, 0] + left[:, 0]) / 2,
            (top[:, -1] + right[:, 0]) / 2,
            (bottom[:, 0] + left[:, -1]) / 2,
            (bottom[:, -1] + right[:, -1]) / 2,
        ]
    )
    by_side = parts.mean(axis=2)
    return parts.mean(axis=(0, 2)), by_side.max(axis=0), corners.max(axis=0)


def _apart(paper: Floats) -> Floats:
    """How far each cell is from the median of its neighbours, (81, K) to (81, K)."""
    grid = np.pad(paper.reshape(9, 9, -1), ((1, 1), (1, 1), (0, 0)), mode="edge")
    around = [
        grid[1 + y : 10 + y, 1 + x : 10 + x] for y in (-1, 0, 1) for x in (-1, 0, 1) if x or y
    ]
    return np.asarray(paper - np.median(around, axis=0).reshape(81, -1), np.float32)


def _sizes(mesh: Mesh) -> Floats:
    """How much each cell's area differs from its neighbours', log, (81,)."""
    c = mesh.crossings
    a, b = c[1:, 1:] - c[:-1, :-1], c[1:, :-1] - c[:-1, 1:]
    area = np.abs(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]) / 2
    return np.abs(_apart(np.log(np.maximum(area, 1.0)).reshape(81, 1).astype(np.float32)))[:, 0]


def _outside(crossings: Points, size: tuple[int, int]) -> Floats:
    """Share of each cell's corners that lie beyond the photo, (81,); ``size``: width, height."""
    out = ((crossings < -0.5) | (crossings > np.array(size) - 0.5)).any(axis=2).astype(np.float32)
    return ((out[1:, 1:] + out[:-1, :-1] + out[1:, :-1] + out[:-1, 1:]) / 4).reshape(81)


def signs(sheet: Sheet, mesh: Mesh, size: tuple[int, int]) -> Floats:
    """The signs for and against seeing each cell, float32 (81, len(SIGNS)).

    ``sheet``: of :func:`sheet_of`; ``mesh``: the one it was cut by; ``size``: width and height of
    the raster.
    """
    import cv2

    planes = sheet.astype(np.float32)
    grey = planes @ np.array([0.114, 0.587, 0.299], np.float32)
    dim, bright = planes.min(axis=2), planes.max(axis=2)
    white = (_cells(dim) >= _WHITE).mean(axis=1)
    black = (_cells(bright) <= _BLACK).mean(axis=1)
    levels = [ranked(_cells(planes[..., k]), 0.75) for k in range(3)]
    logs = np.log(np.stack(levels, axis=1) + 4)
    light = logs.mean(axis=1)
    colour = np.stack([logs[:, 2] - logs[:, 1], logs[:, 0] - logs[:, 1]], axis=1)
    usual = np.median(colour, axis=0)
    spread = float(np.median(np.abs(colour - usual))) + 0.01
    far = np.abs(colour - usual).max(axis=1)
    level = light - np.median(light)
    apart = _apart(np.column_stack([colour, light]).astype(np.float32))
    fine = grey - cv2.GaussianBlur(grey, (0, 0), 1.5)
    rough = np.log(ranked(np.abs(_cells(fine)), 0.6) + 0.3) - np.log(np.exp(light))
    rough = rough - np.median(rough)
    mean, worst, corner = _lost(grey)
    seen = mesh.seen.astype(np.float32)
    unseen = 1 - ((seen[1:, 1:] + seen[:-1, :-1] + seen[1:, :-1] + seen[:-1, 1:]) / 4).reshape(81)
    return np.column_stack(
        [
            *(white, black, mean, worst, corner),
            *(np.maximum(level, 0), np.maximum(-level, 0)),
            *(far, np.abs(apart[:, :2]).max(axis=1), np.abs(apart[:, 2])),
            *(np.maximum(-rough, 0), np.maximum(rough, 0)),
            *(_sizes(mesh), _outside(mesh.crossings, size), unseen),
        ]
    ).astype(np.float32)


def sight_of(raster: npt.NDArray[np.uint8], mesh: Mesh) -> Sight:
    """What of a grid can be seen. ``raster``: uint8 (H, W, 3); ``mesh``: the grid's, upright."""
    said = signs(sheet_of(raster, mesh), mesh, (raster.shape[1], raster.shape[0]))
    return Sight()
