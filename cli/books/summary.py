"""What a run came to and what the book holds now: in words, and as a document."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from papernudge.cli.books.book import Book, Row, id_of
from papernudge.cli.documents import FORMAT, Document

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
