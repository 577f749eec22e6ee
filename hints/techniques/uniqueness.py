"""Arguments from the puzzle having just one solution. Off by default: a misprint breaks them."""

from __future__ import annotations

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction, deduce
from papernudge.hints.layout import COLUMN, ROW
from papernudge.hints.looks import Sight
from papernudge.hints.masks import DIGITS_IN, Cell, House, cells_mask, members
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
    found, layout = [], board.layout
    rows, columns = layout.rows, layout.columns
    pairs = [c for c in layout.cells if board.digits[c].bit_count() == 2]
    for corner in pairs:
        same = [c for c in pairs if board.digits[c] == board.digits[corner]]
        along = [c for c in same if rows[c] == rows[corner] and c != corner]
        across = [c for c in same if columns[c] == columns[corner] and c != corner]
        for one, other in ((one, other) for one in along for other in across):
            found += _rectangle(board, corner, one, other)
    return [d for d in found if d.looks <= budget]


def _rectangle(board: Board, corner: Cell, one: Cell, other: Cell) -> list[Deduction]:
    layout = board.layout
    fourth = layout.at(layout.place(other)[0], layout.place(one)[1])
    corners = cells_mask((corner, one, other, fourth))
    lines = _lines(board, corners)
    if not _can_be_swapped(board, corners, lines):
        return []
    digits = board.digits[corner]
    if digits & ~board.digits[fourth] or board.digits[fourth] == digits:
        return []
    ruled_out = 0
    for digit in DIGITS_IN[digits]:
        ruled_out |= layout.candidates_of(digit, 1 << fourth)
    reads = tuple(Sight(c, digits) for c in sorted((corner, one, other)))
    held = 1 << corner | 1 << one | 1 << other
    pattern = Pattern(digits, ((CORNER, corners),), ((BASE, lines),))
    return [deduce(board, UNIQUE_RECTANGLE, reads, held, ruled_out, pattern, one_solution=True)]


def _lines(board: Board, corners: int) -> tuple[House, ...]:
    """The two rows and the two columns of a rectangle."""
    layout = board.layout
    around = {house for cell in members(corners) for house in layout.houses_of[cell]}
    return tuple(sorted(h for h in around if layout.houses[h].kind in (ROW, COLUMN)))


def _can_be_swapped(board: Board, corners: int, lines: tuple[House, ...]) -> bool:
    """Whether two digits that lie crosswise can change places: each house that holds a corner holds
    one beside it as well, so that it has both digits before and after.
    """
    layout = board.layout
    sides = [layout.masks[line] & corners for line in lines]
    held = {mask & corners for mask in layout.masks if mask & corners}
    return held <= {*sides}
