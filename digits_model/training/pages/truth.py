"""What is really on a drawn page, exactly."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

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
    ``"shaded"``, ``"ghost"``, ``"overwritten"``, ``"misprint"``, ``"mistake"``. ``ink``: box of
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
    ``"cut off"`` (part of it lies outside the frame), ``"other"`` (not a 9×9 of this kind);
    ``name`` says more about ``"other"``. ``corners``: (4, 2) raster pixels, x right, y down,
    pixel centres at whole numbers, top-left first as a reader sees the page, clockwise.
    ``crossings``: (10, 10, 2), only for 9×9 grids. ``givens``, ``entries``, ``solution``:
    81 characters, ``.`` for nothing. ``curl``: largest distance of a crossing from the best
    homography, in cells. ``puzzle``: its number in the bank, for splitting. ``spots``: where the
    notes of each cell stand, for training only.
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

    @property
    def givens(self) -> str:
        """81 characters as printed, misprints included."""
        return self._line("given")

    @property
    def entries(self) -> str:
        """81 characters as written, mistakes included."""
        return self._line("entry")

    def _line(self, kind: str) -> str:
        return "".join(str(c.digit) if c.kind == kind else "." for c in self.cells)

    def labels(self) -> dict[str, npt.NDArray[np.int64]]:
        """The cells as arrays for training, in row order.

        ``digit`` (81,) 0 for blank; ``hand`` (81,) 0 nothing or notes only, 1 given, 2 entry;
        ``notes`` (81, 9) of 0 and 1, digit d at d - 1; ``struck`` (81,) of 0 and 1.
        """
        notes = np.zeros((81, 9), np.int64)
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
