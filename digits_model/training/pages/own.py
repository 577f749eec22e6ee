"""Supplies that need no file: digits from our own drawn shapes, text as rows of dashes.

Pages drawn with them look poorer than with typefaces and writers, but every part of the page
maker runs. The tests use them where fonts or pen strokes are absent, and the fixtures take
their handwriting from here, so that no writer's strokes are published.
"""

from __future__ import annotations

import zlib
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.pages.chance import stream
from papernudge.digits_model.training.pages.fonts import (
    BASE,
    CAP,
    HIGH,
    LETTERS,
    LINE_HIGH,
    TITLES,
    Mask,
    Supplies,
)
from papernudge.digits_model.training.pages.strokes import Shape, joined, variants, warped

_HANDS = 12
_STEM = [(-0.26, -0.5), (-0.26, 0.5)]
_LETTERS = (
    ([(-0.32, 0.5), (0.0, -0.5), (0.32, 0.5)], [(-0.19, 0.12), (0.19, 0.12)]),
    (
        _STEM,
        [(-0.26, -0.5), (0.08, -0.5), (0.2, -0.36), (0.2, -0.16), (0.08, -0.03), (-0.26, -0.03)],
        [(-0.26, -0.03), (0.1, -0.03), (0.26, 0.12), (0.26, 0.36), (0.1, 0.5), (-0.26, 0.5)],
    ),
    (
        [(0.28, -0.3), (0.1, -0.5), (-0.12, -0.46), (-0.28, -0.18)],
        [(-0.28, -0.18), (-0.28, 0.18), (-0.12, 0.46), (0.1, 0.5), (0.28, 0.3)],
    ),
    (_STEM, [(-0.26, -0.5), (0.05, -0.48), (0.26, -0.2), (0.26, 0.2), (0.05, 0.48), (-0.26, 0.5)]),
    (_STEM, *([(-0.26, y), (0.24, y)] for y in (-0.5, 0.0, 0.5))),
    (_STEM, *([(-0.26, y), (0.24, y)] for y in (-0.5, 0.0))),
    (
        [(0.28, -0.3), (0.1, -0.5), (-0.12, -0.46), (-0.28, -0.18), (-0.28, 0.18)],
        [(-0.28, 0.18), (-0.12, 0.46), (0.1, 0.5), (0.28, 0.34), (0.28, 0.06), (0.06, 0.06)],
    ),
)
"""A to G as pen movements."""


class OwnSupplies(Supplies):
    """Everything from ``variants.json`` and chance."""

    @lru_cache(maxsize=64)  # noqa: B019  one instance lives for the whole process
    def digits(self, file: str) -> list[Mask]:
        """See :meth:`Supplies.digits`; the file's name chooses the shapes and the weight."""
        chance = stream(0, "own face", file)
        weight = int(chance.integers(6, 12))
        t = np.linspace(0, 6.3, 24)
        zero = joined([np.stack([0.26 * np.cos(t), 0.5 * np.sin(t)], 1)])
        shapes = [zero] + [
            variants()[d][zlib.crc32(f"{file}{d}".encode()) % 2] for d in range(1, 10)
        ]
        return [_drawn(shape, weight) for shape in shapes]

    @lru_cache(maxsize=64)  # noqa: B019
    def letters(self, file: str) -> list[Mask]:
        """See :meth:`Supplies.letters`; in the weight of the digits."""
        weight = int(stream(0, "own face", file).integers(6, 12))
        return [_drawn(joined([np.array(s, float) for s in way]), weight) for way in _LETTERS]

    @lru_cache(maxsize=8)  # noqa: B019
    def text(self, number: int) -> dict[str, Any]:
        """See :meth:`Supplies.text`."""
        chance = stream(number, "own text")
        return {
            "letters": [_drawn(_sign(chance), 8) for _ in LETTERS],
            "lines": [_dashes(chance, 1400) for _ in range(6)],
            "titles": [np.repeat(_dashes(chance, 12 * len(t)), 2, axis=0) for t in TITLES],
        }

    @lru_cache(maxsize=1)  # noqa: B019
    def strokes(self) -> dict[str, npt.NDArray[Any]]:
        """See :meth:`Supplies.strokes`: twelve hands, each writing every shape it knows."""
        points: list[npt.NDArray[np.int16]] = []
        stroke_ends, sample_ends, digits, writers = [0], [0], [], []
        for writer in range(1, _HANDS + 1):
            chance = stream(writer, "own hand")
            slant = float(chance.normal(0.05, 0.12))
            for digit, ways in variants().items():
                way = ways[int(chance.integers(len(ways)))]
                for _ in range(3):
                    for line in warped(way, chance, 0.02, slant).strokes():
                        points.append(np.round(line * [300, -300] + 500).astype(np.int16))
                        stroke_ends.append(stroke_ends[-1] + len(line))
                    sample_ends.append(len(stroke_ends) - 1)
                    digits.append(digit)
                    writers.append(writer)
        return {
            "points": np.concatenate(points),
            "stroke_ends": np.array(stroke_ends, np.int32),
            "sample_ends": np.array(sample_ends, np.int32),
            "digit": np.array(digits, np.uint8),
            "writer": np.array(writers, np.uint8),
        }


class OwnHand(Supplies):
    """Typefaces from ``faces``, handwriting of our own."""

    def __init__(self, faces: Supplies) -> None:
        """``faces``: where glyphs and text come from."""
        self._faces, self._own = faces, OwnSupplies()

    def digits(self, file: str) -> list[Mask]:
        """See :meth:`Supplies.digits`."""
        return self._faces.digits(file)

    def letters(self, file: str) -> list[Mask]:
        """See :meth:`Supplies.letters`."""
        return self._faces.letters(file)

    def text(self, number: int) -> dict[str, Any]:
        """See :meth:`Supplies.text`."""
        return self._faces.text(number)

    def strokes(self) -> dict[str, npt.NDArray[Any]]:
        """See :meth:`Supplies.strokes`."""
        return self._own.strokes()


def _drawn(shape: Shape, weight: int) -> Mask:
    import cv2

    mask = np.zeros((HIGH, 60), np.uint8)
    for line in shape.strokes():
        at = line * [CAP - weight, CAP - weight] + [30, BASE - CAP / 2]
        cv2.polylines(mask, [np.round(at * 8).astype(np.int32)], False, 255, weight, cv2.LINE_AA, 3)
    return mask


def _sign(chance: np.random.Generator) -> Shape:
    corners = [(-0.3, -0.5), (0.3, -0.5), (-0.3, 0.5), (0.3, 0.5), (0.0, 0.0), (0.0, -0.5)]
    order = chance.permutation(6)[:4]
    return joined([np.array([corners[int(i)] for i in order], float)])


def _dashes(chance: np.random.Generator, wide: int) -> Mask:
    mask = np.zeros((LINE_HIGH, wide), np.uint8)
    x = 2
    while x < wide - 12:
        for _ in range(int(chance.integers(2, 10))):
            mask[13 : 30 - int(chance.integers(0, 3)), x : x + 3] = 220
            mask[int(chance.integers(14, 26)), x : x + 9] = 220
            x += 11
        x += 9
    return mask
