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

What is said here of blocks and thirds of lines is the newspaper's grid; what takes their place on
other boards is told by ``papernudge.hints.glances``.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import combinations
from typing import NamedTuple

from papernudge.hints.board import Board
from papernudge.hints.glances import glances_of
from papernudge.hints.layout import Layout
from papernudge.hints.masks import DIGITS_IN, Cell, Cells, Digit, Digits, House

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
    layout = board.layout
    blank = layout.masks[house] & board.blank
    need = blank & ~places & ~board.premises[digit]
    looks = reading(layout, blank, house)
    if need:
        written = board.placed[digit]
        looks += _witnessed(layout, need, written, house, board.fresh & written)
    return looks


@lru_cache(maxsize=1 << 16)
def reading(layout: Layout, blank: Cells, house: House) -> float:
    """The looks at a house with these blanks, before any witness."""
    return glances(layout, blank, house) + BLANK * max(0, blank.bit_count() - 1)


def glances(layout: Layout, blank: Cells, house: House) -> int:
    """How many glances a house with these blanks takes, one at least: those parts of a line that
    have a blank; all of it where just one is left, since what is missing must be found out.
    """
    return len(parts_read(layout, blank, house))


def parts_read(layout: Layout, blank: Cells, house: House) -> tuple[Cells, ...]:
    """What a house with these blanks is read in, a glance each."""
    parts = glances_of(layout).parts[house]
    lone = blank & (blank - 1) == 0
    return parts if lone else tuple([part for part in parts if part & blank])


@lru_cache(maxsize=1 << 16)
def _witnessed(layout: Layout, need: Cells, written: Cells, house: House, fresh: Cells) -> float:
    """The looks at the witnesses of a scan."""
    return witness_looks(layout, witnesses_for(layout, need, written, house, fresh), house, fresh)


def witness_looks(layout: Layout, witnesses: Cells, house: House, fresh: Cells) -> float:
    """The looks at these witnesses of a house."""
    witnesses &= ~fresh
    near = (witnesses & glances_of(layout).bands[house]).bit_count()
    return IN_LINE * near + SEARCHED * (witnesses.bit_count() - near)


@lru_cache(maxsize=1 << 16)
def witnesses_for(
    layout: Layout, need: Cells, written: Cells, house: House, fresh: Cells = 0
) -> Cells:
    """The fewest of the written cells that together see all of ``need``, of several such sets one
    that costs least as witnesses of this house.
    """
    covers = least_covers(layout, need, written)
    if len(covers) == 1:
        return covers[0]
    return min(covers, key=lambda cover: witness_looks(layout, cover, house, fresh))


def scan_witnesses(board: Board, read: Scan) -> Cells:
    """The written digits that a scan leans on."""
    layout = board.layout
    need = layout.masks[read.house] & board.blank & ~read.places & ~board.premises[read.digit]
    if not need:
        return 0
    written = board.placed[read.digit]
    return witnesses_for(layout, need, written, read.house, board.fresh & written)


def sight_price(board: Board, cell: Cell, digits: Digits) -> int:
    """Glances that show what is to be ruled out, and the digits to be kept in mind."""
    return int(glimpsed(board, cell, digits) + 0.5)


def glimpsed(board: Board, cell: Cell, digits: Digits) -> float:
    """The looks of a sight, before they are rounded."""
    need = _to_be_ruled_out(board, cell, digits)
    seen = board.seen
    shown = tuple([seen[spot] for spot in board.glances.around[cell]])
    return _sight(need, shown, tuple([seen[house] for house in board.layout.houses_of[cell]]))


def _to_be_ruled_out(board: Board, cell: Cell, digits: Digits) -> Digits:
    need = board.layout.all_digits & ~digits
    if any(p >> cell & 1 for p in board.premises):
        need &= ~ruled_out_by_premises(board, cell)
    return need


@lru_cache(maxsize=1 << 17)
def _sight(need: Digits, shown: tuple[Digits, ...], houses: tuple[Digits, ...]) -> float:
    """``shown``: what the spots around a cell show, ``houses``: what its houses do."""
    most = max([(need & house).bit_count() for house in houses])
    return len(_glanced(need, shown)) + DIGIT * (need.bit_count() - most)


def _glanced(need: Digits, shown: Sequence[Digits]) -> tuple[int, ...]:
    """The fewest spots that show all of ``need``, the block before others."""
    useful = [k for k, digits in enumerate(shown) if need & digits or k == 0]
    for many in range(1, len(useful) + 1):
        for chosen in combinations(useful, many):
            rest = need
            for spot in chosen:
                rest &= ~shown[spot]
            if not rest:
                return chosen
    raise ValueError("expected digits that are in sight of the cell, got others")


def sight_glances(board: Board, cell: Cell, digits: Digits) -> tuple[Cells, ...]:
    """The spots that a sight glances at: the block, a third of the row or the column."""
    need = _to_be_ruled_out(board, cell, digits)
    around = board.glances.around[cell]
    chosen = _glanced(need, [board.seen[spot] for spot in around])
    return tuple(board.glances.spots[around[k]] for k in chosen)


def ruled_out_by_premises(board: Board, cell: Cell) -> Digits:
    """The digits that notes or earlier steps have ruled out of a cell."""
    premises = board.premises
    return sum(1 << (d - 1) for d in board.layout.digits if premises[d] >> cell & 1)


def single_looks(board: Board, read: Read) -> float:
    """The looks at the one question of a single, before they are rounded."""
    if isinstance(read, Sight):
        return SWITCH + glimpsed(board, read.cell, read.digits)
    return scan_looks(board, read.digit, read.house, read.places)


@lru_cache(maxsize=1 << 16)
def least_covers(layout: Layout, need: Cells, written: Cells) -> tuple[Cells, ...]:
    """All smallest sets of written cells that together see all of ``need``."""
    sights, peers = [], layout.peer_masks
    while written:
        low = written & -written
        written ^= low
        sees = peers[low.bit_length() - 1] & need
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
    need, seen = _to_be_ruled_out(board, cell, digits), board.seen
    block = board.layout.blocks[cell]
    houses = (block, *(h for h in board.layout.houses_of[cell] if h != block))
    first = max(houses, key=lambda house: (need & seen[house]).bit_count())
    rest = need & ~seen[first]
    others = [house for house in houses if house != first]
    for many in range(len(others)):
        for chosen in combinations(others, many):
            left = rest
            for house in chosen:
                left &= ~seen[house]
            if not left:
                return (first, *chosen)
    return (first, *others)


def sight_digits_elsewhere(board: Board, cell: Cell, digits: Digits) -> Digits:
    """The digits to be ruled out that the first house of a ``Sight`` doesn't show."""
    need = _to_be_ruled_out(board, cell, digits)
    return need & ~board.seen[sight_houses(board, cell, digits)[0]]


def sight_witnesses(board: Board, cell: Cell, digits: Digits) -> Cells:
    """A written cell for each digit that is ruled out, from the houses that are entered."""
    need = _to_be_ruled_out(board, cell, digits)
    witnesses, masks = 0, board.layout.masks
    for house in sight_houses(board, cell, digits):
        for digit in DIGITS_IN[need & board.seen[house]]:
            witnesses |= board.placed[digit] & masks[house]
        need &= ~board.seen[house]
    return witnesses
