"""Tints, diagonals and marks: what makes further houses of a board, and what makes it a puzzle of
another kind.

A network tells what is printed, cell by cell and edge by edge. What that means is told by rules: an
extra block has as many cells as there are symbols and hangs together, houses are printed evenly,
and of several accounts of the tints the one counts that they speak least against.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt

from papernudge.hints.layout import beside
from papernudge.vision.boards.printed import BOARD_NAMES, CELL_NAMES, MARKS, STEP, Printed
from papernudge.vision.boards.regions import pairs, shapes
from papernudge.vision.tuned import several, tuned, whole

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Cells = tuple[int, ...]
House = tuple[bool, tuple[Cells, ...]]
"""Further houses: whether both diagonals are, and the extra blocks."""
LINES = ("falling", "rising")
"""The lines that make the diagonals houses, as the network names them."""

_MOST = tuned("boards.tints._MOST")
"""Most nats that one cell or edge may say: what lies on it may say anything."""
_RIM = tuned("boards.tints._RIM")
"""What an edge's nats weigh beside a cell's."""
_LEVELS = several("boards.tints._LEVELS")[0]
"""Log-odds from which on cells are tried as tinted."""
_RIMS = several("boards.tints._RIMS")[0]
"""Log-odds from which on edges are tried as a tint's rim."""
_HOUSES = tuned("boards.tints._HOUSES")
"""Nats that extra blocks are less likely beforehand than none."""
_STREWN = tuned("boards.tints._STREWN")
"""The same of cells tinted without any rule, and of blocks each in a tint of its own."""
_CLEAR = tuned("boards.tints._CLEAR")
"""Nats by which an account must beat all that make other houses."""
_PALE = tuned("boards.tints._PALE")
"""Log-odds by which tints may be likelier than they seem without making other houses."""
_ALIKE = tuned("boards.tints._ALIKE")
"""Share of strewn tints' cells and extra blocks' from which on, in both, they may be the latter."""
_LINE = tuned("boards.tints._LINE")
"""Log-odds from which on a line runs along a diagonal."""
_NO_LINE = tuned("boards.tints._NO_LINE")
"""The same below which none does."""
_DASHES = whole("boards.tints._DASHES")
"""Cells with a part of such a line from which on it may all the same."""
_MARKED = several("boards.tints._MARKED")[0]
"""Log-odds from which on each of MARKS is seen. Grain is like cages, a pen's rings are like odd
marks, and newspapers outnumber other puzzles by far."""
_CAGED = tuned("boards.tints._CAGED")
"""What cages must show more where the newspaper's grid is known to lie."""
_LEAST = whole("boards.tints._LEAST")
"""Cells that show them, at least."""
_CROSSED = tuned("boards.tints._CROSSED")
"""What marks must show more where lines run along both diagonals: they are like those of arrows."""


@dataclass(frozen=True, slots=True)
class Further:
    """Houses beside rows, columns and blocks. ``diagonals``: whether both are marked; ``extra``:
    the cells of each extra block; ``odd``: whether something was seen that is no such house, or may
    be one and may not; ``marks``: what was seen of a puzzle of another kind, one of MARKS.
    """

    diagonals: bool = False
    extra: tuple[Cells, ...] = ()
    odd: bool = False
    marks: str = ""


def marks_of(printed: Printed, usual: bool = False) -> str:
    """What marks of a puzzle of another kind are seen, one of MARKS; nothing where there are
    none. ``usual``: see :func:`further`.
    """
    cells = printed.cells[[CELL_NAMES.index(name) for name in MARKS]]
    many = (cells > 0).sum(axis=(1, 2))
    odds = printed.board[[BOARD_NAMES.index(name) for name in MARKS]]
    if min(printed.board[BOARD_NAMES.index(name)] for name in LINES) > _LINE:
        odds = odds - _CROSSED
    odds = odds - _MARKED
    odds[MARKS.index("cage")] -= _CAGED * usual
    best = int(np.where(many < _LEAST, -np.inf, odds).argmax())
    return MARKS[best] if many[best] >= _LEAST and odds[best] > 0 else ""


def further(printed: Printed, blocks: list[list[int]], usual: bool = False) -> Further:
    """What a flat board shows of further houses. ``blocks``: the cells of each block; ``usual``:
    whether the newspaper's grid is known to lie here, as most do, and darker corners are shade.
    """
    marks = marks_of(printed, usual)
    if marks:
        return Further(odd=True, marks=marks)
    lines = [_line(printed, name) for name in LINES]
    least, best = min(accounts := list(_told(printed, blocks)))
    diagonals, extra = best
    odd = any(cost - least < _CLEAR for cost, houses in accounts if houses != best)
    odd = odd or _paler(_keener(printed), blocks, best, usual)
    if lines in ([None, False], [False, None], [None, None]) and diagonals:
        lines = [True, True]  # told by their tint, with a line along it or without
    if None in lines or lines[0] != lines[1]:
        return Further(odd=True)
    side, tint = printed.cells.shape[1], printed.cells[CELL_NAMES.index("tint")].ravel()
    if extra:
        odd |= _lonely(extra, side)
    elif not diagonals:  # what is nearly several extra blocks is no strewn tint
        known = {tuple(sorted(block)) for block in blocks} | _rows(side)
        seen = _pieces(printed, np.flatnonzero(tint > 0).tolist(), 0.0)
        whole_ones = [piece for piece in seen if len(piece) == side and piece not in known]
        odd |= 3 * side * len(whole_ones) > 2 * int((tint > 0).sum())
    return Further(bool(lines[0]) or diagonals, extra, odd)


def _keener(printed: Printed) -> Printed:
    """The same to an eye that takes for a tint what may be a pale one, and for its rim too."""
    cells, edges = printed.cells.copy(), printed.edges.copy()
    cells[CELL_NAMES.index("tint")] += _PALE
    edges[STEP] += _PALE
    return printed._replace(cells=cells, edges=edges)


def _paler(keen: Printed, blocks: list[list[int]], best: House, usual: bool) -> bool:
    """Whether other houses than the best are told where pale tints count, or hold about all the
    tinted cells that no rule tells. One lone block is shade where none was told; so is what reaches
    into the corners of a newspaper's grid, ``usual``: photos are darkest there.
    """
    side = len(keen.cells[0])
    tinted = frozenset(np.flatnonzero(keen.cells[CELL_NAMES.index("tint")] > 0).tolist())
    accounts = [
        (cost, houses)
        for cost, houses in _told(keen, blocks)
        if best[1] or not _lonely(houses[1], side)
    ]
    if best[1]:
        return min((one for one in accounts if one[1][1]), default=(0.0, best))[1] != best
    if min(accounts)[1] != best:
        return True
    unions = {frozenset(c for piece in extra for c in piece) for _, (_, extra) in accounts}
    if usual:
        corners = {0, side - 1, side * (side - 1), side * side - 1}
        unions = {union for union in unions if not union & corners}
    ground = 3 * len(tinted) > 2 * side * side  # what the whole board is printed on
    return not ground and any(
        len(union & tinted) > _ALIKE * len(union | tinted) for union in unions if union
    )


def _lonely(extra: Sequence[Cells], side: int) -> bool:
    """Whether one extra block is all that was seen, off the middle: others may lie in shade."""
    if len(extra) != 1:
        return False
    flags = np.zeros(side * side, bool)
    flags[list(extra[0])] = True
    board = flags.reshape(side, side)
    return not any((board == image).all() for image in (board[::-1], board[:, ::-1]))


def _line(printed: Printed, name: str) -> bool | None:
    """Whether a line runs along a diagonal; None where it may and may not."""
    odds = float(printed.board[BOARD_NAMES.index(name)])
    if odds > _LINE:
        return True
    cells = printed.cells[CELL_NAMES.index(name)]
    along = np.diag(cells if name == "falling" else cells[:, ::-1])
    return False if odds < _NO_LINE and (along > 0).sum() < _DASHES else None


def crossed(side: int) -> Flags:
    """The cells of both diagonals, bool (S, S)."""
    row, column = np.indices((side, side))
    return np.asarray((row == column) | (row + column == side - 1))


# ------------------------------------------------------------- accounts of the tints


def _told(printed: Printed, blocks: list[list[int]]) -> Iterator[tuple[float, House]]:
    """All that tints may mean: nats against it, and the further houses."""
    tint = np.clip(printed.cells[CELL_NAMES.index("tint")], -_MOST, _MOST).ravel()
    step = np.clip(printed.edges[STEP], -_MOST, _MOST)
    side = printed.cells.shape[1]
    cross = frozenset(np.flatnonzero(crossed(side).ravel()).tolist())

    def against(tinted: Iterable[int], extra: Sequence[Cells] = ()) -> float:
        return _against(tint, step, frozenset(tinted), extra)

    yield against(()), (False, ())
    yield _STREWN + against(np.flatnonzero(tint > 0).tolist()), (False, ())
    yield _STREWN + _inside(step, blocks), (False, ())
    yield _HOUSES + against(cross), (True, ())
    for extra in _tried(printed, blocks):
        tinted = frozenset(cell for piece in extra for cell in piece)
        yield _HOUSES + against(tinted, extra), (False, extra)
        if not cross & tinted:
            yield 2 * _HOUSES + against(cross | tinted, extra), (True, extra)


def _tried(printed: Printed, blocks: list[list[int]]) -> set[tuple[Cells, ...]]:
    """Sets of pieces that may be the extra blocks."""
    tint = printed.cells[CELL_NAMES.index("tint")]
    side, flat = len(tint), tint.ravel()
    known = {tuple(sorted(block)) for block in blocks} | _rows(side)
    tried: set[tuple[Cells, ...]] = set()
    for level, rim in product(_LEVELS, _RIMS):
        seen = _pieces(printed, np.flatnonzero(flat > level).tolist(), rim)
        houses = [p for p in seen if len(p) == side and p not in known]
        full = [*houses, *_filled(houses, seen, side)]
        for extra in (houses, full, *_mirrored(full, side), *_mirrored(houses, side)):
            tried.add(tuple(sorted(set(extra))))
    for box in _boxes(tint):
        if box not in known:
            tried |= {tuple(sorted(extra)) for extra in ([box], *_mirrored([box], side))}
    return (tried | set(_with_one_more(tried, side))) - {()}


def _with_one_more(tried: Iterable[tuple[Cells, ...]], side: int) -> Iterator[tuple[Cells, ...]]:
    """The same sets of pieces, each with one mirror image of a piece besides."""
    for extra in tried:
        for image in _images(extra, side):
            if not _meets(image, extra):
                yield tuple(sorted({*extra, image}))


def _boxes(tint: Floats) -> Iterator[Cells]:
    """Rectangles of S cells, rather tinted than not: blocks of the usual forms, anywhere."""
    side = len(tint)
    cells = np.arange(side * side).reshape(side, side)
    odds = np.clip(tint, -_MOST, _MOST)
    for high, wide in shapes(side):
        for row, column in product(range(side - high + 1), range(side - wide + 1)):
            there = np.s_[row : row + high, column : column + wide]
            if odds[there].mean() > 0:
                yield tuple(cells[there].ravel().tolist())


def _filled(houses: list[Cells], seen: list[Cells], side: int) -> list[Cells]:
    """Mirror images of houses that hold, or are held by, a piece that is none."""
    found: set[Cells] = set()
    for piece in seen:
        if len(piece) == side:
            continue
        for image in _images(houses, side):
            shared = len(set(image) & set(piece))
            if 2 * shared > len(piece) and 2 * shared > side and not _meets(image, houses):
                found.add(image)
    return sorted(found)


def _images(houses: Iterable[Cells], side: int) -> set[Cells]:
    cells = np.arange(side * side).reshape(side, side)
    maps = [m.ravel() for m in (cells[::-1], cells[:, ::-1], cells[::-1, ::-1], cells.T)]
    return {tuple(sorted(m[list(p)].tolist())) for m in maps for p in houses}


def _mirrored(houses: list[Cells], side: int) -> Iterator[list[Cells]]:
    """Houses with all their images in one or more mirrors: they are printed evenly."""
    if not houses:
        return
    cells = np.arange(side * side).reshape(side, side)
    across, down, around = cells[:, ::-1].ravel(), cells[::-1].ravel(), cells[::-1, ::-1].ravel()
    for maps in ([across], [down], [around], [across, down, around]):
        more = set(houses)
        for m in maps:
            more |= {tuple(sorted(m[list(p)].tolist())) for p in houses}
        listed = sorted(more)
        if len(listed) > len(houses) and not any(_meets(one, listed) for one in listed):
            yield listed


def _rows(side: int) -> set[Cells]:
    """Rows and columns: houses anyway."""
    cells = np.arange(side * side).reshape(side, side)
    return {tuple(line) for lines in (cells, cells.T) for line in lines.tolist()}


def _meets(one: Cells, others: Iterable[Cells]) -> bool:
    """Whether a piece shares cells with another."""
    return any(set(one) & set(other) for other in others if other != one)


def _pieces(printed: Printed, cells: list[int], rim: float) -> list[Cells]:
    """Pieces of these cells that hang together across edges where no tint ends: where the log-odds
    of that are no more than ``rim``.
    """
    side = printed.cells.shape[1]
    ends = zip(*(part.ravel().tolist() for part in pairs(side)), strict=True)
    odds = printed.edges[STEP].ravel().tolist()
    apart = {edge for edge, odd in zip(ends, odds, strict=True) if odd > rim}
    left, found = set(cells), []
    while left:
        todo = [min(left)]
        left -= {*todo}
        piece = []
        while todo:
            cell = todo.pop()
            piece.append(cell)
            for other in beside(side, cell):
                if other in left and (min(cell, other), max(cell, other)) not in apart:
                    left.discard(other)
                    todo.append(other)
        found.append(tuple(sorted(piece)))
    return found


def _against(tint: Floats, step: Floats, tinted: frozenset[int], extra: Sequence[Cells]) -> float:
    """Nats that cells, (S²,), and edges, (2, S, S - 1), speak against an account of the tints."""
    home = np.full(len(tint), -2)
    home[sorted(tinted)] = -1
    for number, piece in enumerate(extra):
        home[list(piece)] = number
    cells = float(np.abs(tint)[(tint > 0) != (home > -2)].sum())
    one, two = (home[cell] for cell in pairs(step.shape[1]))
    # Strewn tints may be one tone or several.
    free = (one == -1) & (two == -1)
    return cells + _RIM * float(np.abs(step)[((step > 0) != (one != two)) & ~free].sum())


def _inside(step: Floats, blocks: list[list[int]]) -> float:
    """Nats that edges speak against tints which are those of whole blocks: houses anyway."""
    side = step.shape[1]
    home = np.zeros(side * side, np.int64)
    for number, block in enumerate(blocks):
        home[block] = number
    one, two = (home[cell] for cell in pairs(side))
    return _RIM * float(step[(step > 0) & (one == two)].sum())
