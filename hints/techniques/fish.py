"""Fish: a digit kept to as many columns as rows, or the other way round."""

from __future__ import annotations

from bisect import insort
from collections.abc import Iterator
from functools import lru_cache
from itertools import combinations
from typing import NamedTuple

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction, paid
from papernudge.hints.layout import BLOCK, COLUMN, ROW, Layout
from papernudge.hints.looks import Scan
from papernudge.hints.masks import Cells, Digit, House, members
from papernudge.hints.pattern import BASE, CORNER, COVER, FIN, Pattern

FISH = {2: "X-wing", 3: "swordfish", 4: "jellyfish"}


def fish(board: Board, budget: int) -> list[Deduction]:
    """Two rows have their places for a digit in the same two columns: so it is nowhere else in
    these columns. So for three and four, and with rows and columns exchanged.

    With *fins*, places outside the columns that lie in one block: either a fin holds the digit or
    the fish swims, so only what the fins see too is struck. Here it is 1 in rows 1 and 5; in the
    second drawing R5C8 is a fin.

    >>> from papernudge.hints.drawing import marked, told
    >>> rows = '''
    ...     1 2 2  2 2 2  2 2 1
    ...     . . .  . . .  . . .
    ...     2 2 2  2 2 2  2 2 2
    ...
    ...     2 2 2  2 2 2  2 2 .
    ...     1 2 2  2 2 2  2 {} 1
    ...     2 2 2  2 2 2  2 2 2'''
    >>> def of_the_rows(board):
    ...     return [d for d in fish(board, 20) if {r.house for r in d.reads} == {0, 4}]
    >>> print(told(of_the_rows(marked(rows.format(2)))))
    X-wing, 12 looks: no 1 in R2C1, R2C9, R4C9, R7C1, R7C9, R8C1, R8C9, R9C1, R9C9
    >>> print(told(of_the_rows(marked(rows.format(1)))))
    finned X-wing, 13 looks: no 1 in R4C9
    """
    found: list[Deduction] = []
    for digit in board.layout.digits:
        for size in range(2, 5):
            if 3 * size <= budget:
                found += _stock(board, digit, size).up_to(board, budget)
    return found


class _Shape(NamedTuple):
    """A fish without a digit: where it lies and what it strikes."""

    held: int
    bases: tuple[House, ...]
    covers: tuple[House, ...]
    places: Cells
    lines: Cells
    fins: Cells
    struck: Cells


class _Stock:
    """The fish of a digit of one size, priced as far as was asked."""

    def __init__(self, layout: Layout, digit: Digit, size: int, shapes: tuple[_Shape, ...]) -> None:
        self.layout, self.digit, self.size = layout, digit, size
        self.shapes = shapes
        self.taken = 0
        self.priced: list[tuple[int, int, _Shape]] = []
        self.told: dict[int, Deduction] = {}

    def up_to(self, board: Board, budget: int) -> list[Deduction]:
        """Those of no more than so many looks."""
        shapes, masks = self.shapes, self.layout.masks
        while self.taken < len(shapes) and shapes[self.taken].held + self.size <= budget:
            shape = shapes[self.taken]
            over = shape.lines | shape.fins
            looks = shape.held + sum(
                paid(board, Scan(self.digit, h, masks[h] & over)) for h in shape.bases
            )
            insort(self.priced, (looks, self.taken, shape))
            self.taken += 1
        found = []
        for looks, number, shape in self.priced:
            if looks > budget:
                break
            known = self.told.get(number)
            if known is None:
                known = self.told[number] = self._deduced(shape, looks)
            found.append(known)
        return found

    def _deduced(self, shape: _Shape, looks: int) -> Deduction:
        over, masks = shape.lines | shape.fins, self.layout.masks
        reads = tuple(Scan(self.digit, h, masks[h] & over) for h in shape.bases)
        pattern = Pattern(
            1 << (self.digit - 1),
            ((CORNER, shape.places & shape.lines), (FIN, shape.fins)),
            ((BASE, shape.bases), (COVER, shape.covers)),
        )
        name = f"finned {FISH[self.size]}" if shape.fins else FISH[self.size]
        ruled_out = self.layout.candidates_of(self.digit, shape.struck)
        return Deduction(name, reads, shape.places, (), ruled_out, looks, sees=pattern)


def _stock(board: Board, digit: Digit, size: int) -> _Stock:
    """What is known of a digit's fish on the boards of one search, as long as its places last."""
    cells = board.cells[digit]
    key = (_Stock, digit, size, cells)
    stock: _Stock | None = board.shared.get(key)
    if stock is None:
        stock = board.shared[key] = _Stock(
            board.layout, digit, size, _shapes(board.layout, cells, size)
        )
    return stock


@lru_cache(maxsize=1 << 11)
def _shapes(layout: Layout, cells: Cells, size: int) -> tuple[_Shape, ...]:
    """All fish of one size among these places of a digit, fewest places first."""
    found = [*_along(layout, cells, size, ROW), *_along(layout, cells, size, COLUMN)]
    found.sort(key=lambda shape: shape.held)
    return tuple(found)


def _along(layout: Layout, cells: Cells, size: int, kind: str) -> Iterator[_Shape]:
    """Fish whose base is rows or columns (``kind``), one for each choice of cover that strikes
    something.
    """
    lines, axis = [], 1 if kind == ROW else 0
    for house in layout.all_of(kind):
        places = cells & layout.masks[house]
        if 2 <= places.bit_count() <= 6:
            crossed = 0
            for cell in members(places):
                crossed |= 1 << layout.place(cell)[axis]
            lines.append((crossed, house, places))
    for chosen in combinations(lines, size):
        crossed = 0
        for line in chosen:
            crossed |= line[0]
        if size <= crossed.bit_count() <= size + 2:
            yield from _swimming(layout, cells, chosen, crossed, COLUMN if kind == ROW else ROW)


def _swimming(
    layout: Layout,
    cells: Cells,
    chosen: tuple[tuple[int, House, Cells], ...],
    crossed: int,
    cover: str,
) -> Iterator[_Shape]:
    places = 0
    for _, _, some in chosen:
        places |= some
    bases = tuple(house for _, house, _ in chosen)
    for spare in _spares(layout, cover, crossed, len(chosen)):
        lines, covers = _crossing(layout, cover, crossed & ~spare)
        fins = places & ~lines
        if fins and fins & ~layout.masks[layout.blocks[fins.bit_length() - 1]]:
            continue  # not in one block
        struck = cells & lines & ~places & layout.seen_by_all(fins)
        if struck:
            yield _Shape(places.bit_count(), bases, covers, places, lines, fins, struck)


@lru_cache(maxsize=1 << 11)
def _spares(layout: Layout, kind: str, crossed: int, size: int) -> tuple[int, ...]:
    """The crossing lines that may be left to fins: fins lie in one block, so in lines that it lies
    in.
    """
    many = crossed.bit_count() - size
    bits = [1 << k for k in members(crossed)]
    sums = (sum(some) for some in combinations(bits, many))
    spans = _spans(layout, kind)
    return tuple(s for s in sums if any(s & ~span == 0 for span in spans))


@lru_cache(maxsize=1 << 8)
def _spans(layout: Layout, kind: str) -> tuple[int, ...]:
    """The rows or the columns that blocks lie in, as bits, each set of them once."""
    axis = 0 if kind == ROW else 1
    blocks = [layout.houses[h].cells for h in layout.all_of(BLOCK)]
    lines = [{layout.place(cell)[axis] for cell in cells} for cells in blocks]
    return tuple(dict.fromkeys(sum(1 << k for k in some) for some in lines))


@lru_cache(maxsize=1 << 12)
def _crossing(layout: Layout, kind: str, mask: int) -> tuple[Cells, tuple[House, ...]]:
    """The cells and the houses of a set of rows or columns."""
    every = layout.all_of(kind)
    houses = tuple(every[k] for k in members(mask))
    lines = 0
    for house in houses:
        lines |= layout.masks[house]
    return lines, houses
