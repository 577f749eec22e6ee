"""Seals: a checksum on every row of a book, and on what each table holds.

SQLite trusts its file: a byte that has changed on the disk comes back as what was written. So each
row is sealed when it is put, over all its columns and its table's name, and the tables are tallied
when a transaction ends. A seal is BLAKE2b (RFC 7693), 16 bytes. It guards against accidents, not
against somebody who writes a book on purpose: ``sound.py`` looks at what rows hold.
"""

from __future__ import annotations

import functools
import hashlib
import sqlite3
import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from papernudge.cli.books.schema import LATER, SCHEMA, TABLES

Row = dict[str, Any]
_SIZE = 16
_PERSON = b"papernudge book"


@dataclass(frozen=True, slots=True)
class Column:
    """``kind``: TEXT, INTEGER, REAL or BLOB; ``key``: its place in the primary key from 1, or 0."""

    name: str
    kind: str
    needed: bool
    key: int


Shape = dict[str, tuple[Column, ...]]


def shape_of(sql: sqlite3.Connection) -> Shape:
    """The tables of a file and their columns, in order."""
    names = [row[0] for row in sql.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
    return {
        name: tuple(
            Column(column, kind, bool(needed or key), key)
            for _, column, kind, needed, _, key, _ in sql.execute(
                "SELECT * FROM pragma_table_xinfo(?)", (name,)
            )
        )
        for name in sorted(names)
    }


@functools.cache
def shape() -> Shape:
    """The shape of a book of this version."""
    empty = sqlite3.connect(":memory:")
    try:
        empty.executescript(SCHEMA)
        return shape_of(empty)
    finally:
        empty.close()


def key_of(table: str) -> tuple[str, ...]:
    """The names of a table's key."""
    keyed = [column for column in shape()[table] if column.key]
    return tuple(column.name for column in sorted(keyed, key=lambda column: column.key))


def digest(*parts: bytes) -> bytes:
    """A seal over some bytes, each told apart from the next."""
    out = hashlib.blake2b(digest_size=_SIZE, person=_PERSON)
    for part in parts:
        out.update(len(part).to_bytes(8, "big"))
        out.update(part)
    return out.digest()


def seal_of(table: str, row: Mapping[str, Any]) -> bytes:
    """The seal of a row: of its table's name and all its columns, a crop by its own seal."""
    parts = [table.encode()]
    for column in shape()[table]:
        value = row.get(column.name)
        if column.name not in ("seal", "crop") and not (value is None and column.name in LATER):
            parts += [column.name.encode(), _bytes(value)]
    return digest(*parts)


def crop_seal(crop: object) -> bytes | None:
    """The seal of a grid's picture alone, None where there is none."""
    return digest(crop) if isinstance(crop, bytes) else None


def _bytes(value: object) -> bytes:
    """A value as SQLite keeps it, its type in front."""
    if value is None:
        return b"n"
    if isinstance(value, bytes):
        return b"b" + value
    if isinstance(value, str):
        return b"s" + value.encode("utf-8", "surrogateescape")
    if isinstance(value, float):
        return b"f" + struct.pack(">d", value + 0.0)  # SQLite knows no -0.0
    assert isinstance(value, int)
    return b"i" + str(value).encode()


def is_sealed(table: str, row: Mapping[str, Any]) -> bool:
    """Whether a row is as it was put, its crop left aside."""
    return bool(row["seal"] == seal_of(table, row))


def sealed(table: str, values: Mapping[str, Any]) -> Row:
    """The row as the table keeps it: every column, each of its type, and the seals."""
    row: Row = {column.name: _kept(column, values.get(column.name)) for column in shape()[table]}
    if table == "grid":
        row["crop_seal"] = crop_seal(row["crop"])
    row["seal"] = seal_of(table, row)
    return row


def _kept(column: Column, value: object) -> object:
    if value is None:
        return None
    if column.kind == "REAL":
        assert isinstance(value, (int, float))
        return float(value) if value == value else None  # SQLite knows no NaN
    if column.kind == "INTEGER":
        assert isinstance(value, int)
        return int(value)
    if column.kind == "TEXT":  # a file's name may hold what is no text
        return str(value).encode("utf-8", "backslashreplace").decode("utf-8")
    return value


def put(sql: sqlite3.Connection, table: str, values: Mapping[str, Any]) -> None:
    """Puts a row in place of the one with its key, if that differs."""
    row = sealed(table, values)
    key = key_of(table)
    others = ", ".join(f"{name} = excluded.{name}" for name in row if name not in key)
    sql.execute(
        f"INSERT INTO {table} ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})"
        f" ON CONFLICT ({', '.join(key)}) DO UPDATE SET {others}"
        f" WHERE seal IS NOT excluded.seal",
        tuple(row.values()),
    )


def rows_in(sql: sqlite3.Connection, table: str, backwards: bool = False) -> Iterator[Row]:
    """All rows of a table in the order of its key."""
    way = " DESC" if backwards else ""
    order = ", ".join(name + way for name in key_of(table))
    cursor = sql.execute(f"SELECT * FROM {table} ORDER BY {order}")
    names = [column[0] for column in cursor.description]
    for row in cursor:
        yield dict(zip(names, row, strict=True))


class Tally:
    """Keeps the count and the sum of seals of each table while a connection changes them.

    Triggers of this connection alone call it, so nothing that changes a row, a deletion that
    follows from another one either, goes by without it.
    """

    def __init__(self, sql: sqlite3.Connection) -> None:
        self.sql = sql
        self.now = told(sql)
        self._saved = dict(self.now)
        sql.create_function("papernudge_tallied", 3, self._count)
        for table in TABLES:
            for when, steps in (
                ("INSERT", (("+1", "NEW"),)),
                ("DELETE", (("-1", "OLD"),)),
                ("UPDATE", (("-1", "OLD"), ("+1", "NEW"))),
            ):
                does = ", ".join(f"papernudge_tallied('{table}', {w}, {r}.seal)" for w, r in steps)
                sql.execute(
                    f"CREATE TEMP TRIGGER tally_{table}_{when} AFTER {when} ON main.{table}"
                    f" BEGIN SELECT {does}; END"
                )

    def _count(self, table: str, step: int, seal: bytes | None) -> None:
        rows, seals = self.now.get(table, NOTHING)
        self.now[table] = (rows + step, _together(seals, seal))

    def save(self) -> None:
        """Writes down what has changed; inside a transaction."""
        for table in TABLES:
            rows, seals = self.now.get(table, NOTHING)
            if self._saved.get(table) != (rows, seals):
                put(self.sql, "tally", {"name": table, "rows": rows, "seals": seals})

    def settle(self, committed: bool) -> None:
        """After a transaction."""
        if committed:
            self._saved = dict(self.now)
        else:
            self.now = dict(self._saved)


Held = tuple[int, bytes]
NOTHING: Held = (0, bytes(_SIZE))


def told(sql: sqlite3.Connection) -> dict[str, Held]:
    """What the book says that its tables hold; an entry that is not as it was put is left out."""
    rows = rows_in(sql, "tally")
    return {row["name"]: (row["rows"], row["seals"]) for row in rows if is_sealed("tally", row)}


def added(held: Held, seal: object) -> Held:
    """What a table holds with one row more."""
    return held[0] + 1, _together(held[1], seal if isinstance(seal, bytes) else None)


def _together(seals: bytes, seal: bytes | None) -> bytes:
    both = int.from_bytes(seals, "big") ^ int.from_bytes((seal or b"")[:_SIZE], "big")
    return both.to_bytes(_SIZE, "big")
