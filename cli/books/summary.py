"""What a run came to and what the book holds now: in words, and as a document."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from papernudge.cli.books.book import Book, id_of
from papernudge.cli.books.log import DAMAGED as LOG_DAMAGED
from papernudge.cli.books.rows import Row
from papernudge.cli.books.salvage import DAMAGED
from papernudge.cli.session.documents import FORMAT, Document

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


@dataclass
class Tally:
    """What a run came to, beside what the book holds."""

    troubles: list[Trouble] = field(default_factory=list)
    done: int = 0
    before: int = 0
    corrected: int = 0
    mended: int = 0
    stamps: dict[str, tuple[int, ...] | None] = field(default_factory=dict)
    """By which a source is known not to have changed since it was hashed."""


@dataclass(frozen=True, slots=True)
class Account:
    """What a book holds. ``older``: pages that another version than this one has read."""

    pages: int
    blank: int
    older: int
    counts: Counter[str]
    distinct: int
    review: list[Row]
    left_out: dict[str, int]


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
            f"page {row['number']} of {row['name']}",
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
        what = f"what was said of page {page} of {name}"
        told = f"W{what[1:]} is damaged in {called}: look at that page and say it again."
        found.append(Lost(what, _lost(name, page, told)))
    if book.harm is not None and book.harm.missing:
        told = (
            f"Rows are missing in {called} and nothing tells which: name all its sources to"
            " digitise, and what is gone is read again."
        )
        found.append(Lost("rows that nothing is known of", _lost(called, None, told)))
    if book.log == LOG_DAMAGED:
        told = (
            f"The log beside {called} is damaged, so what the last run did last is gone: run"
            " digitise with the same words again."
        )
        found.append(Lost("what the last run did last", _lost(called, None, told)))
    return found


def _lost(source: str, page: int | None, sentence: str) -> Trouble:
    return Trouble(source, page, "book", DAMAGED, sentence)


def health(book: Book) -> tuple[list[str], bool]:
    """What whoever uses a book's rows must know, a sentence each, and whether any are lost."""
    lost = [one.what for one in (*damaged_pages(book), *other_losses(book))]
    told = []
    if lost:
        more = f" and {len(lost) - NAMED} more" if len(lost) > NAMED else ""
        told.append(
            f"{book.path} is damaged in {', '.join(lost[:NAMED])}{more}, and what can't be trusted"
            " is left out: run digitise with its files to read them again."
        )
    elif book.harm is not None:
        told.append(
            f"{book.path} is damaged, but nothing that it holds is lost: the next run of digitise"
            " mends it."
        )
    if book.version == 1:
        told.append(
            f"{book.path} is of an older kind that can't tell when it is damaged: the next run of"
            " digitise brings it up to date."
        )
    pages = _number(book, "SELECT coalesce(sum(pages), 0) FROM source")
    unread = pages - _number(book, "SELECT count(*) FROM page")
    if unread > 0:
        told.append(
            f"{book.path} is not finished: {_many(unread, 'page')} of {pages} not read yet."
        )
    elif book.cut_short:
        told.append(
            f"The last run on {book.path} was cut short: what it said or read last may be missing"
            " until it is run again."
        )
    return told, bool(lost)


def account(book: Book, reader: str) -> Account:
    """Counts a book's rows; ``reader``: what reads pages now."""
    counts = Counter[str]()
    for row in book.rows("SELECT status, count(*) AS n FROM puzzle GROUP BY status"):
        counts[row["status"]] = row["n"]
    reasons = book.rows(
        "SELECT reason, count(*) AS n FROM puzzle WHERE status = 'left out' GROUP BY reason"
        " ORDER BY n DESC, reason"
    )
    return Account(
        _number(book, "SELECT count(*) FROM page"),
        _number(book, "SELECT count(*) FROM page WHERE state = 'no grid'"),
        _number(book, "SELECT count(*) FROM page WHERE reader <> ?", reader),
        counts,
        _number(book, "SELECT count(DISTINCT canonical) FROM puzzle WHERE status = 'clean'"),
        list(_to_review(book)),
        {row["reason"]: row["n"] for row in reasons},
    )


def _number(book: Book, query: str, *values: object) -> int:
    (number,) = next(book.rows(query, *values)).values()
    return int(number)


def _to_review(book: Book) -> Iterator[Row]:
    query = (
        "SELECT hash, page, number, reason, (SELECT min(name) FROM place"
        " WHERE place.hash = puzzle.hash) AS source FROM puzzle WHERE status = 'review'"
        " ORDER BY hash, page, number"
    )
    for row in book.rows(query):
        yield {"id": id_of(row), **row}


def document(path: Path, held: Account, tally: Tally) -> Document:
    """The JSON of a run."""
    return {
        "format": FORMAT,
        "book": str(path),
        "pages": {
            "all": held.pages,
            "read": tally.done,
            "before": tally.before,
            "without_grid": held.blank,
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
        "left_out": held.left_out,
        "review": [
            {
                "id": row["id"],
                "source": row["source"],
                "page": row["page"],
                "grid": row["number"],
                "reason": row["reason"],
            }
            for row in held.review
        ],
        "failures": [
            {
                "source": one.source,
                "page": one.page,
                "error": {"stage": one.stage, "reason": one.reason, "sentence": one.sentence},
            }
            for one in tally.troubles
        ],
    }


def in_words(path: Path, held: Account, tally: Tally, asked: Sequence[str]) -> list[str]:
    """The same in lines. ``asked``: which of ``sources``, ``corrections`` and ``review`` the
    run was asked for.
    """
    counts = held.counts
    lines = [
        f"{path}: {_many(held.pages, 'page')}, {_many(counts['clean'], 'clean puzzle')}"
        f" ({held.distinct} distinct), {counts['review']} to review,"
        f" {counts['left out']} left out."
    ]
    if "sources" in asked:
        lines.append(f"This run read {_many(tally.done, 'page')}; {tally.before} were done before.")
    if tally.mended:
        lines.append(f"{_many(tally.mended, 'page')} of it had been damaged in the book.")
    if "corrections" in asked:
        lines.append(f"Corrections changed {_many(tally.corrected, 'puzzle')}.")
    if held.blank:
        lines.append(f"{_many(held.blank, 'page')} without a grid.")
    if held.review:
        how = "" if "review" in asked else " (--review SHEET.html draws them)"
        lines.append(f"A person must look at these{how}:")
        lines += _some([_where(row) for row in held.review])
    if held.left_out:
        reasons = [f"{many} {reason}" for reason, many in held.left_out.items()]
        lines.append(f"Left out: {', '.join(reasons)}.")
    if held.older:
        lines.append(
            f"{_many(held.older, 'page')} read by another version: --again reads them anew."
        )
    if tally.troubles:
        lines.append(f"Not read ({len(tally.troubles)}):")
        lines += _some([one.sentence for one in tally.troubles])
    return lines


def _where(row: Row) -> str:
    return (
        f"{row['id']}  {row['source']}, page {row['page']}, grid {row['number']}: {row['reason']}"
    )


def _many(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _some(lines: Sequence[str]) -> list[str]:
    out = [f"  {line}" for line in lines[:NAMED]]
    rest = len(lines) - NAMED
    return [*out, f"  and {rest} more"] if rest > 0 else out
