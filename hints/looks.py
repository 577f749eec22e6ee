"""Effort, counted in looks: what the eye must do to be sure.

The eye reads in fixations. One covers about five degrees of sight, at 40 cm some 3.5 cm: a block
of a printed grid of 9 to 13 cm (the arithmetic is ours, the five degrees of sharp sight are common
knowledge, no source). So a block is read at a *glance* and a line in up to three, one for each
block that it crosses; a third of a line without a blank has nothing to ask. A glance is the unit.

Whatever a technique says rests on two questions, each asked a number of times:

* **Where can this digit go in this house?** (a ``Scan``)
  *looks = glances + BLANK for each further blank of the house + IN_LINE for each witness in the
  house's own band or stack, SEARCHED for each other one.* Witnesses are the least number of
  written digits that together see every blank to be ruled out; of several such sets the one that
  is most in line. What was just written is in view: as a witness it costs nothing.
* **What can this cell take?** (a ``Sight``)
  *looks = glances + DIGIT for each digit to be kept in mind.* Glances are the fewest of five
  places, the block and the four further thirds of row and column, that together show every digit
  to be ruled out; to be kept in mind is what the house that shows most does not show.

A single by sight pays SWITCH on top: going over from digits to cells. The last blank of a house is
read off its glances. A technique costs what its questions cost, each paid on its own and rounded to
a whole look (less is not felt), plus one look for each thing *held in mind* meanwhile: none for a
single, two or three cells for locked candidates, every cell of a chain for a chain; of hidden pairs
and the like each digit, and each of its places.

A line of reasoning costs the sum of its steps; a single by sight after a pattern that is read off
cells pays no SWITCH. Lines are compared by their *price*: looks, PATTERN for each step before the
last, and ELSEWHERE where the single lies beyond the houses that hold a pattern; nothing for a step
that the notes on the paper show already. So a line has as few patterns as possible before it has
few looks: a second pattern must save twenty of them.

Fitted, not guessed: BLANK, IN_LINE, SEARCHED, DIGIT and SWITCH on the times of people (S.-W. Wang,
IEEE Access 12, 2024, CC0: 755 puzzles, their mean seconds), by ``tests/hints/bench_looks.py``: it
prints them with their spread and writes the record beside it. The model: each way to write a next
digit is noticed at a rate of exp(-b times its looks), the next digit comes at the sum of these
rates, and a puzzle takes the sum over its digits. Set, not fitted: that a glance at a third of a
line weighs as much as one at a block (left free it comes out at 0.7, and predicts no better), that
fresh digits are in view, the look for what is held in mind, PATTERN and ELSEWHERE: of 80,000
positions along these solves 188 have no single, too few to tell.

The trade's facts that follow (common practice, no source): look where most is filled; a witness in
band or stack is seen along with the block; follow up the digit just written; go over to "what can
this cell take?" where many digits cross and scans have run dry. That asking for places comes out
cheaper than asking for digits agrees with what was seen of novices (*Mental steps in Sudoku*, Türk
Psikoloji Dergisi 25(66), 2010, abstract read), that reasons get dearer with the constraints they
rest on with Lee, Goodwin & Johnson-Laird, *The psychological puzzle of Sudoku* (2008, abstract
read).

What a note on the paper rules out costs no witness: reading the noted cell or house is enough.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from papernudge.hints.board import Board
from papernudge.hints.geometry import (
    ALL_DIGITS,
    BANDS,
    DIGITS_IN,
    FURTHER_THIRDS,
    HOUSES,
    HOUSES_OF,
    PEERS,
    THIRDS,
    Cell,
    Cells,
    Digit,
    Digits,
    House,
)

BLANK = 0.16
IN_LINE = 0.39
SEARCHED = 0.68
DIGIT = 0.81
SWITCH = 5.22
"""Fitted, in glances: see above."""

PATTERN = 20
ELSEWHERE = 3
"""Set: what a pattern weighs beside its looks, and a single beyond the houses that hold it."""


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
    """The looks of a scan."""
    return int(scan_looks(board, digit, house, places) + 0.5)


def scan_looks(board: Board, digit: Digit, house: House, places: Cells) -> float:
    """Glances at the house, its further blanks, and the witnesses that rule out the others."""
    blank = HOUSES[house] & board.blank
    need = blank & ~places & ~board.premises[digit]
    looks = reading(blank, house)
    if need:
        written = board.placed[digit]
        looks += _witnessed(need, written, house, board.fresh & written)
    return looks


@lru_cache(maxsize=1 << 16)
def reading(blank: Cells, house: House) -> float:
    """The looks at a house with these blanks, before any witness."""
    return glances(blank, house) + BLANK * max(0, blank.bit_count() - 1)


def glances(blank: Cells, house: House) -> int:
    """How many glances a house with these blanks takes, one at least: those thirds of a line that
    have a blank; all of it where just one is left, since what is missing must be found out.
    """
    if house >= 18:
        return 1
    if blank & (blank - 1) == 0:
        return 3
    return sum(1 for third in THIRDS[house] if third & blank)


@lru_cache(maxsize=1 << 16)
def _witnessed(need: Cells, written: Cells, house: House, fresh: Cells) -> float:
    """The looks at the witnesses of a scan."""
    return witness_looks(witnesses_for(need, written, house, fresh), house, fresh)


def witness_looks(witnesses: Cells, house: House, fresh: Cells) -> float:
    """The looks at these witnesses of a house."""
    witnesses &= ~fresh
    near = (witnesses & BANDS[house]).bit_count()
    return IN_LINE * near + SEARCHED * (witnesses.bit_count() - near)


@lru_cache(maxsize=1 << 16)
def witnesses_for(need: Cells, written: Cells, house: House, fresh: Cells = 0) -> Cells:
    """The fewest of the written cells that together see all of ``need``, of several such sets one
    that costs least as witnesses of this house.
    """
    covers = least_covers(need, written)
    if len(covers) == 1:
        return covers[0]
    return min(covers, key=lambda cover: witness_looks(cover, house, fresh))


def scan_witnesses(board: Board, read: Scan) -> Cells:
    """The written digits that a scan leans on."""
    need = HOUSES[read.house] & board.blank & ~read.places & ~board.premises[read.digit]
    if not need:
        return 0
    written = board.placed[read.digit]
    return witnesses_for(need, written, read.house, board.fresh & written)


def sight_price(board: Board, cell: Cell, digits: Digits) -> int:
    """Glances that show what is to be ruled out, and the digits to be kept in mind."""
    return int(glimpsed(board, cell, digits) + 0.5)


def glimpsed(board: Board, cell: Cell, digits: Digits) -> float:
    """The looks of a sight, before they are rounded."""
    need = _to_be_ruled_out(board, cell, digits)
    row, column, block = HOUSES_OF[cell]
    seen, thirds = board.seen, board.thirds
    left, right, above, below = FURTHER_THIRDS[cell]
    shown = (seen[block], thirds[left], thirds[right], thirds[above], thirds[below])
    return _sight(need, shown, seen[row], seen[column])


def _to_be_ruled_out(board: Board, cell: Cell, digits: Digits) -> Digits:
    need = ALL_DIGITS & ~digits
    if any(p >> cell & 1 for p in board.premises):
        need &= ~ruled_out_by_premises(board, cell)
    return need


Shown = tuple[Digits, Digits, Digits, Digits, Digits]
"""What the block and the four further thirds of row and column show."""


@lru_cache(maxsize=1 << 17)
def _sight(need: Digits, shown: Shown, row: Digits, column: Digits) -> float:
    most = max((need & house).bit_count() for house in (shown[0], row, column))
    return len(_glanced(need, shown)) + DIGIT * (need.bit_count() - most)


_CHOICES = sorted(
    (tuple(k for k in range(5) if chosen >> k & 1) for chosen in range(1, 32)),
    key=lambda chosen: (len(chosen), chosen),
)


def _glanced(need: Digits, shown: Shown) -> tuple[int, ...]:
    """The fewest of the five places that show all of ``need``, the block before others."""
    for chosen in _CHOICES:
        rest = need
        for place in chosen:
            rest &= ~shown[place]
        if not rest:
            return chosen
    raise ValueError("expected digits that are in sight of the cell, got others")


def sight_glances(board: Board, cell: Cell, digits: Digits) -> tuple[Cells, ...]:
    """The places a sight glances at: the block, a third of the row or the column."""
    need = _to_be_ruled_out(board, cell, digits)
    block = HOUSES_OF[cell][2]
    further = FURTHER_THIRDS[cell]
    left, right, above, below = (board.thirds[third] for third in further)
    places = (HOUSES[block], *(THIRDS[third // 3][third % 3] for third in further))
    shown = (board.seen[block], left, right, above, below)
    return tuple(places[k] for k in _glanced(need, shown))


def ruled_out_by_premises(board: Board, cell: Cell) -> Digits:
    """The digits that notes or earlier steps have ruled out of a cell."""
    return sum(1 << (d - 1) for d in range(1, 10) if board.premises[d] >> cell & 1)


def single_looks(board: Board, read: Read) -> float:
    """The looks at the one question of a single, before they are rounded."""
    if isinstance(read, Sight):
        return SWITCH + glimpsed(board, read.cell, read.digits)
    return scan_looks(board, read.digit, read.house, read.places)


@lru_cache(maxsize=1 << 16)
def least_cover(need: Cells, written: Cells) -> Cells:
    """The fewest of the written cells that together see all of ``need`` (which they can).

    Of several sets as small, one of them: see ``least_covers`` for all.
    """
    return least_covers(need, written)[0]


@lru_cache(maxsize=1 << 16)
def least_covers(need: Cells, written: Cells) -> tuple[Cells, ...]:
    """All smallest sets of written cells that together see all of ``need``."""
    sights = []
    while written:
        low = written & -written
        written ^= low
        sees = PEERS[low.bit_length() - 1] & need
        if sees:
            sights.append((low, sees))
    for size in range(1, len(sights) + 1):
        found = _covers(need, sights, size)
        if found:
            return tuple(sorted(set(found)))
    raise ValueError("expected cells that the written ones see, got some that none of them sees")


def _covers(need: Cells, sights: list[tuple[Cells, Cells]], size: int) -> list[Cells]:
    """Sets of ``size`` that cover ``need``, or fewer: each must rule out its first cell somehow."""
    if size == 1:
        return [bit for bit, sees in sights if not need & ~sees]
    first = need & -need
    covers = []
    for bit, sees in sights:
        if sees & first:
            rest = need & ~sees
            covers += [bit | more for more in _covers(rest, sights, size - 1)] if rest else [bit]
    return covers


def sight_houses(board: Board, cell: Cell, digits: Digits) -> tuple[House, ...]:
    """The houses that a ``Sight`` enters: in front the one that shows most of what is to be ruled
    out, the block before others, then as few as show the rest.
    """
    need = _to_be_ruled_out(board, cell, digits)
    row, column, block = HOUSES_OF[cell]
    houses = (block, row, column)
    first = max(houses, key=lambda house: (need & board.seen[house]).bit_count())
    rest = need & ~board.seen[first]
    others = [house for house in houses if house != first]
    alone = [house for house in others if rest & ~board.seen[house] == 0]
    return (first, *(alone[:1] or others)) if rest else (first,)


def sight_digits_elsewhere(board: Board, cell: Cell, digits: Digits) -> Digits:
    """The digits to be ruled out that the first house of a ``Sight`` doesn't show."""
    need = _to_be_ruled_out(board, cell, digits)
    return need & ~board.seen[sight_houses(board, cell, digits)[0]]


def sight_witnesses(board: Board, cell: Cell, digits: Digits) -> Cells:
    """A written cell for each digit that is ruled out, from the houses that are entered."""
    need = _to_be_ruled_out(board, cell, digits)
    witnesses = 0
    for house in sight_houses(board, cell, digits):
        for digit in DIGITS_IN[need & board.seen[house]]:
            witnesses |= board.placed[digit] & HOUSES[house]
        need &= ~board.seen[house]
    return witnesses
