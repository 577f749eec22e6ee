"""Shapes of harms, in cells: signed distances that are negative inside."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from papernudge.digits_model.training.pages.harms.scene import Map, Points

Shape = Callable[[Map, Map], Map]
"""Places right (H, W) and down (H, W), cells, to the distance from the shape's rim, cells."""


def capsule(u: Map, v: Map, tip: Points, back: Points, wide: float, taper: float = 0.0) -> Map:
    """A rounded bar from ``tip`` to ``back``, ``wide`` at the tip, wider by ``taper`` a cell."""
    way = back - tip
    length = float(np.hypot(*way))
    way = way / max(length, 1e-6)
    along = np.clip((u - tip[0]) * way[0] + (v - tip[1]) * way[1], 0, length)
    off = np.hypot(u - tip[0] - along * way[0], v - tip[1] - along * way[1])
    return np.asarray(off - wide / 2 - taper * along / 2, np.float32)


def disc(u: Map, v: Map, middle: Points, radius: float, flat: float = 1.0, turn: float = 0) -> Map:
    """An ellipse, ``flat`` times as high as wide, turned by ``turn`` radians."""
    x, y = u - middle[0], v - middle[1]
    c, s = np.cos(turn), np.sin(turn)
    far = np.hypot(x * c + y * s, (y * c - x * s) / flat)
    return np.asarray((far - radius) * min(1.0, flat), np.float32)


def half_plane(u: Map, v: Map, at: Points, to: float) -> Map:
    """All that lies from ``at`` on in direction ``to``, radians."""
    return np.asarray(-((u - at[0]) * np.cos(to) + (v - at[1]) * np.sin(to)), np.float32)


def corner(u: Map, v: Map, at: Points, to: float, opening: float) -> Map:
    """A wedge with its tip at ``at``, open in direction ``to``, ``opening`` radians wide."""
    one = half_plane(u, v, at, to + np.pi / 2 - opening / 2)
    two = half_plane(u, v, at, to - np.pi / 2 + opening / 2)
    return np.maximum(one, two)


def blob(u: Map, v: Map, middle: Points, radius: float, waves: Points, turns: Points) -> Map:
    """A disc whose rim swings: ``waves`` (n,) shares of the radius, ``turns`` (n,) phases."""
    x, y = u - middle[0], v - middle[1]
    angle = np.arctan2(y, x)
    far = radius * np.ones_like(u)
    for k, (wave, turn) in enumerate(zip(waves, turns, strict=True)):
        far = far + radius * np.float32(wave) * np.cos((k + 2) * angle + np.float32(turn))
    return np.asarray(np.hypot(x, y) - far, np.float32)


def area_in_grid(shape: Shape) -> float:
    """How many cells of the grid it takes."""
    at: Map = (np.arange(72, dtype=np.float32) + np.float32(0.5)) / np.float32(8)
    u: Map = np.repeat(at[None], 72, axis=0)
    v: Map = np.ascontiguousarray(u.T)
    return float((shape(u, v) < 0).mean()) * 81


def grown_to(cells: float, of: Callable[[float], Shape], low: float, high: float) -> Shape:
    """The shape that takes ``cells`` of the grid, ``of`` a number that makes it grow."""
    for _ in range(14):
        middle = (low + high) / 2
        if area_in_grid(of(middle)) < cells:
            low = middle
        else:
            high = middle
    return of(high)


def in_from_outside(
    rng: np.random.Generator, cells: float, wide: float, taper: float = 0.0
) -> tuple[Shape, Points, Points]:
    """A bar that comes in over the grid's edge until it takes ``cells``; its tip and its way."""
    aim = rng.uniform(1.5, 7.5, 2)
    to = float(rng.uniform(0, 2 * np.pi))
    way = np.array([np.cos(to), np.sin(to)])

    def of(reach: float) -> Shape:
        tip = aim + (8 - reach) * way
        return partial(capsule, tip=tip, back=tip + 24 * way, wide=wide, taper=taper)

    shape = grown_to(cells, of, 0.0, 20.0)
    tip = np.asarray(shape.keywords["tip"])  # type: ignore[attr-defined]
    return shape, tip, way


def on_grid(rng: np.random.Generator, inner: float = 0.5) -> Points:
    """A random place on the grid, ``inner`` cells from its rim at least."""
    return np.asarray(rng.uniform(inner, 9 - inner, 2), np.float64)
