"""A person's corrections: kept apart from the readings, tied to places on the page.

A correction names a row and a cell, ``3f2a9c1b7d204e55-12-3 R4C7=given:7``, one a line, ``#`` for
remarks. ``ID ok`` confirms a whole grid as it stands, ``ID left out`` takes it out. What is kept is
the cell's place in the raster: when a better reader finds one more grid on the page, or turns it,
the word still meets the cell that it was about.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from papernudge.cli.base.exits import Exit, Stop, bad_words
from papernudge.cli.base.paths import MOST_TEXT, read_regular, why
from papernudge.cli.base.say import short
from papernudge.cli.books.rows import GridRow, row_id
from papernudge.cli.books.seals import put
from papernudge.cli.books.settle import Words, settle
from papernudge.cli.books.spoken import Kept, cell_at, centre, holds, words_from
from papernudge.cli.session.assume import parse_assumption
from papernudge.hints.geometry import cell_name
from papernudge.vision.typeface import Page

if TYPE_CHECKING:
    from papernudge.cli.books.book import Book

_ID = re.compile(r"(?P<hash>[0-9a-f]{16})-(?P<page>[1-9][0-9]{0,8})-(?P<grid>[1-9][0-9]{0,8})")
_COLON = re.compile(r"^([0-9a-f-]+):")
_WHOLE = ("ok", "left out")


@dataclass(frozen=True, slots=True)
class Correction:
    """One line: ``cell`` is None for a word on the whole grid."""

    start: str  # of the source's hash
    page: int
    grid: int
    cell: int | None
    says: str

    @property
    def row(self) -> str:
        """The row that it is about."""
        return row_id(self.start, self.page, self.grid)


def read_corrections(path: Path) -> list[Correction]:
    """The lines of a file. Stop (5) if it can't be read, (2) naming the line that is off."""
    try:
        text = read_regular(path, MOST_TEXT).decode("utf-8-sig")
    except (OSError, ValueError) as error:
        said = "it is not text" if isinstance(error, UnicodeDecodeError) else why(error)
        raise Stop(
            Exit.FILE,
            f"{path} can't be read ({said}): name the text file that holds the corrections.",
            stage="open",
            reason="unreadable",
        ) from error
    out = []
    for number, line in enumerate(text.splitlines(), start=1):
        said = line.partition("#")[0].strip()
        if said:
            out += parse_correction(said, f"{path}, line {number}: ")
    return out


def parse_correction(text: str, where: str = "") -> list[Correction]:
    """``ID R4C7=7 R5C5=.``, ``ID ok`` or ``ID left out``; a colon may follow the ID.

    Stop (2) for anything else.
    """
    name, _, rest = _COLON.sub(r"\1 ", text.strip()).partition(" ")
    found = _ID.fullmatch(name)
    rest = " ".join(rest.split())
    if found is None or not rest:
        raise bad_words(
            f"{where}a correction looks like 3f2a9c1b7d204e55-12-3 R4C7=given:7, or ends in ok or"
            f" left out; {short(text)} does not."
        )
    start, page, grid = found["hash"], int(found["page"]), int(found["grid"])
    if rest in _WHOLE:
        return [Correction(start, page, grid, None, rest)]
    out = []
    for word in rest.split():
        one = parse_assumption(word)
        if one.grid is not None or one.notes is not None:
            raise bad_words(
                f"{where}{short(word)} names a grid or notes: a correction names a digit."
            )
        digit = "." if one.digit is None else str(one.digit)
        says = f"{one.kind}:{digit}" if one.kind else digit
        out.append(Correction(start, page, grid, one.cell, says))
    return out


def apply(book: Book, corrections: Iterable[Correction]) -> int:
    """Writes them down and settles their grids anew; how many grids that were.

    All or nothing: Stop (2) if one is about a grid that the book doesn't hold.
    """
    touched: dict[tuple[str, int, int], GridRow] = {}
    with book.changes() as sql:
        for one in corrections:
            key, grid = _subject(book, one)
            touched[key] = grid
            name = "" if one.cell is None else cell_name(one.cell)
            x, y = centre(grid, one.cell)
            hash_, page, _ = key
            for old in _kept(book, hash_, page):
                if _same_subject(grid, old, name):
                    sql.execute(
                        "DELETE FROM correction WHERE hash = ? AND page = ? AND x = ? AND y = ?"
                        " AND cell = ?",
                        (hash_, page, *old[:3]),
                    )
            at = {"hash": hash_, "page": page, "x": x, "y": y}
            put(sql, "correction", {**at, "cell": name, "says": one.says})
        for key, grid in touched.items():
            words = words_for(book, key[0], key[1], [grid])
            beside = Page(book.grids(key[0], key[1]))
            book.put_puzzle(key, settle(grid, words[key[2]], beside))
    return len(touched)


def _subject(book: Book, one: Correction) -> tuple[tuple[str, int, int], GridRow]:
    query = "SELECT hash FROM source WHERE substr(hash, 1, 16) = ?"
    for row in book.rows(query, one.start):
        grid = book.grid(row["hash"], one.page, one.grid)
        if grid is not None and (grid.givens is not None or one.cell is None):
            return (row["hash"], one.page, one.grid), grid
    raise bad_words(
        f"{book.path} holds no grid {one.row} that was read: take the names from its export or its"
        " review sheet."
    )


def _kept(book: Book, hash_: str, page: int) -> list[Kept]:
    query = (
        "SELECT x, y, cell, says FROM correction WHERE hash = ? AND page = ? ORDER BY y, x, cell"
    )
    return [(r["x"], r["y"], r["cell"], r["says"]) for r in book.rows(query, hash_, page)]


def words_for(book: Book, hash_: str, page: int, grids: Sequence[GridRow]) -> dict[int, Words]:
    """For each of the page's grids that somebody has spoken of, what was said."""
    return words_from(_kept(book, hash_, page), grids)


def _same_subject(grid: GridRow, kept: Kept, cell: str) -> bool:
    """Whether an earlier word is about the same cell, or both are about the whole grid."""
    x, y, name, _ = kept
    if not holds(grid, (x, y)) or bool(name) != bool(cell):
        return False
    return not cell or cell_at(grid, x, y) == cell
