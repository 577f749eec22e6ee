"""Shapes of handwritten digits: writers' own strokes, and variants drawn by us."""

from __future__ import annotations

import json
from functools import lru_cache
from itertools import accumulate
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.pages.fonts import Supplies

Stroke = npt.NDArray[np.float64]
"""Points (n, 2), x right, y down; a digit is 1 high and centred on 0, 0."""


class Shape(NamedTuple):
    """Pen movements: the points of all strokes (n, 2) one after another, and before which point
    each stroke ends.
    """

    points: Stroke
    ends: tuple[int, ...]

    def strokes(self) -> list[Stroke]:
        """Each pen movement by itself."""
        starts = (0, *self.ends[:-1])
        return [self.points[a:b] for a, b in zip(starts, self.ends, strict=True)]


def joined(strokes: list[Stroke]) -> Shape:
    """The shape that these pen movements make together."""
    ends = tuple(accumulate(len(stroke) for stroke in strokes))
    return Shape(np.concatenate(strokes), ends)


_POINTS = 22
_LEFT_OUT = frozenset({385, 1321, 2354, 3032, 4665, 6432, 6496, 877, 2942, 3568, 5917})
"""Samples that nobody would read as labelled (looked at one by one among those that other
writers' nearest digits outvoted): digits without their lower half, a 2 labelled 3, a 5 labelled
6, a 1 like a 7, and four 1s more than 1.3 times as wide as high."""


@lru_cache(maxsize=1)
def variants() -> dict[int, list[Shape]]:
    """Shapes drawn by us, smoothed: ways to write a digit that the writers seldom use.

    ``variants.json`` holds for each digit several ways, each a list of pen movements through
    control points; a corner is where one movement ends and the next begins.
    """
    raw = json.loads((Path(__file__).parent / "variants.json").read_text(encoding="utf-8"))
    return {
        int(digit): [joined([_smooth(np.array(s, float)) for s in shape]) for shape in shapes]
        for digit, shapes in raw.items()
    }


def writer_split(writer: int) -> str:
    """The fold of a writer of the stroke file: every sixth is test, every sixth calibrate."""
    return {0: "test", 3: "calibrate"}.get(writer % 6, "train")


class Samples:
    """Digits of the stroke file by writer, shaped when first asked for."""

    def __init__(self, held: dict[str, npt.NDArray[Any]]) -> None:
        """``held``: points, stroke_ends, sample_ends, digit, writer as in the file."""
        self._held = held
        self._shaped: dict[int, Shape] = {}
        self.writers = {
            split: [int(w) for w in np.unique(held["writer"]) if writer_split(int(w)) == split]
            for split in ("train", "calibrate", "test")
        }
        key = held["writer"].astype(int) * 10 + held["digit"]
        order = np.argsort(key, kind="stable")
        cuts = np.searchsorted(key[order], np.arange(0, 10 * int(held["writer"].max()) + 21))
        good = [np.array([i for i in part if i not in _LEFT_OUT]) for part in np.split(order, cuts)]
        self._of = dict(enumerate(good[1:]))

    def of(self, writer: int, digit: int) -> npt.NDArray[np.int64]:
        """Sample numbers of one writer's one digit."""
        return self._of[writer * 10 + digit]

    def shape(self, sample: int) -> Shape:
        """The strokes of one sample, smooth, 1 high, centred."""
        if sample not in self._shaped:
            self._shaped[sample] = self._make(sample)
        return self._shaped[sample]

    def _make(self, sample: int) -> Shape:
        bounds, of = self._held["stroke_ends"], self._held["sample_ends"]
        strokes = []
        for k in range(int(of[sample]), int(of[sample + 1])):
            points = self._held["points"][bounds[k] : bounds[k + 1]].astype(float)
            if len(points):
                strokes.append(points * [1.0, -1.0])
        every = np.concatenate(strokes)
        low_, high = every.min(axis=0), every.max(axis=0)
        tall = max(high[1] - low_[1], 0.6 * (high[0] - low_[0]), 1.0)
        return joined([_even((s - (low_ + high) / 2) / tall) for s in strokes])


@lru_cache(maxsize=2)
def samples(held: Supplies) -> Samples:
    """The stroke file of these supplies."""
    return Samples(held.strokes())


def warped(shape: Shape, chance: np.random.Generator, wobble: float, shear: float) -> Shape:
    """The shape as a hand would write it another time: sheared, squeezed, gently bent."""
    bends = chance.standard_normal(6)
    lean, wide = bends[:2].tolist()
    angle, squeeze = 0.05 * lean, float(np.exp(0.09 * wide))
    c, s = float(np.cos(angle)), float(np.sin(angle))
    turn = np.array([[c * squeeze, -c * shear - s], [s * squeeze, -s * shear + c]])
    waves = 1.6 * bends[2:].reshape(2, 2) * np.pi
    sways = chance.random(3)
    phases, size = 2 * np.pi * sways[:2], wobble * (0.5 + float(sways[2]))
    turned = shape.points @ turn.T
    return Shape(turned + size * np.sin(turned @ waves.T + phases), shape.ends)


def nought(chance: np.random.Generator) -> Shape:
    """A nought drawn by us, 1 high: an oval begun near its top, not quite closed or closed over."""
    start, turn = -np.pi / 2 + chance.normal(0, 0.35), float(chance.uniform(5.9, 6.9))
    way = 1 if chance.random() < 0.25 else -1  # mostly against the clock
    t = start + way * np.linspace(0, turn, _POINTS)
    wide, end = float(chance.uniform(0.24, 0.42)), float(chance.normal(0, 0.05))
    grow = 1 + np.linspace(-end, end, _POINTS)
    points = np.stack([wide * grow * np.cos(t), 0.5 * grow * np.sin(t)], axis=1)
    points = points @ np.array([[1.0, 0.0], [chance.normal(0, 0.06), 1.0]])
    low, high = points.min(axis=0), points.max(axis=0)
    return joined([(points - (low + high) / 2) / (high[1] - low[1])])


WIDEST_PAIR = 1.35
"""Width of two figures beside each other at most, in the height of one: wider ones are written
smaller."""


def beside(left: Shape, right: Shape, chance: np.random.Generator) -> Shape:
    """Two figures as one number, centred; 1 high or less, so that it is no wider than it may be."""
    gap = float(chance.uniform(0.07, 0.24))
    drop, size = chance.normal(0, 0.04), float(np.exp(chance.normal(0, 0.06)))
    one, two = left.points, right.points * size + [0.0, drop]
    two[:, 0] += one[:, 0].max() + gap - two[:, 0].min()
    every = np.concatenate([one, two])
    low, high = every.min(axis=0), every.max(axis=0)
    shrink = min(1.0, WIDEST_PAIR / float(high[0] - low[0])) / float(high[1] - low[1])
    ends = (*left.ends, *(len(one) + end for end in right.ends))
    return Shape((every - (low + high) / 2) * shrink, ends)


def _smooth(control: Stroke) -> Stroke:
    """Catmull-Rom through the control points, evenly spaced."""
    if len(control) < 3:
        return _even(control)
    p = np.concatenate([[2 * control[0] - control[1]], control, [2 * control[-1] - control[-2]]])
    t = np.linspace(0, 1, 9)[:, None]
    parts = []
    for a, b, c, d in zip(p, p[1:], p[2:], p[3:], strict=False):
        parts.append(
            0.5
            * (
                2 * b
                + (c - a) * t
                + (2 * a - 5 * b + 4 * c - d) * t**2
                + (3 * b - a - 3 * c + d) * t**3
            )
        )
    return _even(np.concatenate(parts))


def _even(points: Stroke) -> Stroke:
    """The same line at even steps, its jitter smoothed away."""
    if len(points) == 1:
        points = np.concatenate([points, points + 0.01])
    if len(points) > 6:
        inner = (points[:-2] + 2 * points[1:-1] + points[2:]) / 4
        points = np.concatenate([points[:1], inner, points[-1:]])
    along = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    count = int(np.clip(np.ceil(along[-1] * 14), 4, _POINTS))
    at = np.linspace(0, along[-1], count)
    return np.stack([np.interp(at, along, points[:, i]) for i in range(2)], axis=1)
