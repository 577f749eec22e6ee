"""Tints and diagonals: what makes further houses of a board.

A tint is darker paper whose rim lies on the edges of cells; light and shade pass over them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from papernudge.vision.lines import ranked
from papernudge.vision.boards.sheet import CELL, MARGIN, Sheet, steps

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Cells = tuple[int, ...]

_STEP = 0.022
"""Log of the ratio of the paper on two sides of an edge below which there is no tint's rim."""
_TINTED = 0.03
"""Log of the ratio of a board's light paper to a tint, at least."""
_PLAINLY = 0.03
"""Gap between the tones of paper and tint, logs, from which on tints of no known form are odd."""
_SAME = 0.35
"""Share of the darkest tint by which two tints differ if they are two."""
_DIAGONAL, _NO_DIAGONAL = 0.6, 0.3
"""Share of a diagonal's cells that must show its line, and below which it has none."""
_SPOTS = np.array([0.16, 0.19, 0.22, 0.25, 0.75, 0.78, 0.81, 0.84])
"""Where on a cell's diagonal neither digits nor the lines beside it reach, shares of it."""
_ASIDE = 0.09
"""How far aside of a diagonal the paper beside it is looked at, cells."""
_RULED = 0.03
"""Darkness of a diagonal's line, shares of the paper."""


@dataclass(frozen=True, slots=True)
class Further:
    """Houses beside rows, columns and blocks. ``diagonals``: whether both are marked; ``extra``:
    the cells of each extra block; ``odd``: a word for what was seen and is no such house, or None.
    """

    diagonals: bool = False
    extra: tuple[Cells, ...] = ()
    odd: str | None = None


def further(sheet: Sheet, blocks: list[list[int]]) -> Further:
    """What a flat board shows of further houses. ``blocks``: the cells of each block."""
    ruled = _ruled(sheet)
    if ruled.max() > _DIAGONAL and ruled.min() < _NO_DIAGONAL:
        return Further(odd="one diagonal")
    lined = bool(ruled.min() > _DIAGONAL)
    tone = tones(sheet)
    dark = tone < -max(_TINTED, 0.35 * -float(tone.min()))
    if not dark.any() or _decorates(tone, blocks):
        return Further(lined)
    side = sheet.side
    cross = crossed(side)
    for tinted in _kinds(tone, dark):
        if (tinted == cross).all():
            rest = _parts(tone, dark & ~tinted) if (dark & ~tinted).any() else ()
            return Further(True, rest) if rest is not None else Further(odd="tints")
    extra = _parts(tone, dark)
    if extra is None:
        return Further(lined, odd="tints" if _plain(tone, dark) else None)
    known = {tuple(sorted(block)) for block in blocks}
    return Further(lined, tuple(part for part in extra if part not in known))


def crossed(side: int) -> Flags:
    """The cells of both diagonals, bool (S, S)."""
    row, column = np.indices((side, side))
    return np.asarray((row == column) | (row + column == side - 1))


def tones(sheet: Sheet) -> Floats:
    """How dark each cell's paper is printed, (S, S), logs of its ratio to the lightest.

    The steps at edges that are rims of tints, summed up over the board by least squares.
    """
    side = sheet.side
    across = steps(sheet.edges)
    across -= np.median(across, axis=(1, 2), keepdims=True)  # light that falls off to one side
    across = np.where(np.abs(across) < _STEP, 0.0, across)
    if not across.any():
        return np.zeros((side, side))
    design = _differences(side)
    wanted = across.transpose(0, 2, 1).ravel()
    weight = np.ones(len(wanted))
    for _ in range(6):  # a shadow's rim crosses cells: few edges see it, and they disagree
        normal = design.T @ (design * weight[:, None]) + 1e-6 * np.eye(side * side)
        tone = np.linalg.solve(normal, design.T @ (weight * wanted))
        weight = 1 / np.maximum(np.abs(wanted - design @ tone), 0.01)
    return np.asarray((tone - np.quantile(tone, 0.98)).reshape(side, side))


@lru_cache
def _differences(side: int) -> Floats:
    """What each inner edge tells of the cells' tones, in the order of :meth:`Sheet.edges` with the
    lines first: (2 S (S - 1), S²).
    """
    cells = np.arange(side * side).reshape(side, side)
    one = np.concatenate([cells[:, :-1].T.ravel(), cells[:-1].ravel()])
    two = np.concatenate([cells[:, 1:].T.ravel(), cells[1:].ravel()])
    unit = np.eye(side * side)
    return np.asarray(unit[two] - unit[one])


def _kinds(tone: Floats, dark: Flags) -> list[Flags]:
    """All tinted cells, and where there are two tints those of either."""
    two = _two(tone, dark)
    return [dark, *two]


def _two(tone: Floats, dark: Flags) -> list[Flags]:
    """The cells of the darker and of the lighter tint, where there are two."""
    levels = np.sort(tone[dark])
    gaps = np.diff(levels)
    if not len(gaps) or gaps.max() < _SAME * -levels[0]:
        return []
    at = levels[int(gaps.argmax())]
    return [dark & (tone <= at), dark & (tone > at)]


def _parts(tone: Floats, dark: Flags) -> tuple[Cells, ...] | None:
    """The tinted cells as blocks of S cells that hang together; None where they are none."""
    side = len(dark)
    for kinds in ([dark], _two(tone, dark)):
        parts = [part for kind in kinds for part in _pieces(kind)]
        if parts and all(len(part) == side for part in parts):
            return tuple(sorted(parts))
    return None


def _pieces(dark: Flags) -> list[Cells]:
    """Cells that share sides, piece by piece."""
    import cv2

    count, labels = cv2.connectedComponents(dark.astype(np.uint8), connectivity=4)
    flat = labels.ravel()
    return [tuple(np.flatnonzero(flat == n).tolist()) for n in range(1, count)]


def _plain(tone: Floats, dark: Flags) -> bool:
    """Whether the tinted cells are so beyond doubt: stains and shade are of any tone."""
    gap = float(tone[~dark].min() - tone[dark].max()) if (~dark).any() else 0.0
    return bool(gap > _PLAINLY and dark.sum() >= len(dark))


def _decorates(tone: Floats, blocks: list[list[int]]) -> bool:
    """Whether whole blocks are tinted, each in a tone of its own: they are houses anyway."""
    flat = tone.ravel()
    within = [np.abs(flat[block] - np.median(flat[block])) for block in blocks]
    off = np.concatenate(within)
    return bool(ranked(off, 0.9) < 0.5 * _TINTED)


def _ruled(sheet: Sheet) -> Floats:
    """Of each of the two diagonals the share of its cells that show a line along it, (2,)."""
    grey, side = sheet.grey, sheet.side
    found = []
    for turned in (grey, grey[:, ::-1]):
        at = (np.arange(side)[:, None] + _SPOTS) * CELL + MARGIN
        on, one, two = (_at(turned, at + s, at - s) for s in (0.0, _ASIDE * CELL, -_ASIDE * CELL))
        stands = np.minimum(one, two) - on
        found.append(float((np.median(stands, axis=1) > _RULED).mean()))
    return np.array(found)


def _at(grey: Floats, x: Floats, y: Floats) -> Floats:
    """Brightness at places, on the falling line through each the median of three pixels, the
    darkest of those on the line itself and a pixel beside it.
    """
    column, row = np.rint(x - 0.5).astype(int), np.rint(y - 0.5).astype(int)
    lines = [
        np.median([grey[row + d + s, column + d] for d in (-1, 0, 1)], axis=0) for s in (-1, 0, 1)
    ]
    return np.asarray(np.min(lines, axis=0))
