"""What the eye takes in at once on a board: see ``papernudge.hints.looks``.

A glance covers a *tile*: a block, where blocks are even; on boards of irregular blocks an even
piece of about three rows by three columns. A house that is no larger than a tile is read at a
glance, any other in the parts that it has in the tiles it crosses. (For the newspaper's grid: a
block at one glance, a line in three thirds. That other boards are read alike is set, not fitted.)
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from itertools import product, starmap
from typing import NamedTuple

from papernudge.hints.layout import COLUMN, DIAGONAL, ROW, Layout
from papernudge.hints.masks import Cells, House, cells_mask, members


class Glances:
    """The tables of a board. A *spot* is a house, by its number, or from ``len(houses)`` on a part
    of one that is read in several glances.

    ``parts``: for each house what is read of it at a glance each. ``spots``: the cells of each
    spot. ``on``: for each cell the spots that it lies on. ``around``: for each cell the spots that
    show what it can't take, its block first, then parts of its other houses that lie outside.
    ``bands``: for each house what is in line with it: of a line all lines of the blocks that it
    crosses, of a block the rows and columns that it spans, of a diagonal the tiles on its way.
    """

    __slots__ = ("around", "bands", "on", "parts", "spots")

    def __init__(self, layout: Layout) -> None:
        tiles = _tiles(layout)
        self.parts = tuple(_parts(layout, house, tiles) for house in range(len(layout.houses)))
        spots, numbers = [*layout.masks], dict[House, range]()
        for house, parts in enumerate(self.parts):
            if len(parts) > 1:
                numbers[house] = range(len(spots), len(spots) + len(parts))
                spots += parts
        self.spots: tuple[Cells, ...] = tuple(spots)
        self.on = tuple(
            tuple(n for n, spot in enumerate(spots) if spot >> cell & 1) for cell in layout.cells
        )
        self.around = tuple(_around(layout, cell, spots, numbers) for cell in layout.cells)
        self.bands = tuple(_band(layout, house, tiles) for house in range(len(layout.houses)))


@cache
def glances_of(layout: Layout) -> Glances:
    """The tables of a board, made once."""
    return Glances(layout)


def _around(
    layout: Layout, cell: int, spots: Sequence[Cells], numbers: dict[House, range]
) -> tuple[int, ...]:
    block = layout.blocks[cell]
    inside = layout.masks[block]
    others = [h for h in layout.houses_of[cell] if h != block]
    further = [n for house in others for n in numbers.get(house, (house,)) if spots[n] & ~inside]
    return (block, *further)


class _Tiles(NamedTuple):
    """Their rows and their columns, from the first, and the cells of each."""

    rows: tuple[tuple[int, ...], ...]
    columns: tuple[tuple[int, ...], ...]
    cells: tuple[Cells, ...]


def _tiles(layout: Layout) -> _Tiles:
    high, wide = layout.even or (0, 0)
    rows, columns = _runs(layout.high, high), _runs(layout.wide, wide)
    cells = (cells_mask(starmap(layout.at, product(*tile))) for tile in product(rows, columns))
    return _Tiles(rows, columns, tuple(cells))


def _runs(many: int, each: int) -> tuple[tuple[int, ...], ...]:
    """Lines in runs of so many, or of about three, the same from either end."""
    if each:
        return tuple(tuple(range(k, k + each)) for k in range(0, many, each))
    runs = -(-many // 3)
    if many % 2 and runs % 2 == 0:
        runs += 1
    size, more = divmod(many, runs)
    sizes = [size] * runs
    if more % 2:
        sizes[runs // 2] += 1
    for k in range(more // 2):
        sizes[k] += 1
        sizes[-1 - k] += 1
    starts = [sum(sizes[:k]) for k in range(runs)]
    return tuple(tuple(range(a, a + n)) for a, n in zip(starts, sizes, strict=True))


def _parts(layout: Layout, house: House, tiles: _Tiles) -> tuple[Cells, ...]:
    mask = layout.masks[house]
    left, top, right, bottom = layout.box(house)
    if bottom - top <= max(map(len, tiles.rows)) and right - left <= max(map(len, tiles.columns)):
        return (mask,)
    return tuple(mask & tile for tile in tiles.cells if mask & tile)


def _band(layout: Layout, house: House, tiles: _Tiles) -> Cells:
    left, top, right, bottom = layout.box(house)
    kind = layout.houses[house].kind
    rows, columns = set(range(top, bottom)), set(range(left, right))
    if kind == ROW:
        return _lines(layout, {r for run in tiles.rows if rows & {*run} for r in run}, set())
    if kind == COLUMN:
        return _lines(layout, set(), {c for run in tiles.columns if columns & {*run} for c in run})
    if kind != DIAGONAL:
        return _lines(layout, rows, columns)
    return sum(tile for tile in tiles.cells if tile & layout.masks[house])


def _lines(layout: Layout, rows: set[int], columns: set[int]) -> Cells:
    """All cells of these rows and columns."""
    places = ((cell, *layout.place(cell)) for cell in members(layout.all_cells))
    return cells_mask(cell for cell, r, c in places if r in rows or c in columns)
