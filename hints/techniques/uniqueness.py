"""Arguments from the puzzle having just one solution. Off by default: a misprint breaks them."""

from __future__ import annotations

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction, deduce
from papernudge.hints.geometry import (
    BLOCK,
    COLUMN,
    DIGITS_IN,
    HOUSES_OF,
    ROW,
    Cell,
    candidates_of,
    members,
)
from papernudge.hints.layout import NEWSPAPER
from papernudge.hints.looks import Sight
from papernudge.hints.pattern import BASE, CORNER, Pattern

UNIQUE_RECTANGLE = "unique rectangle"


def unique_rectangles(board: Board, budget: int) -> list[Deduction]:
    """Four blanks at the corners of two rows, two columns and two blocks: if three of them take
    the same two digits only, the fourth takes neither, or swapping the two gave a second solution.

    >>> from papernudge.hints.drawing import marked, told
    >>> print(told(unique_rectangles(marked('''
    ...     12 . .  12 . .  . . .
    ...     12 . .  .  . .  . . .'''), 9)))
    unique rectangle, 6 looks: no 1 or 2 in R2C4
    """
    found = []
    pairs = [c for c in NEWSPAPER.cells if board.digits[c].bit_count() == 2]
    for corner in pairs:
        same = [c for c in pairs if board.digits[c] == board.digits[corner]]
        along = [c for c in same if ROW[c] == ROW[corner] and c != corner]
        across = [c for c in same if COLUMN[c] == COLUMN[corner] and c != corner]
        for one, other in ((one, other) for one in along for other in across):
            found += _rectangle(board, corner, one, other)
    return [d for d in found if d.looks <= budget]


def _rectangle(board: Board, corner: Cell, one: Cell, other: Cell) -> list[Deduction]:
    fourth = NEWSPAPER.at(NEWSPAPER.place(other)[0], NEWSPAPER.place(one)[1])
    if len({BLOCK[c] for c in (corner, one, other, fourth)}) != 2:
        return []
    digits = board.digits[corner]
    if digits & ~board.digits[fourth] or board.digits[fourth] == digits:
        return []
    ruled_out = 0
    for digit in DIGITS_IN[digits]:
        ruled_out |= candidates_of(digit, 1 << fourth)
    reads = tuple(Sight(c, digits) for c in sorted((corner, one, other)))
    held = 1 << corner | 1 << one | 1 << other
    corners = held | 1 << fourth
    lines = tuple(dict.fromkeys(h for c in members(corners) for h in HOUSES_OF[c][:2]))
    pattern = Pattern(digits, ((CORNER, corners),), ((BASE, tuple(sorted(lines))),))
    return [deduce(board, UNIQUE_RECTANGLE, reads, held, ruled_out, pattern, one_solution=True)]
