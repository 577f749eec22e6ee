"""What is really on a drawn page, exactly."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.masks import SYMBOLS
from papernudge.hints.shapes import as_data

Points = npt.NDArray[np.float64]
Spot = tuple[int, float, float]
"""A small note as written: its digit, 0 where it is struck out, and its centre in its cell, x right
and y down from the top-left corner in cells."""


@dataclass(slots=True)
class CellTruth:
    """One cell.

    ``kind``: ``"given"``, ``"entry"``, ``"notes"`` (only notes stand there) or ``"blank"``.
    ``digit``: the digit that counts, None unless given or entry. ``notes``: notes that still
    stand, ``struck_notes`` those crossed out. ``struck``: a big digit stands there struck out;
    ``struck_digit`` which. ``marks``: what else is there: ``"circled"``, ``"highlit"``,
    ``"shaded"``, ``"ghost"``, ``"overwritten"``, ``"misprint"``, ``"mistake"``, and of marks of
    other kinds of puzzles ``"cage"``, ``"arrow"``, ``"dot"``, ``"sign"``, ``"else"``, or one of
    ``"falling"``, ``"rising"`` where one diagonal alone is drawn. ``ink``: box of
    all ink of the cell, raster pixels x0, y0, x1, y1, None when there is none.
    """

    kind: str = "blank"
    digit: int | None = None
    notes: list[int] = field(default_factory=list)
    struck_notes: list[int] = field(default_factory=list)
    struck: bool = False
    struck_digit: int | None = None
    marks: list[str] = field(default_factory=list)
    ink: list[float] | None = None


@dataclass(eq=False, slots=True)
class GridTruth:
    """One grid that is at least partly in the frame.

    ``kind``: the contract's words: ``"puzzle"``, ``"full"`` (a solved grid printed small),
    ``"cut off"`` (part of it lies outside the frame), ``"other"`` (a puzzle of another kind);
    ``name`` says more about ``"other"``. ``layout``: the board, ``symbols``: how 10 and more are
    printed on it, ``"figures"`` or ``"letters"``; told only for boards other than the newspaper's
    and for puzzles of another kind that hold digits. ``corners``: (4, 2) raster pixels, x right, y
    down, pixel centres at whole numbers, top-left first as a reader sees the page, clockwise.
    ``crossings``: (n + 1, n + 1, 2) for n cells each way, None for decoys. ``givens``, ``entries``,
    ``solution``: a character for each cell, ``.`` for nothing, ``A`` for 10. ``curl``: largest
    distance of a crossing from the best homography, in cells. ``puzzle``: its number in the bank,
    for splitting. ``spots``: where the notes of each cell stand, for training only.
    """

    kind: str
    name: str
    corners: Points
    crossings: Points | None = None
    cells: list[CellTruth] = field(default_factory=list)
    solution: str = ""
    curl: float = 0.0
    cell_px: float = 0.0
    puzzle: int = -1
    spots: dict[int, list[Spot]] = field(default_factory=dict)
    layout: Layout = NEWSPAPER
    symbols: str = ""

    @property
    def givens(self) -> str:
        """A character for each cell as printed, misprints included."""
        return self._line("given")

    @property
    def entries(self) -> str:
        """A character for each cell as written, mistakes included."""
        return self._line("entry")

    def _line(self, kind: str) -> str:
        return "".join(
            SYMBOLS[c.digit - 1] if c.kind == kind and c.digit else "." for c in self.cells
        )

    def labels(self) -> dict[str, npt.NDArray[np.int64]]:
        """The cells as arrays for training, in row order.

        ``digit`` (81,) 0 for blank; ``hand`` (81,) 0 nothing or notes only, 1 given, 2 entry;
        ``notes`` (81, 9) of 0 and 1, digit d at d - 1; ``struck`` (81,) of 0 and 1. Other boards
        have as many cells and digits as they have.
        """
        notes = np.zeros((self.layout.many, self.layout.side), np.int64)
        for i, cell in enumerate(self.cells):
            for note in cell.notes:
                notes[i, note - 1] = 1
        hands = {"given": 1, "entry": 2}
        return {
            "digit": np.array([c.digit or 0 for c in self.cells], np.int64),
            "hand": np.array([hands.get(c.kind, 0) for c in self.cells], np.int64),
            "notes": notes,
            "struck": np.array([int(c.struck) for c in self.cells], np.int64),
        }

    def as_json(self) -> dict[str, Any]:
        """Plain lists and numbers, pixels rounded to hundredths."""
        return {
            "kind": self.kind,
            "name": self.name,
            **self._board(),
            "corners": np.round(self.corners, 2).tolist(),
            "crossings": None if self.crossings is None else np.round(self.crossings, 2).tolist(),
            "givens": self.givens,
            "entries": self.entries,
            "solution": self.solution,
            "curl": round(self.curl, 4),
            "cell_px": round(self.cell_px, 2),
            "puzzle": self.puzzle,
            "cells": [asdict(cell) for cell in self.cells],
        }

    def _board(self) -> dict[str, Any]:
        """``layout`` as the command line writes it, and ``symbols``, where there are any."""
        if not self.symbols:
            return {}
        return {"layout": as_data(self.layout), "symbols": self.symbols}


@dataclass(eq=False, slots=True)
class PageTruth:
    """Everything on one photo. ``size``: raster width, height. ``decoys``: what else is there,
    each ``{"what": name, "box": [x0, y0, x1, y1]}`` in raster pixels.
    """

    size: tuple[int, int]
    grids: list[GridTruth] = field(default_factory=list)
    decoys: list[dict[str, Any]] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        """The page as plain JSON values."""
        return {
            "size": list(self.size),
            "grids": [grid.as_json() for grid in self.grids],
            "decoys": self.decoys,
        }
