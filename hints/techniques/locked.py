"""Locked candidates: where two houses cross."""

from __future__ import annotations

from collections.abc import Iterator

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction, deduce
from papernudge.hints.looks import Scan
from papernudge.hints.masks import Digit
from papernudge.hints.pattern import BASE, COVER, LOCKED, Pattern
from papernudge.hints.techniques.hunt import by_digit

LOCKED_CANDIDATES = "locked candidates"


def locked_candidates(board: Board, budget: int) -> list[Deduction]:
    """All places of a digit in a house lie in a second house too: so it is nowhere else there.

    Both ways: from a block to a row or column, and from a row or column to a block; so wherever two
    houses of any kind meet in more than a cell. Here the 7 of the first block is in row 1, so it is
    not in row 1 outside that block.

    >>> from papernudge.hints.drawing import drawn, told
    >>> board = drawn('''
    ...     . . .  . . .  . . .
    ...     1 2 3  . . .  . . .
    ...     4 5 6  . . .  . . .''')
    >>> print(told(d for d in locked_candidates(board, 9) if d.reads[0].digit == 7))
    locked candidates, 4 looks: no 7 in R1C4, R1C5, R1C6, R1C7, R1C8, R1C9
    """
    return by_digit(board, budget, LOCKED_CANDIDATES, _of_digit)


def _of_digit(board: Board, digit: Digit) -> Iterator[Deduction]:
    cells, layout = board.cells[digit], board.layout
    masks, most = layout.masks, layout.widest_meeting
    for house, all_of_it in enumerate(masks):
        places = cells & all_of_it
        if not 2 <= places.bit_count() <= most:
            continue
        for other in layout.holding(places):
            struck = cells & masks[other] & ~all_of_it
            if struck:
                read = Scan(digit, house, all_of_it & masks[other])
                ruled_out = layout.candidates_of(digit, struck)
                pattern = Pattern(
                    1 << (digit - 1),
                    ((LOCKED, places),),
                    ((BASE, (house,)), (COVER, (other,))),
                )
                yield deduce(board, LOCKED_CANDIDATES, (read,), places, ruled_out, pattern)
