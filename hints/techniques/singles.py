"""Singles: one blank left in a house, one place left for a digit, one digit left for a cell."""

from __future__ import annotations

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction
from papernudge.hints.geometry import HOUSES, HOUSES_OF, Cell, Cells, Digit, House
from papernudge.hints.looks import Scan, Sight, scan_price, sight_price

LAST_BLANK = "last blank of a house"
HIDDEN_SINGLE = "hidden single"
NAKED_SINGLE = "naked single"
FINISHED_HOUSE = "several cells of a house"
ALL_SINGLES = frozenset({LAST_BLANK, HIDDEN_SINGLE, NAKED_SINGLE, FINISHED_HOUSE})

MANY = 1 << 30
"""A budget that nothing exceeds."""


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
    found = []
    for house, cells in enumerate(HOUSES):
        left = cells & board.blank
        if left and left & (left - 1) == 0 and budget >= 1:
            cell = left.bit_length() - 1
            digit = (511 & ~board.seen[house]).bit_length()
            found.append(_placed(LAST_BLANK, Scan(digit, house, left), cell, digit, 1))
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
    [(((0, 7),), 5)]
    """
    found = []
    lone = [board.blank & cells for cells in HOUSES]
    for digit in range(1, 10):
        cells = board.cells[digit]
        if not cells:
            continue
        for house, all_of_it in enumerate(HOUSES):
            place = cells & all_of_it
            if place and place & (place - 1) == 0 and place != lone[house]:
                looks = scan_price(board, digit, house, place)
                if looks <= budget:
                    cell = place.bit_length() - 1
                    read = Scan(digit, house, place)
                    found.append(_placed(HIDDEN_SINGLE, read, cell, digit, looks))
    return found


def naked_singles(board: Board, budget: int = MANY) -> list[Deduction]:
    """A cell that can take one digit only takes it.

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
    [(((10, 4),), 7)]
    """
    found = []
    for cell, digits in enumerate(board.digits):
        if digits and digits & (digits - 1) == 0:
            looks = sight_price(board, cell, digits)
            if looks <= budget and not _is_last(board, cell):
                digit = digits.bit_length()
                found.append(_placed(NAKED_SINGLE, Sight(cell, digits), cell, digit, looks))
    return found


def _is_last(board: Board, cell: Cell) -> bool:
    return any(HOUSES[h] & board.blank == 1 << cell for h in HOUSES_OF[cell])


def _placed(technique: str, read: Scan | Sight, cell: Cell, digit: Digit, looks: int) -> Deduction:
    return Deduction(technique, (read,), 0, ((cell, digit),), 0, looks)


def singles(board: Board, budget: int = MANY) -> list[Deduction]:
    """All singles that cost as few looks as possible, within a budget."""
    found = last_blanks(board, budget)
    if found:
        budget = 1
    for technique in (hidden_singles, naked_singles):
        for single in technique(board, budget):
            if single.looks < budget:
                budget, found = single.looks, []
            found.append(single)
    return [single for single in found if single.looks <= budget]


def finished_house(board: Board, first: Deduction) -> Deduction | None:
    """Go on from a digit placed in a house of two to four blanks, if one look more, or none, earns
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
    (((8, 7), (7, 8), (6, 9)), 3, 4)
    """
    read = first.reads[0]
    if not isinstance(read, Scan):
        return None
    rest = HOUSES[read.house] & board.blank & ~read.places
    if not 1 <= rest.bit_count() <= 3:
        return None
    best = _completions(board, read.house, rest, read.places)
    if best is None:
        return None
    further, reads, places = best
    return Deduction(
        FINISHED_HOUSE, (read, *reads), 0, first.places + places, 0, first.looks + further
    )


_Completion = tuple[int, tuple[Scan, ...], tuple[tuple[Cell, Digit], ...]]


def _completions(board: Board, house: House, rest: Cells, written: Cells) -> _Completion | None:
    """The cheapest way to write the rest of a house, each digit for at most one look."""
    if not rest:
        return 0, (), ()
    best: _Completion | None = None
    for digit in range(1, 10):
        place = board.cells[digit] & rest
        if not place or place & (place - 1):
            continue
        read = Scan(digit, house, place | written)
        looks = scan_price(board, *read) - 1
        if looks > 1:
            continue
        onward = _completions(board, house, rest & ~place, written | place)
        if onward and (best is None or looks + onward[0] < best[0]):
            cell = place.bit_length() - 1
            best = looks + onward[0], (read, *onward[1]), ((cell, digit), *onward[2])
    return best
