"""The book file: opened, locked, written a page at a time, read."""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from papernudge.cli.books.lock import Lock, guard_beside
from papernudge.cli.books.rows import GridRow, PageDone, PuzzleRow, row_id
from papernudge.cli.books.schema import APPLICATION, SCHEMA, VERSION
from papernudge.cli.exits import Exit, Stop
from papernudge.cli.paths import ask, real, why

if TYPE_CHECKING:
    from papernudge.cli.books.sources import Surveyed

Row = dict[str, Any]
PageKey = tuple[str, int]
_JSON = ("corners", "notes", "struck", "restored", "doubts")


def _stop(sentence: str, reason: str) -> Stop:
    return Stop(Exit.FILE, sentence, stage="book", reason=reason)


def _must_be_a_file(path: Path, new: bool) -> None:
    """Stop (5) where a book's path leads to something else, or to nothing and ``new`` is false."""
    try:
        ask(path)
    except FileNotFoundError as error:
        if not new:
            raise _stop(
                f"There is no book {path}: papernudge digitise makes one.", "missing"
            ) from error
    except (OSError, ValueError) as error:
        raise _stop(
            f"{path} can't be opened ({why(error)}): choose a book in a folder that exists and may"
            " be read and written.",
            "unwritable" if new else "unreadable",
        ) from error


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
    """An open book. Only one process writes; any number may read meanwhile."""

    def __init__(self, path: Path, connection: sqlite3.Connection, lock: Lock | None) -> None:
        self.path, self.sql, self._lock = path, connection, lock

    @classmethod
    def to_write(cls, path: Path) -> Book:
        """Opens or makes a book. Stop (5) if it can't be done, another run is at it, the file is
        no book or one of a newer version.
        """
        _must_be_a_file(path, new=True)
        lock = Lock(path)
        lock.take()
        try:
            guard_beside(path, "the book")
            with told(path):
                # Its whole path: SQLite has names of its own, such as :memory:.
                connection = sqlite3.connect(real(path), isolation_level=None, timeout=10)
                try:
                    _prepare(path, connection)
                except BaseException:
                    connection.close()
                    raise
        except BaseException:
            lock.release()
            raise
        return cls(path, connection, lock)

    @classmethod
    def to_read(cls, path: Path) -> Book:
        """Opens a book that exists, without writing to it. Stop (5) if it is none."""
        _must_be_a_file(path, new=False)
        with told(path):
            for how in ("mode=rw", "mode=ro", "immutable=1"):
                connection = sqlite3.connect(f"{real(path).as_uri()}?{how}", uri=True, timeout=10)
                try:
                    connection.execute("PRAGMA query_only = ON")
                    _check(path, connection)
                    return cls(path, connection, None)
                except sqlite3.OperationalError:
                    # The first way cleans up behind itself; in a folder that can't be written
                    # to, a book at rest opens as it lies.
                    connection.close()
                    if how == "immutable=1" or (
                        how == "mode=ro" and os.path.lexists(f"{real(path)}-wal")
                    ):
                        raise
                except BaseException:
                    connection.close()
                    raise
        raise AssertionError("the last way returns or raises")

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
                self.sql.execute("COMMIT")
            except BaseException:
                if self.sql.in_transaction:
                    self.sql.execute("ROLLBACK")
                raise

    # ------------------------------------------------------------ writing

    def note_sources(self, found: Iterable[Surveyed]) -> None:
        """Where each source lies now. What no place holds any more has been replaced: it goes."""
        with self._transaction():
            for one in found:
                self.sql.execute(
                    "INSERT INTO source VALUES (?, ?, ?, ?) ON CONFLICT (hash) DO UPDATE SET"
                    " kind = excluded.kind, pages = excluded.pages",
                    (one.hash, one.kind, one.pages, one.bytes),
                )
                self.sql.execute(
                    "INSERT INTO place VALUES (?, ?, ?) ON CONFLICT (path) DO UPDATE SET"
                    " name = excluded.name, hash = excluded.hash",
                    (one.place, one.name, one.hash),
                )
            self.sql.execute("DELETE FROM source WHERE hash NOT IN (SELECT hash FROM place)")

    def write(self, done: PageDone) -> None:
        """One page in one transaction, in place of an earlier reading of it."""
        page = (done.hash, done.number)
        with self._transaction():
            self.sql.execute("DELETE FROM page WHERE hash = ? AND number = ?", page)
            row = (done.width, done.height, done.turns, done.state, done.reason, done.sentence)
            self.sql.execute(_insert("page", 9), (*page, *row, done.reader))
            for grid, puzzle in zip(done.grids, done.puzzles, strict=True):
                self.sql.execute(_insert("grid", 16), (*page, *_grid_values(grid)))
                self.put_puzzle((*page, grid.number), puzzle)

    def put_puzzle(self, key: tuple[str, int, int], puzzle: PuzzleRow) -> None:
        """What follows from a reading and its corrections; inside a transaction."""
        row = asdict(puzzle)
        row["doubts"], row["decided"] = _text(row["doubts"]), _text(row["decided"])
        self.sql.execute(
            "INSERT OR REPLACE INTO puzzle VALUES (?, ?, ?" + ", ?" * len(row) + ")",
            (*key, *row.values()),
        )

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
        """Every page that is done, with the model that read it."""
        found = self.rows("SELECT hash, number, reader FROM page")
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


def grid_of(row: Row) -> GridRow:
    """A row of the table as it travels."""
    kept = {name: value for name, value in row.items() if name not in ("hash", "page")}
    return GridRow(**{n: json.loads(v) if n in _JSON else v for n, v in kept.items()})


def id_of(row: Row) -> str:
    """What a row of ``grid`` or ``puzzle`` is called."""
    return row_id(row["hash"], row["page"], row["number"])


def _grid_values(grid: GridRow) -> list[object]:
    return [_text(v) if n in _JSON else v for n, v in asdict(grid).items()]


def _insert(table: str, values: int) -> str:
    return f"INSERT INTO {table} VALUES ({', '.join('?' * values)})"


def _text(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


def _prepare(path: Path, sql: sqlite3.Connection) -> None:
    sql.execute("PRAGMA foreign_keys = ON")
    is_new = not sql.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    if not is_new:
        _check(path, sql)
    sql.execute("PRAGMA journal_mode = WAL")
    sql.execute("PRAGMA synchronous = FULL")
    if is_new:
        sql.executescript(
            f"BEGIN IMMEDIATE; PRAGMA application_id = {APPLICATION};"
            f" PRAGMA user_version = {VERSION}; {SCHEMA} COMMIT;"
        )


def _check(path: Path, sql: sqlite3.Connection) -> None:
    application = sql.execute("PRAGMA application_id").fetchone()[0]
    version = sql.execute("PRAGMA user_version").fetchone()[0]
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
