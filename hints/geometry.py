"""The 9×9 grid as tables, built once: houses, peers, names, and sets that print themselves.

Cells count from 0 to 80, row by row. Houses count from 0 to 26: rows 0–8, columns 9–17, blocks
18–26. A set of cells is an integer with bit ``c`` set for cell ``c``; a set of digits one with bit
``d - 1`` set for digit ``d``; a set of candidates one with bit ``81 * (d - 1) + c``.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import lru_cache

from papernudge.hints.layout import NEWSPAPER

Cell = int
Digit = int
House = int
Cells = int
"""A set of cells, 81 bits."""
Digits = int
"""A set of digits, 9 bits."""
Candidates = int
"""A set of pairs of cell and digit, 729 bits, digit by digit."""

SIDE = len(NEWSPAPER.symbols)
DIGITS = range(1, SIDE + 1)
_MANY = len(NEWSPAPER.cells)
ALL_CELLS: Cells = (1 << _MANY) - 1
ALL_DIGITS: Digits = (1 << SIDE) - 1
ALL_CANDIDATES: Candidates = (1 << SIDE * _MANY) - 1


def cells_mask(cells: Iterable[Cell]) -> Cells:
    """The set of these cells."""
    mask = 0
    for cell in cells:
        mask |= 1 << cell
    return mask


HOUSE_CELLS = tuple(house.cells for house in NEWSPAPER.houses)
"""The nine cells of each of the 27 houses, in reading order."""
HOUSES: tuple[Cells, ...] = NEWSPAPER.masks
"""The same as sets."""
ROW, COLUMN, BLOCK = (NEWSPAPER.of_kind(kind) for kind in ("row", "column", "block"))
IS_BLOCK = tuple(house.kind == "block" for house in NEWSPAPER.houses)
"""Whether a house is a block."""
HOUSES_OF = tuple(zip(ROW, COLUMN, BLOCK, strict=True))
"""The row, the column and the block of each cell."""
PEERS: tuple[Cells, ...] = NEWSPAPER.peer_masks
"""The twenty cells that each cell sees."""
THIRDS: tuple[tuple[Cells, Cells, Cells], ...] = tuple(
    (
        cells_mask(HOUSE_CELLS[line][:3]),
        cells_mask(HOUSE_CELLS[line][3:6]),
        cells_mask(HOUSE_CELLS[line][6:]),
    )
    for line in range(18)
)
"""The three cells that a row or column has in each of the blocks it crosses."""
FURTHER_THIRDS: tuple[tuple[int, int, int, int], ...] = tuple(
    (
        3 * (c // 9) + (0 if c % 9 > 2 else 1),
        3 * (c // 9) + (1 if c % 9 > 5 else 2),
        27 + 3 * (c % 9) + (0 if c > 26 else 1),
        27 + 3 * (c % 9) + (1 if c > 53 else 2),
    )
    for c in NEWSPAPER.cells
)
"""For each cell the thirds of its row and its column that lie outside its block: 3 times the line
and 0, 1 or 2."""
BANDS: tuple[Cells, ...] = tuple(
    [sum(HOUSES[3 * (r // 3) + k] for k in range(3)) for r in range(9)]
    + [sum(HOUSES[9 + 3 * (c // 3) + k] for k in range(3)) for c in range(9)]
    + [
        sum(HOUSES[3 * (b // 3) + k] for k in range(3))
        | sum(HOUSES[9 + 3 * (b % 3) + k] for k in range(3))
        for b in range(9)
    ]
)
"""For each house the three lines that are in line with it; for a block those of both ways."""


def members(mask: int) -> Iterator[int]:
    """The bits that are set, lowest first: the cells of a set of cells."""
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


def digits_in(mask: Digits) -> tuple[Digit, ...]:
    """The digits of a set of digits, lowest first."""
    return DIGITS_IN[mask]


DIGITS_IN = tuple(tuple(d for d in DIGITS if m >> (d - 1) & 1) for m in range(512))


def common_peers(cells: Iterable[Cell]) -> Cells:
    """The cells that every one of ``cells`` sees."""
    seen = ALL_CELLS
    for cell in cells:
        seen &= PEERS[cell]
    return seen


@lru_cache(maxsize=1 << 16)
def peers_of_all(mask: Cells) -> Cells:
    """The cells that every cell of a set sees."""
    return common_peers(members(mask))


def houses_holding(mask: Cells) -> tuple[House, ...]:
    """The houses that hold the whole set; none for the empty set."""
    if not mask:
        return ()
    first = (mask & -mask).bit_length() - 1
    return tuple(h for h in HOUSES_OF[first] if mask & ~HOUSES[h] == 0)


def candidate(cell: Cell, digit: Digit) -> Candidates:
    """The set of this one candidate."""
    return 1 << (_MANY * (digit - 1) + cell)


def candidates_of(digit: Digit, cells: Cells) -> Candidates:
    """The candidates for one digit in a set of cells."""
    return cells << _MANY * (digit - 1)


def pair_of(bit: int) -> tuple[Cell, Digit]:
    """The cell and the digit of one bit of a set of candidates."""
    digit, cell = divmod(bit, _MANY)
    return cell, digit + 1


def candidate_pairs(mask: Candidates) -> tuple[tuple[Cell, Digit], ...]:
    """The pairs of cell and digit in a set of candidates, by cell and then digit."""
    return tuple(sorted(map(pair_of, members(mask))))


CELL_NAMES = tuple(map(NEWSPAPER.name, NEWSPAPER.cells))


def cell_name(cell: Cell) -> str:
    """``R4C7`` for cell 33.

    >>> cell_name(33)
    'R4C7'
    """
    return CELL_NAMES[cell]


CELL_NAME = "R([1-9])C([1-9])"
"""A cell's name as a pattern of :mod:`re`, its row and column as groups."""


def cell_of(name: str) -> Cell:
    """The cell that ``R4C7`` names. ValueError if it names none.

    >>> cell_of("R4C7")
    33
    """
    cell = NEWSPAPER.cell(name)
    if cell is not None:
        return cell
    raise ValueError(f"expected a cell such as R4C7 (row 4, column 7), got {name!r}")


def house_name(house: House) -> str:
    """``row 4``, ``column 2`` or ``block 9``.

    >>> house_name(3), house_name(10), house_name(26)
    ('row 4', 'column 2', 'block 9')
    """
    return NEWSPAPER.houses[house].name


def picture(cells: Cells) -> str:
    """A set of cells as nine lines of text.

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
    return _drawn(["x" if cells >> c & 1 else "." for c in NEWSPAPER.cells])


def grid_picture(line: str) -> str:
    """An 81-character line as nine lines of text."""
    return _drawn(list(line))


def _drawn(marks: list[str]) -> str:
    rows = []
    for r in range(9):
        row = marks[9 * r : 9 * r + 9]
        rows.append("  ".join(" ".join(row[k : k + 3]) for k in (0, 3, 6)))
    return "\n\n".join("\n".join(rows[k : k + 3]) for k in (0, 3, 6))
