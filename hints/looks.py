"""Effort, counted in looks: how many places the eye must visit to be sure.

Whatever a technique says rests on two questions, each asked a number of times:

* **Where can this digit go in this house?** (a ``Scan``). Read the house once, and find one
  written digit for each group of blanks that it rules out:
  *looks = 1 + the least number of written digits that together see every blank that must be
  ruled out*. Filled cells are ruled out by the reading itself.
* **What can this cell take?** (a ``Sight``). Read one of its houses, find a witness for each
  digit that this house doesn't show, and enter the houses where these stand:
  *looks = houses entered + witnesses outside the first*, the least of it.

A technique costs what its questions cost, each paid on its own, plus one look for each cell that
must be *held in mind* while they are asked: none for a single, two or three for locked
candidates, the cells of the pair for a pair, every cell of a chain for a chain. A line of
reasoning costs the sum of its steps; a step that is needed twice is looked at twice.

Why so: the eye's visits are what a solver spends, and they can be counted without asking how
clever a reason is. The same formula gives a house with one blank 1 look, a digit crossed out by
two lines 3, a cell with five digits around in its row and three in its column 5. That asking
for places comes out cheaper than asking for digits agrees with what was seen of novices (*Mental
steps in Sudoku*, Türk Psikoloji Dergisi 25(66), 2010, abstract read), that reasons get dearer
with the constraints they rest on with Lee, Goodwin & Johnson-Laird, *The psychological puzzle of
Sudoku* (2008, abstract read). The formula is ours.

What a note on the paper rules out costs no witness: reading the noted cell or house is enough.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from papernudge.hints.board import Board
from papernudge.hints.geometry import (
    ALL_DIGITS,
    DIGITS_IN,
    HOUSES,
    HOUSES_OF,
    PEERS,
    Cell,
    Cells,
    Digit,
    Digits,
    House,
    members,
)


class Scan(NamedTuple):
    """The answer that a digit has no place in a house but (some of) these."""

    digit: Digit
    house: House
    places: Cells


class Sight(NamedTuple):
    """The answer that a cell can take no digit but (some of) these."""

    cell: Cell
    digits: Digits


Read = Scan | Sight


def price(board: Board, read: Read) -> int:
    """The looks that an answer costs."""
    if isinstance(read, Scan):
        return scan_price(board, read.digit, read.house, read.places)
    return sight_price(board, read.cell, read.digits)


def scan_price(board: Board, digit: Digit, house: House, places: Cells) -> int:
    """1 + the least number of written digits that rule out the other blanks of the house."""
    need = HOUSES[house] & board.blank & ~places & ~board.premises[digit]
    return 1 + least_cover(need, board.placed[digit]).bit_count() if need else 1


def sight_price(board: Board, cell: Cell, digits: Digits) -> int:
    """Houses entered + witnesses outside the first, the least of it."""
    need = ALL_DIGITS & ~digits
    bit = 1 << cell
    if any(p & bit for p in board.premises):
        need &= ~ruled_out_by_premises(board, cell)
    row, column, block = HOUSES_OF[cell]
    r, c, b = board.seen[row], board.seen[column], board.seen[block]
    return min(_entered(need & ~r, c, b), _entered(need & ~c, r, b), _entered(need & ~b, r, c))


def _entered(rest: Digits, one: Digits, other: Digits) -> int:
    if not rest:
        return 1
    further = 1 if rest & ~one == 0 or rest & ~other == 0 else 2
    return 1 + further + rest.bit_count()


def ruled_out_by_premises(board: Board, cell: Cell) -> Digits:
    """The digits that notes or earlier steps have ruled out of a cell."""
    return sum(1 << (d - 1) for d in range(1, 10) if board.premises[d] >> cell & 1)


@lru_cache(maxsize=1 << 16)
def least_cover(need: Cells, written: Cells) -> Cells:
    """The fewest of the written cells that together see all of ``need`` (which they can).

    Of several sets as small, one of them: see ``least_covers`` for all.
    """
    return least_covers(need, written)[0]


@lru_cache(maxsize=1 << 16)
def least_covers(need: Cells, written: Cells) -> tuple[Cells, ...]:
    """All smallest sets of written cells that together see all of ``need``."""
    sights = [(1 << w, PEERS[w] & need) for w in members(written) if PEERS[w] & need]
    for size in range(1, len(sights) + 1):
        found = tuple(sorted(set(_covers(need, sights, size))))
        if found:
            return found
    raise ValueError("expected cells that the written ones see, got some that none of them sees")


def _covers(need: Cells, sights: list[tuple[Cells, Cells]], size: int) -> list[Cells]:
    """Sets of ``size`` that cover ``need``: each must rule out its first cell somehow."""
    if not need:
        return [0]
    if size == 0:
        return []
    first = need & -need
    return [
        bit | rest
        for bit, sees in sights
        if sees & first
        for rest in _covers(need & ~sees, sights, size - 1)
    ]


def sight_houses(board: Board, cell: Cell, digits: Digits) -> tuple[House, ...]:
    """The houses that a ``Sight`` enters, the one that is read first in front."""
    need = ALL_DIGITS & ~digits & ~ruled_out_by_premises(board, cell)
    best: tuple[int, tuple[House, ...]] | None = None
    houses = HOUSES_OF[cell]
    for first in houses:
        rest = need & ~board.seen[first]
        others = [h for h in houses if h != first]
        alone = [h for h in others if rest & ~board.seen[h] == 0]
        entered = (first, *(others if not alone else alone[:1])) if rest else (first,)
        looks = len(entered) + rest.bit_count()
        if best is None or looks < best[0]:
            best = (looks, entered)
    assert best is not None
    return best[1]


def sight_witnesses(board: Board, cell: Cell, digits: Digits) -> Cells:
    """A written cell for each digit that is ruled out, from the houses that are entered."""
    need = ALL_DIGITS & ~digits & ~ruled_out_by_premises(board, cell)
    witnesses = 0
    for house in sight_houses(board, cell, digits):
        for digit in DIGITS_IN[need & board.seen[house]]:
            witnesses |= board.placed[digit] & HOUSES[house]
        need &= ~board.seen[house]
    return witnesses
