"""The practice log: an SQLite file, a row for each position marked.

Application id ``PNlg``, schema version in ``user_version``. The same page marked again on the same
day replaces its rows, so a second photo counts once.
"""

from __future__ import annotations

import contextlib
import datetime
import math
import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from papernudge.cli.base.exits import Exit, Stop
from papernudge.cli.base.paths import ask, real, why
from papernudge.cli.books.lock import guard_beside

APPLICATION = 0x504E6C67
VERSION = 1
SCHEMA = """
CREATE TABLE answer (
  day TEXT NOT NULL,            -- 2026-05-01
  sheet TEXT NOT NULL,          -- the page's name, as printed on it
  number INTEGER NOT NULL,      -- the position's, as printed over it
  reason TEXT NOT NULL,         -- what was practised, 'scan' on a scan sheet
  looks INTEGER NOT NULL,       -- of the cheapest line, 0 on a scan sheet
  result TEXT NOT NULL,         -- right, wrong, blank, also valid, unsure
  digits INTEGER NOT NULL,      -- how many right ones were written
  seconds REAL,                 -- what the position took, where it was said
  PRIMARY KEY (day, sheet, number)
) WITHOUT ROWID;
"""


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


RESULTS = ("right", "wrong", "blank", "also valid", "unsure")
MOST_SECONDS = 86_400.0
"""Longest time that a page can have taken, seconds: a day."""
_MOST_TEXT, _MOST_COUNT = 400, 1 << 31
_WHOLE_ROWS = (
    f"SELECT {', '.join(field.name for field in fields(Row))} FROM answer ORDER BY 1, 2, 3"
)


@dataclass(frozen=True, slots=True)
class Kept:
    """What a log holds: the rows that mark can have written, and how many others there are."""

    rows: list[Row]
    damaged: int = 0


def append(path: Path, rows: Sequence[Row]) -> None:
    """Adds the rows in one transaction; makes the log if there is none. Stop (5) on failure."""
    with _opened(path, new=True) as sql:
        sql.executemany(
            "INSERT OR REPLACE INTO answer VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            [
                (r.day, r.sheet, r.number, r.reason, r.looks, r.result, r.digits, r.seconds)
                for r in rows
            ],
        )


def read(path: Path) -> list[Row]:
    """All sound rows by day, sheet and number. Stop (5) if it is no log."""
    return kept(path).rows


def kept(path: Path) -> Kept:
    """The same, and how many rows are damaged."""
    with _opened(path, new=False) as sql:
        sql.text_factory = lambda text: text.decode("utf-8", "surrogateescape")
        found = [_row(values) for values in sql.execute(_WHOLE_ROWS)]
    rows = [row for row in found if row is not None]
    return Kept(rows, len(found) - len(rows))


def _row(values: Sequence[Any]) -> Row | None:
    """The row, if mark can have written it: SQLite keeps any type in any column, and a flipped bit
    turns one digit into another sign.
    """
    day, sheet, number, reason, looks, result, digits, seconds = values
    try:
        whole = datetime.date.fromisoformat(day).isoformat() == day
        "".join((sheet, reason)).encode()
    except (TypeError, ValueError):
        return None
    short = all(0 < len(text) <= _MOST_TEXT for text in (sheet, reason))
    counted = all(isinstance(n, int) and 0 <= n < _MOST_COUNT for n in (number, looks, digits))
    if not whole or not short or not counted or result not in RESULTS or digits > 81:
        return None
    if seconds is None:
        return Row(*values)
    timed = isinstance(seconds, int | float) and math.isfinite(seconds)
    return Row(*values) if timed and 0 <= seconds <= MOST_SECONDS else None


@contextlib.contextmanager
def _opened(path: Path, new: bool) -> Iterator[sqlite3.Connection]:
    _must_be_a_file(path, new)
    if new:
        guard_beside(path, "the log")
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
            f"{path} can't be used as a log ({error}): name a log that mark wrote, or a new file in"
            " a folder that may be written to.",
            "unusable",
        ) from error


def _must_be_a_file(path: Path, new: bool) -> None:
    try:
        ask(path)
    except FileNotFoundError as error:
        if not new:
            raise _stop(
                f"There is no log {path}: papernudge mark --log makes one.", "missing"
            ) from error
    except (OSError, ValueError) as error:
        raise _stop(
            f"{path} can't be used as a log ({why(error)}): name a log that mark wrote, or a new"
            " file in a folder that may be written to.",
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
        raise _stop(
            f"{path} is not a log: expected a file that mark --log wrote; name another one.",
            "not a log",
        )
    version = sql.execute("PRAGMA user_version").fetchone()[0]
    if version > VERSION:
        raise _stop(
            f"{path} was written by a newer papernudge (log version {version}; this one knows"
            f" {VERSION}): install the newer one. Nothing was changed.",
            "newer",
        )


def _stop(sentence: str, reason: str) -> Stop:
    return Stop(Exit.FILE, sentence, stage="log", reason=reason)
