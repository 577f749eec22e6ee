"""Fish: a digit kept to as many columns as rows, or the other way round."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction, deduce
from papernudge.hints.geometry import (
    HOUSES,
    HOUSES_OF,
    Cells,
    Digit,
    House,
    candidates_of,
    houses_holding,
    members,
    peers_of_all,
)
from papernudge.hints.looks import Scan, scan_price
from papernudge.hints.pattern import BASE, CORNER, COVER, FIN, Pattern

FISH = {2: "X-wing", 3: "swordfish", 4: "jellyfish"}

_Base = tuple[int, House, Cells]


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
    ...     return [d for d in fish(board, 12) if {r.house for r in d.reads} == {0, 4}]
    >>> print(told(of_the_rows(marked(rows.format(2)))))
    X-wing, 6 looks: no 1 in R2C1, R2C9, R4C9, R7C1, R7C9, R8C1, R8C9, R9C1, R9C9
    >>> print(told(of_the_rows(marked(rows.format(1)))))
    finned X-wing, 7 looks: no 1 in R4C9
    """
    found: list[Deduction] = []
    for digit in range(1, 10):
        for first, covers in ((0, 1), (9, 0)):
            bases = list(_bases(board, digit, first, budget))
            for size in range(2, 5):
                for chosen in combinations(bases, size):
                    if sum(base[0] for base in chosen) <= budget:
                        found += _swimming(board, digit, chosen, covers)
    return found


def _bases(board: Board, digit: Digit, first: House, budget: int) -> Iterator[_Base]:
    """The rows (or columns) where a digit has two places or more, with what each costs."""
    for house in range(first, first + 9):
        places = board.cells[digit] & HOUSES[house]
        count = places.bit_count()
        if 2 <= count <= 6:
            looks = count + scan_price(board, digit, house, places)
            if looks + 3 <= budget:
                yield looks, house, places


def _swimming(
    board: Board, digit: Digit, bases: tuple[_Base, ...], covers: int
) -> Iterator[Deduction]:
    """The fish of these rows, one for each choice of columns that strikes something."""
    size = len(bases)
    places = 0
    for base in bases:
        places |= base[2]
    crossed = sorted({HOUSES_OF[c][covers] for c in members(places)})
    if len(crossed) > size + 2:
        return
    for chosen in combinations(crossed, size):
        lines = 0
        for house in chosen:
            lines |= HOUSES[house]
        fins = places & ~lines
        if fins and not any(h >= 18 for h in houses_holding(fins)):
            continue
        struck = board.cells[digit] & lines & ~places & peers_of_all(fins)
        if struck:
            reads = tuple(Scan(digit, h, HOUSES[h] & (lines | fins)) for _, h, _ in bases)
            pattern = Pattern(
                1 << (digit - 1),
                ((CORNER, places & lines), (FIN, fins)),
                ((BASE, tuple(house for _, house, _ in bases)), (COVER, chosen)),
            )
            name = f"finned {FISH[size]}" if fins else FISH[size]
            yield deduce(board, name, reads, places, candidates_of(digit, struck), pattern)
