"""Is a found grid good enough to read, and if not, what should the person do?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from papernudge.hints.catalogue import message
from papernudge.vision.flatten import Flat
from papernudge.vision.grid import Quality
from papernudge.vision.lines import ranked
from papernudge.vision.mesh import Points
from papernudge.vision.tuned import tuned

LEAST_CELL = tuned("quality.LEAST_CELL")
"""A cell of fewer raster pixels holds no digit that could be told from another."""
MOST_BLUR = tuned("quality.MOST_BLUR")
"""Blur, as a share of a cell's side, that leaves nothing of a digit but a blob."""
LEAST_CONTRAST = tuned("quality.LEAST_CONTRAST")
"""Darkness of the lines between blocks, share of full scale, that noise drowns."""
_MISSING = tuned("quality._MISSING")
"""Cells that may lie beyond the photo's edge."""


SIDES = ("left", "right", "top", "bottom")
"""Of a photo."""
_AT_EDGE = tuned("quality._AT_EDGE")
"""A rim this near to the photo's edge lies along it."""
_PAST = tuned("quality._PAST")
"""The same where the lines inside say that it lies so far beyond."""
_DARK = message("lines are faint")


def judge(flat: Flat, scale: float) -> Quality:
    """Quality of a flattened grid. ``scale``: raster pixels per pixel that it was measured in.

    The size is named first since coming nearer often cures the others too.
    """
    cell = cell_side(flat.mesh.crossings) * scale
    blur, contrast = _blur(flat), _contrast(flat)
    reason, says = None, None
    if cell < LEAST_CELL:
        small = too_small(cell)
        reason, says = small.reason, small.says
    elif contrast < LEAST_CONTRAST:
        reason, says = "dark", _DARK
    elif blur > MOST_BLUR:
        reason, says = "blurred", message("grid is blurred")
    return Quality(reason is None, reason, says, cell, blur, contrast)


def cell_side(crossings: Points) -> float:
    """Median length of a cell's sides, pixels; ``crossings``: (10, 10, 2)."""
    across = np.linalg.norm(np.diff(crossings, axis=1), axis=2)
    down = np.linalg.norm(np.diff(crossings, axis=0), axis=2)
    return float(ranked(np.concatenate([across.ravel(), down.ravel()])))


def _blur(flat: Flat) -> float:
    """Width that the lines between blocks are smeared to, as of a Gaussian's sigma, cells.

    A narrow line's darkness times its width survives any blur, and its darkness falls as the
    blur widens it: their ratio over √(2π) is the blur.
    """
    drawn = flat.drawn_blocks
    mass = flat.segments.mass()[drawn]
    strength = np.maximum(flat.segments.strength[drawn], 0.5)
    return float(ranked((mass / strength).ravel())) / 2.5066


def _contrast(flat: Flat) -> float:
    """Darkness of the lines between blocks against the paper, 0 to 1."""
    return float(np.clip(ranked(flat.segments.strength[flat.drawn_blocks].ravel()) / 255.0, 0, 1))


def too_small(cell: float) -> Quality:
    """The judgement of a grid whose cells, so many raster pixels wide, are too few to read."""
    return Quality(False, "small", message("cells are small", cell=cell, least=LEAST_CELL), cell)


def too_many(read: int) -> Quality:
    """The judgement of a grid on a page of very many, of which so many were looked at."""
    return Quality(False, "many", message("many grids", read=read))


def too_faint(quality: Quality) -> Quality:
    """The judgement of a grid whose lines can't be followed."""
    return replace(quality, ok=False, reason="dark", says=_DARK)


def cut_off(side: str, quality: Quality) -> Quality:
    """The judgement of a grid that the photo's ``side`` (left, right, top, bottom) cuts."""
    says = message(f"edge is cut off, {side}")
    return replace(quality, ok=False, reason="cut off", says=says)


def cut_side(crossings: Points, size: tuple[int, int], most: float = _MISSING) -> str | None:
    """The side of the photo that cuts the grid off, or None.

    ``crossings``: (..., 2), raster x/y of the whole grid's; ``size``: width and height of the
    raster; ``most``: cells that may lie beyond. Half of one leaves its digit whole, but where
    lines lie beyond the edge is guessed.
    """
    points = crossings.reshape(-1, 2)
    cell = float(np.sqrt(np.prod(np.ptp(points, axis=0)))) / 9
    beyond = _beyond(points, np.array(size) - 1.0).max(axis=0)
    return SIDES[int(beyond.argmax())] if beyond.max() > most * cell else None


def squeezed_side(crossings: Points, size: tuple[int, int]) -> str | None:
    """The side of the photo at which a mesh ends because the photo does, or None.

    ``crossings``: (10, 10, 2), raster x/y. The photo's edge may be taken for a line: then the rim
    lies along it, where inside it every line says that the next is beyond.
    """
    cell, most = cell_side(crossings), np.array(size) - 1.0
    turned = crossings.transpose(1, 0, 2)
    for lines in (crossings, crossings[::-1], turned, turned[::-1]):
        told = 2 * lines[1] - lines[2]
        there = _beyond(lines[0], most)
        beyond = _beyond(told, most)
        squeezed = (there.max(axis=1) > -_AT_EDGE * cell) & (beyond.max(axis=1) > _PAST * cell)
        if squeezed.any():
            return SIDES[int(beyond[squeezed].max(axis=0).argmax())]
    return None


def _beyond(points: Points, most: Points) -> Points:
    """How far points (N, 2) lie beyond the photo's SIDES, (N, 4), pixels; negative inside."""
    return np.concatenate([-points, points - most], axis=1)[:, [0, 2, 1, 3]]
