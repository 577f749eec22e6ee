"""The book file: opened, locked, written a page at a time, read.

Every opening looks at every row first (``salvage.py``): what is damaged is never handed out.
"""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from papernudge.cli.base.exits import Exit, Stop
from papernudge.cli.base.paths import BOOK_FILES, must_be_a_file, real
from papernudge.cli.books.lock import Lock, guard_beside, is_held, unwritable
from papernudge.cli.books.log import ABSENT, log_of, state_of
from papernudge.cli.books.rows import (
    GridRow,
    PageDone,
    PuzzleRow,
    Row,
    grid_of,
    grid_values,
    puzzle_values,
    row_id,
)
from papernudge.cli.books.salvage import DAMAGED, Harm, has_shape, is_whole, salvage, upgrade
from papernudge.cli.books.schema import APPLICATION, SCHEMA, VERSION
from papernudge.cli.books.seals import Tally, put
from papernudge.cli.said import in_words
from papernudge.hints.catalogue import Message, message

if TYPE_CHECKING:
    from papernudge.cli.books.sources import Surveyed

PageKey = tuple[str, int]
_LONGEST = 64 << 20
"""Bytes of the longest value that is read: a damaged length may claim far more."""


def _stop(sentence: Message, reason: str) -> Stop:
    return Stop(Exit.FILE, sentence, stage="book", reason=reason)


def _must_be_a_file(path: Path, new: bool) -> None:
    """Stop (5) where a book's path leads to something else, or to nothing and ``new`` is false."""
    reason = "unwritable" if new else "unreadable"
    must_be_a_file(
        path,
        new,
        _stop(message("no book", path=path), "missing"),
        lambda said: _stop(message("book can't be opened", path=path, why=said), reason),
    )


@contextlib.contextmanager
def told(path: Path) -> Iterator[None]:
    """Turns what SQLite says into one sentence; the book stays as the last page left it."""
    try:
        yield
    except sqlite3.Error as error:
        said = str(error)
        if "full" in said:
            raise _stop(message("disk is full", path=path), "full") from error
        if "readonly" in said or "unable to open" in said:
            says = message("book can't be opened", path=path, why=said)
            raise _stop(says, "unwritable") from error
        if "locked" in said:
            raise _stop(message("book is in use", path=path), "busy") from error
        raise _stop(message("book can't be used", path=path, why=said), "damaged") from error


class Book:
    """An open book. Only one process writes; any number may read meanwhile.

    ``harm``: what was lost to damage beside the pages that are marked in the book; None where it
    was whole. ``log``: what state its log was in; ``cut_short``: whether the run that left it was.
    ``version``: of the file as it was found. ``kept``: what a damaged file is called now.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection, lock: Lock | None) -> None:
        self.path, self.sql, self._lock = path, connection, lock
        self.harm: Harm | None = None
        self.log, self.cut_short = "", False
        self.version, self.kept = VERSION, ""
        self._tally: Tally | None = None
        self._fleeting = False

    @classmethod
    def to_write(cls, path: Path, *, keep_empty: bool = True) -> Book:
        """Opens or makes a book; with ``keep_empty`` false one that was made and into which no page
        could be read is taken away when it is closed. Stop (5) if it can't be done, another run is
        at it, the file is no book or one of a newer version. A damaged one is written anew from
        what can be trusted; the file as it was found is kept beside it.
        """
        _must_be_a_file(path, new=True)
        path = real(path)
        lock = Lock(path)
        lock.take()
        try:
            guard_beside(path, message("the book"))
            new = not os.path.lexists(path)
            with told(path):
                book = cls(path, _connected(str(path)), lock)
                book._fleeting = new and not keep_empty
                book.log = state_of(log_of(path))
                book.cut_short = book.log != ABSENT
                try:
                    book._prepare()
                except BaseException:
                    book.sql.close()
                    raise
        except BaseException:
            lock.release()
            raise
        return book

    @classmethod
    def to_read(cls, path: Path) -> Book:
        """Opens a book that exists, without writing to it. Stop (5) if it is none. Of a damaged one
        what can be trusted is shown, from a copy in memory.
        """
        _must_be_a_file(path, new=False)
        path = real(path)
        log = state_of(log_of(path))
        cut_short = log != ABSENT and not is_held(path)
        with told(path):
            # What a killed run has left stays for the run that goes on from there.
            first = ("mode=ro", "mode=rw") if cut_short else ("mode=rw", "mode=ro")
            for how in (*first, "immutable=1"):
                connection = _connected(f"{path.as_uri()}?{how}", uri=True)
                try:
                    connection.execute("PRAGMA query_only = ON")
                    book = cls(path, connection, None)
                    book.log, book.cut_short = log, cut_short
                    book._look()
                    return book
                except sqlite3.OperationalError:
                    # The first way cleans up behind itself; in a folder that can't be written
                    # to, a book at rest opens as it lies.
                    connection.close()
                    if how == "immutable=1" or (how == first[1] and log_of(path).exists()):
                        raise
                except BaseException:
                    connection.close()
                    raise
        raise AssertionError("the last way returns or raises")

    def _look(self) -> None:
        """Checks all that is there, as it is at one moment, whoever writes meanwhile."""
        self.version = _check(self.path, self.sql)
        self.sql.execute("BEGIN")
        if is_whole(self.sql, self.version):
            return
        shown = _connected(":memory:")
        self.harm = salvage(self.sql, self.version, shown)
        self.sql.close()
        self.sql = shown

    def _prepare(self) -> None:
        self.sql.execute("PRAGMA foreign_keys = ON")
        if self.sql.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]:
            self.version = _check(self.path, self.sql)
            if not is_whole(self.sql, self.version):
                self._write_anew()
            elif self.version < VERSION:
                upgrade(self.sql, self.version)
            _lasting(self.sql)
        else:
            _lasting(self.sql)
            self.sql.executescript(
                f"BEGIN IMMEDIATE; PRAGMA application_id = {APPLICATION};"
                f" PRAGMA user_version = {VERSION}; {SCHEMA} COMMIT;"
            )
        self._tally = Tally(self.sql)

    def _write_anew(self) -> None:
        """Puts a new file with all that can be trusted in the place of a damaged one."""
        handle, name = tempfile.mkstemp(prefix=".papernudge-", dir=self.path.parent)
        os.close(handle)
        fresh = Path(name)
        try:
            shutil.copymode(self.path, fresh)
            anew = _connected(name)
            try:
                self.harm = salvage(self.sql, self.version, anew)
            finally:
                anew.close()
            with contextlib.suppress(sqlite3.Error):  # its log goes with it, as far as it can
                self.sql.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            self.sql.close()
            kept = _free_name(self.path)
            # First the log, which would be taken for that of the new file.
            for ending in ("-wal", "-shm"):
                with contextlib.suppress(FileNotFoundError):
                    self.path.with_name(self.path.name + ending).rename(f"{kept}{ending}")
            _also_called(self.path, kept)
            fresh.replace(self.path)
            self.kept = kept.name
        except OSError as error:
            raise unwritable(self.path, error) from error
        finally:
            fresh.unlink(missing_ok=True)
        self.sql = _connected(str(self.path))
        self.sql.execute("PRAGMA foreign_keys = ON")

    def close(self) -> None:
        """Folds the log into the file and lets the next run in."""
        try:
            goes = self.goes
            with contextlib.suppress(sqlite3.Error):  # on a full disk the log just stays
                self.sql.close()
            if goes:
                for ending in ("", *BOOK_FILES[1:]):
                    Path(f"{self.path}{ending}").unlink(missing_ok=True)
        finally:
            if self._lock is not None:
                self._lock.release()

    @property
    def goes(self) -> bool:
        """Whether the book is taken away when it is closed, as it stands now."""
        if not self._fleeting:
            return False
        try:
            query = "SELECT EXISTS (SELECT 1 FROM page WHERE state IN ('read', 'no grid'))"
            return not self.sql.execute(query).fetchone()[0]
        except sqlite3.Error:
            return False

    def __enter__(self) -> Book:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextlib.contextmanager
    def _transaction(self) -> Iterator[None]:
        inner = self.sql.in_transaction
        if inner:  # of several changes together: the outermost ends it
            yield
            return
        with told(self.path):
            self.sql.execute("BEGIN IMMEDIATE")
            try:
                yield
                assert self._tally is not None, "opened to write"
                self._tally.save()
                self.sql.execute("COMMIT")
                self._tally.settle(committed=True)
            except BaseException:
                if self.sql.in_transaction:
                    self.sql.execute("ROLLBACK")
                if self._tally is not None:
                    self._tally.settle(committed=False)
                raise

    # ------------------------------------------------------------ writing

    def note_sources(self, found: Iterable[Surveyed]) -> None:
        """Where each source lies now. What no place holds any more has been replaced: it goes."""
        with self._transaction():
            for one in found:
                row = {"hash": one.hash, "kind": one.kind, "pages": one.pages, "bytes": one.bytes}
                put(self.sql, "source", row)
                row = {"path": one.place, "name": one.name, "hash": one.hash}
                put(self.sql, "place", row)
                # A name that damage cost a source is known again.
                self.sql.execute("DELETE FROM place WHERE path = ?", (one.hash,))
            self.sql.execute("DELETE FROM source WHERE hash NOT IN (SELECT hash FROM place)")
            self.sql.execute("DELETE FROM puzzle WHERE hash NOT IN (SELECT hash FROM source)")

    @contextlib.contextmanager
    def together(self) -> Iterator[None]:
        """Pages that come at once are written as one transaction: the disk is waited for once. If
        one fails, none of them stands.
        """
        with self._transaction():
            yield

    def write(self, done: PageDone) -> None:
        """One page in one transaction, in place of an earlier reading of it."""
        page = {name: getattr(done, name) for name in _PAGE}
        with self._transaction():
            key = (done.hash, done.number)
            self.sql.execute("DELETE FROM page WHERE hash = ? AND number = ?", key)
            # What damage has left without its grid does not go with the page.
            self.sql.execute("DELETE FROM puzzle WHERE hash = ? AND page = ?", key)
            put(self.sql, "page", {**page, "grids": len(done.grids)})
            for grid, puzzle in zip(done.grids, done.puzzles, strict=True):
                put(self.sql, "grid", grid_values(done.hash, done.number, grid))
                self.put_puzzle((done.hash, done.number, grid.number), puzzle)

    def put_puzzle(self, key: tuple[str, int, int], puzzle: PuzzleRow) -> None:
        """What follows from a reading and its corrections; inside a transaction."""
        put(self.sql, "puzzle", puzzle_values(key, puzzle))

    @contextlib.contextmanager
    def changes(self) -> Iterator[sqlite3.Connection]:
        """Several changes as one transaction."""
        with self._transaction():
            yield self.sql

    # ------------------------------------------------------------ reading

    def rows(self, query: str, *values: object) -> Iterator[Row]:
        """The rows of a query as dictionaries."""
        with told(self.path):
            cursor = self.sql.execute(query, values)
            names = [column[0] for column in cursor.description]
            for row in cursor:
                yield dict(zip(names, row, strict=True))

    def pages_done(self) -> dict[PageKey, str]:
        """Every page that is done, with the model that read it. A damaged one is not."""
        found = self.rows("SELECT hash, number, reader FROM page WHERE state <> ?", DAMAGED)
        return {(row["hash"], row["number"]): row["reader"] for row in found}

    def grids(self, hash_: str, page: int) -> list[GridRow]:
        """All readings of a page, in order."""
        query = "SELECT * FROM grid WHERE hash = ? AND page = ? ORDER BY number"
        return [grid_of(row) for row in self.rows(query, hash_, page)]

    def grid(self, hash_: str, page: int, number: int) -> GridRow | None:
        """A reading, if the book holds it."""
        for row in self.rows(
            "SELECT * FROM grid WHERE hash = ? AND page = ? AND number = ?", hash_, page, number
        ):
            return grid_of(row)
        return None


def id_of(row: Row) -> str:
    """What a row of ``grid`` or ``puzzle`` is called."""
    return row_id(row["hash"], row["page"], row["number"])


_PAGE = ("hash", "number", "width", "height", "turns", "state", "reason", "sentence", "reader")


def _connected(name: str, uri: bool = False) -> sqlite3.Connection:
    """A connection that believes nothing of the file that it need not."""
    sql = sqlite3.connect(name, isolation_level=None, timeout=10, uri=uri)
    sql.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _LONGEST)
    sql.text_factory = _as_text
    sql.execute("PRAGMA trusted_schema = OFF")
    sql.execute("PRAGMA cell_size_check = ON")
    return sql


def _as_text(data: bytes) -> str:
    return data.decode("utf-8", "surrogateescape")  # damaged, which its seal tells


def _lasting(sql: sqlite3.Connection) -> None:
    sql.execute("PRAGMA journal_mode = WAL")
    sql.execute("PRAGMA synchronous = FULL")


def _also_called(path: Path, name: Path) -> None:
    try:
        name.hardlink_to(path)
    except OSError:  # not every disk can
        shutil.copy2(path, name)


def _free_name(path: Path) -> Path:
    """Under which a damaged file is kept."""
    for number in range(1, 10_000):
        kept = path.with_name(f"{path.name}-damaged{'' if number == 1 else f'-{number}'}")
        if not os.path.lexists(kept):
            return kept
    raise FileExistsError(errno.EEXIST, in_words("too many copies"))


def _check(path: Path, sql: sqlite3.Connection) -> int:
    """The version of a book; Stop (5) where it is none that can be used."""
    application = sql.execute("PRAGMA application_id").fetchone()[0]
    version = int(sql.execute("PRAGMA user_version").fetchone()[0])
    if application != APPLICATION:
        raise _stop(message("not a book", path=path), "not a book")
    if version > VERSION:
        raise _stop(message("newer book", path=path, version=version, known=VERSION), "newer")
    if version < 1 or not has_shape(sql, version):
        raise _stop(message("no book's tables", path=path), "damaged")
    return version
