"""Sheets to print: a few puzzles a page, drawn as lines and type, their solutions at the back."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Any

from papernudge.cli.books.rows import Row, layout_of_row
from papernudge.cli.books.told import row_said
from papernudge.cli.pictures.paper import (
    BOLD,
    PAPERS,
    Box,
    Paper,
    Room,
    draw_grid,
    end_page,
    face_for,
    new_canvas,
    write,
)
from papernudge.cli.said import in_words, in_words_of, spoken
from papernudge.hints.words import titled

_EDGE, _FOOT = 42.0, 24.0
_SOLUTIONS = 12


@dataclass(frozen=True, slots=True)
class Layout:
    """How puzzles are printed: ``each`` puzzles a page, of ``paper`` ``a4`` or ``letter``."""

    each: int = 4
    paper: str = "a4"


def sheets(rows: Sequence[Row], layout: Layout) -> bytes:
    """A PDF of puzzles with one solution each: ``layout.each`` a page, numbered through, with the
    source of each, page numbers, and the solutions behind. The same rows give the same bytes.
    """
    out = io.BytesIO()
    paper = PAPERS[layout.paper]
    canvas = new_canvas(out, paper, "Puzzles")
    numbered = list(enumerate(rows, start=1))
    kinds = ((layout.each, _puzzle), (_SOLUTIONS, _solution))
    total = sum(ceil(len(rows) / each) for each, _ in kinds)
    page = 0
    for each, draw in kinds:
        boxes = _room(paper).boxes(each)
        for start in range(0, len(rows), each):
            for (number, row), box in zip(numbered[start : start + each], boxes, strict=False):
                draw(canvas, number, row, box)
            page += 1
            end_page(canvas, paper, page, total)
    canvas.save()
    return out.getvalue()


def _room(paper: Paper) -> Room:
    wide, high = paper[0] - 2 * _EDGE, paper[1] - 2 * _EDGE - _FOOT
    return Room(_EDGE, paper[1] - _EDGE, wide, high, over=18.0, under=14.0, gap=18.0, most=wide)


def _puzzle(canvas: Any, number: int, row: Row, box: Box) -> None:
    told = ""
    if row["minutes"] is not None:
        minutes = max(1, round(row["minutes"]))
        told = in_words_of("about so long", minutes)
    _head(canvas, f"{number}", told, box)
    source = row.get("label") or row_said(row)
    write(canvas, source, box.x, box.y - 10, 6.5, box.side)
    draw_grid(canvas, row["givens"], box, layout=layout_of_row(row))


def _solution(canvas: Any, number: int, row: Row, box: Box) -> None:
    """The solution, the givens in bold; what the puzzle needs is told here, where it spoils
    nothing.
    """
    _head(canvas, f"{number}", in_words("solution"), box)
    if row["hardest"] is not None:
        reason = titled(row["hardest"], spoken())
        told = in_words("looks and reason", looks=row["looks"], reason=reason)
        write(canvas, told, box.x, box.y - 10, 6.5, box.side)
    givens = [cell for cell, mark in enumerate(row["givens"]) if mark != "."]
    whole = row["solution"] or row["givens"]
    draw_grid(canvas, whole, box, bold=givens, layout=layout_of_row(row))


def _head(canvas: Any, number: str, told: str, box: Box) -> None:
    """The number at the left over a grid, a word or two at the right."""
    y = box.y + box.side + 5
    used = write(canvas, number, box.x, y, 11, font=BOLD)
    left = box.side - used - 8
    wide = min(left, canvas.stringWidth(told, face_for(told), 8.5))
    write(canvas, told, box.x + box.side - wide, y, 8.5, left)
