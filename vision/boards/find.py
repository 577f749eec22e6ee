"""Boards of other sizes and forms on a page: what of them is read off the paper itself."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.sheets import HEAVY, read
from papernudge.hints.catalogue import message
from papernudge.hints.layout import LARGEST, NEWSPAPER, SMALLEST, Layout
from papernudge.vision.boards.lattice import lattice_in
from papernudge.vision.boards.regions import Blocks, blocks_of, even, even_shape
from papernudge.vision.boards.sheet import flattened
from papernudge.vision.boards.tints import further
from papernudge.vision.find import Searched, area, find_grids, overlaps
from papernudge.vision.find_outlines import Contour, paper_pieces, quad_of
from papernudge.vision.grid import FoundGrid, GridKind, Quality
from papernudge.vision.mesh import Mesh, Points
from papernudge.vision.quality import LEAST_CELL, cell_side

Raster = npt.NDArray[np.uint8]

_LEAST = 60
"""Smallest side of a frame, pixels of the searched picture."""
_LEAST_PIECE, _CELLS = 6, 4
"""Smallest side of paper enclosed by ink that may be a cell or a block, and how many of these a
frame holds: faint lines leave the blocks of the smallest board."""
_BLOCK, _FILLED = 0.35, 0.25
"""Greatest share of the frame's box that one of them may take, and the least that all of them do:
letters' eyes in a framed text are small."""
_LARGER = 1.2
"""Area of a frame, shares of a known grid's inside it, from which on that may be a part of it."""
_MOST = 12
"""Frames that are tried, the largest first: a bound of time."""


class Board(NamedTuple):
    """What was seen under a mesh: the board, and its blocks with what speaks for them. ``layout``
    None: what was seen is no such house or may be none; ``marks``: what was seen of a puzzle of
    another kind.
    """

    layout: Layout | None
    blocks: Blocks
    marks: str = ""


_NINE = Blocks(even(NEWSPAPER.side, *(NEWSPAPER.even or (3, 3))), 0.0, np.inf, None)
"""The newspaper's blocks."""


def find_all(raster: Raster) -> tuple[FoundGrid, ...]:
    """All grids of a page, ``raster`` uint8 (H, W, 3): the newspaper's, and other boards."""
    page = Searched.of(raster)
    return () if page is None else with_boards(raster, find_grids(raster, page), page)


def with_boards(
    raster: Raster, found: tuple[FoundGrid, ...], page: Searched
) -> tuple[FoundGrid, ...]:
    """The page's grids, boards of other sizes and forms told apart.

    ``raster``: uint8 (H, W, 3), blue, green, red; ``page``: the same as it is searched; ``found``:
    what was found of newspaper grids, and what is another grid. What can be read as a board takes
    the other's place or is added at the end; the newspaper's own grids stay as they are.
    """
    view, scale = page.view, page.scale
    kept = [_marked(raster, grid) for grid in found]
    for contour, quad in _frames(page, found):
        seen = lattice_in(view, contour)
        if seen is None or not SMALLEST <= seen.side <= LARGEST:
            continue
        mesh = Mesh((seen.mesh.crossings + 0.5) * scale - 0.5, seen.mesh.seen)
        if cell_side(mesh.crossings) < LEAST_CELL:
            continue
        board = board_of(raster, mesh)
        if board is None or board.layout is NEWSPAPER:
            continue
        quality = Quality(True, cell_px=cell_side(mesh.crossings))
        there = [grid for grid in kept if overlaps(grid.corners, [quad])]
        if board.layout is None:
            if board.marks and all(grid.mesh is None for grid in there):
                kept = [grid for grid in kept if grid not in there]
                kept.append(_other(FoundGrid(GridKind.OTHER, quad, None, quality), board.marks))
            continue
        kept = [grid for grid in kept if grid not in there]
        doubts, other = _doubts(board.layout, board.blocks)
        kept.append(FoundGrid(GridKind.PUZZLE, quad, mesh, quality, board.layout, doubts, other))
    return tuple(kept)


def _marked(raster: Raster, grid: FoundGrid) -> FoundGrid:
    """A newspaper grid, or the board that heavy lines of another course, diagonals and extra blocks
    make of it, or a puzzle of another kind.
    """
    if grid.mesh is None or grid.kind is not GridKind.PUZZLE:
        return grid
    board = board_of(raster, grid.mesh, _NINE)
    if board is None or board.layout is NEWSPAPER:
        return grid
    if board.layout is None:
        return _other(grid, board.marks)
    doubts, other = _doubts(board.layout, board.blocks)
    return replace(grid, layout=board.layout, layout_doubts=doubts, other_layout=other)


def _other(grid: FoundGrid, marks: str) -> FoundGrid:
    """The grid as a puzzle of another kind, with what was seen of it, if that can be told."""
    quality = replace(grid.quality, ok=True, reason=None, says=None)
    if marks:
        quality = replace(quality, ok=False, reason=marks, says=message(f"marks, {marks}"))
    return replace(grid, kind=GridKind.OTHER, mesh=None, quality=quality)


def _frames(page: Searched, found: tuple[FoundGrid, ...]) -> list[tuple[Contour, Points]]:
    """Pieces of ink that may be another board's frame, and their corners (4, 2), raster pixels."""
    import cv2

    taken = [grid.corners for grid in found if grid.mesh is not None]
    middles, sizes = paper_pieces(page.pieces, _LEAST_PIECE)
    areas = sizes.prod(axis=1)
    sized = []
    for contour in page.frames:
        if len(contour) < 3 * _LEAST:
            continue
        x, y, wide, high = cv2.boundingRect(contour)
        if min(wide, high) < _LEAST:
            continue
        held = ((middles > [x, y]) & (middles < [x + wide, y + high])).all(axis=1)
        held &= areas < _BLOCK * wide * high
        if held.sum() >= _CELLS and areas[held].sum() > _FILLED * wide * high:
            sized.append((wide * high, contour))
    sized.sort(key=lambda item: -item[0])
    out = []
    for _, contour in sized[:_MOST]:
        quad = quad_of(contour)
        if quad is None:
            continue
        quad = (quad + 0.5) * page.scale - 0.5
        inside = [corners for corners in taken if overlaps(corners, [quad])]
        # What is no more than a known grid's own frame is that grid's.
        if all(area(quad) > _LARGER * area(corners) for corners in inside):
            out.append((contour, quad))
    return out


def _doubts(layout: Layout, blocks: Blocks) -> tuple[tuple[tuple[int, float], ...], Layout | None]:
    """Cells that may belong to another block, and the board if they do."""
    if blocks.sure or blocks.other is None:
        return (), None
    plan = layout.plan
    other = layout_of(Blocks(blocks.other, 0.0, 0.0, None), plan.diagonals, plan.extra)
    chance = 1 / (1 + np.exp(-blocks.margin))
    cells = blocks.moved.tolist()
    return tuple((cell, float(chance)) for cell in cells), other


def board_of(raster: Raster, mesh: Mesh, usual: Blocks | None = None) -> Board | None:
    """What board lies under a mesh (S + 1, S + 1, 2), raster pixels; None where it is none.
    ``usual``: its blocks where none can be made out.
    """
    printed = read(flattened(raster, mesh).planes)
    blocks = blocks_of(printed.edges[HEAVY]) or usual
    if blocks is None:
        return None
    more = further(printed, blocks.cells)
    if more.odd:
        return Board(None, blocks, more.marks)
    return Board(layout_of(blocks, more.diagonals, more.extra), blocks)


def layout_of(blocks: Blocks, diagonals: bool, extra: tuple[tuple[int, ...], ...]) -> Layout:
    """The layout of these blocks and further houses."""
    shape = even_shape(blocks.of)
    if shape is None:
        return Layout.of_regions(blocks.cells, diagonals, extra)
    return Layout.of_blocks(*shape, diagonals, extra)
