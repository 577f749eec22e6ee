"""What a person said of a page, brought to the cells that it is about by their place."""

from __future__ import annotations

from collections.abc import Sequence

from papernudge.cli.books.rows import GridRow
from papernudge.cli.books.settle import Words

LABEL = "label:"
"""How a word begins that says what a grid is called, and nothing of what it holds."""
Point = tuple[float, float]
Corners = Sequence[Sequence[float]]
"""Four of x, y, in order around."""
Kept = tuple[float, float, str, str]
"""x, y, the cell's name or nothing, what is said."""


def words_from(kept: Sequence[Kept], grids: Sequence[GridRow]) -> dict[int, Words]:
    """For each of these grids that somebody has spoken of, what was said on their page."""
    out: dict[int, Words] = {}
    for grid in grids:
        about = [one for one in kept if holds(grid, one[:2]) and not one[3].startswith(LABEL)]
        whole = next((says for _, _, cell, says in about if not cell), None)
        cells = {cell_at(grid, x, y): says for x, y, cell, says in about if cell}
        if grid.givens is None:
            cells = {}
        if cells or whole:
            out[grid.number] = Words(cells, whole)
    return out


def label_of(kept: Sequence[Kept], corners: Corners) -> str | None:
    """What somebody has called the grid with these corners."""
    said = (one[3] for one in kept if one[3].startswith(LABEL) and within(corners, one[:2]))
    return next((text.removeprefix(LABEL) for text in said), None)


def cell_at(grid: GridRow, x: float, y: float) -> str:
    """The cell whose centre is nearest to a point of the raster."""

    def away(cell: int) -> float:
        cx, cy = centre(grid, cell)
        return (cx - x) ** 2 + (cy - y) ** 2

    return grid.board.name(min(grid.board.cells, key=away))


def holds(grid: GridRow, point: Point) -> bool:
    """Whether a point lies within the grid's four corners."""
    return within(grid.corners, point)


def within(corners: Corners, point: Point) -> bool:
    """Whether a point lies within four corners."""
    sides = [
        (bx - ax) * (point[1] - ay) - (by - ay) * (point[0] - ax)
        for (ax, ay), (bx, by) in zip(corners, [*corners[1:], corners[0]], strict=True)
    ]
    return all(side >= 0 for side in sides) or all(side <= 0 for side in sides)


def centre(grid: GridRow, cell: int | None) -> Point:
    """Of a cell or of the whole grid, raster pixels."""
    board = grid.board
    if cell is None or grid.crossings is None:
        down = across = 4.5 / 9
        if cell is not None:
            row, column = board.place(cell)
            down, across = (row + 0.5) / board.high, (column + 0.5) / board.wide
        (ax, ay), (bx, by), (cx, cy), (dx, dy) = grid.corners
        top = (ax + (bx - ax) * across, ay + (by - ay) * across)
        foot = (dx + (cx - dx) * across, dy + (cy - dy) * across)
        x, y = (t + (f - t) * down for t, f in zip(top, foot, strict=True))
    else:
        import struct

        lines = board.wide + 1
        points = struct.unpack(f"<{2 * lines * lines}f", grid.crossings)
        row, column = board.place(cell)
        around = [2 * (lines * (row + i) + column + j) for i in (0, 1) for j in (0, 1)]
        x, y = (sum(points[k + axis] for k in around) / 4 for axis in (0, 1))
    return round(x, 2), round(y, 2)
