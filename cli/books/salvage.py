"""A damaged book: whether it is one, and what of it can be trusted.

Nothing is mended by guessing. A row whose seal doesn't fit is left out; what follows from rows that
fit is worked out again; a page of which something is missing is marked, so that the next run which
meets its file reads it anew.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from papernudge.cli.books import seals
from papernudge.cli.books.rows import grid_of, puzzle_values
from papernudge.cli.books.schema import (
    ADDED,
    APPLICATION,
    SCHEMA,
    TABLES,
    UPGRADES,
    VERSION,
)
from papernudge.cli.books.seals import NOTHING, Row, added, is_sealed, key_of, put, rows_in, shape
from papernudge.cli.books.settle import NOTHING_SAID, print_of, settle
from papernudge.cli.books.sound import is_sound
from papernudge.cli.books.spoken import words_from
from papernudge.hints.catalogue import message, packed

DAMAGED = "damaged"
"""The state of a page that must be read again."""
NO_NAME = "(name lost)"
_OBJECTS = {("table", name) for name in (*TABLES, "tally")} | {("index", "puzzle_canonical")}
_MOST_PAGES = 10_000_000
PageKey = tuple[str, int]


@dataclass
class Harm:
    """What was lost, beside the pages that are marked in the book itself."""

    words: list[PageKey] = field(default_factory=list)
    """Pages of corrections that are lost."""
    missing: bool = False
    """Whether rows are gone of which nothing is known."""


def has_shape(sql: sqlite3.Connection, version: int) -> bool:
    """Whether a file holds a book's tables and nothing else: no view, no trigger of a stranger."""
    there = set(sql.execute("SELECT type, name FROM sqlite_schema"))
    if there != {one for one in _OBJECTS if version > 1 or one[1] != "tally"}:
        return False
    return all(
        columns == tuple(c for c in shape()[name] if ADDED.get(c.name, 1) <= version)
        for name, columns in seals.shape_of(sql).items()
    )


def is_whole(sql: sqlite3.Connection, version: int) -> bool:
    """Whether every row is as it was put, and none is missing. Of version 1, which has no seals,
    whether rows look as they should.
    """
    try:
        if sql.execute("PRAGMA integrity_check(1)").fetchone() != ("ok",):
            return False
        held = dict.fromkeys(TABLES, NOTHING)
        for table in TABLES:
            for row in rows_in(sql, table):
                if not _is_good(table, row, version):
                    return False
                held[table] = added(held[table], row.get("seal"))
        return version == 1 or _tallies(sql) == {t: h for t, h in held.items() if h[0]}
    except sqlite3.DatabaseError as error:
        if _is_malformed(error):
            return False
        raise


def _is_malformed(error: sqlite3.DatabaseError) -> bool:
    """Rather than a file that is locked, or can't be opened."""
    return not isinstance(error, sqlite3.OperationalError) or "too big" in str(error)


def _tallies(sql: sqlite3.Connection) -> dict[str, seals.Held]:
    """What is told of tables that hold something."""
    return {name: held for name, held in seals.told(sql).items() if held[0]}


def _is_good(table: str, row: Row, version: int) -> bool:
    if version == 1:
        return is_sound(table, row)
    if table == "grid" and row["crop_seal"] != seals.crop_seal(row["crop"]):
        return False
    return is_sealed(table, row) and is_sound(table, row)


# ---------------------------------------------------------------- older versions


def upgrade(sql: sqlite3.Connection, version: int) -> None:
    """Brings a book of an older version up to date in one transaction."""
    steps = "".join(UPGRADES[step] for step in range(version, VERSION))
    sql.executescript(f"BEGIN IMMEDIATE; {steps}")
    try:
        if version == 1:
            _seal(sql)
            _count_grids(sql)
            _tally(sql)
        sql.execute(f"PRAGMA user_version = {VERSION}")
        sql.execute("COMMIT")
    except BaseException:
        if sql.in_transaction:
            sql.execute("ROLLBACK")
        raise


def _seal(sql: sqlite3.Connection) -> None:
    for table in TABLES:
        key = key_of(table)
        where = " AND ".join(f"{name} = ?" for name in key)
        for values in sql.execute(f"SELECT {', '.join(key)} FROM {table}").fetchall():
            cursor = sql.execute(f"SELECT * FROM {table} WHERE {where}", values)
            names = [column[0] for column in cursor.description]
            put(sql, table, dict(zip(names, cursor.fetchone(), strict=True)))


def _count_grids(sql: sqlite3.Connection) -> None:
    query = "SELECT hash, page, count(*) FROM grid GROUP BY hash, page"
    counts = {(hash_, page): many for hash_, page, many in sql.execute(query)}
    for row in list(rows_in(sql, "page")):
        put(sql, "page", {**row, "grids": counts.get((row["hash"], row["number"]), 0)})


def _tally(sql: sqlite3.Connection) -> None:
    """Counts what the tables hold now."""
    for table in TABLES:
        held = NOTHING
        for (seal,) in sql.execute(f"SELECT seal FROM {table}"):
            held = added(held, seal)
        put(sql, "tally", {"name": table, "rows": held[0], "seals": held[1]})


# ---------------------------------------------------------------- saving what is left


def salvage(old: sqlite3.Connection, version: int, new: sqlite3.Connection) -> Harm:
    """Copies all that can be trusted into a new, empty file and marks the pages that can't be."""
    new.execute("PRAGMA foreign_keys = OFF")
    new.executescript(
        f"BEGIN; PRAGMA application_id = {APPLICATION}; PRAGMA user_version = {VERSION}; {SCHEMA}"
    )
    copy = _Copy(old, version, new)
    for table in TABLES:
        copy.take(table)
    if version == 1:
        _count_grids(new)
    _name_sources(new)
    copy.judge_pages()
    missing = version > 1 and copy.misses_rows()
    _tally(new)
    new.execute("COMMIT")
    new.execute("PRAGMA foreign_keys = ON")
    return Harm(sorted(copy.words), missing)


class _Copy:
    """``spoilt``: pages that a row was left out of; ``words``: of corrections that were."""

    def __init__(self, old: sqlite3.Connection, version: int, new: sqlite3.Connection) -> None:
        self.old, self.version, self.new = old, version, new
        self.spoilt: set[PageKey] = set()
        self.words: set[PageKey] = set()
        self.held = dict.fromkeys(TABLES, NOTHING)
        self.bad = dict.fromkeys(TABLES, 0)

    def take(self, table: str) -> None:
        """Copies the good rows of a table."""
        for row in _readable(self.old, table):
            if _is_good(table, row, self.version):
                self.held[table] = added(self.held[table], row.get("seal"))
                put(self.new, table, row)
                continue
            self.bad[table] += 1
            if table == "grid" and self._is_good_without_crop(row):
                put(self.new, table, {**row, "crop": None})
            key = (row["hash"], row["number" if table == "page" else "page"])
            if table in ("page", "grid"):
                self.spoilt.add(key)
            elif table == "correction":
                self.words.add(key)

    def _is_good_without_crop(self, row: Row) -> bool:
        sealed = self.version == 1 or is_sealed("grid", row)
        return sealed and is_sound("grid", {**row, "crop": None})

    def judge_pages(self) -> None:
        """Settles what can be settled again, and marks the other pages that are not whole."""
        pages = {(row["hash"], row["number"]): row for row in rows_in(self.new, "page")}
        grids, puzzles = _numbers(self.new, "grid"), _numbers(self.new, "puzzle")
        known = dict(self.new.execute(_NAMES).fetchall())
        self.words, self.spoilt = _sifted(self.words, known), _sifted(self.spoilt, known)
        for key in sorted({*pages, *grids, *puzzles, *self.spoilt}):
            page, has = pages.get(key), grids.get(key, set())
            settled = puzzles.get(key, set())
            if page is not None and page["state"] == DAMAGED:
                continue
            whole = page is not None and page["grids"] == len(has) and settled <= has
            if not whole or key in self.spoilt:
                self._mark(key, len(has), known[key[0]])
            elif settled < has:
                self._settle(key)

    def _mark(self, key: PageKey, grids: int, name: str) -> None:
        sentence = packed(message("page is damaged in the book", page=key[1], called=name))
        row = {"hash": key[0], "number": key[1], "state": DAMAGED, "reason": DAMAGED}
        put(self.new, "page", {**row, "sentence": sentence, "reader": "", "grids": grids})

    def _settle(self, key: PageKey) -> None:
        query = "SELECT * FROM grid WHERE hash = ? AND page = ? ORDER BY number"
        grids = [grid_of(row) for row in _dicts(self.new.execute(query, key))]
        kept = self.new.execute(
            "SELECT x, y, cell, says FROM correction WHERE hash = ? AND page = ?"
            " ORDER BY y, x, cell",
            key,
        ).fetchall()
        words, page = words_from(kept, grids), print_of(grids)
        for grid in grids:
            puzzle = settle(grid, words.get(grid.number, NOTHING_SAID), page)
            put(self.new, "puzzle", puzzle_values((*key, grid.number), puzzle))

    def misses_rows(self) -> bool:
        """Whether more is gone than the marked pages and the lost corrections."""
        try:
            told = seals.told(self.old)
        except sqlite3.DatabaseError:
            return True
        for table in TABLES:
            rows, sums = told.get(table, NOTHING)
            held, mine = self.held[table]
            if table not in told and held:
                return True
            if rows == held and not self.bad[table] and sums != mine:
                return True
            if table in ("source", "place", "correction") and rows > held + self.bad[table]:
                return True
        marked = self.new.execute("SELECT count(*) FROM page").fetchone()[0]
        return bool(told.get("page", NOTHING)[0] > marked)


_NAMES = "SELECT hash, (SELECT min(name) FROM place WHERE place.hash = source.hash) FROM source"


def _sifted(keys: set[tuple[Any, Any]], known: dict[str, str]) -> set[PageKey]:
    """The keys that can be true, of rows that are not as they were."""
    return {
        (hash_, page)
        for hash_, page in keys
        if hash_ in known and isinstance(page, int) and 1 <= page < _MOST_PAGES
    }


def _readable(sql: sqlite3.Connection, table: str) -> Iterator[Row]:
    """The rows that can be got at: up to a torn place from the front, and from the back."""
    for backwards in (False, True):
        try:
            yield from rows_in(sql, table, backwards)
            return
        except sqlite3.DatabaseError:
            continue


def _numbers(sql: sqlite3.Connection, table: str) -> dict[PageKey, set[int]]:
    found: dict[PageKey, set[int]] = {}
    for hash_, page, number in sql.execute(f"SELECT hash, page, number FROM {table}"):
        found.setdefault((hash_, page), set()).add(number)
    return found


def _dicts(cursor: sqlite3.Cursor) -> list[Row]:
    names = [column[0] for column in cursor.description]
    return [dict(zip(names, row, strict=True)) for row in cursor]


def _name_sources(sql: sqlite3.Connection) -> None:
    """A source, and a name for it, where only its pages are left."""
    hashes = "SELECT hash FROM place UNION SELECT hash FROM page UNION SELECT hash FROM grid"
    hashes += " UNION SELECT hash FROM puzzle EXCEPT SELECT hash FROM source"
    for (hash_,) in sql.execute(hashes).fetchall():
        last = sql.execute("SELECT max(number) FROM page WHERE hash = ?", (hash_,)).fetchone()[0]
        row = {"hash": hash_, "kind": "unknown", "pages": last or 1, "bytes": 0}
        put(sql, "source", row)
    nameless = "SELECT hash FROM source EXCEPT SELECT hash FROM place"
    for (hash_,) in sql.execute(nameless).fetchall():
        # No file lies at this place, so the true one takes over when it is met again.
        put(sql, "place", {"path": hash_, "name": NO_NAME, "hash": hash_})
