"""What is printed on a flat board: a small network, its calibration, and the lines that run it."""

from __future__ import annotations

import functools
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.files import manifest_of, network_of, session_of
from papernudge.vision.boards.sheet import CELL, MARGIN

Floats = npt.NDArray[np.float64]

HEAVY, STEP = range(2)
EDGE_NAMES = ("heavy", "step")
"""Of each inner edge: whether two blocks meet there, whether the printed tint changes there."""
MARKS = ("cage", "arrow", "dot", "sign", "else")
"""Marks of puzzles of other kinds."""
CELL_NAMES = ("tint", "falling", "rising", *MARKS)
"""Of each cell: whether it is tinted, whether a line along the falling or the rising diagonal runs
through it, and whether a mark lies in it or on its rim."""
BOARD_NAMES = ("falling", "rising", *MARKS)
"""Of the whole board: whether such lines and marks are anywhere."""
EDGES, CELLS, BOARD = len(EDGE_NAMES), len(CELL_NAMES), len(BOARD_NAMES)


class Printed(NamedTuple):
    """Log-odds of all that may be printed on a board of S × S cells.

    ``edges``: float64 (EDGES, 2, S, S - 1), first of the edges between cells side by side, row by
    row, then of those between cells above each other, column by column; ``cells``: (CELLS, S, S);
    ``board``: (BOARD,); in the order of the names above.
    """

    edges: Floats
    cells: Floats
    board: Floats


def manifest() -> dict[str, Any]:
    """What printed.json tells."""
    return manifest_of(__package__, "printed")


@functools.cache
def shipped() -> Any:
    """The onnxruntime session of the network that ships."""
    return session_of(network_of(__package__, "printed", manifest()))


def place(side: int) -> npt.NDArray[np.float32]:
    """Which cells lie on the falling and on the rising diagonal, float32 (2, S, S)."""
    one = np.eye(side, dtype=np.float32)
    return np.stack([one, one[:, ::-1]])


def logits(planes: npt.NDArray[np.float32], session: Any = None) -> Printed:
    """Uncalibrated log-odds of a flat board, ``planes`` float32 (3, P, P) as of
    ``papernudge.vision.boards.sheet``, whose sides have ``side`` cells.
    """
    side = (planes.shape[1] - 2 * MARGIN) // CELL
    fed = {"planes": planes[None], "place": place(side)[None]}
    upright, level, cells, board = (session or shipped()).run(None, fed)
    edges = np.stack([upright[0], level[0].swapaxes(1, 2)], axis=1)
    return Printed(edges.astype(np.float64), cells[0].astype(np.float64), board[0].astype(float))


def calibrated(found: Printed, calibration: dict[str, list[float]]) -> Printed:
    """Log-odds divided by the temperature of each output."""
    edges, cells, board = (np.array(calibration[k]) for k in ("edges", "cells", "board"))
    return Printed(
        found.edges / edges[:, None, None, None],
        found.cells / cells[:, None, None],
        found.board / board,
    )


def read(planes: npt.NDArray[np.float32]) -> Printed:
    """What is printed on a flat board, ``planes`` float32 (3, P, P) as of
    ``papernudge.vision.boards.sheet``.
    """
    return calibrated(logits(planes), manifest()["calibration"])
