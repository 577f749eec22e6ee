"""The book file: opened, locked, written a page at a time, read.

Every opening looks at every row first (``salvage.py``): what is damaged is never handed out.
"""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import sqlite3
import sys
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

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
from papernudge.cli.exits import Exit, Stop

if TYPE_CHECKING:
    from papernudge.cli.books.sources import Surveyed

PageKey = tuple[str, int]
_TAKEN = (errno.EWOULDBLOCK, errno.EAGAIN, errno.EACCES, errno.EDEADLK)
_LONGEST = 64 << 20
"""Bytes of the longest value that is read: a damaged length may claim far more."""


def _stop(sentence: str, reason: str) -> Stop:
    return Stop(Exit.FILE, sentence, stage="book", reason=reason)


class Lock:
    """Held by the one run that may write a book. The system lets go of it when the run ends,
    however it ends. A file beside the book, gone when the run is.
    """

    def __init__(self, book: Path) -> None:
        self.path = book.with_name(book.name + "-lock")
        self.handle = -1

    def take(self) -> None:
        """Stop (5) if another run holds it, or the folder can't be written to."""
        while True:
            try:
                handle = os.open(self.path, os.O_RDWR | os.O_CREAT, 0o644)
            except OSError as error:
                raise _unwritable(self.path, error) from error
            try:
                _lock(handle)
            except OSError as error:
                holder = _holder(handle)
                os.close(handle)
                if error.errno in _TAKEN:
                    raise _busy(self.path, holder) from error
                raise _unwritable(self.path, error) from error
            if self._is_still_ours(handle):
                break
            os.close(handle)  # the run before took its file away between our two steps
        self.handle = handle
        with contextlib.suppress(OSError):  # only a courtesy to whoever comes second
            os.ftruncate(handle, 0)
            os.write(handle, str(os.getpid()).encode())

    def _is_still_ours(self, handle: int) -> bool:
        try:
            return os.path.samestat(os.fstat(handle), self.path.stat())
        except FileNotFoundError:
            return False

    def release(self) -> None:
        """Takes the file away first, so that nobody locks it between."""
        if self.handle >= 0:
            with contextlib.suppress(OSError):
                self.path.unlink()
            os.close(self.handle)
            self.handle = -1


def _lock(handle: int) -> None:
    if sys.platform == "win32":
        import msvcrt

        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _is_held(lock: Path) -> bool:
    """Whether a run is at the book whose lock this is."""
    try:
        handle = os.open(lock, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0))
    except OSError:
        return False
    try:
        _lock(handle)
    except OSError:
        return True
    finally:
        os.close(handle)
    return False


def _holder(handle: int) -> str:
    try:
        text = os.pread(handle, 20, 0) if hasattr(os, "pread") else b""
    except OSError:
        return ""
    return text.decode("ascii", "replace")


def _busy(lock: Path, holder: str) -> Stop:
    book = lock.name.removesuffix("-lock")
    who = f" (process {holder})" if holder.isdigit() else ""
    return _stop(
        f"{book} is being written by another run{who}: wait until it has ended, then run again.",
        "busy",
    )


def _unwritable(path: Path, error: OSError) -> Stop:
    why = (error.strerror or str(error)).lower()
    return _stop(
        f"No book can be written in {path.parent} ({why}): choose a folder that exists and may be"
        " written to.",
        "unwritable",
    )


@contextlib.contextmanager
def told(path: Path) -> Iterator[None]:
    """Turns what SQLite says into one sentence; the book stays as the last page left it."""
    try:
        yield
    except sqlite3.Error as error:
        said = str(error)
        if "full" in said:
            raise _stop(
                f"The disk that holds {path} is full; every page before stands: make room and run"
                " again.",
                "full",
            ) from error
        if "readonly" in said or "unable to open" in said:
            raise _stop(
                f"{path} can't be opened ({said}): choose a book in a folder that exists and may"
                " be read and written.",
                "unwritable",
            ) from error
        if "locked" in said:
            raise _stop(
                f"{path} is in use by another program: close it there first.", "busy"
            ) from error
        raise _stop(
            f"{path} can't be used as a book ({said}): expected a book that digitise wrote; name"
            " another file or take a copy from a backup.",
            "damaged",
        ) from error


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

    @classmethod
    def to_write(cls, path: Path) -> Book:
        """Opens or makes a book. Stop (5) if it can't be done, another run is at it, the file is
        no book or one of a newer version. A damaged one is written anew from what can be trusted;
        the file as it was found is kept beside it.
        """
        path = true_place(path)
        lock = Lock(path)
        lock.take()
        try:
            with told(path):
                book = cls(path, _connected(str(path)), lock)
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
        if not path.is_file():
            raise _stop(f"There is no book {path}: papernudge digitise makes one.", "missing")
        path = true_place(path)
        log = state_of(log_of(path))
        cut_short = log != ABSENT and not _is_held(Lock(path).path)
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
                upgrade(self.sql)
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
            raise _unwritable(self.path, error) from error
        finally:
            fresh.unlink(missing_ok=True)
        self.sql = _connected(str(self.path))
        self.sql.execute("PRAGMA foreign_keys = ON")

    def close(self) -> None:
        """Folds the log into the file and lets the next run in."""
        try:
            with contextlib.suppress(sqlite3.Error):  # on a full disk the log just stays
                self.sql.close()
        finally:
            if self._lock is not None:
                self._lock.release()

    def __enter__(self) -> Book:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextlib.contextmanager
    def _transaction(self) -> Iterator[None]:
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
                row = {"path": one.place, "name": one.path.name, "hash": one.hash}
                put(self.sql, "place", row)
                # A name that damage cost a source is known again.
                self.sql.execute("DELETE FROM place WHERE path = ?", (one.hash,))
            self.sql.execute("DELETE FROM source WHERE hash NOT IN (SELECT hash FROM place)")
            self.sql.execute("DELETE FROM puzzle WHERE hash NOT IN (SELECT hash FROM source)")

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


def true_place(path: Path) -> Path:
    """Where a file lies, whatever links lead there: a book has one lock and one log."""
    return Path(os.path.realpath(path))


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
    raise FileExistsError(errno.EEXIST, "ten thousand damaged copies lie there already")


def _check(path: Path, sql: sqlite3.Connection) -> int:
    """The version of a book; Stop (5) where it is none that can be used."""
    application = sql.execute("PRAGMA application_id").fetchone()[0]
    version = int(sql.execute("PRAGMA user_version").fetchone()[0])
    if application != APPLICATION:
        raise _stop(
            f"{path} is not a book: expected a file that digitise wrote; name another one.",
            "not a book",
        )
    if version > VERSION:
        raise _stop(
            f"{path} was written by a newer papernudge (book version {version}; this one knows"
            f" {VERSION}): install the newer one. Nothing was changed.",
            "newer",
        )
    if version < 1 or not has_shape(sql, version):
        raise _stop(
            f"{path} is damaged: it does not hold a book's tables; take a copy from a backup, or"
            " digitise its sources into a new book.",
            "damaged",
        )
    return version
