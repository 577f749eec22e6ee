"""What a row of a book may hold: every value's type, and what later steps rely on.

A book may come from anywhere. A row that doesn't look like one that ``digitise`` writes is treated
like one whose seal is broken, so nothing behind this gate meets a cell named ``<script>``.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any

from papernudge.cli.books.rows import layout_of_row
from papernudge.cli.books.seals import Column, shape
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.shapes import in_options
from papernudge.vision.crop import CROP

Check = Callable[[Any], bool]
_TYPES: dict[str, type | tuple[type, ...]] = {
    "TEXT": str,
    "INTEGER": int,
    "REAL": float,
    "BLOB": bytes,
}
_MOST_TEXT = 4000
_ABOUT = frozenset({"digit", "hand", "notes", "seen", "layout"})
_KINDS = ("puzzle", "full", "cut off", "too poor", "other")


def _like(pattern: str) -> Check:
    whole = re.compile(pattern)
    return lambda text: whole.fullmatch(text) is not None


def _among(*words: str) -> Check:
    return lambda text: text in words


def _at_least(least: float) -> Check:
    return lambda number: least <= number < 1e12


def _parsed(check: Check) -> Check:
    def holds(text: str) -> bool:
        try:
            return check(json.loads(text))
        except (ValueError, RecursionError):
            return False

    return holds


def _is_share(value: object) -> bool:
    return isinstance(value, (int, float)) and 0 <= value <= 1


def _names(value: object) -> bool:
    return isinstance(value, list) and all(isinstance(name, str) and name for name in value)


class _On:
    """What rows may hold of a board: its cells, its digits, its lines."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        symbols = re.escape(layout.symbols)
        self.line = _like(rf"[{symbols}.]{{{layout.many}}}")
        self.solution = _like(rf"[{symbols}]{{{layout.many}}}")
        self.canonical = self.line
        if layout is not NEWSPAPER:
            told = re.escape(in_options(layout))
            self.canonical = _like(rf"[{symbols}.]{{{layout.many}}} {told}")
        self.crossings = 8 * (layout.high + 1) * (layout.wide + 1)
        self.chances = 2 * layout.many * (layout.side + 2)

    def is_cell(self, value: object) -> bool:
        cell = self.layout.cell(value) if isinstance(value, str) else None
        return cell is not None and self.layout.name(cell) == value

    def is_digit(self, value: object) -> bool:
        return type(value) is int and value in self.layout.digits

    def cells(self, value: object) -> bool:
        return isinstance(value, list) and all(map(self.is_cell, value))

    def notes(self, value: object) -> bool:
        return isinstance(value, dict) and all(
            self.is_cell(cell) and isinstance(digits, list) and all(map(self.is_digit, digits))
            for cell, digits in value.items()
        )

    def doubts(self, value: object) -> bool:
        return isinstance(value, list) and all(map(self._doubt, value))

    def _doubt(self, value: object) -> bool:
        if not isinstance(value, dict) or set(value) - _FURTHER != _OF_A_DOUBT:
            return False
        if not self._further(value):
            return False
        about, instead = value["about"], value["instead"]
        if not (self.is_cell(value["cell"]) and isinstance(about, str) and about in _ABOUT):
            return False
        read = value["read"]
        fits = _is_share(value["chance"]) and (read is None or self.is_digit(read))
        return fits and isinstance(instead, list) and all(map(self._other, instead))

    def _further(self, doubt: Mapping[str, Any]) -> bool:
        regions, notes = doubt.get("regions", []), doubt.get("notes", [])
        return (
            isinstance(doubt.get("why", ""), str)
            and isinstance(regions, list)
            and all(map(self.cells, regions))
            and isinstance(notes, list)
            and all(map(self.is_digit, notes))
        )

    def _other(self, value: object) -> bool:
        if not isinstance(value, dict) or set(value) != {"digit", "chance"}:
            return False
        digit = value["digit"]
        return _is_share(value["chance"]) and (digit is None or self.is_digit(digit))


_OF_A_DOUBT = {"cell", "about", "read", "chance", "instead"}
_FURTHER = {"why", "notes", "regions"}
"""What some doubts tell beside that: why a cell can't be seen, notes, the blocks in question."""


def _corners(value: object) -> bool:
    return (
        isinstance(value, list)
        and len(value) == 4
        and all(isinstance(point, list) and len(point) == 2 for point in value)
        and all(isinstance(x, (int, float)) and abs(x) < 1e9 for point in value for x in point)
    )


def is_crop(data: object) -> bool:
    """Whether bytes are a JPEG file of a crop's size by its header (ITU-T T.81, annex B): what
    says that it is larger is never decoded.
    """
    if not isinstance(data, bytes) or data[:2] != b"\xff\xd8":
        return False
    at = 2
    while at + 9 <= len(data) and data[at] == 0xFF:
        marker, length = data[at + 1], int.from_bytes(data[at + 2 : at + 4], "big")
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            high, wide = (int.from_bytes(data[at + k : at + k + 2], "big") for k in (5, 7))
            return (high, wide) == (CROP, CROP)
        at += 2 + max(length, 2)
    return False


_ALWAYS = frozenset({"notes", "struck", "restored", "doubts", "chance_all_right"})
"""Columns that may be empty by the schema and never are."""
_HASH = _like(r"[0-9a-f]{64}")
_COUNT = _at_least(0)
_ORDER = _at_least(1)
_DIGIT = "(1[0-6]|[1-9])"
"""Of the largest board: a correction is tied to a place, not to a row."""
_WORD = _like(
    rf"((given|entry):{_DIGIT}|{_DIGIT}|\.|(given|entry):\.|ok|left out"
    r"|label:[^\x00-\x1f\x7f]{1,200})"
)
_CHECKS: dict[str, dict[str, Check]] = {
    "source": {
        "hash": _HASH,
        "kind": _like(r"[a-z]{1,20}"),
        "pages": _ORDER,
        "bytes": _COUNT,
    },
    "place": {"path": _HASH, "hash": _HASH},
    "page": {
        "hash": _HASH,
        "number": _ORDER,
        "width": _ORDER,
        "height": _ORDER,
        "turns": lambda turns: turns in (0, 1, 2, 3),
        "state": _among("read", "no grid", "unreadable", "damaged"),
        "grids": _COUNT,
    },
    "correction": {
        "hash": _HASH,
        "page": _ORDER,
        "x": _at_least(-1e9),
        "y": _at_least(-1e9),
        "cell": _like(f"(R{_DIGIT}C{_DIGIT})?"),
        "says": _WORD,
    },
    "tally": {},
}


@cache
def _of_a_board(layout: Layout) -> dict[str, dict[str, Check]]:
    """The checks of the tables whose rows are of a board."""
    on = _On(layout)
    key = {"hash": _HASH, "page": _ORDER, "number": _ORDER}
    return {
        "grid": {
            **key,
            "kind": _among(*_KINDS),
            "corners": _parsed(_corners),
            "crossings": lambda data: len(data) == on.crossings,
            "givens": on.line,
            "entries": on.line,
            "notes": _parsed(on.notes),
            "struck": _parsed(on.cells),
            "restored": _parsed(on.cells),
            "doubts": _parsed(on.doubts),
            "chances": lambda data: len(data) == on.chances,
            "chance_all_right": _is_share,
        },
        "puzzle": {
            **key,
            "status": _among("clean", "review", "left out"),
            "givens": on.line,
            "entries": on.line,
            "doubts": _parsed(on.doubts),
            "decided": _parsed(on.cells),
            "corrected": _COUNT,
            "solutions": _among("one", "none", "many"),
            "solution": on.solution,
            "minutes": _COUNT,
            "minutes_low": _COUNT,
            "minutes_high": _COUNT,
            "looks": _COUNT,
            "steps": _COUNT,
            "needs": _parsed(_names),
            "canonical": on.canonical,
        },
    }


def _board_told(row: Mapping[str, Any]) -> Layout | None:
    """The board that a row is of; None where what it says is none."""
    try:
        layout = layout_of_row(row)
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return None
    told = row.get("layout")
    return layout if told is None or layout is not NEWSPAPER else None


def is_sound(table: str, row: Mapping[str, Any]) -> bool:
    """Whether a row looks like one that ``digitise`` writes. The seals are not asked."""
    checks = _CHECKS.get(table)
    if checks is None:
        layout = _board_told(row)
        if layout is None:
            return False
        checks = _of_a_board(layout)[table]
    if not all(_fits(c, row[c.name], checks.get(c.name)) for c in shape()[table] if c.name in row):
        return False
    if table == "puzzle" and row["status"] != "left out":
        return row["givens"] is not None and row["entries"] is not None
    return table != "grid" or row["crop"] is None or is_crop(row["crop"])


def _fits(column: Column, value: Any, check: Check | None) -> bool:
    if value is None:
        return not (column.needed or column.name in _ALWAYS)
    if not isinstance(value, _TYPES[column.kind]):
        return False
    if isinstance(value, str) and (len(value) > _MOST_TEXT and column.name != "doubts"):
        return False
    return _is_text(value) and (check is None or check(value))


def _is_text(value: object) -> bool:
    """Whether a text is one: what is not UTF-8 in the file comes as surrogates."""
    return not isinstance(value, str) or not any("\ud800" <= c <= "\udfff" for c in value)
