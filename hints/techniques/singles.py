"""Singles: one blank left in a house, one place left for a digit, one digit left for a cell."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction
from papernudge.hints.dominance import Demand, Kind, demand, undominated
from papernudge.hints.looks import (
    Scan,
    Sight,
    scan_price,
    scan_witnesses,
    single_looks,
    witness_looks,
)
from papernudge.hints.masks import DIGITS_IN, Cell, Cells, Digit, House

LAST_BLANK = "last blank of a house"
HIDDEN_SINGLE = "hidden single"
NAKED_SINGLE = "naked single"
FINISHED_HOUSE = "several cells of a house"
ALL_SINGLES = frozenset({LAST_BLANK, HIDDEN_SINGLE, NAKED_SINGLE, FINISHED_HOUSE})

MANY = 1 << 30
"""A budget that nothing exceeds."""

WORTH_FINISHING = 4
"""A house with no more blanks, five digits or more filled, is worth trying to finish: common
practice, no source."""


def last_blanks(board: Board, budget: int = MANY) -> list[Deduction]:
    """A house with one blank takes the digit it lacks.

    >>> from papernudge.hints.drawing import drawn
    >>> board = drawn('''
    ...     1 2 3  . . .  . . .
    ...     4 . 6  . . .  . . .
    ...     7 8 9  . . .  . . .''')
    >>> [(d.places, d.looks) for d in last_blanks(board)]
    [(((10, 5),), 1)]
    """
    found, every = [], board.layout.all_digits
    for house, cells in enumerate(board.layout.masks):
        left = cells & board.blank
        if left and left & (left - 1) == 0:
            cell = left.bit_length() - 1
            digit = (every & ~board.seen[house]).bit_length()
            looks = scan_price(board, digit, house, left)
            if looks <= budget:
                found.append(_placed(LAST_BLANK, Scan(digit, house, left), cell, digit, looks))
    return found


def hidden_singles(board: Board, budget: int = MANY) -> list[Deduction]:
    """A digit with one place left in a house goes there.

    >>> from papernudge.hints.drawing import drawn
    >>> board = drawn('''
    ...     . . .  . . .  . . .
    ...     . . .  . 7 .  . . .
    ...     . . .  . . .  . 7 .
    ...
    ...     . 7 .  . . .  . . .
    ...     . . .  . . .  . . .
    ...     . . .  . . .  . . .
    ...
    ...     . . 7  . . .  . . .''')
    >>> [(d.places, d.looks) for d in hidden_singles(board) if d.reads[0].house == 18]
    [(((0, 7),), 4)]
    """
    houses = range(len(board.layout.houses))
    return [s for house in houses for s in _hidden_in(board, house) if s.looks <= budget]


def _hidden_in(board: Board, house: House) -> Iterator[Deduction]:
    """The hidden singles of a house; of a house with one blank none."""
    all_of_it = board.layout.masks[house]
    blank = all_of_it & board.blank
    if blank & (blank - 1) == 0:
        return
    cells = board.cells
    for digit in DIGITS_IN[board.layout.all_digits & ~board.seen[house]]:
        place = cells[digit] & all_of_it
        if place and place & (place - 1) == 0:
            read = Scan(digit, house, place)
            looks = scan_price(board, digit, house, place)
            yield _placed(HIDDEN_SINGLE, read, place.bit_length() - 1, digit, looks)


def single_in(board: Board, digit: Digit, house: House) -> Deduction | None:
    """The digit's one place in a house that lacks it, if it has just one: by the last blank of the
    house, or as a hidden single.
    """
    all_of_it = board.layout.masks[house]
    place = board.cells[digit] & all_of_it
    if not place or place & (place - 1):
        return None
    technique = LAST_BLANK if all_of_it & board.blank == place else HIDDEN_SINGLE
    looks = scan_price(board, digit, house, place)
    read = Scan(digit, house, place)
    return _placed(technique, read, place.bit_length() - 1, digit, looks)


def naked_singles(board: Board, budget: int = MANY, among: Cells = -1) -> list[Deduction]:
    """A cell that can take one digit only takes it. ``among``: the cells to look at, else all.

    >>> from papernudge.hints.drawing import drawn
    >>> board = drawn('''
    ...     1 . .  . 3 .  . . .
    ...     5 . .  6 . .  8 . .
    ...     2 7 .  . . .  . . .
    ...
    ...     . 9 .  . . .  . . .
    ...     . . .  . . .  . . .
    ...     . 3 .  . . .  . . .''')
    >>> [(d.places, d.looks) for d in naked_singles(board)]
    [(((10, 4),), 12)]
    """
    found = []
    for cell, digits in enumerate(board.digits):
        if digits and digits & (digits - 1) == 0 and among >> cell & 1:
            looks = int(single_looks(board, Sight(cell, digits)) + 0.5)
            if looks <= budget and not _is_last(board, cell):
                digit = digits.bit_length()
                found.append(_placed(NAKED_SINGLE, Sight(cell, digits), cell, digit, looks))
    return found


def _is_last(board: Board, cell: Cell) -> bool:
    return any(
        board.layout.masks[h] & board.blank == 1 << cell for h in board.layout.houses_of[cell]
    )


def _placed(technique: str, read: Scan | Sight, cell: Cell, digit: Digit, looks: int) -> Deduction:
    return Deduction(technique, (read,), 0, ((cell, digit),), 0, looks)


def singles(board: Board, budget: int = MANY) -> list[Deduction]:
    """Of all steps that need no pattern and that none dominates those that cost as few looks as
    possible to their first digit; none if these are more than ``budget``.
    """
    steps = in_sight(board)
    prices = [looks_to_first(board, step) for step in steps]
    least = min(prices, default=MANY)
    if least > budget:
        return []
    return [step for step, looks in zip(steps, prices, strict=True) if looks == least]


def looks_to_first(board: Board, step: Deduction) -> int:
    """The looks to the first digit of a step."""
    return int(single_looks(board, step.reads[0]) + 0.5)


def in_sight(board: Board) -> list[Deduction]:
    """All steps that need no pattern and that no other of them dominates.

    Houses come by their blanks, so that those are left out which can't hold a better step.
    """
    last = last_blanks(board)
    if last:
        return last  # nothing demands less, and they demand the same
    least = 0 if board.noted or board.gone else 1
    found: list[tuple[Demand, Deduction]] = []
    demands: list[Demand] = []
    beaten = set[Demand]()  # what is dominated once stays so
    for blanks, house in _by_blanks(board):
        best = _best_there(blanks, board.layout.compact[house], least)
        if best in beaten:
            continue
        if any(map(best.dominated_by, demands)):
            beaten.add(best)
            continue
        here = _in_house(board, house, blanks)
        found += here
        demands += [one for one, _ in here if one not in demands]
    if not least or not found:
        cells = board.blank
    else:
        # A cell by a house with as many blanks as a digit's house, or more, is beaten by that.
        fewest = min(one.blanks for one in demands)
        cells = 0
        for cells_of_it in board.layout.masks:
            left = cells_of_it & board.blank
            if left.bit_count() < fewest:
                cells |= left
    for step in naked_singles(board, among=cells):
        found.append((demand(board, step.reads), step))
    return undominated(found)


def _by_blanks(board: Board) -> list[tuple[int, House]]:
    """The houses that have blanks, those with fewest first, each behind how many it has."""
    blank = board.blank
    each = [((cells & blank).bit_count(), house) for house, cells in enumerate(board.layout.masks)]
    return sorted(one for one in each if one[0])


@lru_cache
def _best_there(blanks: int, block: bool, least: int) -> Demand:
    """What the easiest step of a house with so many blanks demands at least; ``least``: witnesses
    that any of them has.
    """
    if blanks > WORTH_FINISHING:
        return Demand(0, Kind.BLOCK if block else Kind.LINE, blanks, least)
    return Demand(0, Kind.SETTLED, blanks, least)


def _in_house(board: Board, house: House, blanks: int) -> list[tuple[Demand, Deduction]]:
    """The hidden singles of a house, and the best way to finish it at one go, if there is one."""
    here = [(demand(board, step.reads), step) for step in _hidden_in(board, house)]
    if 2 <= blanks <= WORTH_FINISHING:
        whole = [way for _, first in here if (way := finished_house(board, first))]
        ways = [(demand(board, way.reads), way) for way in whole]
        if ways:
            here.append(min(ways, key=lambda way: (way[0], way[1].looks, way[1].reads)))
    return here


def finished_house(board: Board, first: Deduction) -> Deduction | None:
    """Go on from a digit placed in a house of two to four blanks, if one witness, or none, earns
    each of the others: then the whole house is written at one go.

    Common practice, no source: with three blanks, if one missing digit sees two of them and
    another sees one of those two, all three can be written.

    >>> from papernudge.hints.drawing import drawn
    >>> board = drawn('''
    ...     1 2 3  4 5 6  . . .
    ...     . . .  . . .  . 7 .
    ...     . . .  . . .  . . .
    ...
    ...     . . .  . . .  7 . .
    ...     . . .  . . .  8 . .''')
    >>> first = [d for d in hidden_singles(board) if d.places == ((8, 7),)]
    >>> first
    []
    >>> board = drawn('''
    ...     1 2 3  4 5 6  . . .
    ...     . . .  . . .  . . .
    ...     . . .  . . .  . . .
    ...
    ...     . . .  . . .  7 . .
    ...     . . .  . . .  8 . .
    ...     . . .  . . .  . 7 .''')
    >>> first = [d for d in hidden_singles(board) if d.places == ((8, 7),)][0]
    >>> finished = finished_house(board, first)
    >>> finished.places, first.looks, finished.looks
    (((8, 7), (7, 8), (6, 9)), 3, 3)
    """
    read = first.reads[0]
    if not isinstance(read, Scan):
        return None
    rest = board.layout.masks[read.house] & board.blank & ~read.places
    if not 1 <= rest.bit_count() < WORTH_FINISHING:
        return None
    best = _completions(board, read.house, rest, read.places)
    if best is None:
        return None
    _, further, reads, places = best
    looks = int(single_looks(board, read) + further + 0.5)
    return Deduction(FINISHED_HOUSE, (read, *reads), 0, first.places + places, 0, looks)


_Completion = tuple[int, float, tuple[Scan, ...], tuple[tuple[Cell, Digit], ...]]


def _completions(board: Board, house: House, rest: Cells, written: Cells) -> _Completion | None:
    """The best way to write the rest of a house, each digit by one witness or none: the fewest
    witnesses, then the fewest looks at them.
    """
    if not rest:
        return 0, 0.0, (), ()
    best: _Completion | None = None
    for digit in DIGITS_IN[board.layout.all_digits & ~board.seen[house]]:
        place = board.cells[digit] & rest
        if not place or place & (place - 1):
            continue
        read = Scan(digit, house, place | written)
        witnesses = scan_witnesses(board, read)
        if witnesses & (witnesses - 1):
            continue
        onward = _completions(board, house, rest & ~place, written | place)
        if onward:
            looks = witness_looks(board.layout, witnesses, house, board.fresh) + onward[1]
            cell = place.bit_length() - 1
            way = (
                witnesses.bit_count() + onward[0],
                looks,
                (read, *onward[2]),
                ((cell, digit), *onward[3]),
            )
            best = way if best is None else min(best, way)
    return best
