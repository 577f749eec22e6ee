"""Flat boards drawn at once, without a page: lines, tints and digits of a program's own letters."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.pages.board_pages import named
from papernudge.digits_model.training.sheets_truth import FORMS, Sheet, across, pieces
from papernudge.hints.layout import Layout
from papernudge.vision.boards.printed import BOARD, CELLS, EDGES, HEAVY, STEP
from papernudge.vision.boards.sheet import CELL, MARGIN, light

WORDS = (
    *("3x3",) * 6,
    *("2x2", "2x3", "3x2", "2x4", "4x2", "2x5", "3x4", "4x4"),
    *("any 5", "any 6", "any 7", "any 8", "any 9", "any 9"),
)
"""Boards, those of nine rows more often."""


def drawn_flat(chance: np.random.Generator) -> Sheet:
    """A board with few digits or many, perhaps with tinted pieces, and what is on it."""
    layout = named(str(chance.choice(WORDS)), int(chance.integers(FORMS)))
    side = layout.side
    size = side * CELL + 2 * MARGIN
    grey = np.full((size, size), 255.0)
    tone = np.zeros(layout.many, int)
    if chance.random() < 0.3:
        touch = bool(chance.random() < 0.3)
        for number, piece in enumerate(pieces(layout, chance, touch), start=1):
            tone[list(piece)] = number if touch else 1
    low, high = chance.uniform([0.6, 0.85], [0.75, 0.95]).tolist()
    levels = 255 * chance.permutation(np.linspace(low, high, 7))
    for cell in np.flatnonzero(tone).tolist():
        _box(grey, layout, cell)[:] = levels[tone[cell]]
    _digits(grey, layout, chance)
    of = np.array(layout.blocks).reshape(side, side)
    one, two = across(of)
    heavy = one != two
    _lines(grey, side, heavy, chance)
    one, two = across(tone.reshape(side, side))
    edges = np.zeros((EDGES, 2, side, side - 1), np.int8)
    edges[HEAVY], edges[STEP] = heavy, one != two
    cells = np.zeros((CELLS, side, side), np.int8)
    cells[0] = tone.reshape(side, side) > 0
    pixels = _photographed(grey, chance)
    return Sheet(pixels, light(pixels), edges, cells, np.zeros(BOARD, np.int8))


def _box(grey: npt.NDArray[np.float64], layout: Layout, cell: int) -> npt.NDArray[np.float64]:
    row, column = layout.place(cell)
    top, left = MARGIN + row * CELL, MARGIN + column * CELL
    return grey[top : top + CELL, left : left + CELL]


def _digits(grey: npt.NDArray[np.float64], layout: Layout, chance: np.random.Generator) -> None:
    import cv2

    share = float(chance.choice([0.0, 0.02, 0.3, 0.7, 1.0]))
    face = int(chance.integers(5))  # OpenCV's upright letters
    high, weight = float(chance.uniform(0.45, 0.75)) * CELL, int(chance.integers(1, 4))
    mask = np.zeros(grey.shape, np.uint8)
    for cell in np.flatnonzero(chance.random(layout.many) < share).tolist():
        text = str(int(chance.integers(1, layout.side + 1)))
        (wide, tall), _ = cv2.getTextSize(text, face, 1.0, weight)
        scale = min(high / tall, 0.8 * CELL / wide)
        row, column = layout.place(cell)
        x = MARGIN + (column + 0.5) * CELL - wide * scale / 2
        y = MARGIN + (row + 0.5) * CELL + tall * scale / 2
        cv2.putText(mask, text, (round(x), round(y)), face, scale, 255, weight, cv2.LINE_AA)
    grey *= 1 - float(chance.uniform(0.5, 1.0)) * mask / 255.0


def _lines(
    grey: npt.NDArray[np.float64],
    side: int,
    heavy: npt.NDArray[np.bool_],
    chance: np.random.Generator,
) -> None:
    """Thin lines between cells, heavy ones between blocks and around the board."""
    import cv2

    fine = 4  # pixels of the mask per pixel of the sheet
    thin = float(chance.uniform(0.015, 0.05)) * CELL * fine
    thick = thin * float(np.exp(chance.uniform(np.log(1.7), np.log(4.0))))
    inks = float(chance.uniform(0.3, 1.0)), float(chance.uniform(0.6, 1.0))
    for weight, ink, of in ((thin, inks[0], ~heavy), (thick, inks[1], heavy)):
        mask = np.zeros((len(grey) * fine,) * 2, np.uint8)

        ends = [(b + 1, a, b + 1, a + 1) for a, b in np.argwhere(of[0]).tolist()]
        ends += [(a, b + 1, a + 1, b + 1) for a, b in np.argwhere(of[1]).tolist()]
        if of is heavy:
            ends += [end for k in (0, side) for end in ((0, k, side, k), (k, 0, k, side))]
        for end in ends:
            x0, y0, x1, y1 = (fine * (MARGIN + k * CELL) for k in end)
            cv2.line(mask, (x0, y0), (x1, y1), 255, max(1, round(weight)))
        cover = cv2.resize(mask, grey.shape, interpolation=cv2.INTER_AREA) / 255.0
        grey *= np.asarray(1 - ink * cover, np.float64)


def _photographed(
    grey: npt.NDArray[np.float64], chance: np.random.Generator
) -> npt.NDArray[np.uint8]:
    """The board on paper of some tone, a little blurred, in light that falls off, with noise."""
    import cv2

    paper = chance.uniform(0.6, 0.95) * (1 - 0.08 * chance.random(3))
    slant = 1 - chance.uniform(-0.3, 0.3) * np.linspace(0, 1, len(grey))
    if chance.random() < 0.5:
        slant = slant[:, None]
    soft = cv2.GaussianBlur(grey, (0, 0), float(chance.uniform(0.2, 1.2)))
    lit = (soft * slant)[:, :, None] * paper
    lit += chance.normal(0, float(chance.uniform(0, 5)), lit.shape)
    return np.asarray(np.clip(lit, 0, 255), np.uint8)
