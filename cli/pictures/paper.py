"""What all sheets to print share: paper sizes, places for grids, lines and type.

Lengths are points, x to the right and y up from the lower left corner of the paper. ``canvas`` is
a reportlab Canvas; reportlab is imported when the first one is made.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import resources
from math import ceil
from types import ModuleType
from typing import Any, BinaryIO

from papernudge.cli.base.breaking import lines_of
from papernudge.cli.base.exits import Exit, Stop
from papernudge.cli.pictures.form import ruled, slants, tinted
from papernudge.cli.pictures.typeface import outlines
from papernudge.cli.said import in_words, spoken
from papernudge.hints.catalogue import message
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.masks import VALUES

Paper = tuple[float, float]
PAPERS: dict[str, Paper] = {"a4": (595.276, 841.89), "letter": (612.0, 792.0)}
"""Width and height."""
FONT, BOLD, WHOLE = "Vera", "VeraBd", "M PLUS 1"
"""The typefaces: the last one for what the first two lack (``typeface``)."""
_WHOLE_IN = frozenset(("ja", "pl"))
"""Languages whose letters Vera lacks: all their text is set in the other one, not words of it."""
"""Free typefaces that travel inside the file, so that it prints alike everywhere."""
_DIGIT_HIGH = 0.73
"""Height of a digit of these typefaces, as a share of its size."""


@dataclass(frozen=True, slots=True)
class Box:
    """A square: its lower left corner and its side."""

    x: float
    y: float
    side: float


@dataclass(frozen=True, slots=True)
class Room:
    """A field for grids, from its upper left corner: room ``over`` and ``under`` each grid,
    ``gap`` between neighbours, no grid larger than ``most``.
    """

    left: float
    top: float
    width: float
    height: float
    over: float
    under: float
    gap: float
    most: float = 420.0

    def boxes(self, many: int) -> list[Box]:
        """Places for so many grids, as large as fit, in reading order."""
        columns = max(range(1, many + 1), key=lambda wide: self._side(wide, many))
        side = self._side(columns, many)
        step = (self.width + self.gap) / columns
        out = []
        for at in range(many):
            row, column = divmod(at, columns)
            x = self.left + column * step + (step - self.gap - side) / 2
            down = row * (side + self.over + self.under + self.gap) + self.over + side
            out.append(Box(x, self.top - down, side))
        return out

    def _side(self, columns: int, many: int) -> float:
        rows = ceil(many / columns)
        across = (self.width - (columns - 1) * self.gap) / columns
        down = (self.height - (rows - 1) * self.gap) / rows - self.over - self.under
        return min(across, down, self.most)


def new_canvas(out: BinaryIO, paper: Paper, title: str) -> Any:
    """A canvas that writes the same bytes for the same sheet."""
    _settle_reportlab()
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont
    from reportlab.pdfgen.canvas import Canvas

    for name in (FONT, BOLD):
        if name not in pdfmetrics.getRegisteredFontNames():
            # Its bytes: a name would be looked for in the current folder first.
            data = resources.files("reportlab").joinpath("fonts", f"{name}.ttf").read_bytes()
            pdfmetrics.registerFont(TTFont(name, io.BytesIO(data)))
    canvas = Canvas(out, pagesize=paper, invariant=1, pageCompression=1, initialFontName=FONT)
    canvas.setTitle(title)
    canvas.setCreator("papernudge")
    return canvas


def _whole() -> str:
    """The typeface with all letters, known from the first text on that needs it."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    if WHOLE not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(WHOLE, io.BytesIO(outlines())))
    return WHOLE


_LEAST = 0.7
"""How small a line may be set to fit, of its size: 9 points become 6.3, the least that is read at
arm's length (common practice, no source)."""


def face_for(text: str, font: str = FONT) -> str:
    """The typeface for a text that is to be set in ``font``."""
    from reportlab.pdfbase import pdfmetrics

    if font == FONT and spoken().language in _WHOLE_IN:
        return _whole()
    known = pdfmetrics.getFont(font).face.charToGlyph
    return font if all(ord(c) in known for c in text) else _whole()


def width(text: str, size: float) -> float:
    """How wide a line of type is, points."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return float(stringWidth(text, face_for(text), size))


def broken(text: str, size: float, room: float) -> list[str]:
    """The lines of a text that is ``room`` points wide at most."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    face = face_for(text)
    return lines_of(text, lambda line: stringWidth(line, face, size) <= room)


def _settle_reportlab() -> None:
    """Has reportlab settled as it comes: on its first import it would run a file of settings from
    the current folder or the home folder. Stop (5) where there is no current folder any more.
    """
    name = "reportlab_settings"
    kept = sys.modules.get(name)
    sys.modules[name] = ModuleType(name)
    try:
        import reportlab.rl_config  # noqa: F401 - imported for what it does
    except FileNotFoundError as error:
        raise Stop(
            Exit.FILE,
            message("no current folder"),
            stage="write",
            reason="no folder",
        ) from error
    finally:
        del sys.modules[name]
        if kept is not None:
            sys.modules[name] = kept


def write(
    canvas: Any,
    text: str,
    x: float,
    y: float,
    size: float,
    room: float | None = None,
    font: str = FONT,
) -> float:
    """One line of type; its width. Letters that no typeface has become ?; what is wider than
    ``room`` is set smaller, down to seven tenths, and then cut short.
    """
    from reportlab.pdfbase import pdfmetrics

    font = face_for(text, font)
    known = pdfmetrics.getFont(font).face.charToGlyph
    said = "".join(c if ord(c) in known else "?" for c in text)
    if room is not None:
        size = max(
            _LEAST * size, min(size, size * room / (canvas.stringWidth(said, font, size) or 1))
        )
    if room is not None and canvas.stringWidth(said, font, size) > room:
        while said and canvas.stringWidth(said + "...", font, size) > room:
            said = said[:-1]
        said += "..."
    canvas.setFont(font, size)
    canvas.setFillGray(0)
    canvas.drawString(x, y, said)
    return float(canvas.stringWidth(said, font, size))


def draw_grid(
    canvas: Any,
    line: str,
    box: Box,
    weights: tuple[float, float] = (0.08, 0.02),
    bold: Sequence[int] = (),
    pale: Sequence[int] = (),
    layout: Layout = NEWSPAPER,
) -> None:
    """A grid and its digits. ``line``: a character for each cell; ``weights``: of lines between
    blocks and between cells, cells of the newspaper's grid; ``bold`` and ``pale``: cells whose
    digits are set in bold or in grey.
    """
    step = box.side / layout.side
    _tints(canvas, box, layout)
    canvas.setStrokeGray(0)
    canvas.setLineCap(2)
    heavy, light = (box.side / NEWSPAPER.side * weight for weight in weights)
    _rule(canvas, box, layout, heavy, light)
    for cell, mark in enumerate(line):
        if mark != ".":
            row, column = layout.place(cell)
            digit = VALUES[mark]
            size = (0.62 if digit < 10 else 0.5) * step
            canvas.setFont(BOLD if cell in bold else FONT, size)
            canvas.setFillGray(0.6 if cell in pale else 0)
            foot = box.y + (layout.high - 0.5 - row) * step - _DIGIT_HIGH / 2 * size
            canvas.drawCentredString(box.x + (column + 0.5) * step, foot, str(digit))


def _rule(canvas: Any, box: Box, layout: Layout, heavy: float, light: float) -> None:
    """The lines from the foot and from the left, each pair of them level and upright."""
    step, lines = box.side / layout.side, ruled(layout)
    for n in range(layout.side + 1):
        level = [one for one in lines if one[0][1] == one[0][3] == layout.high - n]
        upright = [one for one in lines if one[0][0] == one[0][2] == n]
        width = None
        for (x0, y0, x1, y1), is_heavy in (*level, *upright):
            if width != (heavy if is_heavy else light):
                width = heavy if is_heavy else light
                canvas.setLineWidth(width)
            a, b = (_point(box, step, layout, *end) for end in ((x0, y1), (x1, y0)))
            canvas.line(*a, *b)


def _point(box: Box, step: float, layout: Layout, x: int, y: int) -> tuple[float, float]:
    """A crossing of lines on the paper."""
    right = box.x + box.side if x == layout.wide else box.x + x * step
    return right, box.y + box.side if y == 0 else box.y + (layout.high - y) * step


def _tints(canvas: Any, box: Box, layout: Layout) -> None:
    """Extra blocks in grey, and thin diagonals."""
    step = box.side / layout.side
    for grey, cells in zip(_GREYS, tinted(layout), strict=False):
        canvas.setFillGray(grey)
        for cell in cells:
            row, column = layout.place(cell)
            x, y = _point(box, step, layout, column, row + 1)
            canvas.rect(x, y, step, step, stroke=0, fill=1)
    for a, b in slants(layout):
        canvas.setStrokeGray(0.5)
        canvas.setLineWidth(0.01 * box.side / NEWSPAPER.side)
        canvas.line(*_point(box, step, layout, *a), *_point(box, step, layout, *b))


_GREYS = (0.87, 0.8, 0.73)
"""Of extra blocks: light enough for a pencil to be read on."""


def end_page(canvas: Any, paper: Paper, page: int, total: int) -> None:
    """The page's number at its foot, and on to the next."""
    said = in_words("page of pages", page=page, total=total)
    canvas.setFont(face_for(said), 8)
    canvas.setFillGray(0)
    canvas.drawCentredString(paper[0] / 2, 24, said)
    canvas.showPage()
