"""A board as a value: its cells, its symbols, its houses. What the rules need is derived from it.

The newspaper's 9×9 grid with blocks of 3×3 is one value, written down here and nowhere else.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import product


@dataclass(frozen=True, slots=True)
class HouseOf:
    """A set of cells that holds each symbol once. ``kind``: row, column or block; ``number``: among
    those of its kind, from 1; ``cells``: in reading order.
    """

    kind: str
    number: int
    cells: tuple[int, ...]

    @property
    def name(self) -> str:
        """``row 4``."""
        return f"{self.kind} {self.number}"


@dataclass(frozen=True)
class Layout:
    """``wide`` and ``high``: cells of a line across and down; ``symbols``: what a cell may hold,
    in order; ``houses``: kind by kind. Cells count from 0, row by row.
    """

    wide: int
    high: int
    symbols: str
    houses: tuple[HouseOf, ...]

    @classmethod
    def of_blocks(cls, symbols: str, block_wide: int, block_high: int) -> Layout:
        """The square board on which each row, each column and each block of this size holds every
        symbol once. ValueError where blocks of this size don't hold as many cells.
        """
        side = len(symbols)
        if block_wide * block_high != side:
            raise ValueError(
                f"expected blocks of {side} cells, got {block_wide} × {block_high}: one for each"
                " symbol"
            )
        along = range(side)
        rows = [tuple(side * r + c for c in along) for r in along]
        columns = [tuple(side * r + c for r in along) for c in along]
        corners = product(range(0, side, block_high), range(0, side, block_wide))
        blocks = [
            tuple(side * (top + r) + left + c for r in range(block_high) for c in range(block_wide))
            for top, left in corners
        ]
        kinds = (("row", rows), ("column", columns), ("block", blocks))
        houses = tuple(
            HouseOf(kind, number, cells)
            for kind, group in kinds
            for number, cells in enumerate(group, start=1)
        )
        return cls(side, side, symbols, houses)

    @cached_property
    def cells(self) -> range:
        """All cells."""
        return range(self.wide * self.high)

    @cached_property
    def houses_of(self) -> tuple[tuple[int, ...], ...]:
        """For each cell the numbers of its houses, in their order."""
        found: list[list[int]] = [[] for _ in self.cells]
        for number, house in enumerate(self.houses):
            for cell in house.cells:
                found[cell].append(number)
        return tuple(map(tuple, found))

    @cached_property
    def peers(self) -> tuple[tuple[int, ...], ...]:
        """For each cell those that share a house with it, in order."""
        cells = tuple(self.cells)
        return tuple(tuple(c for c in cells if mask >> c & 1) for mask in self.peer_masks)

    @cached_property
    def masks(self) -> tuple[int, ...]:
        """The houses as sets of cells: bit ``c`` for cell ``c``."""
        return tuple(sum(1 << cell for cell in house.cells) for house in self.houses)

    @cached_property
    def peer_masks(self) -> tuple[int, ...]:
        """The peers as sets of cells."""
        masks = []
        for cell, houses in enumerate(self.houses_of):
            mask = 0
            for number in houses:
                mask |= self.masks[number]
            masks.append(mask & ~(1 << cell))
        return tuple(masks)

    def of_kind(self, kind: str) -> tuple[int, ...]:
        """For each cell the number of its house of this kind, -1 where it is in none."""
        found = [-1] * len(self.cells)
        for number, house in enumerate(self.houses):
            if house.kind == kind:
                for cell in house.cells:
                    found[cell] = number
        return tuple(found)

    def place(self, cell: int) -> tuple[int, int]:
        """Row and column of a cell, from 0."""
        return divmod(cell, self.wide)

    def at(self, row: int, column: int) -> int:
        """The cell of this row and column, from 0."""
        return self.wide * row + column

    def around(self, cell: int, reach: int = 1) -> tuple[int, ...]:
        """The cells no more than ``reach`` rows and columns away, itself among them, in order."""
        row, column = self.place(cell)
        rows = range(max(0, row - reach), min(self.high, row + reach + 1))
        columns = range(max(0, column - reach), min(self.wide, column + reach + 1))
        return tuple(self.at(r, c) for r in rows for c in columns)

    def box(self, house: int) -> tuple[int, int, int, int]:
        """First column, first row and those behind the last of a house: what it spans."""
        places = [self.place(cell) for cell in self.houses[house].cells]
        rows, columns = ({place[axis] for place in places} for axis in (0, 1))
        return min(columns), min(rows), max(columns) + 1, max(rows) + 1

    def name(self, cell: int) -> str:
        """``R4C7``: row and column count from 1."""
        row, column = self.place(cell)
        return f"R{row + 1}C{column + 1}"

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


NEWSPAPER = Layout.of_blocks("123456789", 3, 3)
"""The grid that newspapers print."""
