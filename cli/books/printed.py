"""Sheets to print: a few puzzles a page, drawn as lines and type, their solutions at the back."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Any

from papernudge.cli.books.book import Row

if TYPE_CHECKING:
    from papernudge.cli.books.export import Layout

_PAPERS = {"a4": (595.276, 841.89), "letter": (612.0, 792.0)}
"""Width and height, points."""
_EDGE, _FOOT = 42.0, 24.0
_OVER, _UNDER, _GAP = 16.0, 14.0, 18.0
"""Room for the line over a grid and for the one under it, and between grids."""
_SOLUTIONS = 12
_FONT = "Vera"


@dataclass(frozen=True, slots=True)
class _Box:
    """A square on the paper: its lower left corner and its side, points."""

    x: float
    y: float
    side: float


def sheets(rows: Sequence[Row], layout: Layout) -> bytes:
    """A PDF of puzzles with one solution each: ``layout.each`` a page, numbered through, with the
    source of each, page numbers, and the solutions behind. The same rows give the same bytes.
    """
    from reportlab.pdfgen.canvas import Canvas

    out = io.BytesIO()
    paper = _PAPERS[layout.paper]
    canvas = Canvas(out, pagesize=paper, invariant=1, pageCompression=1)
    _embed_font()
    canvas.setTitle("Puzzles")
    canvas.setCreator("papernudge")
    fronts, backs = ceil(len(rows) / layout.each), ceil(len(rows) / _SOLUTIONS)
    total = fronts + backs
    numbered = list(enumerate(rows, start=1))
    for page in range(fronts):
        part = numbered[page * layout.each : (page + 1) * layout.each]
        for (number, row), box in zip(part, _boxes(layout.each, paper), strict=False):
            _puzzle(canvas, number, row, box)
        _footer(canvas, paper, page + 1, total)
    for page in range(backs):
        part = numbered[page * _SOLUTIONS : (page + 1) * _SOLUTIONS]
        for (number, row), box in zip(part, _boxes(_SOLUTIONS, paper), strict=False):
            _solution(canvas, number, row, box)
        _footer(canvas, paper, fronts + page + 1, total)
    canvas.save()
    return out.getvalue()


def _embed_font() -> None:
    """A free typeface that travels inside the file, so that it prints alike everywhere."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    if _FONT not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(_FONT, "Vera.ttf"))


def _boxes(many: int, paper: tuple[float, float]) -> list[_Box]:
    """Places for so many grids, as large as fit, from the top left."""
    width, height = paper[0] - 2 * _EDGE, paper[1] - 2 * _EDGE - _FOOT

    def side(columns: int) -> float:
        rows = ceil(many / columns)
        across = (width - (columns - 1) * _GAP) / columns
        down = (height - (rows - 1) * _GAP) / rows - _OVER - _UNDER
        return min(across, down)

    columns = max(range(1, many + 1), key=side)
    size = side(columns)
    out = []
    for at in range(many):
        row, column = divmod(at, columns)
        step = (width + _GAP) / columns
        x = _EDGE + column * step + (step - _GAP - size) / 2
        top = paper[1] - _EDGE - row * (size + _OVER + _UNDER + _GAP)
        out.append(_Box(x, top - _OVER - size, size))
    return out


def _puzzle(canvas: Any, number: int, row: Row, box: _Box) -> None:
    head = f"{number}"
    if row["minutes"] is not None:
        head += f"   about {max(1, round(row['minutes']))} minutes"
    _type(canvas, head, box.x, box.y + box.side + 5, 9, box.side)
    source = f"{row['source']}, page {row['page']}, grid {row['number']}"
    _type(canvas, source, box.x, box.y - 10, 6.5, box.side)
    _grid(canvas, row["givens"], box)


def _solution(canvas: Any, number: int, row: Row, box: _Box) -> None:
    _type(canvas, f"Solution {number}", box.x, box.y + box.side + 5, 8, box.side)
    _grid(canvas, row["solution"] or "." * 81, box)


def _type(canvas: Any, text: str, x: float, y: float, size: float, room: float) -> None:
    """One line of type, what does not fit left out; letters that the typeface lacks become ?."""
    from reportlab.pdfbase import pdfmetrics

    face = pdfmetrics.getFont(_FONT).face
    known = "".join(c if ord(c) in face.charToGlyph else "?" for c in text)
    if canvas.stringWidth(known, _FONT, size) > room:
        while known and canvas.stringWidth(known + "...", _FONT, size) > room:
            known = known[:-1]
        known += "..."
    canvas.setFont(_FONT, size)
    canvas.setFillGray(0)
    canvas.drawString(x, y, known)


def _grid(canvas: Any, line: str, box: _Box) -> None:
    step = box.side / 9
    canvas.setStrokeGray(0)
    canvas.setLineCap(2)
    for k in range(10):
        canvas.setLineWidth(step * (0.08 if k % 3 == 0 else 0.02))
        canvas.line(box.x, box.y + k * step, box.x + box.side, box.y + k * step)
        canvas.line(box.x + k * step, box.y, box.x + k * step, box.y + box.side)
    size = 0.62 * step
    canvas.setFont(_FONT, size)
    canvas.setFillGray(0)
    for cell, mark in enumerate(line):
        if mark != ".":
            row, column = divmod(cell, 9)
            middle = box.x + (column + 0.5) * step
            # A digit of this typeface is 0.73 of its size high.
            canvas.drawCentredString(middle, box.y + (8.5 - row) * step - 0.365 * size, mark)


def _footer(canvas: Any, paper: tuple[float, float], page: int, total: int) -> None:
    canvas.setFont(_FONT, 8)
    canvas.setFillGray(0)
    canvas.drawCentredString(paper[0] / 2, _FOOT, f"{page} / {total}")
    canvas.showPage()
