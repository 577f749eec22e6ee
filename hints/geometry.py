"""The newspaper's 9×9 grid as tables, for all that reads it: houses, peers, names, and sets that
print themselves. What reasons on any board asks its ``papernudge.hints.layout`` instead.

Cells count from 0 to 80, row by row. Houses count from 0 to 26: rows 0–8, columns 9–17, blocks
18–26. A set of cells is an integer with bit ``c`` set for cell ``c``; a set of digits one with bit
``d - 1`` set for digit ``d``; a set of candidates one with bit ``81 * (d - 1) + c``.
"""

from __future__ import annotations

from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.masks import DIGITS_IN as DIGITS_IN
from papernudge.hints.masks import Candidates as Candidates
from papernudge.hints.masks import Cell as Cell
from papernudge.hints.masks import Cells as Cells
from papernudge.hints.masks import Digit as Digit
from papernudge.hints.masks import Digits as Digits
from papernudge.hints.masks import House as House
from papernudge.hints.masks import cells_mask as cells_mask
from papernudge.hints.masks import digits_in as digits_in
from papernudge.hints.masks import members as members

SIDE = NEWSPAPER.side
DIGITS = NEWSPAPER.digits
ALL_CANDIDATES: Candidates = NEWSPAPER.all_candidates

HOUSES: tuple[Cells, ...] = NEWSPAPER.masks
"""The nine cells of each of the 27 houses."""
HOUSES_OF = NEWSPAPER.houses_of
"""The row, the column and the block of each cell."""
PEERS: tuple[Cells, ...] = NEWSPAPER.peer_masks
"""The twenty cells that each cell sees."""

candidate = NEWSPAPER.candidate
candidates_of = NEWSPAPER.candidates_of
candidate_pairs = NEWSPAPER.pairs


CELL_NAMES = tuple(NEWSPAPER.names(NEWSPAPER.cells))


def cell_name(cell: Cell) -> str:
    """``R4C7`` for cell 33.

    >>> cell_name(33)
    'R4C7'
    """
    return CELL_NAMES[cell]


CELL_NAME = "R([1-9])C([1-9])"
"""A cell's name as a pattern of :mod:`re`, its row and column as groups."""


def cell_of(name: str, layout: Layout = NEWSPAPER) -> Cell:
    """The cell that ``R4C7`` names. ValueError if it names none.

    >>> cell_of("R4C7")
    33
    """
    cell = layout.cell(name)
    if cell is not None:
        return cell
    raise ValueError(f"expected a cell such as R4C7 (row 4, column 7), got {name!r}")


def house_name(house: House) -> str:
    """``row 4``, ``column 2`` or ``block 9``.

    >>> house_name(3), house_name(10), house_name(26)
    ('row 4', 'column 2', 'block 9')
    """
    return NEWSPAPER.house_name(house)


def picture(cells: Cells, layout: Layout = NEWSPAPER) -> str:
    """A set of cells as lines of text.

    >>> print(picture(HOUSES[18] | HOUSES[13]))
    x x x  . x .  . . .
    x x x  . x .  . . .
    x x x  . x .  . . .
    <BLANKLINE>
    . . .  . x .  . . .
    . . .  . x .  . . .
    . . .  . x .  . . .
    <BLANKLINE>
    . . .  . x .  . . .
    . . .  . x .  . . .
    . . .  . x .  . . .
    """
    return grid_picture("".join("x" if cells >> c & 1 else "." for c in layout.cells), layout)


def grid_picture(line: str, layout: Layout = NEWSPAPER) -> str:
    """A line of marks as lines of text, parted where all blocks are."""
    high, wide = layout.even or (layout.high, layout.wide)
    rows = []
    for r in range(layout.high):
        row = line[layout.wide * r : layout.wide * (r + 1)]
        rows.append("  ".join(" ".join(row[k : k + wide]) for k in range(0, layout.wide, wide)))
    return "\n\n".join("\n".join(rows[k : k + high]) for k in range(0, layout.high, high))
