"""The collector's road: page after page into a book, while the book of paper lies open.

A photo is read by the desk's workers as ``digitise`` reads it and written into the same book, in
one transaction, before it is told to be done. One thread writes, since SQLite's connection is its.
"""

from __future__ import annotations

import asyncio
import hashlib
import json
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from papernudge.cli.base.trouble import Trouble
from papernudge.cli.books.rows import PageDone, PageTask, row_id
from papernudge.cli.said import in_words, in_words_of, spoken
from papernudge.hints.catalogue import Message, Run, message, unpacked

if TYPE_CHECKING:
    from papernudge.cli.books.book import Book
    from papernudge.cli.phone.desk import Desk

T = TypeVar("T")
Says = Message | Run | str
KEPT = 200
"""Pages whose state is shown; those before them are in the book all the same."""
WAITING = 24
"""Pages that may wait to be read; the next one is turned away and can be sent again."""
AT_ONCE = 2
"""Pages at the desk at a time: whoever wants a nudge meanwhile comes between them."""
_PAUSE = 0.3


@dataclass(frozen=True, slots=True)
class PageWish:
    """A page for the book. ``name``: what the book calls it."""

    photo: bytes
    name: str

    @property
    def hash(self) -> str:
        """SHA-256 of the photo, 64 hex digits."""
        return hashlib.sha256(self.photo).hexdigest()

    def answered(self) -> PageDone:
        """The page as read."""
        from papernudge.cli.books.work import read_task

        return read_task(PageTask(self.hash, 1, "photo", self.name, self.name, self.photo))

    def sorry(self, code: str) -> PageDone:
        """A page that is not written down: it may be sent again."""
        said = in_words(f"{code}, again")
        return PageDone(self.hash, 1, "", "unreadable", "worker", said, lasting=False)


@dataclass(eq=False)
class Entry:
    """A page that was sent. ``state``: waiting, done or failed; ``says``: what is told of it."""

    name: str
    state: str
    says: Says

    def said(self) -> str:
        """The same in the language that is spoken."""
        return spoken().paragraph([self.says])


@dataclass(frozen=True, slots=True)
class Asked:
    """A question about a row of the book: ``answers`` are words and what a correction says."""

    row: str
    cell: str
    grid: int
    answers: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Counts:
    """Puzzles of the book by status, and copies of earlier ones among them."""

    pages: int
    clean: int
    review: int
    left_out: int
    twins: int

    def said(self) -> list[str]:
        """The same in words, one by one; what there is none of is left out."""
        told = [in_words_of("book, pages", self.pages), in_words_of("book, clean", self.clean)]
        others = {"review": self.review, "left out": self.left_out, "twins": self.twins}
        return told + [in_words(f"book, {name}", count=n) for name, n in others.items() if n]


@dataclass(eq=False)
class Shelf:
    """One book, open for writing until it is closed. Making it raises Stop as ``digitise`` does."""

    path: Path
    entries: list[Entry] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Opens the book in the thread that will write it."""
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="book")
        self._tasks: set[asyncio.Task[None]] = set()
        self._turn = asyncio.Semaphore(AT_ONCE)
        try:
            self._book: Book = self._thread.submit(self._opened).result()
        except Trouble:
            self._thread.shutdown()
            raise

    def _opened(self) -> Book:
        from papernudge.cli.books.book import Book

        return Book.to_write(self.path)

    async def _inside(self, work: Callable[[], T]) -> T:
        return await asyncio.get_running_loop().run_in_executor(self._thread, work)

    def take(self, desk: Desk, photo: bytes) -> Entry:
        """Takes a page; it is read and written in the background. BusyError where too many wait."""
        from papernudge.cli.phone.desk import BusyError

        if self.waiting >= WAITING:
            raise BusyError
        entry = Entry(
            f"phone-{hashlib.sha256(photo).hexdigest()[:8]}",
            "waiting",
            message("entry, being read"),
        )
        self.entries.append(entry)
        del self.entries[:-KEPT]
        task = asyncio.create_task(self._put(desk, PageWish(photo, entry.name), entry))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return entry

    @property
    def waiting(self) -> int:
        """Pages that are not done yet."""
        return len(self._tasks)

    async def _put(self, desk: Desk, wish: PageWish, entry: Entry) -> None:
        if await self._inside(lambda: (wish.hash, 1) in self._book.pages_done()):
            entry.state, entry.says = "done", message("entry, there already")
            return
        try:
            async with self._turn:
                done = await self._read(desk, wish)
            if done.lasting:
                await self._inside(lambda: self._write(wish, done))
            entry.says = await self._inside(lambda: self._told(done))
            entry.state = "done" if done.state == "read" else "failed"
        except Trouble as stop:
            entry.state, entry.says = "failed", stop.says

    async def _read(self, desk: Desk, wish: PageWish) -> PageDone:
        from papernudge.cli.phone.desk import BusyError

        while True:
            try:
                return await desk.ask(wish)
            except BusyError:  # others come first: nobody waits for a page of a book
                await asyncio.sleep(_PAUSE)

    def _write(self, wish: PageWish, done: PageDone) -> None:
        from papernudge.cli.books.digitise import take
        from papernudge.cli.books.sources import Surveyed

        found = Surveyed(Path(wish.name), wish.hash, "photo", 1, len(wish.photo))
        self._book.note_sources([found])
        take(self._book, done)

    def _told(self, done: PageDone) -> Says:
        if done.state != "read":
            return unpacked(done.sentence or "") or message("entry, not read")
        counted = {
            status: sum(puzzle.status == status for puzzle in done.puzzles)
            for status in ("clean", "review", "left out")
        }
        parts = [message(f"entry, {status}", count=n) for status, n in counted.items() if n]
        twins = sum(self._is_twin(done, n) for n in range(len(done.puzzles)))
        if twins:
            parts.append(message("entry, twins", count=twins))
        return Run(parts) if parts else message("entry, no puzzle")

    def _is_twin(self, done: PageDone, at: int) -> bool:
        canonical = done.puzzles[at].canonical
        if canonical is None:
            return False
        query = (
            "SELECT count(*) AS many FROM puzzle WHERE canonical = ?"
            " AND NOT (hash = ? AND page = ? AND number >= ?)"
        )
        number = done.grids[at].number
        (row,) = self._book.rows(query, canonical, done.hash, done.number, number)
        return bool(row["many"])

    async def counts(self) -> Counts:
        """What the book holds now."""
        return await self._inside(self._counts)

    def _counts(self) -> Counts:
        by = {
            row["status"]: row["many"]
            for row in self._book.rows(
                "SELECT status, count(*) AS many FROM puzzle GROUP BY status"
            )
        }
        (pages,) = self._book.rows("SELECT count(*) AS many FROM page")
        (twins,) = self._book.rows(
            "SELECT count(canonical) - count(DISTINCT canonical) AS many FROM puzzle"
            " WHERE status != 'left out'"
        )
        return Counts(
            pages["many"],
            by.get("clean", 0),
            by.get("review", 0),
            by.get("left out", 0),
            twins["many"],
        )

    async def question(self) -> Asked | None:
        """The first doubt that a person must settle, in the order of the book."""
        return await self._inside(self._question)

    def _question(self) -> Asked | None:
        from papernudge.cli.books.review import answers_to
        from papernudge.cli.books.settle import needs_a_person

        query = "SELECT * FROM puzzle WHERE status = 'review' ORDER BY hash, page, number"
        for row in self._book.rows(query):
            name = row_id(row["hash"], row["page"], row["number"])
            doubts = [one for one in json.loads(row["doubts"]) if needs_a_person(one)]
            for doubt in doubts:
                cell = doubt["cell"]
                about = [one for one in doubts if one["cell"] == cell]
                told: dict[str, Any] = dict(row)
                answers = tuple((words, says) for says, words in answers_to(told, cell, about))
                return Asked(name, cell, int(row["number"]), answers)
        return None

    async def crop(self, name: str, cell: str) -> bytes | None:
        """The cell as the book keeps it, JPEG; None where it keeps none."""
        return await self._inside(lambda: self._crop(name, cell))

    def _crop(self, name: str, cell: str) -> bytes | None:
        from papernudge.cli.books.review import cell_jpeg, decoded

        key = self._key(name)
        grid = None if key is None else self._book.grid(*key)
        raster = decoded(None if grid is None else grid.crop)
        return None if raster is None else cell_jpeg(raster, cell)

    def _key(self, name: str) -> tuple[str, int, int] | None:
        start, _, rest = name.partition("-")
        page, _, number = rest.partition("-")
        if not (page.isdigit() and number.isdigit() and len(page) < 7 and len(number) < 7):
            return None
        query = "SELECT hash FROM source WHERE substr(hash, 1, 16) = ?"
        found = next(iter(self._book.rows(query, start)), None)
        return None if found is None else (found["hash"], int(page), int(number))

    async def tell(self, name: str, cell: str, says: str) -> bool:
        """Writes down what a person says of a cell; whether it came first.

        Stop (2) where the words are off. Of two phones that answer the same, the first counts.
        """
        return await self._inside(lambda: self._tell(name, cell, says))

    def _tell(self, name: str, cell: str, says: str) -> bool:
        from papernudge.cli.books.corrections import apply, parse_correction

        lines = parse_correction(f"{name} {cell}={says}" if cell else f"{name} {says}")
        key = self._key(name)
        if key is None or not self._stands(key, cell):
            return False
        apply(self._book, lines)
        return True

    def _stands(self, key: tuple[str, int, int], cell: str) -> bool:
        query = "SELECT doubts, status FROM puzzle WHERE hash = ? AND page = ? AND number = ?"
        row = next(iter(self._book.rows(query, *key)), None)
        if row is None or row["status"] != "review":
            return False
        return not cell or any(doubt["cell"] == cell for doubt in json.loads(row["doubts"]))

    async def close(self) -> None:
        """Waits for what is being written, drops what is only being read, closes the book."""
        for task in list(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        await self._inside(self._book.close)
        self._thread.shutdown()
