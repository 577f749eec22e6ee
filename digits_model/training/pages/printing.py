"""Printed grids: shading, lines, givens."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from papernudge.digits_model.training.pages.chance import stream
from papernudge.digits_model.training.pages.fonts import BASE, CAP, Supplies
from papernudge.digits_model.training.pages.paper import mottled
from papernudge.digits_model.training.pages.sheet import Raster, Sheet
from papernudge.digits_model.training.pages.spec import Colour, PageSpec
from papernudge.digits_model.training.pages.truth import CellTruth

Box = tuple[float, float, float, float]


def shade_cells(
    sheet: Sheet, spec: PageSpec, number: int, x: float, y: float, cells: Sequence[CellTruth]
) -> None:
    """The tint under cells or blocks, if the spec has one, and a marker's colour."""
    chance = stream(spec.seed, "shade", number)
    some = (chance.random(81) < 0.18).tolist()
    odd = int(chance.integers(2))
    dots = _dot_screen(sheet, spec) if spec.shade and spec.halftone else None
    for i, cell in enumerate(cells):
        r, c = divmod(i, 9)
        tinted = {
            "blocks": (r // 3 + c // 3) % 2 == odd,
            "cells": some[i],
            "givens": cell.kind == "given",
            "all": True,
        }.get(spec.shade, False)
        if tinted:
            cell.marks.append("shaded")
            _tint(sheet, spec, x + c, y + r, dots)
        if "highlit" in cell.marks:
            highlight(sheet, chance, x + c, y + r, odd * 2 + int(some[0]))


_MARKERS = ((120, 255, 255), (200, 170, 255), (150, 255, 180), (255, 215, 150))


def highlight(
    sheet: Sheet, chance: np.random.Generator, x: float, y: float, marker: int, unit: float = 1.0
) -> None:
    """A cell of side ``unit`` at x, y coloured with one of four markers."""
    dx, dy = (unit * chance.uniform(0.04, 0.16, 2)).tolist()
    sheet.bar(x + dx, y + dy, x + unit - dy, y + unit - dx, _MARKERS[marker], 0.8)


def _tint(sheet: Sheet, spec: PageSpec, x: float, y: float, dots: Raster | None) -> None:
    """A tinted cell: solid, or as dots on a screen."""
    if dots is None:
        sheet.bar(x, y, x + 1, y + 1, spec.shade_ink)
        return
    # Dots of half the area in an ink twice as strong look the same from afar.
    ink = [max(0, 255 - 2 * (255 - level)) for level in spec.shade_ink]
    sheet.stamp(dots, x + 0.5 / sheet.scale, y + 0.5 / sheet.scale, (ink[0], ink[1], ink[2]))


def _dot_screen(sheet: Sheet, spec: PageSpec) -> Raster:
    """A cell of dots on a screen turned by 45 degrees."""
    side = max(2, round(sheet.scale))
    at = 2 * np.pi * np.arange(side) / sheet.scale * spec.halftone / np.sqrt(2)
    wave = np.cos(at[None, :] + at[:, None]) + np.cos(at[None, :] - at[:, None])
    return np.asarray(np.clip(127.5 + 160 * wave, 0, 255), np.uint8)


def rule_grid(
    sheet: Sheet,
    spec: PageSpec,
    x: float,
    y: float,
    size: int = 9,
    block: tuple[int, int] = (3, 3),
    unit: float = 1.0,
) -> None:
    """The lines of a square grid of ``size`` cells whose blocks are ``block`` (high, wide)."""
    end = size * unit
    weights = (spec.thin * unit, spec.thick * unit, spec.outer * unit)
    least = 0.7 / sheet.scale  # a printed hairline is still seen
    for k in range(size + 1):
        for upright in (False, True):
            heavy = k % block[1 if upright else 0] == 0
            border = k in {0, size}
            weight = weights[2] if border else weights[1] if heavy else weights[0]
            if weight <= 0:
                continue
            ink = spec.thick_ink if border or heavy else spec.thin_ink
            cover = min(1.0, max(0.45, weight / least))
            half = max(weight, least) / 2
            if heavy and not border and spec.double:
                for off in (-half * 1.3, half * 1.3):
                    line(sheet, x, y, k * unit + off, end, half * 0.6, ink, cover, upright)
            elif spec.dotted and not (heavy or border):
                row_of_dots(sheet, x, y, k * unit, end, max(half, 0.014 * unit), ink, upright)
            else:
                over = weights[2] / 2 if not border or weights[2] else 0.0
                line(sheet, x, y, k * unit, end, half, ink, cover, upright, over)


def line(
    sheet: Sheet,
    x: float,
    y: float,
    at: float,
    end: float,
    half: float,
    ink: Colour,
    cover: float,
    upright: bool,
    over: float = 0.0,
) -> None:
    """A line that reaches ``half`` to either side, ``at`` from x, y across it and ``end`` long;
    ``over``: how far it goes on at both ends. All in cells of the page.
    """
    if upright:
        sheet.bar(x + at - half, y - over, x + at + half, y + end + over, ink, cover)
    else:
        sheet.bar(x - over, y + at - half, x + end + over, y + at + half, ink, cover)


def row_of_dots(
    sheet: Sheet, x: float, y: float, at: float, end: float, half: float, ink: Colour, upright: bool
) -> None:
    """A row of square dots: cut out of one line by a pattern along it."""
    high, wide = (end, 2 * half) if upright else (2 * half, end)
    rows, columns = max(1, round(high * sheet.scale)), max(1, round(wide * sheet.scale))
    along = np.arange(rows if upright else columns) / sheet.scale
    on = np.clip(1.5 + 2.5 * np.cos(2 * np.pi * along / max(0.09, 5 * half)), 0, 1) * 255
    pattern = on.astype(np.uint8)
    mask = np.repeat(pattern[:, None], columns, 1) if upright else np.repeat(pattern[None], rows, 0)
    left, top = (x + at - half, y) if upright else (x, y + at - half)
    sheet.stamp(np.ascontiguousarray(mask), left, top, ink)


@lru_cache(maxsize=2048)
def set_digit(
    held: Supplies, file: str, digit: int, cap_px: float, gain_px: float
) -> tuple[Raster, float, float, Box]:
    """A printed digit at its size, as of :func:`set_glyph`."""
    return set_glyph(held.digits(file)[digit], cap_px, gain_px)


def set_glyph(
    glyph: Raster, cap_px: float, gain_px: float, narrow: float = 1.0
) -> tuple[Raster, float, float, Box]:
    """A printed sign at its size: mask, where its first pixel lies from its middle (pixels x, y;
    the middle of a lining digit's body), and the box of its ink likewise. ``narrow``: its width
    beside the typeface's.
    """
    import cv2

    factor = cap_px / CAP
    size = (max(1, round(glyph.shape[1] * factor * narrow)), max(1, round(glyph.shape[0] * factor)))
    pad = 2
    small = cv2.resize(
        glyph, size, interpolation=cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR
    )
    mask = np.asarray(
        cv2.copyMakeBorder(small, pad, pad, pad, pad, cv2.BORDER_CONSTANT, value=0), np.uint8
    )
    mask = spread(mask, gain_px)
    left, top = -size[0] / 2 - pad, -(BASE - CAP / 2) * factor - pad
    x, y, wide, high = cv2.boundingRect((mask > 60).view(np.uint8))
    box = (left + x, top + y, left + (x + wide - 1), top + (y + high - 1)) if wide else (0.0,) * 4
    return mask, left, top, tuple(float(v) for v in box)  # type: ignore[return-value]


def spread(mask: Raster, gain_px: float) -> Raster:
    """Ink that has spread by ``gain_px`` pixels, or shrunk where it is negative.

    Worn print stays visible: a stroke keeps at least half its darkness.
    """
    import cv2

    if abs(gain_px) < 0.05:
        return mask
    soft = cv2.GaussianBlur(mask, (0, 0), max(0.5, 1.2 * abs(gain_px))).astype(np.float32)
    # An edge moves where its half-way level is put elsewhere; bare paper has to stay bare, so
    # the level keeps away from 0.
    half = 127.5 - 60 * np.clip(gain_px, -1, 1)
    moved = np.clip((soft - half) * 2.2 + 127.5, 0, 255)
    return np.asarray(np.maximum(moved, mask * 0.6), np.uint8)


def worn(mask: Raster, uneven: Raster) -> Raster:
    """The mask with ink that covers unevenly; ``uneven`` as from ``mottled``, any size."""
    import cv2

    if uneven.shape != mask.shape:
        uneven = np.asarray(cv2.resize(uneven, (mask.shape[1], mask.shape[0])), np.uint8)
    return np.asarray(cv2.multiply(mask, uneven, scale=1 / 255), np.uint8)


def print_givens(
    sheet: Sheet,
    spec: PageSpec,
    held: Supplies,
    x: float,
    y: float,
    cells: Sequence[CellTruth],
    unit: float = 1.0,
) -> dict[int, Box]:
    """Prints every given; returns the box of each one's ink on the page, cells."""
    cap = round(spec.digit_high * sheet.scale * unit * 2) / 2
    gain = round(spec.gain * sheet.scale * unit, 1)
    boxes: dict[int, Box] = {}
    uneven = mottled(round(spec.mottle * 10))
    spots = stream(spec.seed, "mottle").integers(0, 250, (81, 2)).tolist()
    for i, cell in enumerate(cells):
        if cell.kind != "given" or not cell.digit:
            continue
        mask, left, top, box = set_digit(held, spec.face, cell.digit, max(3.0, cap), gain)
        u = x + (i % 9 + 0.5 + spec.digit_x) * unit
        v = y + (i // 9 + 0.5 + spec.digit_y) * unit
        s = sheet.scale
        if spec.mottle >= 0.05:
            sy, sx = spots[i]
            mask = worn(mask, uneven[sy : sy + mask.shape[0], sx : sx + mask.shape[1]])
        sheet.stamp(mask, u + left / s, v + top / s, spec.given_ink)
        boxes[i] = (u + box[0] / s, v + box[1] / s, u + box[2] / s, v + box[3] / s)
    return boxes
