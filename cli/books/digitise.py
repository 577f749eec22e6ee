"""``papernudge digitise``: many pages into one book, again and again if need be."""

from __future__ import annotations

import contextlib
import os
import sys
from collections import Counter
from collections.abc import Generator, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from papernudge.cli.books.book import Book, id_of
from papernudge.cli.books.corrections import Correction, apply, words_for
from papernudge.cli.books.progress import Progress, looked_at
from papernudge.cli.books.rows import PageDone, PageTask
from papernudge.cli.books.settle import needs_a_person, settle
from papernudge.cli.books.sources import Surveyed, files, survey
from papernudge.cli.books.typeface import Page
from papernudge.cli.exits import Exit, bad_words
from papernudge.vision.failure import Failure

NAMED = 12
"""Most things of a kind that the summary names one by one."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """What a run is asked to do. ``workers`` None: one for each core."""

    sources: Sequence[str]
    book: Path
    workers: int | None = None
    cluster: str | None = None
    again: bool = False
    corrections: Sequence[Correction] = ()
    review: Path | None = None


@dataclass
class Tally:
    """What a run came to, beside what the book holds."""

    sentences: list[str] = field(default_factory=list)
    done: int = 0
    before: int = 0
    corrected: int = 0


def run_digitise(wishes: Wishes) -> int:
    """Does what is asked and says what came of it; the exit code."""
    if not (wishes.sources or wishes.corrections or wishes.review):
        raise bad_words("Name at least one SOURCE: a folder, a photo, a PDF or a TIFF.")
    if wishes.review is not None and wishes.review.suffix.lower() not in (".html", ".htm"):
        raise bad_words(f"--review OUT ends in .html; got {str(wishes.review)!r}.")
    with Book.to_write(wishes.book) as book:
        tally = Tally()
        found = _surveyed(wishes.sources, tally)
        book.note_sources(found)
        _read_all(book, found, wishes, tally)
        if wishes.corrections:
            tally.corrected = apply(book, wishes.corrections)
        if wishes.review is not None:
            from papernudge.cli.books.review import write_sheet

            write_sheet(book, wishes.review)
        print("\n".join(summary(book, wishes, tally)))
    return int(Exit.FILE if tally.sentences else Exit.DONE)


def _surveyed(sources: Iterable[str], tally: Tally) -> list[Surveyed]:
    found: list[Surveyed] = []
    for source in sources:
        folder = Path(source)
        if folder.is_dir() and next(files([source]), None) is None:
            tally.sentences.append(
                f"{source} holds nothing to read: expected photos, PDFs or TIFFs in it."
            )
    for number, path in enumerate(files(sources), start=1):
        looked_at(sys.stderr, number)
        one = survey(path)
        if isinstance(one, Failure):
            tally.sentences.append(one.sentence)
        else:
            found.append(one)
    looked_at(sys.stderr, None)
    return found


def _read_all(book: Book, found: Sequence[Surveyed], wishes: Wishes, tally: Tally) -> None:
    todo = list(_todo(book, found, wishes.again))
    pages = {(one.hash, n) for one in found for n in range(1, one.pages + 1)}
    tally.before = len(pages) - len(todo)
    progress = Progress(sys.stderr, len(todo))
    with contextlib.closing(_reading(todo, wishes)) as pages_done:
        for done in pages_done:
            take(book, done)
            tally.done += 1
            doubts = sum(needs_a_person(d) for puzzle in done.puzzles for d in puzzle.doubts)
            progress.add(sum(p.status != "left out" for p in done.puzzles), doubts)
            if not done.lasting and done.sentence:
                tally.sentences.append(done.sentence)
    progress.end()
    if found:
        tally.sentences += _unreadable(book, {one.hash for one in found})


def _todo(book: Book, found: Iterable[Surveyed], again: bool) -> Iterator[PageTask]:
    """The pages that are not done yet, each content once."""
    done = book.pages_done()
    wanted: set[tuple[str, int]] = set()
    for one in found:
        for number in range(1, one.pages + 1):
            key = (one.hash, number)
            old = done.get(key)
            if key in wanted or (old is not None and not (again and old != _reader())):
                continue
            wanted.add(key)
            yield one.task(number)


def _reader() -> str:
    from papernudge.cli.books.work import reader

    return reader()


def _reading(todo: Sequence[PageTask], wishes: Wishes) -> Generator[PageDone, None, None]:
    from papernudge.cli.books import pool

    if wishes.cluster is not None and todo:
        from papernudge.cli.books.cluster import on_cluster

        return on_cluster(todo, wishes.cluster)
    workers = min(wishes.workers or cores(), len(todo))
    return pool.in_processes(todo, workers) if workers > 1 else pool.one_after_the_other(todo)


def cores() -> int:
    """How many processes can work at once here."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def take(book: Book, done: PageDone) -> None:
    """Writes a page down, with the corrections that it had before."""
    if not done.lasting:
        return
    words = words_for(book, done.hash, done.number, done.grids)
    page = Page(done.grids)
    puzzles = [
        settle(grid, words[grid.number], page) if grid.number in words else puzzle
        for grid, puzzle in zip(done.grids, done.puzzles, strict=True)
    ]
    done.puzzles[:] = puzzles
    book.write(done)


def _unreadable(book: Book, hashes: set[str]) -> list[str]:
    query = (
        "SELECT hash, number, sentence, (SELECT min(name) FROM place WHERE place.hash = page.hash)"
        " AS name FROM page WHERE state = 'unreadable' ORDER BY hash, number"
    )
    return [str(row["sentence"]) for row in book.rows(query) if row["hash"] in hashes]


# ---------------------------------------------------------------- the closing summary


def summary(book: Book, wishes: Wishes, tally: Tally) -> list[str]:
    """What the book holds now, and what needs a person."""
    counts = Counter[str]()
    for row in book.rows("SELECT status, count(*) AS n FROM puzzle GROUP BY status"):
        counts[row["status"]] = row["n"]
    pages = next(book.rows("SELECT count(*) AS n FROM page"))["n"]
    (distinct,) = next(
        book.rows("SELECT count(DISTINCT canonical) AS n FROM puzzle WHERE status = 'clean'")
    ).values()
    lines = [
        f"{wishes.book}: {_many(pages, 'page')}, {_many(counts['clean'], 'clean puzzle')}"
        f" ({distinct} distinct), {counts['review']} to review, {counts['left out']} left out."
    ]
    if wishes.sources:
        lines.append(f"This run read {_many(tally.done, 'page')}; {tally.before} were done before.")
    if wishes.corrections:
        lines.append(f"Corrections changed {_many(tally.corrected, 'puzzle')}.")
    lines += _blank_pages(book) + _to_review(book, wishes) + _left_out(book) + _older(book)
    if tally.sentences:
        lines.append(f"Not read ({len(tally.sentences)}):")
        lines += _some(tally.sentences)
    return lines


def _many(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _some(lines: Sequence[str]) -> list[str]:
    out = [f"  {line}" for line in lines[:NAMED]]
    rest = len(lines) - NAMED
    return [*out, f"  and {rest} more"] if rest > 0 else out


def _blank_pages(book: Book) -> list[str]:
    count = next(book.rows("SELECT count(*) AS n FROM page WHERE state = 'no grid'"))["n"]
    return [f"{_many(count, 'page')} without a grid."] if count else []


_WITH_NAMES = (
    "SELECT puzzle.*, (SELECT min(name) FROM place WHERE place.hash = puzzle.hash) AS name"
    " FROM puzzle WHERE status = ? ORDER BY hash, page, number"
)


def _to_review(book: Book, wishes: Wishes) -> list[str]:
    rows = list(book.rows(_WITH_NAMES, "review"))
    if not rows:
        return []
    told = [
        f"{id_of(row)}  {row['name']}, page {row['page']}, grid {row['number']}: {row['reason']}"
        for row in rows
    ]
    head = "A person must look at these"
    if wishes.review is None:
        head += " (--review SHEET.html draws them)"
    return [head + ":", *_some(told)]


def _left_out(book: Book) -> list[str]:
    query = (
        "SELECT reason, count(*) AS n FROM puzzle WHERE status = 'left out' GROUP BY reason"
        " ORDER BY n DESC, reason"
    )
    reasons = [f"{row['n']} {row['reason']}" for row in book.rows(query)]
    return [f"Left out: {', '.join(reasons)}."] if reasons else []


def _older(book: Book) -> list[str]:
    query = "SELECT count(*) AS n FROM page WHERE reader <> ?"
    count = next(book.rows(query, _reader()))["n"]
    if not count:
        return []
    return [f"{_many(count, 'page')} read by another version: --again reads them anew."]
