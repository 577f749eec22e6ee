"""The review sheet: one page of HTML with nothing but what a person must look at.

It needs no network and no other file: the crops lie inside. Where a question is answered by a
click, the line for the corrections file is written below; ``digitise --corrections`` reads it.
Its look and its script are in ``review_page.py``.
"""

from __future__ import annotations

import base64
import html
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from papernudge.cli.base.files import write_whole
from papernudge.cli.books.book import Book
from papernudge.cli.books.review_page import CELL_WORD, LABEL, WORDS, page
from papernudge.cli.books.rows import Doubt, Row, layout_of_row
from papernudge.cli.books.settle import is_of_lines, needs_a_person
from papernudge.cli.books.told import reason_said
from papernudge.cli.said import in_words
from papernudge.hints.geometry import cell_of
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.vision.crop import CELL, CROP, MARGIN

if TYPE_CHECKING:
    from papernudge.vision.photo import Raster

MANY = 16
"""A grid with more doubtful cells than this is shown whole too: it may be no grid at all."""
_AROUND = 7
"""Pixels of the neighbours shown around a doubtful cell."""


def write_sheet(book: Book, path: Path) -> int:
    """Writes the sheet whole; how many grids are on it. Stop (5) if it can't be written."""
    from papernudge.cli.books.export import rows_of

    waiting = [row for row in rows_of(book, by_name=True) if row["status"] == "review"]
    blocks = [_block(row, _crop_of(book, row)) for row in waiting]
    others = any(row["layout"] is not None for row in waiting)
    write_whole(path, page(blocks, others).encode("utf-8", "backslashreplace"))
    return len(blocks)


def _crop_of(book: Book, row: Row) -> bytes | None:
    grid = book.grid(row["hash"], row["page"], row["number"])
    return None if grid is None else grid.crop


def _block(row: Row, crop: bytes | None) -> str:
    """One grid: its name, then a card for each doubtful cell, or the whole grid if none is."""
    where = in_words(
        "row, why",
        source=row["source"],
        page=row["page"],
        grid=row["number"],
        reason=reason_said(row["reason"]),
    )
    doubts = [doubt for doubt in row["doubts"] if needs_a_person(doubt)]
    cells = [doubt for doubt in doubts if not is_of_lines(doubt)]
    cards = list(_cards(row, cells, decoded(crop)))
    if not cards or len(cards) > MANY or len(cells) < len(doubts):
        cards.insert(0, _whole(row, crop))
    head = f"<h2>{html.escape(where)} <code>{html.escape(row['id'])}</code></h2>"
    words = "".join(
        _radio(row["id"], f"{row['id']} {says}", in_words(told))
        for says, told in (("ok", "review, as printed"), ("left out", "review, left out"))
    )
    words += _typed(row["id"], "label ", in_words("review, label"), LABEL)
    return (
        f"<section>{head}<div class=cards>{''.join(cards)}</div><div class=words>{words}</div>"
        "</section>"
    )


def decoded(crop: bytes | None) -> Raster | None:
    """The grid as the book keeps it, uint8 (CROP, CROP, 3), blue, green, red; None for none."""
    import cv2
    import numpy as np

    if crop is None:
        return None
    pixels = cv2.imdecode(np.frombuffer(crop, np.uint8), cv2.IMREAD_COLOR)
    return None if pixels is None else np.asarray(pixels, np.uint8)


def _cards(row: Row, doubts: Iterable[Doubt], raster: Raster | None) -> Iterator[str]:
    by_cell: dict[str, list[Doubt]] = {}
    for doubt in doubts:
        by_cell.setdefault(doubt["cell"], []).append(doubt)
    for cell, about in by_cell.items():
        image = ""
        if raster is not None:
            image = _image(cell_jpeg(raster, cell, layout_of_row(row)), 108, cell)
        words = "".join(
            _radio(f"{row['id']} {cell}", f"{row['id']} {cell}={says}", told)
            for says, told in answers_to(row, cell, about)
        )
        words += _typed(row["id"], f"{cell}=", in_words("review, other"), CELL_WORD)
        legend = f"<legend>{html.escape(cell)}</legend>"
        yield f"<fieldset class=card>{legend}{image}<div>{words}</div></fieldset>"


def answers_to(row: Row, cell: str, doubts: Iterable[Doubt]) -> list[tuple[str, str]]:
    """What may stand in the cell, as a correction says it and as a person does."""
    at = cell_of(cell, layout_of_row(row))
    printed = row["givens"][at] != "."
    digits: list[int | None] = []
    both = False
    for doubt in doubts:
        both = both or doubt["about"] == "hand" or doubt["read"] is None
        digits += [doubt["read"], *(other["digit"] for other in doubt["instead"])]
    out = []
    for digit in dict.fromkeys(digits):
        if digit is None:
            out.append((".", in_words("review, nothing there")))
            continue
        kinds = {
            "given": in_words("review, printed", digit=digit),
            "entry": in_words("review, written", digit=digit),
        }
        if not both:
            kinds = {k: v for k, v in kinds.items() if k == ("given" if printed else "entry")}
        out += [(f"{kind}:{digit}", told) for kind, told in kinds.items()]
    return out


def _radio(question: str, line: str, told: str) -> str:
    """One answer of several; ``line``: the correction that it stands for."""
    choice = f'<input type=radio name="{html.escape(question)}" value="{html.escape(line)}">'
    return f"<label>{choice}<span>{html.escape(told)}</span></label>"


def cell_jpeg(raster: Raster, cell: str, layout: Layout = NEWSPAPER) -> bytes:
    """A cell of that picture with a rim of its neighbours, JPEG."""
    import cv2

    step = CELL * NEWSPAPER.side / layout.side
    places = layout.place(cell_of(cell, layout))
    top, left = (MARGIN + round(k * step) - _AROUND for k in places)
    side = round(step) + 2 * _AROUND
    done, file = cv2.imencode(".jpg", raster[top : top + side, left : left + side])
    assert done, "a piece of an open picture can be encoded"
    return bytes(file.tobytes())


def _whole(row: Row, crop: bytes | None) -> str:
    """The grid as it is and as it was read; digits twice in a house are marked."""
    image = "" if crop is None else _image(crop, CROP, row["id"])
    layout = layout_of_row(row)
    twice = _twice(row["givens"], layout)
    told = [html.escape(mark) for mark in row["givens"]]
    marks = [f"<mark>{m}</mark>" if c in twice else m for c, m in enumerate(told)]
    starts = range(0, layout.many, layout.wide)
    lines = "\n".join("".join(marks[k : k + layout.wide]) for k in starts)
    if any(map(is_of_lines, row["doubts"])):  # the blocks as they were read, a letter each
        number = [chr(ord("A") + layout.houses[block].number - 1) for block in layout.blocks]
        letters = "".join(number)
        lines += "\n\n" + "\n".join(letters[k : k + layout.wide] for k in starts)
    typed = _typed(row["id"], "", "R4C7=given:7", WORDS)
    return f"<div class=card>{image}<div><pre>{lines}</pre>{typed}</div></div>"


def _twice(line: str, layout: Layout) -> set[int]:
    """The cells whose digit stands twice in a house."""
    found: set[int] = set()
    for house in layout.houses:
        marks = [line[cell] for cell in house.cells]
        found |= {
            c for c, m in zip(house.cells, marks, strict=True) if m != "." and marks.count(m) > 1
        }
    return found


def _typed(name: str, start: str, example: str, kind: str) -> str:
    """A field to type in what no choice offers; ``start``: how its correction begins; ``kind``:
    what may be typed there.
    """
    begins = html.escape(f"{name} {start}")
    code = "review, called" if start else "review, its corrections"
    called = html.escape(in_words(code, name=name, start=start))
    return (
        f'<div class=typed><input type=text class={kind} data-kind={kind} data-start="{begins}"'
        f' placeholder="{html.escape(example)}" aria-label="{called}" autocomplete=off'
        " autocapitalize=none spellcheck=false><span role=status></span></div>"
    )


def _image(jpeg: bytes, side: int, told: str) -> str:
    data = base64.b64encode(jpeg).decode("ascii")
    alt = html.escape(told)
    return f'<img width={side} height={side} alt="{alt}" src="data:image/jpeg;base64,{data}">'
