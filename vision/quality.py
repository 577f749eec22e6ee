"""Is a found grid good enough to read, and if not, what should the person do?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from papernudge.vision.flatten import Flat
from papernudge.vision.grid import Quality

_LEAST_CELL = 9.0
"""Cells smaller than this, raster pixels, cannot be read."""


def judge(flat: Flat, scale: float) -> Quality:
    """Quality of a flattened grid. ``scale``: raster pixels per pixel that it was measured in."""
    crossings = flat.mesh.crossings
    across = np.linalg.norm(np.diff(crossings, axis=1), axis=2)
    down = np.linalg.norm(np.diff(crossings, axis=0), axis=2)
    cell = float(np.median(np.concatenate([across.ravel(), down.ravel()]))) * scale
    contrast = float(np.clip(flat.contrast / 255.0, 0, 1))
    if cell < _LEAST_CELL:
        return Quality(
            False,
            "small",
            f"A cell is only {cell:.0f} pixels wide; hold the phone nearer to the grid.",
            cell,
            0.0,
            contrast,
        )
    return Quality(True, None, None, cell, 0.0, contrast)


def cut_off(side: str, quality: Quality) -> Quality:
    """The judgement of a grid that the photo's ``side`` cuts."""
    sentence = f"The grid is cut off at the {side} edge of the photo; move back so all of it shows."
    return replace(quality, ok=False, reason="cut off", sentence=sentence)


def outside(crossings: npt.NDArray[np.float64], size: tuple[int, int]) -> str | None:
    """The side of the photo that cuts the grid off, or None. ``size``: width, height."""
    right, down = size[0] - 1, size[1] - 1
    lone = crossings.reshape(-1, 2)
    cell = float(np.sqrt(np.prod(np.ptp(lone, axis=0)))) / 9
    beyond = {
        "left": -float(crossings[..., 0].min()),
        "right": float(crossings[..., 0].max()) - right,
        "top": -float(crossings[..., 1].min()),
        "bottom": float(crossings[..., 1].max()) - down,
    }
    side = max(beyond, key=lambda key: beyond[key])
    return side if beyond[side] > 0.4 * cell else None
