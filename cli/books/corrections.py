"""A person's corrections: kept apart from the readings, tied to places on the page.

A correction names a row and a cell, ``3f2a9c1b7d204e55-12-3 R4C7=given:7``, one a line, ``#`` for
remarks. ``ID ok`` confirms a whole grid as it stands, ``ID left out`` takes it out, ``ID label
Lantern, 12 May`` calls it something. What is kept is the cell's place in the raster: when a better
reader finds one more grid on the page, or turns it, the word still meets the cell that it was
about.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from papernudge.cli.base.exits import Exit, Stop, bad_words
from papernudge.cli.base.paths import MOST_TEXT, read_regular
from papernudge.cli.base.say import short, visible
from papernudge.cli.base.trouble import Trouble
from papernudge.cli.books.rows import GridRow, row_id
from papernudge.cli.books.seals import put
from papernudge.cli.books.settle import NOTHING_SAID, Words, print_of, settle
from papernudge.cli.books.spoken import (
    LABEL,
    Kept,
    cell_at,
    centre,
    holds,
    label_of,
    words_from,
)
from papernudge.cli.said import in_words
from papernudge.cli.session.assume import LARGEST_BOARD, parse_assumption
from papernudge.hints.catalogue import message, packed
from papernudge.vision.failure import said_by_system

if TYPE_CHECKING:
    from papernudge.cli.books.book import Book

_ID = re.compile(r"(?P<hash>[0-9a-f]{16})-(?P<page>[1-9][0-9]{0,8})-(?P<grid>[1-9][0-9]{0,8})")
_COLON = re.compile(r"^([0-9a-f-]+):")
_WHOLE = ("ok", "left out")
_LABEL = re.compile(r"\s*[0-9a-f-]+:?\s+label\b")
LONGEST_LABEL = 200
"""Characters."""


@dataclass(frozen=True, slots=True)
class Correction:
    """One line: ``cell`` is the name of one, None for a word on the whole grid."""

    start: str  # of the source's hash
    page: int
    grid: int
    cell: str | None
    says: str

    @property
    def row(self) -> str:
        """The row that it is about."""
        return row_id(self.start, self.page, self.grid)


def read_corrections(path: Path) -> tuple[list[Correction], list[str]]:
    """The lines of a file, and a sentence for each that is off. Stop (5) if it can't be read."""
    try:
        text = read_regular(path, MOST_TEXT).decode("utf-8-sig")
    except (OSError, ValueError) as error:
        odd = isinstance(error, UnicodeDecodeError)
        raise Stop(
            Exit.FILE,
            message(
                "corrections can't be read",
                path=path,
                why=message("it is not text") if odd else said_by_system(error),
            ),
            stage="open",
            reason="unreadable",
        ) from error
    out: list[Correction] = []
    off: list[str] = []
    for number, line in enumerate(text.splitlines(), start=1):
        said = line.strip() if _LABEL.match(line) else line.partition("#")[0].strip()
        if said:
            try:
                out += parse_correction(said)
            except Trouble as trouble:
                says = message("in a line", path=path, line=number, said=trouble.says)
                off.append(packed(says))
    return out, off


def parse_correction(text: str) -> list[Correction]:
    """``ID R4C7=7 R5C5=.``, ``ID ok``, ``ID left out`` or ``ID label TEXT``, without a TEXT for no
    label; a colon may follow the ID. Stop (2) for anything else.
    """
    name, _, rest = _COLON.sub(r"\1 ", text.strip()).partition(" ")
    found = _ID.fullmatch(name)
    rest = " ".join(rest.split())
    word, _, label = rest.partition(" ")
    if found is not None and word == "label":
        if len(label) > LONGEST_LABEL or not label.isprintable():
            raise bad_words("a label is", most=LONGEST_LABEL, got=short(label))
        return [
            Correction(found["hash"], int(found["page"]), int(found["grid"]), None, LABEL + label)
        ]
    if found is None or not rest:
        raise bad_words("a correction looks like", got=short(text))
    start, page, grid = found["hash"], int(found["page"]), int(found["grid"])
    if rest in _WHOLE:
        return [Correction(start, page, grid, None, rest)]
    out = []
    for word in rest.split():
        try:
            one = parse_assumption(word, LARGEST_BOARD)  # of which board it is, the row will tell
        except Trouble as off:
            raise bad_words("a correction looks like", got=short(text)) from off
        if one.grid is not None or one.notes is not None or one.beside is not None:
            raise bad_words("a correction names a digit", got=short(word))
        digit = "." if one.digit is None else str(one.digit)
        says = f"{one.kind}:{digit}" if one.kind else digit
        out.append(Correction(start, page, grid, LARGEST_BOARD.name(one.cell), says))
    return out


def apply(book: Book, corrections: Iterable[Correction]) -> tuple[int, list[str]]:
    """Writes them down and settles their grids anew; how many grids that were, and a sentence for
    each that is about a grid which the book doesn't hold. The others go in, at once.
    """
    touched: dict[tuple[str, int, int], GridRow] = {}
    off: list[str] = []
    with book.changes():
        for one in corrections:
            subject = _subject(book, one)
            if subject is None:
                off.append(packed(message("no such row", book=book.path, row=one.row)))
                continue
            key, grid = subject
            if not _on_its_board(one, grid):
                off.append(packed(message("a correction looks like", got=f"{one.cell}={one.says}")))
                continue
            touched[key] = grid
            _keep(book, key, grid, one)
        for key, grid in touched.items():
            words = words_for(book, key[0], key[1], [grid])
            beside = print_of(book.grids(key[0], key[1]))
            book.put_puzzle(key, settle(grid, words.get(key[2], NOTHING_SAID), beside))
    return len(touched), off


def _on_its_board(one: Correction, grid: GridRow) -> bool:
    """Whether a grid has the cell and the digit that are spoken of."""
    if one.cell is None:
        return True
    digit = one.says.rpartition(":")[2]
    return grid.board.cell(one.cell) is not None and (
        digit == "." or int(digit) in grid.board.digits
    )


def _keep(book: Book, key: tuple[str, int, int], grid: GridRow, one: Correction) -> None:
    """Writes a word down in place of an earlier one on the same subject."""
    name = one.cell or ""
    hash_, page, _ = key
    for old in _kept(book, hash_, page):
        if _same_subject(grid, old, name, one.says):
            book.sql.execute(
                "DELETE FROM correction WHERE hash = ? AND page = ? AND x = ? AND y = ?"
                " AND cell = ?",
                (hash_, page, *old[:3]),
            )
    if one.says == LABEL:
        return
    x, y = centre(grid, None if one.cell is None else grid.board.cell(one.cell))
    # A label lies a little aside, for a word on the whole grid may stand at its centre.
    x += one.says.startswith(LABEL)
    at = {"hash": hash_, "page": page, "x": x, "y": y}
    put(book.sql, "correction", {**at, "cell": name, "says": one.says})


def labels(book: Book) -> Iterator[tuple[str, int, list[Kept]]]:
    """The pages of which a grid is called something, and what is said there."""
    query = "SELECT DISTINCT hash, page FROM correction WHERE says GLOB 'label:*'"
    for row in list(book.rows(query)):
        yield row["hash"], row["page"], _kept(book, row["hash"], row["page"])


def label_all(book: Book, hashes: Iterable[str], by_page: bool) -> int:
    """Calls each grid of these sources after its file, or after its file and page, that nobody has
    called anything; how many.
    """
    query = (
        "SELECT page, number, corners, (SELECT min(name) FROM place WHERE place.hash = grid.hash)"
        " AS name FROM grid WHERE hash = ? ORDER BY page, number"
    )
    made = 0
    with book.changes():
        for hash_ in hashes:
            for row in list(book.rows(query, hash_)):
                key = (hash_, row["page"], row["number"])
                if label_of(_kept(book, *key[:2]), json.loads(row["corners"])) is None:
                    stem = Path(visible(row["name"])).stem
                    text = (
                        in_words("page of a source", source=stem, page=row["page"])
                        if by_page
                        else stem
                    )
                    _label(book, key, text[:LONGEST_LABEL])
                    made += 1
    return made


def _label(book: Book, key: tuple[str, int, int], text: str) -> None:
    grid = book.grid(*key)
    if grid is not None:
        _keep(book, key, grid, Correction(key[0][:16], *key[1:], None, LABEL + text))


def _subject(book: Book, one: Correction) -> tuple[tuple[str, int, int], GridRow] | None:
    """The grid that a word is about; None where the book doesn't hold it, or has not read it."""
    query = "SELECT hash FROM source WHERE substr(hash, 1, 16) = ?"
    for row in book.rows(query, one.start):
        grid = book.grid(row["hash"], one.page, one.grid)
        if grid is not None and (grid.givens is not None or one.cell is None):
            return (row["hash"], one.page, one.grid), grid
    return None


def _kept(book: Book, hash_: str, page: int) -> list[Kept]:
    query = (
        "SELECT x, y, cell, says FROM correction WHERE hash = ? AND page = ? ORDER BY y, x, cell"
    )
    return [(r["x"], r["y"], r["cell"], r["says"]) for r in book.rows(query, hash_, page)]


def words_for(book: Book, hash_: str, page: int, grids: Sequence[GridRow]) -> dict[int, Words]:
    """For each of the page's grids that somebody has spoken of, what was said."""
    return words_from(_kept(book, hash_, page), grids)


def _same_subject(grid: GridRow, kept: Kept, cell: str, says: str) -> bool:
    """Whether an earlier word is about the same cell, or both are about the whole grid, or both
    say what it is called.
    """
    x, y, name, said = kept
    if not holds(grid, (x, y)) or bool(name) != bool(cell):
        return False
    if said.startswith(LABEL) != says.startswith(LABEL):
        return False
    return not cell or cell_at(grid, x, y) == cell
