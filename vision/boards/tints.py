"""Tints and diagonals: what makes further houses of a board.

A tint is darker paper whose rim lies on the edges of cells; light and shade pass over them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.hints.layout import beside
from papernudge.vision.boards.sheet import CELL, MARGIN, Sheet, pairs, steps, unevenness
from papernudge.vision.lines import ranked

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Cells = tuple[int, ...]

_STEP = 0.022
"""Log of the ratio of the paper on two sides of an edge below which there is no tint's rim."""
_TINTED = 0.03
"""Log of the ratio of a board's light paper to a tint, at least."""
_ALIKE = (0.015, 0.025, 0.04, 0.06)
"""By how much neighbours of one tint may differ, logs."""
_MOSTLY, _STEADY = 0.9, 0.7
"""Share of an extra block's cells, and of those around it, whose paper must be as even as this
share of its step to them."""
_GAPS = 3
"""Cells of an extra block that may be marked besides."""
_MANY = 2
"""So many such pieces are extra blocks whatever shade lies on them."""
_HALF = 0.5
"""Share of these pieces' darkness that their mirror images must have."""
_CROSS = 0.85
"""Share of neighbours beside the diagonals that must be lighter."""
_FEW = 3
"""Cells that make a tint at least."""
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
    the cells of each extra block; ``odd``: whether something was seen that is no such house.
    """

    diagonals: bool = False
    extra: tuple[Cells, ...] = ()
    odd: bool = False


def further(sheet: Sheet, blocks: list[list[int]]) -> Further:
    """What a flat board shows of further houses. ``blocks``: the cells of each block."""
    ruled = _ruled(sheet)
    if ruled.max() > _DIAGONAL and ruled.min() < _NO_DIAGONAL:
        return Further(odd=True)
    tone, uneven = tones(sheet), unevenness(sheet.edges)
    diagonals = bool(ruled.min() > _DIAGONAL) or _cross_tinted(tone)
    known = {tuple(sorted(block)) for block in blocks} | _lines(sheet.side)
    extra = tuple(part for part in _extra(tone, uneven) if part not in known)
    cross = set(np.flatnonzero(crossed(sheet.side).ravel()).tolist()) if diagonals else set()
    extra = tuple(part for part in extra if not set(part) <= cross)
    told = cross.union(*extra)
    odd = _lonely(extra, sheet.side) or not (told or _decorates(tone, blocks) or not _tinted(tone))
    return Further(diagonals, extra, odd)


def _lonely(extra: tuple[Cells, ...], side: int) -> bool:
    """Whether one extra block is all that was seen, off the middle: others may lie in shade."""
    if len(extra) != 1:
        return False
    flags = np.zeros(side * side, bool)
    flags[list(extra[0])] = True
    board = flags.reshape(side, side)
    return not any((board == image).all() for image in (board[::-1], board[:, ::-1]))


def _lines(side: int) -> set[Cells]:
    """Rows and columns: houses anyway, and what a shadow along a side looks like."""
    cells = np.arange(side * side).reshape(side, side)
    return {tuple(line) for lines in (cells, cells.T) for line in lines.tolist()}


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
    wanted = across.ravel()
    weight = np.ones(len(wanted))
    for _ in range(6):  # a shadow's rim crosses cells: few edges see it, and they disagree
        normal = design.T @ (design * weight[:, None]) + 1e-6 * np.eye(side * side)
        tone = np.linalg.solve(normal, design.T @ (weight * wanted))
        weight = 1 / np.maximum(np.abs(wanted - design @ tone), 0.01)
    return np.asarray((tone - np.quantile(tone, 0.98)).reshape(side, side))


@lru_cache
def _differences(side: int) -> Floats:
    """What each inner edge tells of the cells' tones: (2 S (S - 1), S²)."""
    one, two = (part.ravel() for part in pairs(side))
    unit = np.eye(side * side)
    return np.asarray(unit[two] - unit[one])


def _neighbours(side: int) -> list[list[int]]:
    """Of each cell those that share a side with it."""
    return [beside(side, cell) for cell in range(side * side)]


def _extra(tone: Floats, uneven: npt.NDArray[np.float32]) -> tuple[Cells, ...]:
    """Pieces of S cells that hang together, alike in tone, and darker than all around them but
    other such pieces.

    ``uneven``: (S, S), see :func:`unevenness`. Alike at one of several tolerances (as of maximally
    stable regions: J. Matas et al., Image and Vision Computing 22(10), 2004): shade makes one paper
    lighter here than there.
    """
    side, flat = len(tone), tone.ravel()
    near = _neighbours(side)
    found: dict[Cells, bool] = {}
    for alike in _ALIKE:
        every = _alike(flat, near, alike)
        marked = {c for p in every if len(p) == 1 for c in p if _darker(flat, near, c, alike)}
        pieces = [piece for p in every if len(piece := _filled(p, marked, near, side)) == side]
        held = marked.union(*pieces)
        for piece in pieces:
            inside = set(piece)
            rim = [(c, b) for c in piece for b in near[c] if b not in inside]
            paper = [(c, b) for c, b in rim if b not in held]
            least = max(_TINTED, 1.3 * alike)
            if 2 * len(paper) <= len(rim) or not paper:
                continue
            gap = min(flat[b] - flat[c] for c, b in paper)
            looked = sorted(inside.union(b for _, b in paper))
            if gap > least:
                even = float(ranked(uneven.ravel()[looked], _MOSTLY)) < _STEADY * gap
                found[piece] = found.get(piece, False) or even
    apart = [one for one in sorted(found) if not _meets(one, found)]
    # Shade may look like one such piece, not like several.
    sure = [one for one in apart if found[one] or len(apart) >= _MANY]
    return tuple(sorted({*sure, *_mirrored(sure, flat, near, side)}))


def _mirrored(pieces: list[Cells], flat: Floats, near: list[list[int]], side: int) -> list[Cells]:
    """Mirror images of several pieces that are mostly darker than what is around them: extra blocks
    are printed evenly, and one may be written over.
    """
    if len(pieces) < _MANY:
        return []
    cells = np.arange(side * side).reshape(side, side)
    maps = (cells[::-1], cells[:, ::-1], cells[::-1, ::-1], cells.T)
    images = {tuple(sorted(m.ravel()[list(p)].tolist())) for m in maps for p in pieces}
    free = [i for i in images if not any(set(i) & set(p) for p in pieces)]
    printed = set().union(*pieces)

    def step(piece: Cells) -> float:
        rim = {b for c in piece for b in near[c]} - set(piece) - printed
        if not rim:
            return 0.0
        return float(np.median(flat[sorted(rim)]) - np.median(flat[list(piece)]))

    least = max(_TINTED, _HALF * float(np.median([step(piece) for piece in pieces])))
    return [image for image in free if step(image) > least and not _meets(image, free)]


def _darker(flat: Floats, near: list[list[int]], cell: int, least: float) -> bool:
    """Whether a cell is darker than all beside it: somebody marked it."""
    return all(flat[b] - flat[cell] > least for b in near[cell])


def _filled(piece: Cells, marked: set[int], near: list[list[int]], side: int) -> Cells:
    """A piece of almost so many cells with the marked ones that fill its gaps."""
    if not side - _GAPS <= len(piece) < side:
        return piece
    inside = set(piece)
    gaps = {c for c in marked if len(inside.intersection(near[c])) >= 2}
    return tuple(sorted(inside | gaps))


def _meets(one: Cells, others: Iterable[Cells]) -> bool:
    """Whether a piece shares cells with another."""
    return any(set(one) & set(other) for other in others if other != one)


def _alike(flat: Floats, near: list[list[int]], most: float) -> list[Cells]:
    """Pieces of cells of which neighbours differ in tone by no more than ``most``."""
    left = set(range(len(flat)))
    pieces = []
    while left:
        todo = [left.pop()]
        piece = list(todo)
        while todo:
            cell = todo.pop()
            for other in near[cell]:
                if other in left and abs(flat[other] - flat[cell]) <= most:
                    left.discard(other)
                    todo.append(other)
                    piece.append(other)
        pieces.append(tuple(sorted(piece)))
    return pieces


def _cross_tinted(tone: Floats) -> bool:
    """Whether the cells of both diagonals are darker than those beside them."""
    side, flat = len(tone), tone.ravel()
    on = crossed(side).ravel()
    near = _neighbours(side)
    darker = [
        flat[other] - flat[cell] > _TINTED
        for cell in np.flatnonzero(on).tolist()
        for other in near[cell]
        if not on[other]
    ]
    return float(np.mean(darker)) > _CROSS


def _tinted(tone: Floats) -> bool:
    """Whether some cells are tinted beyond doubt: stains and shade are of any tone."""
    levels = np.sort(tone.ravel())
    gaps = np.diff(levels)
    at = int(gaps.argmax())
    dark, light = levels[: at + 1], levels[at + 1 :]
    spread = max(float(np.ptp(dark)), float(np.ptp(light)))
    return bool(gaps[at] > max(_TINTED, spread) and min(len(dark), len(light)) >= _FEW)


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


def _at(grey: npt.NDArray[np.floating[Any]], x: Floats, y: Floats) -> Floats:
    """Brightness at places, on the falling line through each the median of three pixels, the
    darkest of those on the line itself and a pixel beside it.
    """
    column, row = np.rint(x - 0.5).astype(int), np.rint(y - 0.5).astype(int)
    lines = [
        np.median([grey[row + d + s, column + d] for d in (-1, 0, 1)], axis=0) for s in (-1, 0, 1)
    ]
    return np.asarray(np.min(lines, axis=0))
