"""``papernudge export``: a book, or the part of it that is wanted, as a file of another kind."""

from __future__ import annotations

import csv
import fnmatch
import io
import json
import math
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from papernudge.cli.base.exits import Exit, bad_words
from papernudge.cli.base.files import exists, write_whole
from papernudge.cli.base.paths import BOOK_FILES, Named, keep_apart
from papernudge.cli.base.say import short
from papernudge.cli.books.book import Book, id_of
from papernudge.cli.books.corrections import labels
from papernudge.cli.books.printed import Layout as Printed
from papernudge.cli.books.printed import sheets
from papernudge.cli.books.rows import Row, layout_of_row, natural, row_id
from papernudge.cli.books.spoken import label_of
from papernudge.cli.books.summary import health
from papernudge.cli.said import in_words, in_words_of, spoken
from papernudge.cli.session.documents import FORMAT, layout_field
from papernudge.hints.catalogue import Run, message
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.shapes import in_options
from papernudge.hints.words import titled

ENDINGS = (".jsonl", ".csv", ".txt", ".pdf")
STATUSES = ("clean", "review", "left out")
Range = tuple[float | None, float | None]


@dataclass(frozen=True, slots=True)
class Filters:
    """Which rows are wanted; an empty filter lets all through. ``board``: those of this one."""

    minutes: Range = (None, None)
    givens: Range = (None, None)
    hardest: Sequence[str] = ()
    needs: Sequence[str] = ()
    sources: Sequence[str] = ()
    labels: Sequence[str] = ()
    statuses: Sequence[str] = ()
    once: bool = False
    first: int | None = None
    board: Layout | None = None


def parse_range(text: str | None, option: str) -> Range:
    """``8-12``, ``8-``, ``-12`` or ``10``, which means 10 to the nearest whole number.

    Stop (2) for anything else.
    """
    if text is None:
        return None, None
    low, dash, high = text.strip().partition("-")
    try:
        ends = [float(end) if end.strip() else None for end in (low, high)]
    except ValueError:
        ends = [None, None]
    odd = any(end is not None and not math.isfinite(end) for end in ends)
    if odd or ends == [None, None] or (not dash and ends[0] is None):
        raise bad_words("range looks like", option=option, got=short(text))
    if not dash:
        assert ends[0] is not None
        return ends[0] - 0.5, ends[0] + 0.49
    return ends[0], ends[1]


def run_export(
    book_path: Path,
    to: Path,
    filters: Filters,
    printed: Printed,
    tell: Callable[[str], None],
    force: bool = False,
) -> Exit:
    """Writes the file whole or not at all; ``tell`` hears what the book lacks and how much went
    into the file.

    A file that is there already stays, and that is a Stop (5), unless ``force``.
    """
    ending = to.suffix.lower()
    if ending not in ENDINGS:
        raise bad_words("export ends in", endings=Run(ENDINGS), got=short(str(to)))
    for status in filters.statuses:
        if status not in STATUSES:
            raise bad_words("status is", statuses=Run(STATUSES), got=short(status))
    filters = replace(filters, needs=_named(filters.needs, "--needs"))
    book_named = Named(message("the book itself"), book_path)
    keep_apart([book_named, *book_named.beside(*BOOK_FILES)], [Named("--to OUT", to)])
    if not force and os.path.isfile(to):  # noqa: PTH113 - Path.is_file raises on long names
        raise exists(to)
    with Book.to_read(book_path) as book:
        told, is_harmed = health(book)
        filters = replace(filters, hardest=_held(book, filters.hardest))
        rows = list(chosen(book, filters, ending in (".txt", ".pdf"), by_name=ending != ".jsonl"))
        for sentence in told:
            tell(sentence)
        if not rows:
            tell(spoken().paragraph([in_words("no puzzle fits"), _what_there_is(book)]))
    if ending == ".pdf":
        if not rows:
            raise bad_words("nothing to print")
        write_whole(to, sheets(rows, printed), over=force)
    else:
        write_whole(to, _WRITERS[ending](rows), over=force)
    tell(in_words_of("exported", len(rows), path=to))
    return Exit.FILE if is_harmed else Exit.DONE


def _named(names: Sequence[str], option: str) -> tuple[str, ...]:
    """The reasons as a book spells them. Stop (2) for a name that none has, with the nearest."""
    import difflib

    from papernudge.hints.registry import USED, spelt

    out = []
    for name in names:
        known = spelt(name)
        if known is None or known not in USED:
            by_small = {one.casefold(): one for one in USED}
            near = difflib.get_close_matches(name.casefold(), by_small, n=3, cutoff=0.4)
            listed = Run([by_small[one] for one in near] or USED)
            code = "reasons near" if near else "reasons there are"
            raise bad_words(code, option=option, names=listed, got=short(name))
        out.append(known)
    return tuple(out)


def chosen(
    book: Book, filters: Filters, printable: bool = False, by_name: bool = False
) -> Iterator[Row]:
    """The rows that pass, in a stable order: of content hash, page, grid, or ``by_name``.

    ``printable``: where the output is the puzzle alone, only clean rows with one solution pass
    unless a status is asked for.
    """
    statuses = filters.statuses or (("clean",) if printable else STATUSES)
    passed = 0
    held: set[str] = set()
    for row in rows_of(book, by_name):
        if filters.first is not None and passed >= filters.first:
            return
        if row["status"] not in statuses or (printable and row["solutions"] != "one"):
            continue
        if not _within(row, filters) or (filters.once and row["canonical"] in held):
            continue
        if not set(filters.needs) <= set(row["needs"] or ()):
            continue
        if row["canonical"] is not None:
            held.add(row["canonical"])
        passed += 1
        yield row


def _within(row: Row, filters: Filters) -> bool:
    if filters.board is not None and row["board"] is not filters.board:
        return False
    givens = None if row["givens"] is None else len(row["givens"]) - row["givens"].count(".")
    if not (_in(row["minutes"], filters.minutes) and _in(givens, filters.givens)):
        return False
    if filters.hardest and row["hardest"] not in filters.hardest:
        return False
    return _called(row["source"], filters.sources) and _called(row["label"], filters.labels)


def _called(name: str | None, patterns: Sequence[str]) -> bool:
    """Whether a name fits one of the patterns, if there are any; capitals don't matter."""
    small = (name or "").lower()
    return not patterns or any(fnmatch.fnmatchcase(small, one.lower()) for one in patterns)


def _in(value: float | None, ends: Range) -> bool:
    low, high = ends
    if low is None and high is None:
        return True
    return value is not None and (low is None or value >= low) and (high is None or value <= high)


_ROWS = """
SELECT puzzle.*, (SELECT min(name) FROM place WHERE place.hash = puzzle.hash) AS source,
  (SELECT corners FROM grid WHERE grid.hash = puzzle.hash AND grid.page = puzzle.page
    AND grid.number = puzzle.number) AS corners,
  (SELECT json_array(hash, page, number) FROM puzzle AS same
    WHERE same.canonical = puzzle.canonical
    ORDER BY same.hash, same.page, same.number LIMIT 1) AS first
FROM puzzle ORDER BY
"""
_BY_CONTENT = " hash, page, number"
_BY_NAME = " in_order(source), source, hash, page, number"


def rows_of(book: Book, by_name: bool = False) -> Iterator[Row]:
    """Every row of the table ``puzzle`` with its ``id``, ``source``, ``label`` and ``same_as``.

    ``by_name``: in the natural order of their files' names, else in that of the content's hash.
    """
    labelled = {(hash_, page): kept for hash_, page, kept in labels(book)}
    book.sql.create_function("in_order", 1, natural, deterministic=True)
    for row in book.rows(_ROWS + (_BY_NAME if by_name else _BY_CONTENT)):
        row["label"] = None
        if (row["hash"], row["page"]) in labelled:
            said = labelled[row["hash"], row["page"]]
            row["label"] = label_of(said, json.loads(row["corners"]))
        row["id"] = id_of(row)
        first = None if row["first"] is None else row_id(*json.loads(row["first"]))
        row["same_as"] = None if first == row["id"] else first
        row["doubts"] = json.loads(row["doubts"])
        row["decided"] = json.loads(row["decided"])
        row["board"] = layout_of_row(row)
        row["needs"] = _needs(row)
        yield row


def _needs(row: Row) -> list[str] | None:
    """The reasons that a puzzle needs; None where it has no grade. A book that an older version
    wrote holds none: they are worked out.
    """
    if row.get("needs") is not None:
        return list(json.loads(row["needs"]))
    if row["looks"] is None:
        return None
    from papernudge.hints.grade import needs
    from papernudge.hints.position import Position
    from papernudge.hints.walk import cheapest_solve

    position = Position.of(row["givens"], layout=row["board"])
    return list(needs(cheapest_solve(position)))


def document(row: Row) -> Row:
    """The JSON of a row."""
    grade = None
    if row["minutes"] is not None:
        grade = {name: row[name] for name in ("minutes", "looks", "hardest", "steps", "needs")}
        grade["minutes_range"] = [row["minutes_low"], row["minutes_high"]]
    elif row["looks"] is not None:
        grade = {name: row[name] for name in ("looks", "hardest", "steps", "needs")}
    return {
        "format": FORMAT,
        "id": row["id"],
        "source": row["source"],
        "page": row["page"],
        "grid": row["number"],
        "label": row["label"],
        **layout_field(row["board"]),
        "givens": row["givens"],
        "entries": row["entries"],
        "solutions": row["solutions"],
        "solution": row["solution"],
        "status": row["status"],
        "reason": row["reason"],
        "doubts": row["doubts"],
        "decided": row["decided"],
        "grade": grade,
        "same_as": row["same_as"],
    }


def _jsonl(rows: Iterable[Row]) -> bytes:
    lines = (json.dumps(document(row), ensure_ascii=False) + "\n" for row in rows)
    return "".join(lines).encode("utf-8", "backslashreplace")


_COLUMNS = (
    *(
        "id",
        "source",
        "page",
        "grid",
        "label",
        "status",
        "reason",
        "givens",
        "entries",
        "solutions",
    ),
    *("solution", "minutes", "looks", "hardest", "needs", "steps", "doubts", "same_as"),
)


def _csv(rows: Sequence[Row]) -> bytes:
    """A table; where there are other boards than the newspaper's, its last column says which."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    others = any(row["board"] is not NEWSPAPER for row in rows)
    columns = (*_COLUMNS, "layout") if others else _COLUMNS
    writer.writerow(columns)
    for row in rows:
        doubts = " ".join(doubt["cell"] for doubt in row["doubts"])
        told = {
            **row,
            "grid": row["number"],
            "doubts": doubts,
            "needs": ", ".join(row["needs"] or ()),
            "layout": in_options(row["board"]).removeprefix("--"),
        }
        writer.writerow([_cell(told[name]) for name in columns])
    return out.getvalue().encode("utf-8", "backslashreplace")


_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠", "'")


def _cell(value: object) -> object:
    """What a spreadsheet might run as a formula gets an apostrophe in front, which it takes for
    "this is text" (OWASP, *CSV Injection*). So does what begins with an apostrophe: whoever reads
    the table takes one leading apostrophe away and has every cell as it was.
    """
    if value is None:
        return ""
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) else value


def _txt(rows: Sequence[Row]) -> bytes:
    """A line a puzzle. Where there are other boards than the newspaper's, a remark before the first
    ones of each names it in the words of the command line, as ``drill`` reads it.
    """
    lines = list[str]()
    board = None if any(row["board"] is not NEWSPAPER for row in rows) else NEWSPAPER
    for row in rows:
        if row["board"] is not board:
            board = row["board"]
            lines.append(f"# {in_options(board)}\n")
        lines.append(f"{row['givens']}\n")
    return "".join(lines).encode("ascii")


_WRITERS: dict[str, Callable[[Sequence[Row]], bytes]] = {
    ".jsonl": _jsonl,
    ".csv": _csv,
    ".txt": _txt,
}


def _held(book: Book, names: Sequence[str]) -> tuple[str, ...]:
    """The hardest reasons as the book spells them; Stop (2), saying what it holds, for a name that
    neither a reason nor a row of it has.
    """
    from papernudge.hints.registry import spelt

    query = "SELECT DISTINCT hardest FROM puzzle WHERE hardest IS NOT NULL"
    there = {str(row["hardest"]).casefold(): str(row["hardest"]) for row in book.rows(query)}
    out = []
    for name in names:
        known = there.get(name.casefold()) or spelt(name)
        if known is None:
            raise bad_words(
                "sentences",
                first=message("hardest takes", got=short(name)),
                next=_what_there_is(book),
            )
        out.append(known)
    return tuple(out)


def _what_there_is(book: Book) -> str:
    query = (
        "SELECT hardest, count(*) AS n, min(minutes) AS low, max(minutes) AS high FROM puzzle"
        " WHERE hardest IS NOT NULL GROUP BY hardest ORDER BY hardest"
    )
    found = [
        in_words(
            # Of other boards than the newspaper's no minutes are known.
            "puzzles by reason" + ", no minutes" * (row["low"] is None),
            count=row["n"],
            reason=titled(row["hardest"], spoken()),
            low=row["low"],
            high=row["high"],
        )
        for row in book.rows(query)
    ]
    if not found:
        return in_words("book without grades")
    return in_words("book by reasons", held=spoken().chained("listed", found))
