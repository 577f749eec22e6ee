"""A second exposure of a flattened grid: the light evened up to the rims of shadows, creases taken
out along their way.

What crosses cells in one long straight line, and is none of the grid's own lines, is no stroke: a
crease, a fold's shadow, a wire. It is found by openings with long line segments in many directions
(as vessels are in pictures of the eye: F. Zana and J.-C. Klein, IEEE Transactions on Image
Processing 10(7), 2001) and its own darkness is taken away, so that what it crosses stays.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from papernudge.vision.mesh import Mesh
from papernudge.vision.patches import CELL, MARGIN, PAPER, Patches, cells_of, even_light, flat_sheet

Sheet = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float32]

RIM = 30.0
"""Grey levels from which on the rim of a shadow may look like a stroke: undamaged photos stay
below 22 in 98 cells of 100."""
LINE = 25.0
"""Grey levels from which on a long line may."""
_VIEW = 1280
"""Long side of the picture in which a whole page's light is measured, pixels."""
_LENGTH = 2.2
"""Cells that a line must run on straight: more than any stroke's length."""
_WAYS = 36
"""Directions in which lines are looked for, 5 degrees apart."""
_OWN = 0.09
"""Cells from a printed line within which darkness is the grid's own."""


def even_to_the_rim(sheet: Sheet, cell: int = CELL) -> Sheet:
    """Divides the flat sheet by its paper, however sharp the shadows on it.

    ``sheet``: uint8 (S, S, 3) as of ``papernudge.vision.patches.flat_sheet``. As ``even_light``
    there, but the paper is not blurred: a closing keeps the rim of a shadow where it lies.
    """
    import cv2

    side = round(0.7 * cell) | 1
    soft = cv2.medianBlur(sheet, 3)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    paper = cv2.morphologyEx(soft, cv2.MORPH_CLOSE, kernel, borderType=cv2.BORDER_REPLICATE)
    paper = cv2.blur(paper, (3, 3))
    return np.asarray(cv2.divide(sheet, np.maximum(paper, 1), scale=float(PAPER)), np.uint8)


@functools.cache
def _segments(half: int) -> list[npt.NDArray[np.uint8]]:
    """Line segments as kernels, one for each direction."""
    import cv2

    out = []
    for k in range(_WAYS):
        x, y = np.cos(np.pi * k / _WAYS), np.sin(np.pi * k / _WAYS)
        kernel = np.zeros((2 * half + 1, 2 * half + 1), np.uint8)
        ends = [(round(half + s * half * x), round(half + s * half * y)) for s in (-1, 1)]
        cv2.line(kernel, ends[0], ends[1], 1)
        out.append(kernel[kernel.any(axis=1)][:, kernel.any(axis=0)])
    return out


def _on_lines(size: int, cell: int) -> npt.NDArray[np.bool_]:
    """Which of ``size`` sheet pixels lie on a printed line, (size,)."""
    at = (np.arange(size) + 0.5 - size / 2) / cell + size // cell / 2
    return np.abs(at - np.round(at)) < _OWN


def long_lines(even: Sheet, cell: int = CELL, small: int = 2) -> Floats:
    """Darkness of long straight lines that are not the grid's, float32 (S, S), grey levels.

    ``even``: uint8 (S, S, 3), an evenly lit sheet.
    """
    import cv2

    grey = np.asarray(cv2.cvtColor(even, cv2.COLOR_BGR2GRAY), np.float32)
    dark = np.clip(PAPER - grey, 0, None)
    seen = cv2.resize(dark, None, fx=1 / small, fy=1 / small, interpolation=cv2.INTER_AREA)
    seen = cv2.dilate(seen, np.ones((3, 3), np.uint8))
    own = _on_lines(len(grey), cell)[::small][: len(seen)]
    out = np.zeros_like(seen)
    for k, kernel in enumerate(_segments(round(_LENGTH * cell / small / 2))):
        found = cv2.morphologyEx(seen, cv2.MORPH_OPEN, kernel)
        if k in (0, 1, _WAYS - 1):  # along the grid's rows
            found[own] = 0
        elif abs(k - _WAYS // 2) < 2:
            found[:, own] = 0
        out = np.maximum(out, found)
    out = cv2.erode(out, np.ones((3, 3), np.uint8))
    return np.asarray(cv2.resize(out, (grey.shape[1], grey.shape[0])), np.float32)


def without_lines(even: Sheet) -> tuple[Sheet, Floats]:
    """The sheet without its long lines, and how dark they were, float32 (S, S)."""
    lines = long_lines(even)
    lighter = np.clip(even.astype(np.float32) + lines[..., None], 0, np.maximum(even, PAPER))
    return np.asarray(lighter, np.uint8), lines


def _most_of(plane: Floats, cell: int, count: int) -> Floats:
    """Mean of the ``count`` greatest values inside each of the N cells of a sheet, (N,)."""
    side = len(plane) // cell
    rim = (len(plane) - side * cell) // 2
    held = slice(rim, rim + side * cell)
    inner = plane[held, held].reshape(side, cell, side, cell)
    edge = cell // 9
    inside = inner[:, edge:-edge, :, edge:-edge].transpose(0, 2, 1, 3).reshape(side * side, -1)
    return np.asarray(np.sort(inside, axis=1)[:, -count:].mean(axis=1), np.float32)


@dataclass(frozen=True, eq=False)
class Exposure:
    """The cells of a grid, cut from a flat sheet and evenly lit.

    ``sheet``: uint8 (S, S, 3), as photographed; ``patches``: what to read; ``rims``: float32 (N,),
    grey levels by which the cell differs between soft and sharp evening of the light; ``lines``:
    the same for the darkness of long lines, 0 before they were looked for.
    """

    sheet: Sheet
    patches: Patches
    rims: Floats
    lines: Floats

    def turned(self, quarter_turns: int) -> Exposure:
        """The same of the grid upright, as ``Mesh.turned``."""

        def by_cell(values: Floats) -> Floats:
            side = math.isqrt(len(values))
            return np.rot90(values.reshape(side, side), -quarter_turns).reshape(-1).copy()

        sheet = np.ascontiguousarray(np.rot90(self.sheet, -quarter_turns))
        patches = self.patches.turned(quarter_turns)
        return Exposure(sheet, patches, by_cell(self.rims), by_cell(self.lines))

    def without_lines(self) -> Exposure:
        """The cells that long lines cross without these."""
        even = even_to_the_rim(self.sheet)
        cleaned, dark = without_lines(even)
        lines = _most_of(dark, CELL, 2 * CELL)
        crossed = lines > LINE
        if not crossed.any():
            return Exposure(self.sheet, self.patches, self.rims, lines)
        pixels = np.where(crossed[:, None, None, None], cells_of(cleaned), self.patches.pixels)
        return Exposure(self.sheet, Patches(pixels), self.rims, lines)


def exposed(raster: npt.NDArray[np.uint8], mesh: Mesh, diagonals: bool = False) -> Exposure:
    """The cells of a grid. ``raster``: uint8 (H, W, 3), blue, green, red; ``diagonals``: whether
    the board shows its own.

    Where a shadow's rim would look like a stroke the light is evened up to it; lines along the
    diagonals, of which the looks know nothing, are taken out.
    """
    import cv2

    sheet = flat_sheet(raster, mesh)
    if diagonals:
        sheet = without_diagonals(sheet, MARGIN, mesh.side)
    pixels = cells_of(even_light(sheet))
    halved = cv2.resize(sheet, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    small, half = np.asarray(halved, np.uint8), CELL // 2
    apart = cv2.absdiff(even_light(small, half), even_to_the_rim(small, half))
    apart = np.maximum(np.maximum(apart[..., 0], apart[..., 1]), apart[..., 2])
    rims = _most_of(apart.astype(np.float32), half, 20)
    hard = rims > RIM
    if hard.any():
        sharp = cells_of(even_to_the_rim(sheet))
        pixels = np.where(hard[:, None, None, None], sharp, pixels)
    return Exposure(sheet, Patches(pixels), rims, np.zeros_like(rims))


def even_page(raster: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    """A whole photo with its light evened up to the rims of shadows, uint8 (H, W, 3).

    Cells may have any size yet: what is narrower than a fortieth of the long side is ink.
    """
    import cv2

    long = max(raster.shape[:2])
    by = min(1.0, _VIEW / long)
    view = raster
    if by < 1:
        view = np.asarray(cv2.resize(raster, None, fx=by, fy=by, interpolation=cv2.INTER_AREA))
    side = max(5, round(max(view.shape[:2]) / 40)) | 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    soft = cv2.medianBlur(view, 3)
    paper = cv2.morphologyEx(soft, cv2.MORPH_CLOSE, kernel, borderType=cv2.BORDER_REPLICATE)
    paper = cv2.blur(paper, (3, 3))
    if by < 1:
        paper = cv2.resize(paper, (raster.shape[1], raster.shape[0]))
    return np.asarray(cv2.divide(raster, np.maximum(paper, 1), scale=float(PAPER)), np.uint8)


def without_diagonals(sheet: Sheet, margin: int, side: int) -> Sheet:
    """A flat sheet without the thin lines along the diagonals of a board on which these are houses.

    ``sheet``: uint8 (S, S, 3), as photographed, with ``margin`` pixels around ``side`` rows. What
    is darker along a diagonal than beside it for two cells or more is lightened by as much: digits
    stay.
    """
    import cv2

    out = sheet.copy()
    long = len(sheet) - 2 * margin
    cell = long // side
    along = np.arange(margin, margin + long)
    reach = max(2, cell // 6)
    for flipped in (False, True):
        lying = out[:, ::-1] if flipped else out  # a view: both diagonals fall then
        last, near = len(sheet) - 1, (-reach - 2, -reach - 1, reach + 1, reach + 2)
        beside = [lying[along, np.clip(along + k, 0, last)] for k in near]
        paper = np.median(np.stack(beside).astype(np.float32), axis=0)
        for k in range(-reach, reach + 1):
            onto = np.clip(along + k, 0, last)
            here = lying[along, onto].astype(np.float32)
            darker = np.clip(paper - here, 0, None)
            usual = cv2.blur(_running_median(darker, 2 * cell), (1, cell))
            lying[along, onto] = np.clip(here + usual, 0, np.maximum(paper, here))
    return out


def _running_median(values: Floats, window: int) -> Floats:
    """Of columns (N, K) the median around each row, no nearer to the ends than half a window."""
    windows = np.lib.stride_tricks.sliding_window_view(values, window, axis=0)
    at = np.clip(np.arange(len(values)) - window // 2, 0, len(windows) - 1)
    return np.asarray(np.median(windows, axis=-1)[at], np.float32)
