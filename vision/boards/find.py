"""Boards of other sizes and forms on a page: what of them is read off the paper itself."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from papernudge.hints.catalogue import message
from papernudge.hints.layout import LARGEST, NEWSPAPER, SMALLEST, Layout
from papernudge.vision.boards.lattice import lattice_in
from papernudge.vision.boards.printed import HEAVY, read
from papernudge.vision.boards.regions import Blocks, blocks_of, even, even_shape
from papernudge.vision.boards.sheet import flattened
from papernudge.vision.boards.tints import further
from papernudge.vision.find import Searched, area, find_grids, overlaps
from papernudge.vision.find_outlines import Contour, paper_pieces, quad_of
from papernudge.vision.grid import FoundGrid, GridKind, Quality
from papernudge.vision.mesh import Mesh, Points
from papernudge.vision.quality import LEAST_CELL, cell_side
from papernudge.vision.tuned import tuned, whole

Raster = npt.NDArray[np.uint8]

_LEAST = whole("boards.find._LEAST")
"""Smallest side of a frame, pixels of the searched picture."""
_LEAST_PIECE = whole("boards.find._LEAST_PIECE")
_CELLS = whole("boards.find._CELLS")
"""Smallest side of paper enclosed by ink that may be a cell or a block, and how many of these a
frame holds: faint lines leave the blocks of the smallest board."""
_BLOCK = tuned("boards.find._BLOCK")
_FILLED = tuned("boards.find._FILLED")
"""Greatest share of the frame's box that one of them may take, and the least that all of them do:
letters' eyes in a framed text are small."""
_LARGER = tuned("boards.find._LARGER")
"""Area of a frame, shares of a known grid's inside it, from which on that may be a part of it."""
_SAME = tuned("boards.find._SAME")
"""Cells by which a frame's corners may lie off its lattice's and still be its."""
_MOST = whole("boards.find._MOST")
_FEW = whole("boards.find._FEW")
"""Frames that are tried, the largest first, and of those without cells: a bound of time."""


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


def find_all(raster: Raster, printed: Raster | None = None) -> tuple[FoundGrid, ...]:
    """All grids of a page, ``raster`` uint8 (H, W, 3): the newspaper's, and other boards.

    ``printed``: the page as photographed where ``raster`` is one whose light was evened: that takes
    tints for shade and wipes them off, so what is printed on boards is told from this.
    """
    page = Searched.of(raster)
    seen = raster if printed is None else printed
    return () if page is None else with_boards(seen, find_grids(raster, page), page)


def with_boards(
    raster: Raster, found: tuple[FoundGrid, ...], page: Searched
) -> tuple[FoundGrid, ...]:
    """The page's grids, boards of other sizes and forms told apart.

    ``raster``: uint8 (H, W, 3), blue, green, red; ``page``: the same as it is searched; ``found``:
    what was found of newspaper grids, and what is another grid. What can be read as a board takes
    the other's place or is added at the end; the newspaper's own grids stay as they are.
    """
    kept = [_marked(raster, grid) for grid in found]
    likely, left = _frames(page, found)
    boards, unclear = _boards_in(raster, page, likely)
    if not boards and all(grid.mesh is None for grid in kept):
        boards, more = _boards_in(raster, page, left)
        unclear += more
    known = [grid.corners for grid in kept if grid.mesh is not None]
    boards = [g for g in boards if g.mesh is not None or not overlaps(g.corners, known)]
    # Of what is called another grid anyway it is said why; on the rest nobody need look.
    another = [grid.corners for grid in kept if grid.kind is GridKind.OTHER]
    for grid in unclear:
        if overlaps(grid.corners, another) and not overlaps(
            grid.corners, known + [board.corners for board in boards]
        ):
            boards.append(grid)
    others = [grid.corners for grid in boards]
    return tuple([grid for grid in kept if not overlaps(grid.corners, others)] + boards)


def _boards_in(
    raster: Raster, page: Searched, frames: list[Points]
) -> tuple[list[FoundGrid], list[FoundGrid]]:
    """The boards in some of the frames (4, 2), pixels of the searched picture, and those whose
    further houses can't be told.
    """
    boards: list[FoundGrid] = []
    unclear: list[FoundGrid] = []
    for frame in frames:
        corners = (frame + 0.5) * page.scale - 0.5
        if overlaps(corners, [grid.corners for grid in boards]):
            continue
        seen = lattice_in(page.view, frame)
        if seen is None or not SMALLEST <= seen.side <= LARGEST:
            continue
        mesh = Mesh((seen.mesh.crossings + 0.5) * page.scale - 0.5, seen.mesh.seen)
        cell = cell_side(mesh.crossings)
        board = board_of(raster, mesh) if cell >= LEAST_CELL else None
        if board is None or board.layout is NEWSPAPER:
            continue
        quality = Quality(True, cell_px=cell)
        corners = _ink_or_lines(corners, mesh.corners, cell)
        if board.layout is None:
            grid = _other(FoundGrid(GridKind.OTHER, corners, None, quality), board.marks)
            (boards if board.marks else unclear).append(grid)
            continue
        doubts, other = _doubts(board.layout, board.blocks)
        grid = FoundGrid(GridKind.PUZZLE, corners, mesh, quality, board.layout, doubts, other)
        boards.append(grid)
    return boards, unclear


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
    """The grid as a puzzle of another kind, with what was seen of it; without ``marks`` as one
    whose further houses can't be told.
    """
    says = message(f"marks, {marks or 'unclear'}")
    quality = replace(grid.quality, ok=True, reason=marks or None, says=says)
    return replace(grid, kind=GridKind.OTHER, mesh=None, quality=quality)


def _ink_or_lines(frame: Points, corners: Points, cell: float) -> Points:
    """A frame's corners (4, 2) where they are those of its lattice's outer lines, else these."""
    off = [np.linalg.norm(np.roll(frame, k, axis=0) - corners, axis=1).max() for k in range(4)]
    return frame if min(off) < _SAME * cell else corners


def _frames(page: Searched, found: tuple[FoundGrid, ...]) -> tuple[list[Points], list[Points]]:
    """Corners (4, 2), pixels of the searched picture, of what may be another board's frame.

    First pieces of ink that hold what may be cells, the largest first, and what was called another
    grid; then other large pieces of ink: inside a faint board there may be none.
    """
    import cv2

    middles, sizes = paper_pieces(page.pieces, _LEAST_PIECE)
    areas = sizes.prod(axis=1)
    sized: tuple[list[tuple[int, Contour]], list[tuple[int, Contour]]] = ([], [])
    for contour in page.frames:
        if len(contour) < 3 * _LEAST:
            continue
        x, y, wide, high = cv2.boundingRect(contour)
        if min(wide, high) < _LEAST:
            continue
        held = ((middles > [x, y]) & (middles < [x + wide, y + high])).all(axis=1)
        held &= areas < _BLOCK * wide * high
        holds = held.sum() >= _CELLS and areas[held].sum() > _FILLED * wide * high
        sized[0 if holds else 1].append((wide * high, contour))
    likely, left = (_new(page, found, many) for many in sized)
    others = [grid.corners for grid in found if grid.kind is GridKind.OTHER and grid.mesh is None]
    patches = [(corners + 0.5) / page.scale - 0.5 for corners in others]
    return likely[:_MOST] + patches, left[:_FEW]


def _new(
    page: Searched, found: tuple[FoundGrid, ...], sized: list[tuple[int, Contour]]
) -> list[Points]:
    """Corners (4, 2) of outlines, the largest first, that are not those of grids that are known."""
    taken = [grid.corners for grid in found if grid.mesh is not None]
    out = []
    for _, contour in sorted(sized, key=lambda item: -item[0])[:_MOST]:
        quad = quad_of(contour)
        if quad is None:
            continue
        full = (quad + 0.5) * page.scale - 0.5
        inside = [corners for corners in taken if overlaps(corners, [full])]
        # What is no more than a known grid's own frame is that grid's.
        if all(area(full) > _LARGER * area(corners) for corners in inside):
            out.append(quad)
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
    more = further(printed, blocks.cells, usual is not None)
    if more.odd:
        return Board(None, blocks, more.marks)
    return Board(layout_of(blocks, more.diagonals, more.extra), blocks)


def layout_of(blocks: Blocks, diagonals: bool, extra: tuple[tuple[int, ...], ...]) -> Layout:
    """The layout of these blocks and further houses."""
    shape = even_shape(blocks.of)
    if shape is None:
        return Layout.of_regions(blocks.cells, diagonals, extra)
    return Layout.of_blocks(*shape, diagonals, extra)
