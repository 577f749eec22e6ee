"""A board as a value: its cells, its symbols, its houses. What the rules need is derived from it.

The newspaper's 9×9 grid with blocks of 3×3 is one value, written down here and nowhere else. Words
for others (``2x3``, a line of regions) are read by ``papernudge.hints.shapes``.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache
from itertools import combinations, product
from typing import NamedTuple

from papernudge.hints.masks import (
    DIGITS_IN,
    SYMBOLS,
    Candidates,
    Cell,
    Cells,
    Digit,
    House,
    cells_mask,
    know_digits,
    members,
)

SMALLEST, LARGEST = 4, len(SYMBOLS)
"""How many cells a house may have."""

ROW, COLUMN, BLOCK, DIAGONAL, EXTRA = "row", "column", "block", "diagonal", "extra block"
"""The kinds of houses."""


@dataclass(frozen=True, slots=True)
class HouseOf:
    """A set of cells that holds each symbol once. ``kind``: row, column, block, diagonal or extra
    block; ``number``: among those of its kind, from 1; ``cells``: in reading order.
    """

    kind: str
    number: int
    cells: tuple[int, ...]

    @property
    def name(self) -> str:
        """``row 4``."""
        return f"{self.kind} {self.number}"


class Plan(NamedTuple):
    """What tells one layout from another. ``side``: cells of a house; ``even``: rows and columns of
    a block where all are alike, else None, and ``blocks``: the cells of each; ``diagonals``:
    whether both are houses; ``extra``: the cells of each extra block.
    """

    side: int
    even: tuple[int, int] | None
    blocks: tuple[tuple[int, ...], ...]
    diagonals: bool = False
    extra: tuple[tuple[int, ...], ...] = ()


@dataclass(frozen=True, eq=False)
class Layout:
    """``wide`` and ``high``: cells of a line across and down; ``symbols``: what a cell may hold,
    in order; ``houses``: kind by kind. Cells count from 0, row by row.

    There is one layout of a plan: two of them are equal where they are the same.
    """

    wide: int
    high: int
    symbols: str
    houses: tuple[HouseOf, ...]
    plan: Plan

    @staticmethod
    def of_blocks(
        block_high: int,
        block_wide: int,
        diagonals: bool = False,
        extra: Iterable[Sequence[int]] = (),
    ) -> Layout:
        """The square board on which each row, each column and each block of so many rows and
        columns holds every symbol once, and so does each of the further houses. ValueError where
        there are fewer than 4 symbols or more than 16, or an extra block is of another size.
        """
        side = block_wide * block_high
        corners = product(range(0, side, block_high), range(0, side, block_wide))
        blocks = tuple(
            tuple(side * (top + r) + left + c for r in range(block_high) for c in range(block_wide))
            for top, left in corners
        )
        return layout_of(Plan(side, (block_high, block_wide), blocks, diagonals, _sorted(extra)))

    @staticmethod
    def of_regions(
        regions: Iterable[Sequence[int]],
        diagonals: bool = False,
        extra: Iterable[Sequence[int]] = (),
    ) -> Layout:
        """The same with blocks of any form. ``regions``: the cells of each. ValueError where they
        don't part the board into as many as each has cells.
        """
        blocks = _sorted(regions)
        side = len(blocks)
        if sorted(cell for block in blocks for cell in block) != list(range(side * side)):
            raise ValueError(f"expected {side} blocks that hold each of {side * side} cells once")
        return layout_of(Plan(side, _even(side, blocks), blocks, diagonals, _sorted(extra)))

    def turned(self, quarter_turns: int) -> Layout:
        """The board as it reads when its paper was turned clockwise so often."""
        if quarter_turns % 4 == 0:
            return self

        def moved(houses: Iterable[Sequence[int]]) -> list[list[int]]:
            return [[self.turned_cell(cell, quarter_turns) for cell in house] for house in houses]

        blocks, extra = moved(self.plan.blocks), moved(self.plan.extra)
        return Layout.of_regions(blocks, self.plan.diagonals, extra)

    def turned_cell(self, cell: int, quarter_turns: int) -> int:
        """Where a cell lies on the board so turned."""
        row, column = self.place(cell)
        for _ in range(quarter_turns % 4):
            row, column = column, self.side - 1 - row
        return self.at(row, column)

    def __reduce__(self) -> tuple[object, ...]:
        """Read back, it is the one layout of its plan again."""
        return layout_of, (self.plan,)

    # -------------------------------------------------------------- sizes

    @cached_property
    def side(self) -> int:
        """How many symbols there are, and cells in a house."""
        return len(self.symbols)

    @cached_property
    def many(self) -> int:
        """How many cells there are."""
        return self.wide * self.high

    @property
    def digits(self) -> range:
        """All digits, from 1."""
        return range(1, self.side + 1)

    @cached_property
    def cells(self) -> range:
        """All cells."""
        return range(self.many)

    @cached_property
    def blank(self) -> str:
        """The line of an empty board."""
        return "." * self.many

    @property
    def even(self) -> tuple[int, int] | None:
        """Rows and columns of a block where all are alike."""
        return self.plan.even

    @cached_property
    def all_cells(self) -> Cells:
        """The set of all cells."""
        return (1 << self.many) - 1

    @cached_property
    def all_digits(self) -> int:
        """The set of all digits."""
        return (1 << self.side) - 1

    @property
    def fewest(self) -> int:
        """No puzzle with one solution has fewer givens: on any board two digits that stand nowhere
        could change places. Of the newspaper's: G. McGuire, B. Tugemann and G. Civario, *There is
        no 16-clue Sudoku*, Experimental Mathematics 23(2), 2014; from memory.
        """
        return 17 if self is NEWSPAPER else self.side - 1

    @cached_property
    def all_candidates(self) -> Candidates:
        """The set of all candidates: bit ``many * (d - 1) + c`` for digit d in cell c."""
        return (1 << self.side * self.many) - 1

    # -------------------------------------------------------------- houses

    @cached_property
    def houses_of(self) -> tuple[tuple[int, ...], ...]:
        """For each cell the numbers of its houses, in their order."""
        found: list[list[int]] = [[] for _ in self.cells]
        for number, house in enumerate(self.houses):
            for cell in house.cells:
                found[cell].append(number)
        return tuple(map(tuple, found))

    @cached_property
    def house_cells(self) -> tuple[tuple[int, ...], ...]:
        """The cells of each house, in reading order."""
        return tuple(house.cells for house in self.houses)

    @cached_property
    def masks(self) -> tuple[Cells, ...]:
        """The same as sets of cells: bit ``c`` for cell ``c``."""
        return tuple(map(cells_mask, self.house_cells))

    @cached_property
    def rows(self) -> tuple[House, ...]:
        """For each cell its row."""
        return self.of_kind(ROW)

    @cached_property
    def columns(self) -> tuple[House, ...]:
        """For each cell its column."""
        return self.of_kind(COLUMN)

    @cached_property
    def blocks(self) -> tuple[House, ...]:
        """For each cell its block."""
        return self.of_kind(BLOCK)

    @cached_property
    def compact(self) -> tuple[bool, ...]:
        """For each house whether it lies together, as a block does, or along a line."""
        return tuple(house.kind in (BLOCK, EXTRA) for house in self.houses)

    def all_of(self, kind: str) -> tuple[House, ...]:
        """The houses of a kind."""
        return tuple(n for n, house in enumerate(self.houses) if house.kind == kind)

    def of_kind(self, kind: str) -> tuple[House, ...]:
        """For each cell the number of its house of this kind, -1 where it is in none."""
        found = [-1] * self.many
        for number, house in enumerate(self.houses):
            if house.kind == kind:
                for cell in house.cells:
                    found[cell] = number
        return tuple(found)

    @cached_property
    def peers(self) -> tuple[tuple[int, ...], ...]:
        """For each cell those that share a house with it, in order."""
        return tuple(tuple(members(mask)) for mask in self.peer_masks)

    @cached_property
    def peer_masks(self) -> tuple[Cells, ...]:
        """The peers as sets of cells."""
        masks = []
        for cell, houses in enumerate(self.houses_of):
            mask = 0
            for number in houses:
                mask |= self.masks[number]
            masks.append(mask & ~(1 << cell))
        return tuple(masks)

    @cached_property
    def widest_meeting(self) -> int:
        """The most cells that two houses share."""
        pairs = combinations(set(self.masks), 2)
        return max((one & other).bit_count() for one, other in pairs)

    def holding(self, mask: Cells) -> tuple[House, ...]:
        """The houses that hold the whole set; none for the empty set."""
        if not mask:
            return ()
        masks = self.masks
        first = (mask & -mask).bit_length() - 1
        return tuple([h for h in self.houses_of[first] if mask & ~masks[h] == 0])

    def seen_by_all(self, mask: Cells) -> Cells:
        """The cells that every cell of a set sees."""
        return _seen_by_all(self, mask)

    # -------------------------------------------------------------- candidates

    @cached_property
    def keep(self) -> tuple[Candidates, ...]:
        """For each candidate what stays when it is written: all but its rivals."""
        every, one_cell = self.all_candidates, self.in_cell[self.all_digits]
        rivals = [
            self.peer_masks[cell] << self.many * (digit - 1)
            | one_cell << cell & ~(1 << self.many * (digit - 1) + cell)
            for digit in self.digits
            for cell in self.cells
        ]
        return tuple(every & ~mask for mask in rivals)

    @cached_property
    def in_cell(self) -> _InCell:
        """Each set of digits as candidates of the first cell."""
        return _InCell(self.many)

    def candidate(self, cell: Cell, digit: Digit) -> Candidates:
        """The set of this one candidate."""
        return 1 << (self.many * (digit - 1) + cell)

    def candidates_of(self, digit: Digit, cells: Cells) -> Candidates:
        """The candidates for one digit in a set of cells."""
        return cells << self.many * (digit - 1)

    def pairs(self, mask: Candidates) -> tuple[tuple[Cell, Digit], ...]:
        """The pairs of cell and digit in a set of candidates, by cell and then digit."""
        many = self.many
        return tuple(sorted([(bit % many, bit // many + 1) for bit in members(mask)]))

    def cells_in(self, mask: Candidates) -> Cells:
        """The cells of a set of candidates."""
        cells = 0
        while mask:
            cells |= mask & self.all_cells
            mask >>= self.many
        return cells

    # -------------------------------------------------------------- places and names

    def place(self, cell: int) -> tuple[int, int]:
        """Row and column of a cell, from 0."""
        return divmod(cell, self.wide)

    def at(self, row: int, column: int) -> int:
        """The cell of this row and column, from 0."""
        return self.wide * row + column

    def around(self, cell: int, reach: int = 1) -> tuple[int, ...]:
        """The cells no more than ``reach`` rows and columns away, itself among them, in order."""
        return around(self.side, cell, reach)

    def box(self, house: int) -> tuple[int, int, int, int]:
        """First column, first row and those behind the last of a house: what it spans."""
        places = [self.place(cell) for cell in self.houses[house].cells]
        rows, columns = ({place[axis] for place in places} for axis in (0, 1))
        return min(columns), min(rows), max(columns) + 1, max(rows) + 1

    def name(self, cell: int) -> str:
        """``R4C7``: row and column count from 1."""
        row, column = self.place(cell)
        return f"R{row + 1}C{column + 1}"

    def read(self, line: str) -> list[int]:
        """The digits of a line, 0 for nothing."""
        return [self.symbols.find(mark) + 1 for mark in line]

    def names(self, cells: Iterable[int]) -> list[str]:
        """The names of several cells."""
        return [self.name(cell) for cell in cells]

    def house_name(self, house: House) -> str:
        """``row 4``, ``column 2``, ``block 9``, ``diagonal 1`` (from the top left) or ``extra block
        3``.
        """
        return self.houses[house].name

    def cell(self, name: str) -> int | None:
        """The cell that ``R4C7`` names, in any case; None where it names none."""
        row, _, column = name.strip().upper().removeprefix("R").partition("C")
        if not (row.isascii() and row.isdigit() and column.isascii() and column.isdigit()):
            return None
        down, across = int(row), int(column)
        if not (1 <= down <= self.high and 1 <= across <= self.wide):
            return None
        cell = self.at(down - 1, across - 1)
        return cell if self.name(cell) == name.strip().upper() else None


@cache
def layout_of(plan: Plan) -> Layout:
    """The layout of a plan, one for each."""
    side = plan.side
    if not SMALLEST <= side <= LARGEST:
        raise ValueError(f"expected houses of {SMALLEST} to {LARGEST} cells, got {side}")
    wrong = [block for block in (*plan.blocks, *plan.extra) if len({*block}) != side]
    if wrong:
        raise ValueError(f"expected blocks of {side} cells, got one of {len({*wrong[0]})}")
    know_digits(side)
    along = range(side)
    kinds = (
        (ROW, [tuple(side * r + c for c in along) for r in along]),
        (COLUMN, [tuple(side * r + c for r in along) for c in along]),
        (BLOCK, plan.blocks),
        (DIAGONAL, _diagonals(side) if plan.diagonals else ()),
        (EXTRA, plan.extra),
    )
    houses = tuple(
        HouseOf(kind, number, cells)
        for kind, group in kinds
        for number, cells in enumerate(group, start=1)
    )
    return Layout(side, side, SYMBOLS[:side], houses, plan)


def around(side: int, cell: int, reach: int = 1) -> tuple[int, ...]:
    """The same of :meth:`Layout.around` on any board of so many rows."""
    row, column = divmod(cell, side)
    rows, columns = (range(max(0, x - reach), min(side, x + reach + 1)) for x in (row, column))
    return tuple(side * r + c for r in rows for c in columns)


def beside(side: int, cell: int) -> list[int]:
    """The cells that touch a cell along its sides, on a board of so many rows."""
    row, column = divmod(cell, side)
    near = ((row - 1, column), (row + 1, column), (row, column - 1), (row, column + 1))
    return [side * r + c for r, c in near if 0 <= r < side and 0 <= c < side]


def pieces(side: int, cells: Iterable[int]) -> int:
    """Into how many parts that touch nowhere along a side these cells fall."""
    left, many = set(cells), 0
    while left:
        many += 1
        todo = [left.pop()]
        while todo:
            near = left.intersection(beside(side, todo.pop()))
            left -= near
            todo += near
    return many


def _diagonals(side: int) -> tuple[tuple[int, ...], ...]:
    return tuple((side + 1) * k for k in range(side)), tuple(
        (side - 1) * (k + 1) for k in range(side)
    )


def _sorted(blocks: Iterable[Sequence[int]]) -> tuple[tuple[int, ...], ...]:
    """Blocks in reading order, by their first cells, each in reading order."""
    return tuple(sorted(tuple(sorted(block)) for block in blocks))


def _even(side: int, blocks: tuple[tuple[int, ...], ...]) -> tuple[int, int] | None:
    """The rows and columns of blocks that are all alike and lie in a lattice."""
    for high in range(2, side):
        if side % high == 0 and side > high:
            wide = side // high
            top = tuple(side * r + c for r in range(high) for c in range(wide))
            moves = product(range(0, side, high), range(0, side, wide))
            if blocks == tuple(tuple(side * r + c + cell for cell in top) for r, c in moves):
                return high, wide
    return None


class _InCell(dict[int, Candidates]):
    """Sets of digits as candidates of the first cell, made when they are first asked for."""

    def __init__(self, many: int) -> None:
        super().__init__()
        self.many = many

    def __missing__(self, digits: int) -> Candidates:
        mask = 0
        for digit in DIGITS_IN[digits]:
            mask |= 1 << self.many * (digit - 1)
        self[digits] = mask
        return mask


@lru_cache(maxsize=1 << 16)
def _seen_by_all(layout: Layout, mask: Cells) -> Cells:
    seen = layout.all_cells
    for cell in members(mask):
        seen &= layout.peer_masks[cell]
    return seen


NEWSPAPER = Layout.of_blocks(3, 3)
"""The grid that newspapers print."""
