"""The practice log: an SQLite file, a row for each position marked.

Application id ``PNlg``, schema version in ``user_version``. The same page of the same pupil marked
again on the same day replaces its rows, so a second photo counts once. A log of version 1, which
knew no pupils, is read as it is and brought to version 2 in the transaction that first adds to it.
"""

from __future__ import annotations

import contextlib
import datetime
import math
import sqlite3
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import astuple, dataclass, fields
from pathlib import Path
from typing import Any

from papernudge.cli.base.exits import Exit, Stop, bad_words
from papernudge.cli.base.paths import must_be_a_file, real
from papernudge.cli.base.say import short, visible
from papernudge.cli.books.lock import guard_beside
from papernudge.hints.catalogue import Message, message

APPLICATION = 0x504E6C67
VERSION = 2
SCHEMA = """
CREATE TABLE answer (
  day TEXT NOT NULL,            -- 2026-05-01
  sheet TEXT NOT NULL,          -- the page's name, as printed on it
  number INTEGER NOT NULL,      -- the position's, as printed over it
  pupil TEXT NOT NULL,          -- whose sheet it is, '' where nobody was named
  reason TEXT NOT NULL,         -- what was practised, 'scan' on a scan sheet
  looks INTEGER NOT NULL,       -- of the cheapest line, 0 on a scan sheet
  result TEXT NOT NULL,         -- right, wrong, blank, also valid, unsure
  digits INTEGER NOT NULL,      -- how many right ones were written
  seconds REAL,                 -- what the position took, where it was said
  PRIMARY KEY (day, sheet, number, pupil)
) WITHOUT ROWID;
"""
_FROM_1 = (
    "ALTER TABLE answer RENAME TO answer_1",
    SCHEMA,
    "INSERT INTO answer SELECT day, sheet, number, '', reason, looks, result, digits, seconds"
    " FROM answer_1",
    "DROP TABLE answer_1",
)
"""A key can't be changed, so the table is made anew."""


@dataclass(frozen=True, slots=True)
class Row:
    """One position marked, as the table holds it."""

    day: str
    sheet: str
    number: int
    reason: str
    looks: int
    result: str
    digits: int
    seconds: float | None
    pupil: str = ""


_COLUMNS = ", ".join(field.name for field in fields(Row))
RESULTS = ("right", "wrong", "blank", "also valid", "unsure")
MOST_SECONDS = 86_400.0
"""Longest time that a page can have taken, seconds: a day."""
_MOST_TEXT, _MOST_COUNT = 400, 1 << 31
LONGEST_NAME = 60
"""Characters of a pupil's name."""


@dataclass(frozen=True, slots=True)
class Kept:
    """What a log holds: the rows that mark can have written, and how many others there are."""

    rows: list[Row]
    damaged: int = 0


def append(path: Path, rows: Sequence[Row]) -> None:
    """Adds the rows in one transaction; makes the log if there is none. Stop (5) on failure."""
    with _opened(path, new=True) as sql:
        sql.executemany(
            f"INSERT OR REPLACE INTO answer ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [astuple(row) for row in rows],
        )


def read(path: Path) -> list[Row]:
    """All sound rows by day, sheet and number. Stop (5) if it is no log."""
    return kept(path).rows


def kept(path: Path) -> Kept:
    """The same, and how many rows are damaged."""
    with _opened(path, new=False) as sql:
        sql.text_factory = lambda text: text.decode("utf-8", "surrogateescape")
        (version,) = sql.execute("PRAGMA user_version").fetchone()
        columns = _COLUMNS if version >= 2 else _COLUMNS.replace("pupil", "''")
        order = "day, sheet, number" + (", pupil" if version >= 2 else "")
        every = sql.execute(f"SELECT {columns} FROM answer ORDER BY {order}")
        found = [_row(values) for values in every]
    rows = [row for row in found if row is not None]
    return Kept(rows, len(found) - len(rows))


def _row(values: Sequence[Any]) -> Row | None:
    """The row, if mark can have written it: SQLite keeps any type in any column, and a flipped bit
    turns one digit into another sign.
    """
    day, sheet, number, reason, looks, result, digits, seconds, pupil = values
    try:
        whole = datetime.date.fromisoformat(day).isoformat() == day
        "".join((sheet, reason, pupil)).encode()
    except (TypeError, ValueError):
        return None
    brief = (
        all(0 < len(text) <= _MOST_TEXT for text in (sheet, reason)) and len(pupil) <= _MOST_TEXT
    )
    counted = all(isinstance(n, int) and 0 <= n < _MOST_COUNT for n in (number, looks, digits))
    if not whole or not brief or not counted or result not in RESULTS or digits > 81:
        return None
    if seconds is None:
        return Row(*values)
    timed = isinstance(seconds, int | float) and math.isfinite(seconds)
    return Row(*values) if timed and 0 <= seconds <= MOST_SECONDS else None


@contextlib.contextmanager
def _opened(path: Path, new: bool) -> Iterator[sqlite3.Connection]:
    must_be_a_file(
        path,
        new,
        _stop(message("no log", path=path), "missing"),
        lambda said: _stop(message("log can't be used", path=path, why=said), "unusable"),
    )
    if new:
        guard_beside(path, message("the log"))
    try:
        mode = "rwc" if new else "ro"
        sql = sqlite3.connect(f"{real(path).as_uri()}?mode={mode}", uri=True, timeout=10)
        try:
            with sql:
                _check(path, sql, new)
                yield sql
        finally:
            sql.close()
    except sqlite3.Error as error:
        raise _stop(
            message("log can't be used", path=path, why=error),
            "unusable",
        ) from error


def _check(path: Path, sql: sqlite3.Connection, new: bool) -> None:
    if new:
        sql.execute("BEGIN IMMEDIATE")
        if not sql.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]:
            sql.execute(SCHEMA)
            sql.execute(f"PRAGMA application_id = {APPLICATION}")
            sql.execute(f"PRAGMA user_version = {VERSION}")
    if sql.execute("PRAGMA application_id").fetchone()[0] != APPLICATION:
        raise _stop(message("not a log", path=path), "not a log")
    version = sql.execute("PRAGMA user_version").fetchone()[0]
    if version > VERSION:
        raise _stop(
            message("newer log", path=path, version=version, known=VERSION),
            "newer",
        )
    if new and version < VERSION:
        _migrate(sql)


def _migrate(sql: sqlite3.Connection) -> None:
    """Brings an older log up to now, inside the transaction that goes on to add to it."""
    for statement in _FROM_1:
        sql.execute(statement)
    sql.execute(f"PRAGMA user_version = {VERSION}")


def pupil_named(text: str) -> str:
    """A pupil's name as the log keeps it: one line, spaces single. Stop (2) where it is none."""
    name = " ".join(unicodedata.normalize("NFC", text).split())
    if not name or len(name) > LONGEST_NAME or visible(name) != name:
        raise bad_words("a pupil's name", most=LONGEST_NAME, got=short(text))
    return name


def pupils(rows: Sequence[Row]) -> list[str]:
    """The names that stand in the rows, in order; '' among them where somebody has none."""
    return sorted({row.pupil for row in rows}, key=lambda name: (name.casefold(), name))


def _stop(sentence: Message, reason: str) -> Stop:
    return Stop(Exit.FILE, sentence, stage="log", reason=reason)
