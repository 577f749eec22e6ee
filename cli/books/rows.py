"""The rows of a book as they travel between a worker, the writer and the export."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.shapes import as_data, from_data

Row = dict[str, Any]
_JSON = ("corners", "notes", "struck", "restored", "doubts", "layout")
Doubt = dict[str, Any]
"""``cell``, ``about``, ``read``, ``chance``, ``instead``, as in the JSON of ``read``."""


@dataclass(frozen=True, slots=True)
class PageTask:
    """A page to read. ``data``: the page as a file of its own, for a worker on another machine;
    else it is opened at ``path``. ``number`` counts from 1.
    """

    hash: str
    number: int
    kind: str
    name: str
    path: str
    data: bytes | None = None


@dataclass(frozen=True, slots=True)
class GridRow:
    """A row of the table ``grid``, less its key's ``hash`` and ``page``. ``layout``: its board as
    plain data, None for the newspaper's.
    """

    number: int
    kind: str
    quality: str | None
    corners: list[list[float]]
    crossings: bytes | None = None
    givens: str | None = None
    entries: str | None = None
    notes: dict[str, list[int]] = field(default_factory=dict)
    struck: list[str] = field(default_factory=list)
    restored: list[str] = field(default_factory=list)
    doubts: list[Doubt] = field(default_factory=list)
    chances: bytes | None = None
    chance_all_right: float = 0.0
    crop: bytes | None = None
    layout: Row | None = None

    @property
    def board(self) -> Layout:
        """The board that it is of."""
        return NEWSPAPER if self.layout is None else from_data(self.layout)


@dataclass(frozen=True, slots=True)
class PuzzleRow:
    """A row of the table ``puzzle``, less its key."""

    status: str
    reason: str | None = None
    givens: str | None = None
    entries: str | None = None
    doubts: list[Doubt] = field(default_factory=list)
    decided: list[str] = field(default_factory=list)
    corrected: int = 0
    solutions: str | None = None
    solution: str | None = None
    minutes: float | None = None
    minutes_low: float | None = None
    minutes_high: float | None = None
    looks: int | None = None
    hardest: str | None = None
    needs: list[str] | None = None
    steps: int | None = None
    canonical: str | None = None
    layout: Row | None = None


@dataclass(frozen=True, slots=True)
class PageDone:
    """What a page came to. ``state``: ``read``, ``no grid`` or ``unreadable``.

    ``lasting``: whether the same bytes would always come to this; a page that a passing trouble
    kept from being read is not written down and is tried again by the next run.
    """

    hash: str
    number: int
    reader: str
    state: str
    reason: str | None = None
    sentence: str | None = None
    width: int | None = None
    height: int | None = None
    turns: int | None = None
    grids: list[GridRow] = field(default_factory=list)
    puzzles: list[PuzzleRow] = field(default_factory=list)
    lasting: bool = True


def row_id(hash_: str, page: int, number: int) -> str:
    """What a row is called in exports and corrections."""
    return f"{hash_[:16]}-{page}-{number}"


def layout_of_row(row: Mapping[str, Any]) -> Layout:
    """The board that a row of ``grid`` or ``puzzle`` is of."""
    told = row.get("layout")
    return NEWSPAPER if told is None else from_data(json.loads(told))


def natural(name: str | None) -> str:
    """By which names sort as people number things: page 2 before page 10."""

    def counted(found: re.Match[str]) -> str:
        digits = found[0].lstrip("0")
        return f"{len(digits):05}{digits}"

    return re.sub(r"[0-9]+", counted, (name or "").casefold())


def grid_of(row: Row) -> GridRow:
    """A row of the table ``grid`` as it travels."""
    kept = {name: row[name] for name in GridRow.__slots__}
    return GridRow(**{n: json.loads(v) if n in _JSON and v else v for n, v in kept.items()})


def grid_values(hash_: str, page: int, grid: GridRow) -> Row:
    """The other way round."""
    row = _values(grid)
    return {
        "hash": hash_,
        "page": page,
        **{n: _text(v) if n in _JSON and n != "layout" else v for n, v in row.items()},
        "layout": _layout_text(grid.layout),
    }


def puzzle_values(key: tuple[str, int, int], puzzle: PuzzleRow) -> Row:
    """A row of the table ``puzzle``."""
    row = _values(puzzle)
    row["doubts"], row["decided"] = _text(row["doubts"]), _text(row["decided"])
    row["needs"] = None if row["needs"] is None else _text(row["needs"])
    row["layout"] = _layout_text(puzzle.layout)
    return {**dict(zip(("hash", "page", "number"), key, strict=True)), **row}


def layout_data(layout: Layout) -> Row | None:
    """A board as a row holds it."""
    return None if layout is NEWSPAPER else as_data(layout)


def _layout_text(layout: Row | None) -> str | None:
    return None if layout is None else _text(layout)


def _values(row: GridRow | PuzzleRow) -> Row:
    """Its columns; what they hold is not copied, unlike by ``dataclasses.asdict``."""
    return {name: getattr(row, name) for name in row.__slots__}


def _text(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))
