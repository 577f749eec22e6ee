"""The review sheet: one page of HTML with nothing but what a person must look at.

It needs no network and no other file: the crops lie inside. Where a question is answered by a
click, the line for the corrections file is written below; ``digitise --corrections`` reads it.
"""

from __future__ import annotations

import base64
import hashlib
import html
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from papernudge.cli.base.files import write_whole
from papernudge.cli.books.book import Book
from papernudge.cli.books.rows import Doubt, Row
from papernudge.cli.books.settle import needs_a_person
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
    write_whole(path, _page(blocks).encode("utf-8", "backslashreplace"))
    return len(blocks)


def _crop_of(book: Book, row: Row) -> bytes | None:
    grid = book.grid(row["hash"], row["page"], row["number"])
    return None if grid is None else grid.crop


def _block(row: Row, crop: bytes | None) -> str:
    """One grid: its name, then a card for each doubtful cell, or the whole grid if none is."""
    where = f"{row['source']}, page {row['page']}, grid {row['number']}: {row['reason']}"
    doubts = [doubt for doubt in row["doubts"] if needs_a_person(doubt)]
    cards = list(_cards(row, doubts, decoded(crop)))
    if not cards or len(cards) > MANY:
        cards.insert(0, _whole(row, crop))
    head = f"<h2>{html.escape(where)} <code>{html.escape(row['id'])}</code></h2>"
    words = "".join(
        _radio(row["id"], f"{row['id']} {says}", told)
        for says, told in (("ok", "all is read as it is printed"), ("left out", "leave it out"))
    )
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
        image = "" if raster is None else _image(cell_jpeg(raster, cell), 108, cell)
        words = "".join(
            _radio(f"{row['id']} {cell}", f"{row['id']} {cell}={says}", told)
            for says, told in answers_to(row, cell, about)
        )
        words += _typed(row["id"], f"{cell}=", "other", 4)
        legend = f"<legend>{html.escape(cell)}</legend>"
        yield f"<fieldset class=card>{legend}{image}<div>{words}</div></fieldset>"


def answers_to(row: Row, cell: str, doubts: Iterable[Doubt]) -> list[tuple[str, str]]:
    """What may stand in the cell, as a correction says it and as a person does."""
    at = 9 * (int(cell[1]) - 1) + int(cell[3]) - 1
    printed = row["givens"][at] != "."
    digits: list[int | None] = []
    both = False
    for doubt in doubts:
        both = both or doubt["about"] == "hand" or doubt["read"] is None
        digits += [doubt["read"], *(other["digit"] for other in doubt["instead"])]
    out = []
    for digit in dict.fromkeys(digits):
        if digit is None:
            out.append((".", "nothing"))
            continue
        kinds = {"given": f"{digit} printed", "entry": f"{digit} written"}
        if not both:
            kinds = {k: v for k, v in kinds.items() if k == ("given" if printed else "entry")}
        out += [(f"{kind}:{digit}", told) for kind, told in kinds.items()]
    return out


def _radio(question: str, line: str, told: str) -> str:
    """One answer of several; ``line``: the correction that it stands for."""
    choice = f'<input type=radio name="{html.escape(question)}" value="{html.escape(line)}">'
    return f"<label>{choice}<span>{html.escape(told)}</span></label>"


def cell_jpeg(raster: Raster, cell: str) -> bytes:
    """A cell of that picture with a rim of its neighbours, JPEG."""
    import cv2

    row, column = int(cell[1]) - 1, int(cell[3]) - 1
    top, left = (MARGIN + k * CELL - _AROUND for k in (row, column))
    side = CELL + 2 * _AROUND
    done, file = cv2.imencode(".jpg", raster[top : top + side, left : left + side])
    assert done, "a piece of an open picture can be encoded"
    return bytes(file.tobytes())


def _whole(row: Row, crop: bytes | None) -> str:
    """The grid as it is and as it was read; digits twice in a house are marked."""
    image = "" if crop is None else _image(crop, CROP, row["id"])
    twice = _twice(row["givens"])
    told = [html.escape(mark) for mark in row["givens"]]
    marks = [f"<mark>{m}</mark>" if c in twice else m for c, m in enumerate(told)]
    lines = "\n".join("".join(marks[9 * r : 9 * r + 9]) for r in range(9))
    typed = _typed(row["id"], "", "R4C7=given:7", 14)
    return f"<div class=card>{image}<div><pre>{lines}</pre>{typed}</div></div>"


def _twice(line: str) -> set[int]:
    """The cells whose digit stands twice in a row, a column or a block."""
    seen: dict[tuple[str, int, str], list[int]] = {}
    for cell, mark in enumerate(line):
        row, column = divmod(cell, 9)
        for house, at in (("row", row), ("column", column), ("block", row // 3 * 3 + column // 3)):
            if mark != ".":
                seen.setdefault((house, at, mark), []).append(cell)
    return {cell for cells in seen.values() if len(cells) > 1 for cell in cells}


def _typed(name: str, start: str, example: str, size: int) -> str:
    """A field to type in what no choice offers; ``start``: how its correction begins."""
    begins, called = html.escape(f"{name} {start}"), html.escape(f"{name} {start or 'corrections'}")
    return (
        f'<input type=text size={size} data-start="{begins}" placeholder="{example}"'
        f' aria-label="{called}">'
    )


def _image(jpeg: bytes, side: int, told: str) -> str:
    data = base64.b64encode(jpeg).decode("ascii")
    alt = html.escape(told)
    return f'<img width={side} height={side} alt="{alt}" src="data:image/jpeg;base64,{data}">'


_STYLE = """
body { font: 15px/1.4 system-ui, sans-serif; margin: 1.5em; color: #222; background: #fff }
h2 { font-size: 1em; margin: 1em 0 .3em } code { font-weight: normal; color: #555 }
.cards { display: flex; flex-wrap: wrap; gap: .6em }
.card { display: flex; gap: .5em; border: 1px solid #bbb; padding: .4em; break-inside: avoid }
.card img { display: block; flex: none }
h2 { break-after: avoid } fieldset { margin: 0 } legend { font-size: .85em; padding: 0 .2em }
.words label { display: inline-block; margin-right: 1.5em; padding: .4em 0 }
label { display: block; white-space: nowrap } input:checked + span { font-weight: bold }
pre { margin: 0 0 .5em; letter-spacing: .35em } mark { background: #fc6 }
@media print { textarea, textarea + p, h2.end { display: none } }
textarea { width: 100%; height: 12em; font-family: monospace }
"""
_SCRIPT = """
const out = document.querySelector("textarea"), link = document.querySelector("a");
function gather() {
  const lines = [...document.querySelectorAll("input:checked")].map(i => i.value);
  for (const i of document.querySelectorAll("input[type=text]"))
    if (i.value.trim()) lines.push(i.dataset.start + i.value.trim());
  out.value = lines.join("\\n") + (lines.length ? "\\n" : "");
  link.href = "data:text/plain;charset=utf-8," + encodeURIComponent(out.value);
}
document.addEventListener("input", gather); gather();
"""


def _by_hash(text: str) -> str:
    """How a policy names the one script or style that may be in a page (W3C, *CSP Level 3*)."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode('ascii')}'"


_POLICY = (
    "default-src 'none'; base-uri 'none'; form-action 'none'; img-src data:;"
    f" style-src {_by_hash(_STYLE)}; script-src {_by_hash(_SCRIPT)}"
)


def _page(blocks: list[str]) -> str:
    intro = (
        "<p>Choose what the paper says. The lines below are the corrections: save them as a text"
        " file and run <code>papernudge digitise --book FILE --corrections corrections.txt</code>."
        "</p>"
        if blocks
        else "<p>Nothing is waiting for a person.</p>"
    )
    return (
        "<!doctype html><html lang=en><head><meta charset=utf-8>"
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        f"<title>To review</title><style>{_STYLE}</style></head><body>"
        f"<h1>{len(blocks)} to review</h1>{intro}{''.join(blocks)}"
        "<h2 class=end>Corrections</h2><textarea readonly></textarea>"
        '<p><a download="corrections.txt">Save corrections.txt</a></p>'
        f"<script>{_SCRIPT}</script></body></html>\n"
    )
