"""Almost-locked sets: one digit more than cells."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from typing import NamedTuple

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction, deduce
from papernudge.hints.geometry import (
    DIGITS_IN,
    HOUSES,
    Cells,
    Digit,
    Digits,
    candidates_of,
    houses_holding,
    members,
    peers_of_all,
)
from papernudge.hints.looks import Sight, sight_price
from papernudge.hints.pattern import (
    BASE,
    ONE_SET,
    OTHER_SET,
    STRONG,
    WEAK,
    Link,
    Node,
    Pattern,
    meeting,
)

ALMOST_LOCKED_SETS = "almost-locked sets"


class AlmostLocked(NamedTuple):
    """Cells of one house with one digit more than cells, and what it costs to see that."""

    looks: int
    cells: Cells
    digits: Digits


def almost_locked_sets(board: Board, budget: int) -> list[Deduction]:
    """Two sets of cells, each in a house, each with one digit more than cells. A digit x that
    can't be in both (all its places in one see all in the other) is missing from one of them, which
    then holds all its other digits: so a digit z of both is in one or the other, and what sees all
    its places in both is out.

    Here R1C1 and R1C2 hold two of 1, 2 and 3, R1C8 and R2C8 two of 1, 3 and 4. Row 1 has 1 just
    once, so 3 is in R1C2 or in R2C8.

    >>> from papernudge.hints.drawing import marked, told
    >>> board = marked('''
    ...     12 23 .  . . .  . 14 .
    ...     .  .  .  . . .  . 34 .''')
    >>> print(told(d for d in almost_locked_sets(board, 8) if len(d.reads) == 4))
    almost-locked sets, 8 looks: no 3 in R1C7, R1C9, R2C1, R2C2, R2C3
    """
    sets = sorted(_almost_locked(board, budget - 2))
    found: dict[object, Deduction] = {}
    for k, one in enumerate(sets):
        if one.looks * 2 > budget:
            break
        for other in sets[k + 1 :]:
            if one.looks + other.looks > budget:
                break
            both = one.digits & other.digits
            if one.cells & other.cells or both.bit_count() < 2:
                continue
            if (one.cells | other.cells).bit_count() == 2:
                continue  # a naked pair
            for deduction in _linked(board, one, other, both):
                found.setdefault((deduction.reads, deduction.ruled_out), deduction)
    return [d for d in found.values() if d.looks <= budget]


def _almost_locked(board: Board, budget: int) -> set[AlmostLocked]:
    found = set()
    for house in HOUSES:
        blanks = [c for c in members(house & board.blank) if board.digits[c].bit_count() <= 5]
        for size in range(1, 5):
            for cells in combinations(blanks, size):
                digits = 0
                for cell in cells:
                    digits |= board.digits[cell]
                if digits.bit_count() == size + 1:
                    looks = size + sum(sight_price(board, c, digits) for c in cells)
                    if looks <= budget:
                        found.add(AlmostLocked(looks, sum(1 << c for c in cells), digits))
    return found


def _linked(
    board: Board, one: AlmostLocked, other: AlmostLocked, both: Digits
) -> Iterator[Deduction]:
    exclusive = [d for d in DIGITS_IN[both] if _exclusive(board, one, other, d)]
    for x in exclusive:
        for z in DIGITS_IN[both & ~(1 << (x - 1))]:
            holders = board.cells[z] & (one.cells | other.cells)
            struck = board.cells[z] & peers_of_all(holders)
            if struck:
                yield _deduced(board, (one, other), x, z, struck)


def _exclusive(board: Board, one: AlmostLocked, other: AlmostLocked, digit: Digit) -> bool:
    """Whether a digit can't be in both sets."""
    mine, theirs = board.cells[digit] & one.cells, board.cells[digit] & other.cells
    return theirs & ~peers_of_all(mine) == 0


def _deduced(
    board: Board, sets: tuple[AlmostLocked, ...], x: Digit, z: Digit, struck: Cells
) -> Deduction:
    """Each cell must be seen to take its set's digits only, and x and z only where they count."""
    kept = 1 << (x - 1) | 1 << (z - 1)
    reads = [Sight(c, s.digits & (board.digits[c] | ~kept)) for s in sets for c in members(s.cells)]
    held = sets[0].cells | sets[1].cells
    one, other = sorted(sets, key=lambda s: s.cells & -s.cells)
    shared = Node(x, board.cells[x] & one.cells), Node(x, board.cells[x] & other.cells)
    either = Node(z, board.cells[z] & one.cells), Node(z, board.cells[z] & other.cells)
    houses = tuple(dict.fromkeys(houses_holding(s.cells)[0] for s in (one, other)))
    pattern = Pattern(
        one.digits | other.digits,
        ((ONE_SET, one.cells), (OTHER_SET, other.cells)),
        ((BASE, houses),),
        (Link(WEAK, *shared, meeting(*shared)), Link(STRONG, *either, meeting(*either))),
    )
    return deduce(
        board, ALMOST_LOCKED_SETS, tuple(sorted(reads)), held, candidates_of(z, struck), pattern
    )
