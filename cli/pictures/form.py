"""What a board's form brings to a drawing of it: where lines are heavy, outlines of houses, where
notes stand. In grid units: x counts columns from the left line of the grid, y rows from its top.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from functools import cache
from math import ceil, sqrt

from papernudge.hints.layout import BLOCK, EXTRA, Layout

Run = tuple[int, int, int, int]
"""A straight piece of a line, from (x0, y0) to (x1, y1)."""

Point = tuple[int, int]


@cache
def ruled(layout: Layout) -> tuple[tuple[Run, bool], ...]:
    """All lines of a board in the order in which they are drawn, and whether they are heavy: line
    by line, the horizontal one first; of a line that parts blocks on some of its way only, the
    whole line and then its heavy pieces.
    """
    blocks = [house.cells for house in layout.houses if house.kind == BLOCK]
    heavy = {run for block in blocks for run in outline(layout, block)}
    found: list[tuple[Run, bool]] = []
    for n in range(layout.side + 1):
        for whole in ((0, n, layout.wide, n), (n, 0, n, layout.high)):
            pieces = _joined(run for run in heavy if _along(run, whole))
            if pieces == [whole]:
                found.append((whole, True))
            else:
                found += [(whole, False), *((piece, True) for piece in pieces)]
    return tuple(found)


def _along(run: Run, whole: Run) -> bool:
    """Whether a piece lies on this line across the board."""
    flat = whole[1] == whole[3]
    return run[1] == run[3] == whole[1] if flat else run[0] == run[2] == whole[0]


def _joined(runs: Iterable[Run]) -> list[Run]:
    """Pieces of one line, those that overlap or touch end to end made one."""
    joined: list[Run] = []
    for x0, y0, x1, y1 in sorted(runs):
        if joined and (x0, y0) <= joined[-1][2:]:
            u0, v0, u1, v1 = joined[-1]
            joined[-1] = (u0, v0, max(u1, x1), max(v1, y1))
        else:
            joined.append((x0, y0, x1, y1))
    return joined


def outline(layout: Layout, cells: Collection[int]) -> tuple[Run, ...]:
    """The lines around a set of cells, in straight pieces that are as long as they can be."""
    inside = {layout.place(cell) for cell in cells}
    flat, upright = set[Run](), set[Run]()
    for row, column in inside:
        for beyond, edge in (
            ((row - 1, column), (column, row, column + 1, row)),
            ((row + 1, column), (column, row + 1, column + 1, row + 1)),
        ):
            flat |= set() if beyond in inside else {edge}
        for beyond, edge in (
            ((row, column - 1), (column, row, column, row + 1)),
            ((row, column + 1), (column + 1, row, column + 1, row + 1)),
        ):
            upright |= set() if beyond in inside else {edge}
    rows = [[run for run in flat if run[1] == y] for y in sorted({run[1] for run in flat})]
    columns = [[run for run in upright if run[0] == x] for x in sorted({r[0] for r in upright})]
    return tuple(piece for line in (*rows, *columns) for piece in _joined(line))


def is_box(layout: Layout, house: int) -> bool:
    """Whether a house fills the rectangle that it spans."""
    x0, y0, x1, y1 = layout.box(house)
    return (x1 - x0) * (y1 - y0) == layout.side


@cache
def tinted(layout: Layout) -> tuple[tuple[int, ...], ...]:
    """Extra blocks by tint: those that touch or share cells have different ones, as far as three
    tints do. ``tinted[k]``: the cells of tint k.
    """
    groups: list[list[tuple[int, ...]]] = []
    for house in layout.houses:
        if house.kind != EXTRA:
            continue
        near = {n for cell in house.cells for n in layout.around(cell)}
        free = (group for group in groups if not any(near & set(cells) for cells in group))
        group = next(free, None)
        if group is None and len(groups) < 3:
            groups.append(group := [])
        (groups[-1] if group is None else group).append(house.cells)
    return tuple(tuple(cell for cells in group for cell in cells) for group in groups)


def slants(layout: Layout) -> tuple[tuple[Point, Point], ...]:
    """The ends of the diagonals that hold each digit once."""
    wide, high = layout.wide, layout.high
    return (((0, 0), (wide, high)), ((wide, 0), (0, high))) if layout.plan.diagonals else ()


def notes_at(
    values: Iterable[int], x: float, y: float, side: int
) -> Iterator[tuple[int, float, float, float]]:
    """Each note of a cell with its middle and its height; (x, y): where the first one of nine
    stands. They lie in reading order, as many beside each other as about make a square.
    """
    across = 2 if side == 4 else max(3, ceil(sqrt(side)))
    wide, high = 0.9 / across, 0.9 / ceil(side / across)
    left, top = x + (wide - 0.3) / 2, y + (high - 0.3) / 2
    for value in sorted(values):
        row, column = divmod(value - 1, across)
        yield value, left + wide * column, top + high * row, 0.2 * min(wide, high) / 0.3
