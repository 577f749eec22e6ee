"""What a run came to and what the book holds now: in words, and as a document."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from papernudge.cli.books.book import Book, id_of
from papernudge.cli.books.log import DAMAGED as LOG_DAMAGED
from papernudge.cli.books.rows import Row, natural
from papernudge.cli.books.salvage import DAMAGED
from papernudge.cli.books.told import reason_said
from papernudge.cli.said import in_words, in_words_of, spoken
from papernudge.cli.session.documents import FORMAT, Document
from papernudge.hints.catalogue import All, counted, message, packed, unpacked

NAMED = 12
"""Most things of a kind that are named one by one, in words."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """A source, or one of its pages, that could not be read."""

    source: str
    page: int | None
    stage: str
    reason: str
    sentence: str
    """As a book keeps it, see :func:`packed`."""


def told_of(sentence: str) -> str:
    """What a book keeps as a sentence, in the language that is spoken; as it stands there where it
    is none of ours: a newer version may have written it, or anybody.
    """
    try:
        return spoken().tell(unpacked(sentence))
    except (LookupError, ValueError, TypeError, AttributeError, RecursionError):
        return sentence


@dataclass
class Tally:
    """What a run came to, beside what the book holds."""

    troubles: list[Trouble] = field(default_factory=list)
    done: int = 0
    before: int = 0
    corrected: int = 0
    mended: int = 0
    off: list[str] = field(default_factory=list)
    """Corrections that don't fit, a sentence each."""
    stamps: dict[str, tuple[int, ...] | None] = field(default_factory=dict)
    """By which a source is known not to have changed since it was hashed."""


@dataclass(frozen=True, slots=True)
class Account:
    """What a book holds. ``older``: pages that another version than this one has read; ``blank``:
    those without a grid, ``left_out`` and ``review`` grids.
    """

    pages: int
    blank: list[Row]
    older: int
    counts: Counter[str]
    distinct: int
    review: list[Row]
    left_out: list[Row]

    @property
    def reasons(self) -> dict[str, int]:
        """Why grids are left out, and how many, the most frequent first."""
        counted = Counter(row["reason"] for row in self.left_out)
        return dict(sorted(counted.items(), key=lambda one: (-one[1], one[0])))


@dataclass(frozen=True, slots=True)
class Lost:
    """Something that damage has taken from a book. ``what``: in the middle of a sentence."""

    what: str
    trouble: Trouble


def damaged_pages(book: Book) -> list[Lost]:
    """The pages that wait to be read again."""
    query = (
        "SELECT hash, number, sentence, (SELECT min(name) FROM place WHERE place.hash = page.hash)"
        " AS name FROM page WHERE state = ? ORDER BY hash, number"
    )
    return [
        Lost(
            in_words("lost, page", page=row["number"], called=row["name"]),
            _lost(row["name"], row["number"], row["sentence"] or ""),
        )
        for row in book.rows(query, DAMAGED)
    ]


def other_losses(book: Book) -> list[Lost]:
    """What else this opening found to be damaged."""
    called = book.path.name
    found = []
    for hash_, page in book.harm.words if book.harm is not None else ():
        name = next(book.rows("SELECT min(name) AS name FROM place WHERE hash = ?", hash_))["name"]
        what = in_words("lost, words", page=page, called=name)
        told = packed(message("words are damaged", page=page, called=name, book=called))
        found.append(Lost(what, _lost(name, page, told)))
    if book.harm is not None and book.harm.missing:
        told = packed(message("rows are missing", book=called))
        found.append(Lost(in_words("lost, rows"), _lost(called, None, told)))
    if book.log == LOG_DAMAGED:
        told = packed(message("book's log is damaged", book=called))
        found.append(Lost(in_words("lost, log"), _lost(called, None, told)))
    return found


def _lost(source: str, page: int | None, sentence: str) -> Trouble:
    return Trouble(source, page, "book", DAMAGED, sentence)


def health(book: Book) -> tuple[list[str], bool]:
    """What whoever uses a book's rows must know, a sentence each, and whether any are lost."""
    lost = [one.what for one in (*damaged_pages(book), *other_losses(book))]
    told = []
    if lost:
        more = len(lost) - NAMED
        code = "book is damaged in many" if more > 0 else "book is damaged in"
        listed = spoken().chained("listed", lost[:NAMED])
        told.append(in_words(code, path=book.path, lost=listed, count=more))
    elif book.harm is not None:
        told.append(in_words("book is damaged, all whole", path=book.path))
    if book.version == 1:
        told.append(in_words("book is older", path=book.path))
    pages = _number(book, "SELECT coalesce(sum(pages), 0) FROM source")
    unread = pages - _number(book, "SELECT count(*) FROM page")
    if unread > 0:
        told.append(in_words_of("book is not finished", unread, path=book.path, pages=pages))
    elif book.cut_short:
        told.append(in_words("book was cut short", path=book.path))
    return told, bool(lost)


def account(book: Book, reader: str) -> Account:
    """Counts a book's rows; ``reader``: what reads pages now."""
    counts = Counter[str]()
    for row in book.rows("SELECT status, count(*) AS n FROM puzzle GROUP BY status"):
        counts[row["status"]] = row["n"]
    return Account(
        _number(book, "SELECT count(*) FROM page"),
        sorted(book.rows(_BLANK), key=_by_name),
        _number(book, "SELECT count(*) FROM page WHERE reader <> ?", reader),
        counts,
        _number(book, "SELECT count(DISTINCT canonical) FROM puzzle WHERE status = 'clean'"),
        _of_status(book, "review"),
        _of_status(book, "left out"),
    )


def _number(book: Book, query: str, *values: object) -> int:
    (number,) = next(book.rows(query, *values)).values()
    return int(number)


_PLACE = (
    "(SELECT min(name) FROM place WHERE place.hash = {0}.hash) AS source,"
    " (SELECT pages FROM source WHERE source.hash = {0}.hash) AS pages"
)
_BLANK = (
    f"SELECT hash, number AS page, {_PLACE.format('page')} FROM page WHERE state = 'no grid'"
    " ORDER BY hash, number"
)


def _of_status(book: Book, status: str) -> list[Row]:
    query = (
        f"SELECT hash, page, number, reason, {_PLACE.format('puzzle')} FROM puzzle WHERE status = ?"
        " ORDER BY hash, page, number"
    )
    found = ({"id": id_of(row), **row} for row in book.rows(query, status))
    return sorted(found, key=_by_name)


def _by_name(row: Row) -> tuple[object, ...]:
    return natural(row["source"]), row["hash"], row["page"], row.get("number", 0)


def document(path: Path, held: Account, tally: Tally) -> Document:
    """The JSON of a run."""
    return {
        "format": FORMAT,
        "book": str(path),
        "pages": {
            "all": held.pages,
            "read": tally.done,
            "before": tally.before,
            "without_grid": len(held.blank),
            "older": held.older,
            "mended": tally.mended,
        },
        "puzzles": {
            "clean": held.counts["clean"],
            "distinct": held.distinct,
            "review": held.counts["review"],
            "left_out": held.counts["left out"],
            "corrected": tally.corrected,
        },
        "left_out": held.reasons,
        "left_out_rows": [_told(row) for row in held.left_out],
        "without_grid": [{"source": row["source"], "page": row["page"]} for row in held.blank],
        "review": [_told(row) for row in held.review],
        "corrections_off": [told_of(one) for one in tally.off],
        "failures": [
            {
                "source": one.source,
                "page": one.page,
                "error": {
                    "stage": one.stage,
                    "reason": one.reason,
                    "sentence": told_of(one.sentence),
                },
            }
            for one in tally.troubles
        ],
    }


def _told(row: Row) -> Document:
    return {
        "id": row["id"],
        "source": row["source"],
        "page": row["page"],
        "grid": row["number"],
        "reason": row["reason"],
    }


def run_said(path: Path, held: Account, tally: Tally, asked: Sequence[str]) -> list[str]:
    """The same in lines. ``asked``: which of ``sources``, ``corrections`` and ``review`` the
    run was asked for.
    """
    counts = held.counts
    lines = [
        in_words(
            "book holds",
            path=path,
            pages=counted("so many pages", held.pages),
            puzzles=counted("clean puzzles", counts["clean"]),
            distinct=held.distinct,
            review=counts["review"],
            left_out=counts["left out"],
        )
    ]
    if "sources" in asked:
        lines.append(in_words_of("this run read", tally.done, before=tally.before))
    if tally.mended:
        lines.append(in_words_of("pages mended", tally.mended))
    if "corrections" in asked:
        lines.append(in_words_of("corrections changed", tally.corrected))
    if held.blank:
        where = _some_of([_page(row) for row in held.blank])
        lines.append(in_words_of("pages without a grid", len(held.blank), where=where))
    if held.review:
        how = "a person must look" if "review" in asked else "a person must look, drawn"
        lines += [in_words(how), *_some([_where(row) for row in held.review])]
    lines += _left_out(held)
    if held.older:
        lines.append(in_words_of("older pages", held.older))
    return lines


def _left_out(held: Account) -> list[str]:
    """The grids that are left out, reason by reason."""
    lines = [in_words("left out")] if held.left_out else []
    for reason, many in held.reasons.items():
        where = _some_of(_grids([row for row in held.left_out if row["reason"] == reason]))
        lines.append(
            in_words("so many left out", count=many, reason=reason_said(reason), where=where)
        )
    return lines


def not_read(tally: Tally, unmade: Path | None) -> list[str]:
    """What could not be read, a sentence each. ``unmade``: the book that was to be, if none was."""
    troubles = [told_of(one.sentence) for one in tally.troubles]
    rest = len(troubles) - NAMED
    lines = troubles[:NAMED]
    if rest > 0:
        lines.append(in_words("more not read", count=rest))
    if unmade is not None:
        lines.append(in_words("book was not made", path=unmade))
    return lines


def _where(row: Row) -> str:
    return in_words(
        "row by name, why",
        id=row["id"],
        source=row["source"],
        page=row["page"],
        grid=row["number"],
        reason=reason_said(row["reason"]),
    )


def _page(row: Row) -> str:
    """The name of a file, and which of its pages where it has several."""
    if row["pages"] == 1:
        return str(row["source"])
    return in_words("page of a source", source=row["source"], page=row["page"])


def _grids(rows: Sequence[Row]) -> list[str]:
    """A name for each page that holds some of these grids, with their numbers on it: files of two
    folders may bear one name.
    """
    pages: dict[tuple[str, int], tuple[str, list[int]]] = {}
    for row in rows:
        _, numbers = pages.setdefault((row["hash"], row["page"]), (_page(row), []))
        numbers.append(row["number"])
    return [
        in_words_of("grids of a page", len(numbers), page=page, numbers=All(numbers))
        for page, numbers in pages.values()
    ]


def _some_of(things: Sequence[str]) -> str:
    rest = len(things) - NAMED
    first = spoken().chained("things, more", things[:NAMED])
    return in_words("things, end", first=first, count=rest) if rest > 0 else first


def _some(lines: Sequence[str]) -> list[str]:
    out = [in_words("one of them", said=line) for line in lines[:NAMED]]
    rest = len(lines) - NAMED
    return [*out, in_words("so many more", count=rest)] if rest > 0 else out
