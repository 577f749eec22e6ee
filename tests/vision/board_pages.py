"""Small drawn pages of any board with exactly known crossings, for the tests of reading them."""

from __future__ import annotations

from itertools import product
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.masks import SYMBOLS
from papernudge.vision.grid import FoundGrid, GridKind, Quality
from papernudge.vision.mesh import Mesh

UNIT, RIM, INK = 60, 60, 40
"""Pixels of a cell and around the grid; grey level of print."""
PEN = (150, 60, 30)
"""Blue, green, red of what is written."""
MARKED_GIVENS = "...62.43.2........74.....6.1..7....9....18....9...6.83.51..9....8...1.5.3..4....."
"""What is printed in the cells of :func:`marked_page`."""
STROKES = {
    "1": [[(30, 30), (52, 8), (48, 92)]],
    "2": [[(22, 28), (40, 8), (68, 20), (60, 48), (24, 90), (50, 84), (80, 92)]],
    "3": [[(22, 12), (56, 6), (70, 24), (44, 46), (72, 60), (64, 88), (20, 92)]],
    "4": [[(40, 6), (18, 60), (80, 56)], [(62, 30), (56, 96)]],
    "5": [[(72, 8), (30, 10), (26, 46), (60, 42), (74, 66), (54, 92), (18, 86)]],
    "6": [[(66, 6), (34, 40), (22, 74), (46, 94), (72, 74), (54, 54), (26, 68)]],
    "7": [[(18, 14), (74, 8), (52, 48), (38, 96)]],
    "8": [[(66, 16), (34, 12), (30, 34), (70, 66), (52, 94), (26, 76), (66, 30), (62, 12)]],
    "9": [[(70, 20), (40, 8), (24, 34), (50, 48), (70, 22), (66, 60), (50, 96)]],
}
"""Ways of a pen, hundredths of a digit's height, x right and y down."""


def board_page(
    layout: Layout, givens: str, entries: str = "", figures: bool = True
) -> npt.NDArray[np.uint8]:
    """A board drawn flat, uint8 (S, S, 3): its line middles lie RIM + k·UNIT pixels from the edge.

    ``entries``: what is written with a pen; ``figures``: whether what is more than nine stands
    there as a number of two figures, or as in lines as a letter.
    """
    import cv2

    chance = np.random.default_rng(len(entries))
    page = np.full((layout.side * UNIT + 2 * RIM,) * 2 + (3,), 235, np.uint8)
    for cell in layout.cells:
        given = givens[cell]
        mark = given if given != "." else entries[cell] if entries else "."
        text = str(SYMBOLS.index(mark) + 1) if mark != "." and figures else mark
        if mark == ".":
            continue
        row, column = layout.place(cell)
        width = 22 if len(text) == 1 else 40
        at = (RIM + column * UNIT + (UNIT - width) // 2, RIM + row * UNIT + 45)
        scale = 1.3 if len(text) == 1 else 1.0
        if given == ".":
            _written(page, text, (RIM + column * UNIT, RIM + row * UNIT), chance)
        else:
            cv2.putText(page, text, at, cv2.FONT_HERSHEY_SIMPLEX, scale, (INK,) * 3, 3, cv2.LINE_AA)
    _lines(page, layout)
    return page


def _written(
    page: npt.NDArray[np.uint8], text: str, corner: tuple[int, int], chance: np.random.Generator
) -> None:
    """One-figure or two-figure numbers by a shaky hand."""
    import cv2

    high = (38 if len(text) == 1 else 30) * chance.uniform(0.9, 1.1)
    left = corner[0] + (UNIT - len(text) * 0.75 * high) / 2 + chance.uniform(-4, 4)
    top = corner[1] + (UNIT - high) / 2 + chance.uniform(-4, 4)
    slant = chance.uniform(0.05, 0.2)
    for mark in text:
        for stroke in STROKES.get(mark, [[(50, 0), (50, 100)]]):
            way = np.array(stroke, np.float64) / 100
            way[:, 0] += slant * (0.5 - way[:, 1])
            fine = np.linspace(0, len(way) - 1, 40)
            curve = np.stack([np.interp(fine, range(len(way)), way[:, k]) for k in (0, 1)], axis=1)
            curve = np.stack(
                [np.convolve(np.pad(v, 3, "edge"), np.ones(7) / 7, "valid") for v in curve.T],
                axis=1,
            )
            curve += np.cumsum(chance.normal(0, 0.004, curve.shape), axis=0)
            points = np.round((curve * high + [left, top]) * 16).astype(np.int32)
            cv2.polylines(page, [points], False, PEN, 2, cv2.LINE_AA, 4)
        left += 0.75 * high


def _lines(page: npt.NDArray[np.uint8], layout: Layout) -> None:
    """Thick ones between blocks and around the board, thin ones between cells."""
    import cv2

    side = layout.side
    block = np.pad(np.array(layout.blocks).reshape(side, side), 1, constant_values=-1)
    for row in range(side + 1):
        for column in range(side + 1):
            here = block[row + 1, column + 1]
            for other, down, across in (
                (block[row, column + 1], 0, 1),
                (block[row + 1, column], 1, 0),
            ):
                if (across and column == side) or (down and row == side):
                    continue
                start = (RIM + column * UNIT, RIM + row * UNIT)
                end = (start[0] + across * UNIT, start[1] + down * UNIT)
                cv2.line(page, start, end, (INK,) * 3, 2 if here == other else 6)


def marked_page(kind: str) -> npt.NDArray[np.uint8]:
    """A newspaper's grid, drawn flat, with dots or arrows of another kind of puzzle."""
    import cv2

    page = board_page(NEWSPAPER, MARKED_GIVENS)

    def at(row: float, column: float) -> tuple[int, int]:
        return round(RIM + column * UNIT), round(RIM + row * UNIT)

    for row, column in product(range(0, 8, 2), range(1, 9, 2)):
        if kind == "dot":
            cv2.circle(page, at(row + 0.5, column), 8, (40, 40, 40), -1, cv2.LINE_AA)
        else:
            cv2.circle(page, at(row + 0.5, column - 0.5), 24, (120,) * 3, 2, cv2.LINE_AA)
            ends = at(row + 0.8, column - 0.2), at(row + 1.6, column + 0.6)
            cv2.arrowedLine(page, *ends, (120,) * 3, 2, cv2.LINE_AA, tipLength=0.2)
    return page


def mesh_of(layout: Layout) -> Mesh:
    """Where its lines cross."""
    at = RIM + UNIT * np.arange(layout.side + 1, dtype=np.float64)
    return Mesh(np.stack(np.meshgrid(at, at), axis=-1), np.ones((layout.side + 1,) * 2, np.bool_))


def found(layout: Layout, quarter_turns: int = 0, **more: Any) -> FoundGrid:
    """What finding delivers of the page, whose paper was turned clockwise so often."""
    mesh = mesh_of(layout).turned(0)
    side = layout.side * UNIT + 2 * RIM - 1.0
    crossings = mesh.crossings
    for _ in range(quarter_turns % 4):
        x, y = np.moveaxis(np.rot90(crossings, -1), -1, 0)
        crossings = np.stack([side - y, x], axis=-1)
    mesh = Mesh(crossings, mesh.seen)
    return FoundGrid(
        GridKind.PUZZLE, mesh.corners, mesh, Quality(True), layout.turned(quarter_turns), **more
    )
