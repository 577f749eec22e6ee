"""``papernudge digitise``: many pages into one book, again and again if need be."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from papernudge.cli.base import stopping
from papernudge.cli.base.exits import Exit, bad_words
from papernudge.cli.base.language import in_english
from papernudge.cli.base.paths import (
    BOOK_FILES,
    Named,
    identities,
    identity,
    is_folder,
    keep_apart,
    real,
)
from papernudge.cli.base.say import short
from papernudge.cli.books.book import Book
from papernudge.cli.books.corrections import Correction, apply, label_all, words_for
from papernudge.cli.books.progress import Looking, Progress
from papernudge.cli.books.rows import PageDone, PageTask
from papernudge.cli.books.settle import needs_a_person, print_of, settle
from papernudge.cli.books.sources import Surveyed, files, survey, unopened
from papernudge.cli.books.summary import (
    Account,
    Tally,
    Trouble,
    account,
    damaged_pages,
    document,
    not_read,
    other_losses,
    run_said,
    told_of,
)
from papernudge.cli.said import in_words
from papernudge.cli.session.documents import Document
from papernudge.hints.catalogue import message, packed
from papernudge.vision.failure import Failure


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
    said_in: Path | None = None
    """The file that the corrections came from, if one."""
    off: Sequence[str] = ()
    """A sentence for each of its lines that is no correction."""
    label_from: str | None = None
    """``file`` or ``page``: what rows are called that nobody has called anything."""


@dataclass(frozen=True, slots=True)
class Ran:
    """What came of a run. ``document``: as ``--json`` gives it; ``said``: what the book holds, line
    by line, nothing where none was made; ``told``: a sentence for each page that could not be read
    and each word that did not fit.
    """

    document: dict[str, Any]
    said: tuple[str, ...]
    told: tuple[str, ...]
    code: Exit


def run_digitise(wishes: Wishes, tell: Callable[[str], None]) -> Ran:
    """Does what is asked. ``tell``: hears at once in which state the book was found."""
    asked = (wishes.sources, wishes.corrections, wishes.review, wishes.said_in, wishes.label_from)
    if not any(asked):
        raise bad_words("name a source")
    if wishes.review is not None and wishes.review.suffix.lower() not in (".html", ".htm"):
        raise bad_words("review ends in html", got=short(str(wishes.review)))
    if not all(wishes.sources):
        raise bad_words("source has no name")
    tally = Tally()
    named = _found(wishes, tally)
    with contextlib.ExitStack() as stack:
        with stopping.held():
            book = stack.enter_context(Book.to_write(wishes.book, keep_empty=False))
            stack.enter_context(stopping.at_the_end(book.close))
        tally.troubles += [one.trouble for one in other_losses(book)]
        if book.kept:
            tell(in_words("book was damaged", path=wishes.book, kept=book.kept))
        if book.cut_short:
            tell(in_words("last run was cut short", path=wishes.book))
        damaged = damaged_pages(book)
        found = _surveyed(named, tally)
        book.note_sources(found)
        _read_all(book, found, wishes, tally)
        tally.off += wishes.off
        if wishes.corrections:
            tally.corrected, off = apply(book, wishes.corrections)
            tally.off += off
        if wishes.label_from is not None:
            hashes = sorted({one.hash for one in found} if wishes.sources else _all_of(book))
            label_all(book, hashes, by_page=wishes.label_from == "page")
        if wishes.review is not None and not book.goes:
            from papernudge.cli.books.review import write_sheet

            write_sheet(book, wishes.review)
        still = damaged_pages(book)
        tally.mended = len(set(damaged) - set(still))
        tally.troubles += [one.trouble for one in still]
        held, made = account(book, _reader()), not book.goes
    return _came_of_it(wishes, held, tally, made)


def _all_of(book: Book) -> set[str]:
    return {row["hash"] for row in book.rows("SELECT hash FROM source")}


def _came_of_it(wishes: Wishes, held: Account, tally: Tally, made: bool) -> Ran:
    """``made``: whether there is a book."""
    asked = [n for n in ("sources", "corrections", "review") if getattr(wishes, n)]
    return Ran(
        _in_english(wishes, held, tally),
        tuple(run_said(wishes.book, held, tally, asked)) if made else (),
        (*map(told_of, tally.off), *not_read(tally, None if made else wishes.book)),
        Exit.FILE if tally.troubles else Exit.WORDS if tally.off else Exit.DONE,
    )


def _in_english(wishes: Wishes, held: Account, tally: Tally) -> Document:
    """What programs read is the same whoever asks."""
    with in_english():
        return document(wishes.book, held, tally)


def _found(wishes: Wishes, tally: Tally) -> list[Path]:
    """Every file to read pages from. Stop (2) where one, or the corrections, would be written over;
    the book itself, lying among the photos of a folder, is passed over.
    """
    book = Named(message("the book"), wishes.book)
    outputs = [Named("--book FILE", wishes.book), *book.beside(*BOOK_FILES)]
    if wishes.review is not None:
        outputs.append(Named("--review SHEET", wishes.review))
    inputs = [Named("SOURCE", Path(source)) for source in wishes.sources]
    if wishes.said_in is not None:
        inputs.append(Named("--corrections FILE", wishes.said_in))
    keep_apart(inputs, outputs)
    ours = identity(wishes.book)
    written = identities(one.at for one in outputs)
    found = []
    for path in _walked(wishes.sources, tally):
        its = identity(path)
        if its & ours:
            continue
        if its & written:
            keep_apart([Named(str(path), path)], outputs)
        found.append(path)
    return found


def _walked(sources: Iterable[str], tally: Tally) -> Iterator[Path]:
    """The files of all sources, each once; what can't be looked at becomes a trouble."""

    def unseen(path: Path, error: OSError) -> None:
        _told(tally, path, unopened(path, error))

    seen: set[Path] = set()
    for source in sources:
        holds_nothing = is_folder(Path(source))
        before = len(tally.troubles)
        for path in files([source], unseen):
            holds_nothing = False
            whole = real(path)
            if whole not in seen:
                seen.add(whole)
                yield path
        if holds_nothing and len(tally.troubles) == before:
            said = packed(message("holds nothing to read", source=source))
            tally.troubles.append(Trouble(source, None, "open", "empty", said))


def _told(tally: Tally, path: Path, failure: Failure) -> None:
    name = os.fsencode(path.name).decode("utf-8", "backslashreplace")
    tally.troubles.append(Trouble(name, None, failure.stage, failure.reason, packed(failure.says)))


def _surveyed(paths: Iterable[Path], tally: Tally) -> list[Surveyed]:
    found: list[Surveyed] = []
    with Looking(sys.stderr) as looking:
        for path in paths:
            looking.add()
            before = stamp(path)
            one = survey(path)
            if isinstance(one, Failure):
                _told(tally, path, one)
            elif stamp(path) != before:
                tally.troubles.append(_changed(one, None))
            else:
                found.append(one)
                tally.stamps.setdefault(one.hash, before)
    return found


def stamp(path: Path) -> tuple[int, ...] | None:
    """What differs once a file has been written to or another put in its place; None where it is
    gone. The time of the last change to the file's entry can't be set back, as that of its bytes
    can.
    """
    try:
        now = path.stat()
    except (OSError, ValueError):
        return None
    return now.st_dev, now.st_ino, now.st_size, now.st_mtime_ns, now.st_ctime_ns


def _changed(one: Surveyed, page: int | None) -> Trouble:
    code = "file changed" if page is None else "page changed"
    return Trouble(
        one.name,
        page,
        "open",
        "changed",
        packed(message(code, called=one.name, page=page)),
    )


def _read_all(book: Book, found: Sequence[Surveyed], wishes: Wishes, tally: Tally) -> None:
    todo = list(_todo(book, found, wishes.again))
    pages = {(one.hash, n) for one in found for n in range(1, one.pages + 1)}
    tally.before = len(pages) - len(todo)
    sources = {one.hash: one for one in reversed(found)}  # the first of several is what is read
    with (
        Progress(sys.stderr, len(todo)) as progress,
        contextlib.closing(_reading(todo, wishes)) as pages_done,
    ):
        for at_once in pages_done:
            with book.together():
                for done in at_once:
                    _take_in(book, done, sources[done.hash], tally, progress)
    if found:
        tally.troubles += _unreadable(book, set(sources))


def _take_in(book: Book, done: PageDone, one: Surveyed, tally: Tally, progress: Progress) -> None:
    # What was hashed and what was read must be the same bytes.
    if done.lasting and stamp(one.path) != tally.stamps[done.hash]:
        tally.troubles.append(_changed(one, done.number))
        progress.add(0, 0)
        return
    take(book, done)
    tally.done += 1
    doubts = sum(needs_a_person(d) for puzzle in done.puzzles for d in puzzle.doubts)
    progress.add(sum(p.status != "left out" for p in done.puzzles), doubts)
    if not done.lasting and done.sentence:
        tally.troubles.append(_trouble(one.name, done))


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


def _reading(todo: Sequence[PageTask], wishes: Wishes) -> Generator[Sequence[PageDone], None, None]:
    """The pages as they are done, those together that come at once."""
    from papernudge.cli.books import pool

    if wishes.cluster is not None and todo:
        from papernudge.cli.books.cluster import on_cluster

        yield from on_cluster(todo, wishes.cluster)
        return
    workers = min(wishes.workers or cores(), len(todo))
    with contextlib.closing(pool.in_processes(todo, workers)) as pages:
        for done in pages:
            yield (done,)


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
    page = print_of(done.grids)
    puzzles = [
        settle(grid, words[grid.number], page) if grid.number in words else puzzle
        for grid, puzzle in zip(done.grids, done.puzzles, strict=True)
    ]
    done.puzzles[:] = puzzles
    book.write(done)


def _trouble(name: str, done: PageDone) -> Trouble:
    return Trouble(name, done.number, "open", done.reason or "unknown", done.sentence or "")


def _unreadable(book: Book, hashes: set[str]) -> list[Trouble]:
    query = (
        "SELECT hash, number, reason, sentence, (SELECT min(name) FROM place"
        " WHERE place.hash = page.hash) AS name FROM page WHERE state = 'unreadable'"
        " ORDER BY hash, number"
    )
    return [
        Trouble(row["name"], row["number"], "open", row["reason"], row["sentence"])
        for row in book.rows(query)
        if row["hash"] in hashes
    ]
