"""Boards of any layout as printed: tints, diagonals, lines edge by edge, numbers and letters."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.pages.boards import LETTERS, Board
from papernudge.digits_model.training.pages.chance import stream
from papernudge.digits_model.training.pages.fonts import CAP, Supplies
from papernudge.digits_model.training.pages.paper import mottled
from papernudge.digits_model.training.pages.printing import (
    Box,
    highlight,
    line,
    row_of_dots,
    rule_grid,
    set_glyph,
    worn,
)
from papernudge.digits_model.training.pages.sheet import Raster, Sheet
from papernudge.digits_model.training.pages.spec import Colour, PageSpec
from papernudge.digits_model.training.pages.truth import CellTruth
from papernudge.hints.layout import Layout, beside

_SUB = 3  # cv2 takes coordinates in eighths of a pixel


@dataclass(frozen=True, slots=True)
class Stand:
    """Where a board stands: its first corner on the page, cells, and the side of its own cells."""

    sheet: Sheet
    x: float
    y: float
    unit: float

    def cell(self, layout: Layout, cell: int) -> Box:
        """The box of a cell on the page."""
        row, column = layout.place(cell)
        u = self.unit
        left, top = self.x + column * u, self.y + row * u
        return left, top, left + u, top + u

    def draw(
        self, side: int, strokes: Sequence[npt.NDArray[np.float64]], weight: float, ink: Colour
    ) -> None:
        """Lines through points (n, 2) in the board's cells, ``weight`` cells wide."""
        mask = self._mask(side, strokes, weight)
        off = 0.5 * self.unit
        self.sheet.stamp(mask, self.x - off, self.y - off, ink)

    def whiten(self, side: int, strokes: Sequence[npt.NDArray[np.float64]], weight: float) -> None:
        """The same lines left white, whatever lies there."""
        off = 0.5 * self.unit
        self.sheet.clear(self._mask(side, strokes, weight), self.x - off, self.y - off)

    def _mask(self, side: int, strokes: Sequence[npt.NDArray[np.float64]], weight: float) -> Raster:
        import cv2

        scale = self.sheet.scale * self.unit
        mask = np.zeros((int((side + 1) * scale) + 2,) * 2, np.uint8)
        wide = max(1, round(weight * scale))
        for points in strokes:
            at = np.round((points + 0.5) * scale * (1 << _SUB)).astype(np.int32)
            cv2.polylines(mask, [at], False, 255, wide, cv2.LINE_AA, _SUB)
        return mask


# ---------------------------------------------------------------- tints


def tint_board(
    stand: Stand, spec: PageSpec, board: Board, number: int, cells: Sequence[CellTruth]
) -> None:
    """The tints under a board's cells, those that say something about the rules first; where there
    are such, there are no others. Then a marker's colour.
    """
    layout = board.layout
    inks = inks_of(board)
    if not board.tinted:
        some = stream(spec.seed, "shade", number).random(layout.many) < 0.18
        odd = int(stream(spec.seed, "shade side", number).integers(2))
        for cell, truth in enumerate(cells):
            if _shaded(spec, layout, cell, truth, bool(some[cell]), odd):
                inks.setdefault(cell, []).append(spec.shade_ink)
    for cell, layers in inks.items():
        cells[cell].marks.append("shaded")
        for ink in layers:
            stand.sheet.bar(*stand.cell(layout, cell), ink)
    chance = stream(spec.seed, "highlight", number)
    for cell, truth in enumerate(cells):
        if "highlit" in truth.marks:
            x0, y0, _, _ = stand.cell(layout, cell)
            highlight(stand.sheet, chance, x0, y0, int(chance.integers(4)), stand.unit)


def inks_of(board: Board) -> dict[int, list[Colour]]:
    """The tints that the rules give to each cell."""
    found: dict[int, list[Colour]] = {}
    plan, layout = board.layout.plan, board.layout
    if board.regions:
        for block, colour in zip(plan.blocks, coloured(layout), strict=True):
            for cell in block:
                found.setdefault(cell, []).append(board.regions[colour % len(board.regions)])
    for k, block in enumerate([*plan.extra, *board.pieces]):
        for cell in block:
            found.setdefault(cell, []).append(board.tints[k % len(board.tints)])
    if board.tints_diagonals:
        ink = board.tints[(len(plan.extra) + len(board.pieces)) % len(board.tints)]
        lines = range(layout.side)
        for cell in {layout.at(k, c) for k in lines for c in (k, layout.side - 1 - k)}:
            found.setdefault(cell, []).append(ink)
    return found


def _shaded(
    spec: PageSpec, layout: Layout, cell: int, truth: CellTruth, some: bool, odd: int
) -> bool:
    row, column = layout.place(cell)
    high, wide = layout.even or (layout.side, layout.side)
    return {
        "blocks": layout.even is not None and (row // high + column // wide) % 2 == odd,
        "cells": some,
        "givens": truth.kind == "given",
        "all": True,
    }.get(spec.shade, False)


@lru_cache(maxsize=512)
def coloured(layout: Layout) -> tuple[int, ...]:
    """A number from 0 for each block, so that no two that touch along a side have the same."""
    blocks = layout.plan.blocks
    home = {cell: number for number, block in enumerate(blocks) for cell in block}
    near = [
        {home[other] for cell in block for other in beside(layout.side, cell)} - {number}
        for number, block in enumerate(blocks)
    ]
    most = 2
    while True:  # as few as will do
        chosen: list[int] = []
        if _colour(near, most, chosen):
            return tuple(chosen)
        most += 1


def _colour(near: list[set[int]], most: int, chosen: list[int]) -> bool:
    block = len(chosen)
    if block == len(near):
        return True
    for colour in range(most):
        if all(chosen[other] != colour for other in near[block] if other < block):
            chosen.append(colour)
            if _colour(near, most, chosen):
                return True
            chosen.pop()
    return False


# ---------------------------------------------------------------- lines


def cross_board(stand: Stand, board: Board) -> None:
    """The lines along both diagonals, if they are printed."""
    if not board.layout.plan.diagonals or board.diagonal == "tint":
        return
    side = float(board.layout.side)
    t = np.linspace(0, side, 2)
    if board.diagonal == "dashes":
        starts = np.arange(0.0, side, 0.25)
        parts = [np.array([s, min(side, s + 0.14)]) for s in starts]
    else:
        parts = [t]
    lines = [np.stack([part, part], 1) for part in parts]
    lines += [np.stack([part, side - part], 1) for part in parts]
    stand.draw(board.layout.side, lines, board.diagonal_weight, board.diagonal_ink)


def rule_board(stand: Stand, spec: PageSpec, layout: Layout) -> None:
    """The lines of a board: even blocks as a lattice, others edge by edge."""
    sheet, x, y, unit = stand.sheet, stand.x, stand.y, stand.unit
    if layout.even is not None:
        rule_grid(sheet, spec, x, y, layout.side, layout.even, unit)
        return
    end = layout.side * unit
    least = 0.7 / sheet.scale
    for k, upright, first, stop, heavy in edges(layout):
        weight = (spec.thick if heavy else spec.thin) * unit
        cover, half = min(1.0, max(0.45, weight / least)), max(weight, least) / 2
        ink = spec.thick_ink if heavy else spec.thin_ink
        from_, long = first * unit, (stop - first) * unit
        left, top = (x, y + from_) if upright else (x + from_, y)
        if heavy and spec.double:
            for off in (-half * 1.3, half * 1.3):
                line(sheet, left, top, k * unit + off, long, half * 0.6, ink, cover, upright, half)
        elif spec.dotted and not heavy:
            row_of_dots(sheet, left, top, k * unit, long, max(half, 0.014 * unit), ink, upright)
        else:
            over = half if heavy else 0.0  # corners are filled
            line(sheet, left, top, k * unit, long, half, ink, cover, upright, over)
    if spec.outer > 0:
        weight = spec.outer * unit
        cover, half = min(1.0, max(0.45, weight / least)), max(weight, least) / 2
        for rim in (0.0, end):
            for upright in (False, True):
                line(sheet, x, y, rim, end, half, spec.thick_ink, cover, upright, weight / 2)


def edges(layout: Layout) -> Iterator[tuple[int, bool, int, int, bool]]:
    """The lines inside a board in runs of one weight, thin ones first: which line, whether it is
    upright, from and to which cell along it, and whether two blocks meet there.
    """
    block, side = layout.blocks, layout.side
    found = []
    for k in range(1, side):
        for upright in (False, True):
            pairs = [
                (layout.at(i, k - 1), layout.at(i, k))
                if upright
                else (layout.at(k - 1, i), layout.at(k, i))
                for i in range(side)
            ]
            at = 0
            for heavy, run in groupby(block[one] != block[two] for one, two in pairs):
                long = len(list(run))
                found.append((k, upright, at, at + long, heavy))
                at += long
    return iter(sorted(found, key=lambda run: run[4]))


# ---------------------------------------------------------------- what is printed in cells


@lru_cache(maxsize=4096)
def set_sign(
    held: Supplies, file: str, digit: int, board: Board, cap_px: float, gain_px: float
) -> tuple[Raster, float, float, Box]:
    """What is printed for a digit: as ``printing.set_digit``, for numbers of two figures and
    letters too. Figures stand beside each other as far apart as the typeface sets two ones.
    """
    if digit <= 9:
        glyph, narrow = held.digits(file)[digit], 1.0
    elif board.symbols == LETTERS:
        glyph, narrow = held.letters(file)[digit - 10], 1.0
    else:
        figures = held.digits(file)
        room = np.zeros((figures[1].shape[0], round(0.03 * CAP)), np.uint8)
        glyph = np.hstack([figures[1], room, figures[digit - 10]])
        narrow, cap_px = board.narrow, cap_px * board.figure_high
    return set_glyph(glyph, cap_px, gain_px, narrow)


def print_board(
    stand: Stand, spec: PageSpec, held: Supplies, board: Board, cells: Sequence[CellTruth]
) -> dict[int, Box]:
    """Prints every given; returns the box of each one's ink on the page, cells."""
    sheet, scale = stand.sheet, stand.sheet.scale
    cap = max(3.0, round(_cap(spec, held, board) * scale * stand.unit * 2) / 2)
    gain = round(spec.gain * scale * stand.unit, 1)
    uneven = mottled(round(spec.mottle * 10))
    spots = stream(spec.seed, "mottle").integers(0, 250, (len(cells), 2)).tolist()
    boxes: dict[int, Box] = {}
    for cell, truth in enumerate(cells):
        if truth.kind != "given" or not truth.digit:
            continue
        mask, left, top, box = set_sign(held, spec.face, truth.digit, board, cap, gain)
        x, y, _, _ = stand.cell(board.layout, cell)
        u, v = x + (0.5 + spec.digit_x) * stand.unit, y + (0.5 + spec.digit_y) * stand.unit
        if spec.mottle >= 0.05:
            sy, sx = spots[cell]
            mask = worn(mask, uneven[sy : sy + mask.shape[0], sx : sx + mask.shape[1]])
        sheet.stamp(mask, u + left / scale, v + top / scale, spec.given_ink)
        boxes[cell] = (
            u + box[0] / scale,
            v + box[1] / scale,
            u + box[2] / scale,
            v + box[3] / scale,
        )
    return boxes


_ROOM = 0.84
"""Share of a cell that a printed number fills at most."""


def _cap(spec: PageSpec, held: Supplies, board: Board) -> float:
    """Height of digits in cells: as in the spec, less where the widest number would not fit."""
    high = spec.digit_high
    if board.layout.side < 10:
        return high
    widest = max(
        box[2] - box[0]
        for digit in range(10, board.layout.side + 1)
        for box in [set_sign(held, spec.face, digit, board, CAP, 0.0)[3]]
    )
    return min(high, _ROOM * CAP / max(1.0, widest))
