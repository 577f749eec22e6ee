"""A clean printed board as a raster, for grids that came as lines."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from papernudge.cli.pictures import ink
from papernudge.cli.pictures.scene import Scene
from papernudge.cli.pictures.signs import corner, middle
from papernudge.cli.pictures.sketch import PAPER, Placed, letters_of, put_letters, sketch

if TYPE_CHECKING:
    from papernudge.vision.reading import GridReading

Raster = npt.NDArray[np.uint8]
CELL = 96
_EDGE = 40
_INK = (46, 40, 38)


def board_raster(grid: GridReading, scene: Scene, side: int) -> Raster:
    """The board with a scene on it: uint8 (H, W, 3), neither side over ``side``."""
    at = np.arange(10, dtype=np.float64) * CELL + _EDGE
    crossings = np.stack(np.meshgrid(at, at), axis=2)
    page = _page(grid)
    written = Scene()
    for cell, reading in enumerate(grid.cells):
        x, y = middle(cell)
        if reading.kind == "entry" and reading.digit is not None:
            written.add(ink.digit(reading.digit, x, y, 0.56), "grey", 0.06)
        for value in reading.notes:
            left, top = x - 0.3 + 0.3 * ((value - 1) % 3), y - 0.3 + 0.3 * ((value - 1) // 3)
            written.add(ink.digit(value, left, top, 0.2), "grey", 0.03)
    page = sketch(page, 0, [Placed(written, crossings)], page.shape[0], "", close=False)
    return sketch(page, 0, [Placed(scene, crossings)], side, scene.caption, close=True)


def _page(grid: GridReading) -> Raster:
    """Lines and printed digits."""
    import cv2

    whole = 9 * CELL + 2 * _EDGE
    page = np.full((whole, whole, 3), PAPER, np.uint8)
    for n in range(10):
        at, thick = _EDGE + n * CELL, 5 if n % 3 == 0 else 1
        for a, b in (((_EDGE, at), (whole - _EDGE, at)), ((at, _EDGE), (at, whole - _EDGE))):
            cv2.line(page, a, b, _INK, thick)
    for cell, reading in enumerate(grid.cells):
        if reading.kind == "given" and reading.digit is not None:
            letters = letters_of(str(reading.digit), 62)
            column, row = corner(cell)
            x = _EDGE + column * CELL + (CELL - letters.shape[1]) // 2
            y = _EDGE + row * CELL + (CELL - letters.shape[0]) // 2
            put_letters(page, letters, x, y, _INK)
    return page
