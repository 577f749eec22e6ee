"""Draws practice sheets as a PDF: lines and type only, the typeface inside the file."""

from __future__ import annotations

import io
import zlib
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any

from papernudge.cli.pictures.paper import (
    PAPERS,
    Box,
    Paper,
    broken,
    draw_grid,
    end_page,
    new_canvas,
    width,
    write,
)
from papernudge.cli.said import in_words, in_words_of, spoken
from papernudge.cli.sheets.code import SheetPage, Task, encode
from papernudge.cli.sheets.form import EDGE, code_boxes, grid_boxes
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.shapes import in_options

_WEIGHTS = (0.07, 0.025)
"""Of lines between blocks and between cells, cells."""
_ROW, _LEAD, _SMALL = 16.0, 12.0, 10.0
_LOOKS, _INDENT = 26.0, 84.0
"""Of what earns an answer, from the left edge, points."""
_SOLVED, _SOLVED_LARGE = 6, 2
"""Solved grids on a page of answers, and of boards of more than ten rows."""


def pages_of(
    tasks: Sequence[Task],
    each: int,
    paper: str,
    minutes: int = 0,
    layout: Layout = NEWSPAPER,
) -> list[SheetPage]:
    """The tasks laid out over pages. The sheet's number follows from what is on it."""
    told = "".join(task.digits + str(task.reason) for task in tasks) + f"{each}{paper}{minutes}"
    told += "" if layout is NEWSPAPER else in_options(layout)
    sheet = zlib.crc32(told.encode()) & (1 << 30) - 1
    return [
        SheetPage(sheet, page, paper, each, minutes, tuple(tasks[start : start + each]), layout)
        for page, start in enumerate(range(0, len(tasks), each), start=1)
    ]


def drawn(pages: Sequence[SheetPage], title: str) -> bytes:
    """The sheet as a PDF, answers and looks behind. The same pages give the same bytes."""
    out = io.BytesIO()
    paper = PAPERS[pages[0].paper]
    canvas = new_canvas(out, paper, title)
    answers = _answer_pages(pages, paper)
    total = len(pages) + len(answers)
    for number, page in enumerate(pages, start=1):
        _page(canvas, page, title, paper)
        end_page(canvas, paper, number, total)
    for number, tasks in enumerate(answers, start=len(pages) + 1):
        _answers(canvas, tasks, pages[0], paper)
        end_page(canvas, paper, number, total)
    canvas.save()
    return out.getvalue()


def _page(canvas: Any, page: SheetPage, title: str, paper: Paper) -> None:
    top = paper[1] - EDGE
    room = code_boxes(paper)[0].x - EDGE - 6
    write(canvas, title, EDGE, top - 12, 15, room)
    for n, line in enumerate(_asked(page)):
        write(canvas, line, EDGE, top - 31 - 12 * n, 9, room)
    write(canvas, in_words("sheet and date", sheet=page.name), EDGE, top - 61, 9, room)
    if page.layout is NEWSPAPER:  # mark reads no other board
        _code(canvas, encode(page), code_boxes(paper))
    for task, box in zip(page.tasks, grid_boxes(page.each, paper), strict=False):
        _task(canvas, task, box, page.layout)


def _asked(page: SheetPage) -> tuple[str, str]:
    if page.minutes:
        return (in_words_of("as many as you can", page.minutes), in_words("only sure ones"))
    several = any(len(places) > 1 for task in page.tasks for places in task.answers)
    return (
        in_words("write the next digits" if several else "write the next digit"),
        in_words("told on the last page"),
    )


def _task(canvas: Any, task: Task, box: Box, layout: Layout) -> None:
    write(canvas, str(task.number), box.x, box.y + box.side + 5, 10)
    draw_grid(canvas, task.digits, box, _WEIGHTS, layout=layout)


def _code(canvas: Any, text: str, boxes: Sequence[Box]) -> None:
    """The symbol as filled runs of modules, with the quiet zone of four that the standard asks."""
    from reportlab.graphics.barcode.qrencoder import QRAlphaNum, QRCode, QRErrorCorrectLevel

    symbol = QRCode(None, QRErrorCorrectLevel.M)
    symbol.addData(QRAlphaNum(text))
    symbol.make()
    canvas.setFillGray(0)
    for box in boxes:
        step = box.side / (symbol.getModuleCount() + 8)
        outline = canvas.beginPath()
        for row, column, run in _runs(symbol):
            x, y = box.x + (4 + column) * step, box.y + box.side - (5 + row) * step
            outline.rect(x, y, run * step, step)
        canvas.drawPath(outline, stroke=0, fill=1)


def _runs(symbol: Any) -> Iterator[tuple[int, int, int]]:
    """Row, first column and length of each dark run."""
    many = symbol.getModuleCount()
    for row in range(many):
        column = 0
        for dark, group in groupby(bool(symbol.isDark(row, c)) for c in range(many)):
            run = len(list(group))
            if dark:
                yield row, column, run
            column += run


def _answer_pages(pages: Sequence[SheetPage], paper: Paper) -> list[list[Task]]:
    """The tasks, so many a page as their answers leave room for."""
    tasks = [task for page in pages for task in page.tasks]
    if pages[0].minutes:
        each = _solved_each(pages[0].layout)
        return [tasks[k : k + each] for k in range(0, len(tasks), each)]
    room = paper[1] - 2 * EDGE - 50
    out: list[list[Task]] = [[]]
    left, indent = room, _indent(tasks)
    for task in tasks:
        high = _high(_lines(task, paper, indent, pages[0].layout))
        if high > left and out[-1]:
            out.append([])
            left = room
        out[-1].append(task)
        left -= high
    return out


def _solved_each(layout: Layout) -> int:
    return _SOLVED if layout.side <= 10 else _SOLVED_LARGE


def _indent(tasks: Sequence[Task]) -> float:
    """Where what is told begins: behind the number and the looks, however a language says them."""
    wide = max(width(in_words_of("so many looks", task.looks), _SMALL) for task in tasks)
    return max(_INDENT, _LOOKS + wide + 8)


def _lines(task: Task, paper: Paper, indent: float, layout: Layout) -> list[str]:
    """What is told of a position's answers, broken at the width of the page."""
    told = []
    for n, (places, why) in enumerate(zip(task.answers, task.why or [""] * 99, strict=False)):
        listed = [f"{layout.name(cell)}={digit}" for cell, digit in places]
        digits = spoken().chained("listed", listed)
        code = ("an answer", "an answer, why", "or an answer", "or an answer, why")
        line = in_words(code[2 * (n > 0) + bool(why)], digits=digits, why=why)
        told += broken(line, _SMALL, paper[0] - 2 * EDGE - indent)
    return told


def _high(lines: Sequence[str]) -> float:
    return _ROW + _LEAD * max(0, len(lines) - 1)


def _answers(canvas: Any, tasks: Sequence[Task], page: SheetPage, paper: Paper) -> None:
    top, sheet = paper[1] - EDGE, page.name.split("-")[0]
    write(canvas, in_words("answers to", sheet=sheet), EDGE, top - 12, 13, paper[0] - 2 * EDGE)
    if any(task.reason is None for task in tasks):
        _solved(canvas, tasks, paper, page.layout)
        return
    y, indent = top - 38, _indent(tasks)
    for task in tasks:
        looks = in_words_of("so many looks", task.looks)
        write(canvas, f"{task.number}", EDGE, y, _SMALL)
        write(canvas, looks, EDGE + _LOOKS, y, _SMALL)
        lines = _lines(task, paper, indent, page.layout)
        for n, line in enumerate(lines):
            write(canvas, line, EDGE + indent, y - _LEAD * n, _SMALL)
        y -= _high(lines)


def _solved(canvas: Any, tasks: Sequence[Task], paper: Paper, layout: Layout) -> None:
    """Small solved grids, what was printed in grey."""
    for task, box in zip(tasks, grid_boxes(_solved_each(layout), paper), strict=False):
        lower = Box(box.x, box.y - 20, box.side)
        write(canvas, str(task.number), lower.x, lower.y + lower.side + 5, 10)
        printed = [cell for cell, mark in enumerate(task.digits) if mark != "."]
        draw_grid(canvas, task.solution, lower, _WEIGHTS, pale=printed, layout=layout)
