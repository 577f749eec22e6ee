"""Where things stand on a practice page, points from the lower left corner of the paper."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

PAPERS = {"a4": (595.276, 841.89), "letter": (612.0, 792.0)}
"""Width and height, points."""
EDGE = 40.0
HEAD, FOOT = 112.0, 92.0
"""Room for the title and a sheet code, and for a code and the page number."""
OVER, UNDER, GAP = 15.0, 29.0, 26.0
"""Room over a grid for its number, under it for the why, and between grids."""
CODE = 106.0
"""Side of a sheet code, its quiet zone in it."""


@dataclass(frozen=True, slots=True)
class Box:
    """A square: its lower left corner and its side."""

    x: float
    y: float
    side: float


def grid_boxes(many: int, paper: tuple[float, float]) -> list[Box]:
    """Places for so many grids, as large as fit, from the top left."""
    width, height = paper[0] - 2 * EDGE, paper[1] - HEAD - FOOT - EDGE

    def side(columns: int) -> float:
        rows = ceil(many / columns)
        across = (width - (columns - 1) * GAP) / columns
        down = (height - (rows - 1) * GAP) / rows - OVER - UNDER
        return min(across, down, 420.0)

    columns = max(range(1, many + 1), key=side)
    size = side(columns)
    step = (width + GAP) / columns
    boxes = []
    for at in range(many):
        row, column = divmod(at, columns)
        x = EDGE + column * step + (step - GAP - size) / 2
        top = paper[1] - EDGE / 2 - HEAD - row * (size + OVER + UNDER + GAP)
        boxes.append(Box(x, top - OVER - size, size))
    return boxes


def code_boxes(paper: tuple[float, float]) -> tuple[Box, Box]:
    """The same code twice, in two corners that face each other: a shade or a curl takes one."""
    top = Box(paper[0] - EDGE / 2 - CODE, paper[1] - EDGE / 2 - CODE, CODE)
    return top, Box(EDGE / 2, EDGE / 2 - 6, CODE)
