"""A clean printed board as a raster, for grids that came as lines."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from papernudge.cli.pictures import ink
from papernudge.cli.pictures.form import notes_at, ruled, slants, tinted
from papernudge.cli.pictures.scene import Scene
from papernudge.cli.pictures.signs import corner
from papernudge.cli.pictures.sketch import PAPER, Placed, letters_of, put_letters, sketch

if TYPE_CHECKING:
    from papernudge.vision.reading import GridReading

Raster = npt.NDArray[np.uint8]
CELL = 96
_EDGE = 40
_INK = (46, 40, 38)
_PALE = (150, 145, 142)
"""Of diagonals."""
_TINTS = (0.88, 0.8, 0.72)
"""How much light each tint of extra blocks leaves: a cell of two is darker than either."""


def board_raster(grid: GridReading, scene: Scene, side: int) -> Raster:
    """The board with a scene on it: uint8 (H, W, 3), neither side over ``side``."""
    layout = grid.layout
    across, down = (
        np.arange(many + 1, dtype=np.float64) * CELL + _EDGE for many in (layout.wide, layout.high)
    )
    crossings = np.stack(np.meshgrid(across, down), axis=2)
    page = _page(grid)
    written = Scene(layout=layout)
    for cell, reading in enumerate(grid.cells):
        x, y = written.middle(cell)
        if reading.kind == "entry" and reading.digit is not None:
            written.add(ink.digit(reading.digit, x, y, 0.56), "grey", 0.06)
        for note in notes_at(reading.notes, x - 0.3, y - 0.3, layout.side):
            written.add(ink.digit(*note), "grey", 0.03)
    whole = max(page.shape[:2])
    page = sketch(page, 0, [Placed(written, crossings)], whole, "", close=False)
    return sketch(page, 0, [Placed(scene, crossings)], side, scene.caption, close=True)


def _page(grid: GridReading) -> Raster:
    """Tints, lines and printed digits."""
    import cv2

    layout = grid.layout
    page = np.full((layout.high * CELL + 2 * _EDGE, layout.wide * CELL + 2 * _EDGE, 3), PAPER)
    page = page.astype(np.uint8)
    for tint, cells in zip(_TINTS, tinted(layout), strict=False):
        for cell in cells:
            (x, y), edge = corner(cell, layout), _EDGE
            part = page[edge + y * CELL : edge + (y + 1) * CELL, edge + x * CELL :][:, :CELL]
            part[:] = (part * tint).astype(np.uint8)
    for a, b in slants(layout):
        cv2.line(page, _pixel(a), _pixel(b), _PALE, 1, cv2.LINE_AA)
    for (x0, y0, x1, y1), heavy in ruled(layout):
        cv2.line(page, _pixel((x0, y0)), _pixel((x1, y1)), _INK, 5 if heavy else 1)
    for cell, reading in enumerate(grid.cells):
        if reading.kind == "given" and reading.digit is not None:
            letters = letters_of(str(reading.digit), 62 if reading.digit < 10 else 54)
            column, row = corner(cell, layout)
            x = _EDGE + column * CELL + (CELL - letters.shape[1]) // 2
            y = _EDGE + row * CELL + (CELL - letters.shape[0]) // 2
            put_letters(page, letters, x, y, _INK)
    return page


def _pixel(place: tuple[int, int]) -> tuple[int, int]:
    return _EDGE + place[0] * CELL, _EDGE + place[1] * CELL
