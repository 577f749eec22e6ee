"""Which cells of a grid can be seen, and how far what is read there may be trusted.

The looks of :mod:`papernudge.digits_model.scores` see one cell each: a cell under a thumb, washed
out or black looks blank to them, and the edge of a shadow looks like a stroke. This network sees
the whole grid with its surroundings, small and as photographed, light and all.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.files import manifest_of, network_of, session_of

CELL = 18
"""Side of a cell in the sheet, pixels."""
MARGIN = 18
"""Surroundings on every side of the grid, sheet pixels."""
NINE = 9
"""Rows of the grids that the network knows."""
SIDE = NINE * CELL + 2 * MARGIN
NAMES = ("seen", "whole", "crossed", "laid", "trusted")
"""What the network's outputs mean, in order."""


@dataclass(frozen=True, eq=False)
class Seen:
    """Chances for each of the N cells in row order, float64 (N,), each calibrated.

    ``seen``: that at least half of its paper, and of its ink where it holds any, can be seen.
    ``whole``: that nineteen twentieths can. ``crossed``: that a line or an edge runs through it
    that is no stroke: a crease, a shadow's rim, a stamp. ``laid``: that something lies on it or
    its paper is gone; where a cell can't be seen and nothing lies there, light is to blame.
    ``trusted``: that the looks name its digit, or blank, rightly, judged by the picture alone.
    """

    seen: npt.NDArray[np.float64]
    whole: npt.NDArray[np.float64]
    crossed: npt.NDArray[np.float64]
    laid: npt.NDArray[np.float64]
    trusted: npt.NDArray[np.float64]


@functools.cache
def manifest() -> dict[str, Any]:
    """The manifest of seen.onnx: hash, input, outputs, data, training, figures, calibration."""
    return manifest_of(__package__, "seen")


@functools.cache
def shipped() -> Any:
    """The onnxruntime session of the network that ships."""
    return session_of(network_of(__package__, "seen", manifest()))


def logits(sheets: npt.NDArray[np.uint8], session: Any = None) -> npt.NDArray[np.float64]:
    """Uncalibrated log-odds float64 (N, 81, len(NAMES)) of N grids, uint8 (N, SIDE, SIDE, 3)."""
    planes = np.ascontiguousarray(sheets.transpose(0, 3, 1, 2)).astype(np.float32)
    found = (session or shipped()).run(None, {"sheets": planes})[0]
    return np.asarray(found, np.float64)


def seen(sheet: npt.NDArray[np.uint8]) -> Seen:
    """What can be seen of one grid.

    ``sheet``: uint8 (S, S, 3), blue, green, red, the grid flattened as photographed, upright or
    not, by ``papernudge.vision.patches.flat_sheet(raster, mesh, CELL, MARGIN)``. S is SIDE for nine
    rows. Of fewer the network is shown some twice, of more nine at a time.
    """
    rows = (len(sheet) - 2 * MARGIN) // CELL
    found = logits(sheet[None])[0] if rows == NINE else _in_parts(sheet, rows)
    scale = [float(manifest()["calibration"][name]["temperature"]) for name in NAMES]
    chances = 1 / (1 + np.exp(-np.clip(found / np.array(scale), -40, 40)))
    return Seen(*(np.ascontiguousarray(column) for column in chances.T))


def _in_parts(sheet: npt.NDArray[np.uint8], rows: int) -> npt.NDArray[np.float64]:
    """Log-odds float64 (rows · rows, len(NAMES)) of another grid than one of nine rows."""
    if rows < NINE:
        at = np.arange(NINE * CELL) % (rows * CELL) + MARGIN
        rim = np.arange(MARGIN)
        at = np.concatenate([rim, at, rim + rows * CELL + MARGIN])
        cells = logits(sheet[np.ix_(at, at)][None])[0].reshape(NINE, NINE, -1)
        return np.asarray(cells[:rows, :rows].reshape(rows * rows, -1))
    found = np.empty((rows, rows, len(NAMES)))
    # The first nine rows and the last nine: a row near the middle is taken from either.
    last, half = rows - NINE, (rows + 1) // 2
    parts = (
        (0, slice(0, half), slice(0, half)),
        (last, slice(half, rows), slice(half - last, NINE)),
    )
    shown = [
        sheet[down * CELL : down * CELL + SIDE, across * CELL : across * CELL + SIDE]
        for down, _, _ in parts
        for across, _, _ in parts
    ]
    said = iter(logits(np.stack(shown)).reshape(len(shown), NINE, NINE, -1))
    for _, down, mine in parts:
        for _, across, its in parts:
            found[down, across] = next(said)[mine, its]
    return found.reshape(rows * rows, -1)
