"""Ink laid down by a hand: strokes on a layer, with width, pressure and grain."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.pages.chance import stream
from papernudge.digits_model.training.pages.spec import Colour, PageSpec
from papernudge.digits_model.training.pages.strokes import (
    Samples,
    Shape,
    beside,
    joined,
    nought,
    variants,
    warped,
)

Layer = npt.NDArray[np.uint8]
Box = tuple[float, float, float, float]

_SUB = 3  # cv2 takes coordinates in eighths of a pixel
MARGIN = 1.5
"""Cells around the grid that a layer also covers, for notes in the margin."""
EVERYWHERE: Box = (-np.inf, -np.inf, np.inf, np.inf)


@dataclass(frozen=True, slots=True)
class Pen:
    """What is written with. ``width`` in cells, ``cover`` and ``grain`` 0 to 1."""

    ink: Colour
    width: float
    cover: float
    grain: float
    vary: float
    laid: bool = False
    """Put on the photo by program, as in made-up photo collections, not on the paper."""


WIDEST = 0.13
"""Width of a stroke at most, share of an entry's height: three strokes of an 8 or 9 lie above one
another with paper between them, and nobody writes so small that his pen fills them."""


def main_pen(spec: PageSpec) -> Pen:
    """The pen of the entries."""
    ink, width, cover = spec.pen_ink, spec.pen_width, spec.pen_cover
    most = WIDEST * spec.entry_high
    if spec.pen == "pencil":
        return _pencil(spec)
    if spec.pen == "felt":
        return Pen(ink, min(max(width * 1.5, 0.06), most), max(cover, 0.85), 0.0, 0.15)
    if spec.pen == "gel":
        return Pen(ink, min(width * 1.25, most), max(cover, 0.85), 0.0, 0.15)
    if spec.pen == "laid":
        return Pen(ink, min(max(width * 1.2, 0.05), most), 1.0, 0.0, 0.3, laid=True)
    return Pen(ink, min(width, most), cover, 0.15, 0.3)


def _pencil(spec: PageSpec) -> Pen:
    level = 50 + int(60 * (1 - spec.pen_cover))
    width = min(spec.pen_width, WIDEST * spec.entry_high)
    return Pen((level + 4, level, level - 2), width, spec.pen_cover * 0.95, 0.5, 0.35)


def second_pen(spec: PageSpec) -> Pen:
    """What lies nearest when the main pen does not: a pencil, or a dark ballpoint."""
    if spec.pen in {"pencil", "laid"}:
        return Pen((70, 45, 40), 0.028, 0.9, 0.15, 0.3)
    return _pencil(spec)


def note_pen(spec: PageSpec) -> Pen:
    """The pen of the notes: finer than that of the entries."""
    pen = _pencil(spec) if spec.note_pencil else main_pen(spec)
    return Pen(
        pen.ink, min(max(pen.width * 0.75, 0.024), 0.042), pen.cover, pen.grain, pen.vary, pen.laid
    )


class Writer:
    """One solver's hand on one page."""

    def __init__(self, spec: PageSpec, held: Samples) -> None:
        """Chooses the writer of the spec's split and the variants this hand prefers."""
        self._held, self._spec = held, spec
        folk = held.writers[spec.split]
        self._writer = folk[spec.writer % len(folk)]
        chance = stream(spec.seed, "habits")
        self._ways = {d: int(chance.integers(len(ways))) for d, ways in variants().items()}
        self._drawn = {d: bool(chance.random() < spec.variants) for d in variants()}
        self._shear = float(np.tan(np.radians(spec.slant)))

    def shape(self, digit: int, chance: np.random.Generator) -> Shape:
        """The digit as this hand writes it once more: 1 high, centred, less high where two figures
        stand beside each other. The writers wrote no noughts: those are drawn by us.
        """
        if digit > 9:
            return beside(self.shape(1, chance), self.shape(digit - 10, chance), chance)
        if digit == 0:
            base = nought(chance)
        elif self._drawn[digit]:
            base = variants()[digit][self._ways[digit]]
        else:
            of = self._held.of(self._writer, digit)
            base = self._held.shape(int(of[int(chance.integers(len(of)))]))
        return warped(base, chance, self._spec.wobble, self._shear + float(chance.normal(0, 0.05)))


class _Stretches(NamedTuple):
    """The stretches of three steps, or what is left at its end, that a shape's strokes fall into.

    ``sway``: (n,) how far along its stroke each lies, 0 to 6, and ``off``: how far from its
    middle, -0.5 to 0.5. ``first`` and ``stop``: its first point and the one after its last.
    ``opens``: which are the first of a stroke.
    """

    sway: npt.NDArray[np.float64]
    off: npt.NDArray[np.float64]
    first: list[int]
    stop: list[int]
    opens: frozenset[int]


@lru_cache(maxsize=2048)
def _stretches(ends: tuple[int, ...]) -> _Stretches:
    """Those of strokes that end before these points."""
    parts: list[npt.NDArray[np.float64]] = []
    first: list[int] = []
    stop: list[int] = []
    opens: list[int] = []
    for start, end in pairwise((0, *ends)):
        steps = np.arange(0, end - start - 1, 3)
        opens.append(len(first))
        parts.append((steps + 1.5) / (end - start))
        first += (start + steps).tolist()
        stop += np.minimum(start + steps + 4, end).tolist()
    part = np.concatenate(parts)
    return _Stretches(6 * part, part - 0.5, first, stop, frozenset(opens))


class InkLayer:
    """Ink of one pen over one grid, drawn large and reduced once.

    Positions are in cells of the grid, 0, 0 its top-left corner. ``mask``: uint8, 255 full ink.
    ``inked``: box of all ink so far, cells.
    """

    def __init__(self, pen: Pen, px: int, seen: Box = EVERYWHERE, side: int = 9) -> None:
        """``px``: layer pixels a cell. ``seen``: the box, cells, outside which nobody will look.
        ``side``: cells of the grid each way.
        """
        self.pen, self.px, self.seen, self.side = pen, px, seen, side
        pixels = int((side + 2 * MARGIN) * px)
        self.mask: Layer = np.zeros((pixels, pixels), np.uint8)
        self.inked: Box = (np.inf, np.inf, -np.inf, -np.inf)

    def write(
        self,
        shape: Shape,
        x: float,
        y: float,
        high: float,
        chance: np.random.Generator,
        level: float = 1.0,
        width: float = 1.0,
    ) -> Box:
        """One digit or sign of height ``high`` centred on x, y; returns its box in cells."""
        points = shape.points * high + np.array([x, y])
        return self.trace(Shape(points, shape.ends), chance, level, width)

    def trace(
        self,
        shape: Shape,
        chance: np.random.Generator,
        level: float = 1.0,
        width: float = 1.0,
    ) -> Box:
        """Pen movements through points in cells; returns the box of the ink in cells."""
        import cv2

        pen, px, points = self.pen, self.px, shape.points
        wide = max(1.0, pen.width * width * px)
        press, lean = chance.uniform(-1, 1, 2).tolist()
        shade = int(min(max(255 * level * chance.uniform(0.85, 1.0), 1), 255))
        half = wide / px / 2
        x0, y0 = (v - half for v in points.min(axis=0).tolist())
        x1, y1 = (v + half for v in points.max(axis=0).tolist())
        old, seen = self.inked, self.seen
        self.inked = (min(old[0], x0), min(old[1], y0), max(old[2], x1), max(old[3], y1))
        # A cell more than is seen, since reducing and rubbing mix what lies side by side.
        if x0 > seen[2] + 1 or y0 > seen[3] + 1 or x1 < seen[0] - 1 or y1 < seen[1] - 1:
            return x0, y0, x1, y1
        places = np.rint(((points + MARGIN) * px - 0.5) * (1 << _SUB)).astype(np.int32)
        sway, off, first, stop, opens = _stretches(shape.ends)
        girth = wide * (1 + pen.vary * (0.6 * press * off + 0.5 * np.sin(sway + 3 * lean)))
        whole = np.maximum(1, np.rint(girth)).astype(int).tolist()
        begin = 0
        for k in range(1, len(whole) + 1):  # one call for each run of equal width
            if k == len(whole) or whole[k] != whole[begin] or k in opens:
                run, thick = places[first[begin] : stop[k - 1]], whole[begin]
                cv2.polylines(self.mask, [run], False, shade, thick, cv2.LINE_AA, _SUB)
                begin = k
        return x0, y0, x1, y1

    def rub(self, box: Box, left: float) -> None:
        """An eraser over a box: the ink there fades to the share ``left`` and smears."""
        import cv2

        x0, y0, x1, y1 = (int((v + MARGIN) * self.px) for v in box)
        part = self.mask[max(0, y0) : y1, max(0, x0) : x1]
        if part.size:
            blurred = cv2.blur(part, (max(1, self.px // 6), max(1, self.px // 20)))
            part[:] = cv2.addWeighted(part, left * 0.6, blurred, left * 0.8, 0)

    def finished(self, scale: float, grain: Layer) -> tuple[Layer, float, float]:
        """The ink at ``scale`` page pixels a cell, with the pen's grain, and where it starts.

        Only the part with ink that is seen is made, in whole cells:
        uint8, empty where there is none. The other two are its left and top edge, cells.
        """
        import cv2

        seen = self.seen
        x0 = int(max(0.0, np.floor(max(self.inked[0], seen[0]) + MARGIN)))
        y0 = int(max(0.0, np.floor(max(self.inked[1], seen[1]) + MARGIN)))
        end = self.side + 2 * MARGIN
        x1 = int(min(end, np.ceil(min(self.inked[2], seen[2]) + MARGIN)))
        y1 = int(min(end, np.ceil(min(self.inked[3], seen[3]) + MARGIN)))
        if x0 >= x1 or y0 >= y1:
            return np.zeros((0, 0), np.uint8), 0.0, 0.0
        px = self.px
        part = self.mask[y0 * px : y1 * px, x0 * px : x1 * px]
        size = (max(1, round((x1 - x0) * scale)), max(1, round((y1 - y0) * scale)))
        # A layer hardly larger than the page needs no averaging, which costs most of the time.
        how = cv2.INTER_AREA if px > 1.6 * scale else cv2.INTER_LINEAR
        out = cv2.resize(part, size, interpolation=how)
        if self.pen.grain:
            tile = grain[: size[1], : size[0]]
            if tile.shape != out.shape:  # a large board: the grain goes on from its start
                lack = [(0, size[1] - tile.shape[0]), (0, size[0] - tile.shape[1])]
                tile = np.pad(tile, lack, mode="wrap")
            thin = cv2.addWeighted(tile, self.pen.grain, tile, 0, 255 * (1 - self.pen.grain))
            out = cv2.multiply(out, thin, scale=1 / 255)
        return np.asarray(out, np.uint8), x0 - MARGIN, y0 - MARGIN


def loop(x: float, y: float, wide: float, high: float, chance: np.random.Generator) -> Shape:
    """A hand-drawn ring around x, y, not quite closed."""
    start, turn = chance.uniform(0, 6.28), chance.uniform(5.9, 7.2)
    t = np.linspace(start, start + turn, 25)
    r = 1 + 0.06 * np.sin(2 * t + chance.uniform(0, 6)) + np.linspace(-0.04, 0.05, 25)
    return joined([np.stack([x + wide / 2 * r * np.cos(t), y + high / 2 * r * np.sin(t)], axis=1)])


def slash(box: Box, chance: np.random.Generator, lines: int = 1) -> Shape:
    """Strokes that cross out what stands in a box."""
    x0, y0, x1, y1 = box
    grow = 0.12 * max(x1 - x0, y1 - y0)
    ends = [
        ((x0 - grow, y1 + grow / 2), (x1 + grow, y0 - grow / 2)),
        ((x0 - grow, y0 - grow / 2), (x1 + grow, y1 + grow / 2)),
    ]
    if chance.random() < 0.3:
        middle = (y0 + y1) / 2
        ends[0] = ((x0 - grow * 2, middle + grow / 2), (x1 + grow * 2, middle - grow / 2))
    if chance.random() < 0.5:
        ends.reverse()
    t = np.linspace(0, 1, 8)[:, None]
    out = []
    for a, b in ends[:lines]:
        bow = chance.normal(0, 0.03) * np.sin(np.pi * t)
        out.append(np.array(a) * (1 - t) + np.array(b) * t + bow)
    return joined(out)
