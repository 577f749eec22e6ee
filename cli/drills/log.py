"""The practice log: an SQLite file, a row for each position marked.

Application id ``PNlg``, schema version in ``user_version``. The same page marked again on the same
day replaces its rows, so a second photo counts once.
"""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from papernudge.cli.exits import Exit, Stop

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
    """All rows by day, sheet and number. Stop (5) if it is no log."""
    if not path.is_file():
        raise _stop(f"There is no log {path}: papernudge mark --log makes one.", "missing")
    with _opened(path, new=False) as sql:
        return [Row(*row) for row in sql.execute("SELECT * FROM answer ORDER BY 1, 2, 3")]


@contextlib.contextmanager
def _opened(path: Path, new: bool) -> Iterator[sqlite3.Connection]:
    try:
        mode = "rwc" if new else "ro"
        sql = sqlite3.connect(f"{path.resolve().as_uri()}?mode={mode}", uri=True, timeout=10)
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
