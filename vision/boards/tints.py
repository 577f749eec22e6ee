"""Tints, diagonals and marks: what makes further houses of a board, and what makes it a puzzle of
another kind.

A network tells what is printed, cell by cell and edge by edge. What that means is told by rules: an
extra block has as many cells as there are symbols and hangs together, houses are printed evenly,
and of several accounts of the tints the one counts that they speak least against.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.sheets import BOARD_NAMES, CELL_NAMES, MARKS, STEP, Printed
from papernudge.hints.layout import beside
from papernudge.vision.boards.regions import pairs
from papernudge.vision.tuned import several, tuned, whole

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Cells = tuple[int, ...]

_MOST = tuned("boards.tints._MOST")
"""Most nats that one cell or edge may say: what lies on it may say anything."""
_RIM = tuned("boards.tints._RIM")
"""What an edge's nats weigh beside a cell's."""
_LEVELS = several("boards.tints._LEVELS")[0]
"""Log-odds from which on cells are tried as tinted."""
_HOUSES = tuned("boards.tints._HOUSES")
"""Nats that extra blocks are less likely beforehand than none."""
_STREWN = tuned("boards.tints._STREWN")
"""The same of cells tinted without any rule."""
_CLEAR = tuned("boards.tints._CLEAR")
"""Nats by which an account must beat all that make other houses."""
_FEW = whole("boards.tints._FEW")
"""Cells by which strewn tints must differ in number from a house: what is nearly one may be it."""
_LINE = tuned("boards.tints._LINE")
"""Log-odds on either side of nought within which a line along a diagonal may be there or not."""
_MARKED = tuned("boards.tints._MARKED")
"""Log-odds from which on marks are seen."""


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


@dataclass(frozen=True, slots=True)
class _Account:
    """What tints may mean: ``tinted`` cells, the further houses that they make, and the nats that
    it is less likely beforehand than that there are none.
    """

    tinted: frozenset[int]
    less: float = 0.0
    cross: bool = False
    extra: tuple[Cells, ...] = ()
    strewn: bool = False

    @property
    def houses(self) -> tuple[bool, tuple[Cells, ...]]:
        """What it makes of the board."""
        return self.cross, self.extra


def marks_of(printed: Printed) -> str:
    """What marks of a puzzle of another kind are seen, one of MARKS; nothing where there are
    none.
    """
    odds = printed.board[[BOARD_NAMES.index(name) for name in MARKS]]
    best = int(odds.argmax())
    return MARKS[best] if odds[best] > _MARKED else ""


def further(printed: Printed, blocks: list[list[int]]) -> Further:
    """What a flat board shows of further houses. ``blocks``: the cells of each block."""
    marks = marks_of(printed)
    if marks:
        return Further(odd=True, marks=marks)
    lines = [_line(printed, name) for name in ("falling", "rising")]
    if None in lines or lines[0] != lines[1]:
        return Further(odd=True)
    weighed = sorted(
        ((_against(printed, one) + one.less, n, one) for n, one in enumerate(_told(printed, blocks))),
    )
    cost, _, best = weighed[0]
    others = [other for other, _, one in weighed if one.houses != best.houses]
    odd = bool(others) and others[0] - cost < _CLEAR
    if best.strewn:
        side = printed.cells.shape[1]
        odd |= any(abs(len(p) - side) <= _FEW for p in _pieces(printed, sorted(best.tinted)))
    if lines[0] and best.cross:
        pass  # a tint under the lines
    return Further(bool(lines[0]) or best.cross, best.extra, odd)


def _line(printed: Printed, name: str) -> bool | None:
    """Whether a line runs along a diagonal; None where it may and may not."""
    odds = float(printed.board[BOARD_NAMES.index(name)])
    return None if abs(odds) < _LINE else odds > 0


def crossed(side: int) -> Flags:
    """The cells of both diagonals, bool (S, S)."""
    row, column = np.indices((side, side))
    return np.asarray((row == column) | (row + column == side - 1))


# ------------------------------------------------------------- accounts of the tints


def _told(printed: Printed, blocks: list[list[int]]) -> Iterator[_Account]:
    """All that tints may mean."""
    tint = printed.cells[CELL_NAMES.index("tint")]
    side, flat = len(tint), tint.ravel()
    yield _Account(frozenset())
    whole_blocks = [block for block in blocks if flat[block].mean() > 0]
    yield _Account(frozenset(c for block in whole_blocks for c in block), 1.0)
    yield _Account(frozenset(np.flatnonzero(flat > 0).tolist()), _STREWN, strewn=True)
    cross = frozenset(np.flatnonzero(crossed(side).ravel()).tolist())
    yield _Account(cross, _HOUSES, cross=True)
    known = {tuple(sorted(block)) for block in blocks} | _rows(side)
    tried: set[tuple[Cells, ...]] = set()
    for level in _LEVELS:
        seen = _pieces(printed, np.flatnonzero(flat > level).tolist())
        houses = [p for p in seen if len(p) == side and p not in known]
        full = [*houses, *_filled(houses, seen, side)]
        for extra in (houses, full, *_mirrored(full, side), *_mirrored(houses, side)):
            key = tuple(sorted(extra))
            if key and key not in tried:
                tried.add(key)
                yield _Account(frozenset(c for p in key for c in p), _HOUSES, extra=key)
                if not cross & {c for p in key for c in p}:
                    both = cross.union(*key)
                    yield _Account(both, 2 * _HOUSES, cross=True, extra=key)


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


def _pieces(printed: Printed, cells: list[int]) -> list[Cells]:
    """Pieces of these cells that hang together across edges where no tint ends."""
    side = printed.cells.shape[1]
    ends = zip(*(part.ravel().tolist() for part in pairs(side)), strict=True)
    apart = {
        edge for edge, odd in zip(ends, printed.edges[STEP].ravel().tolist(), strict=True) if odd > 0
    }
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


def _against(printed: Printed, account: _Account) -> float:
    """Nats that cells and edges speak against an account of the tints."""
    tint = np.clip(printed.cells[CELL_NAMES.index("tint")], -_MOST, _MOST)
    side = len(tint)
    flags = np.zeros(side * side, bool)
    flags[sorted(account.tinted)] = True
    cells = float(np.abs(tint.ravel())[(tint.ravel() > 0) != flags].sum())
    home = np.where(flags, -1, -2)
    for number, piece in enumerate(account.extra):
        home[list(piece)] = number
    one, two = pairs(side)
    rim = flags[one] != flags[two]
    # Two tints that touch may be one tone or two.
    free = flags[one] & flags[two] & (home[one] != home[two])
    free |= flags[one] & flags[two] & (home[one] == -1)
    step = np.clip(printed.edges[STEP], -_MOST, _MOST)
    edges = float(np.abs(step)[((step > 0) != rim) & ~free].sum())
    return cells + _RIM * edges
