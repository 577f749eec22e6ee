"""Paper that was folded, crumpled, bent; a frame that cuts."""

from __future__ import annotations

import numpy as np

from papernudge.digits_model.training.pages.harms import shapes
from papernudge.digits_model.training.pages.harms.covers import upto
from papernudge.digits_model.training.pages.harms.scene import Map, Points, Scene

WIDTHS = (0.03, 0.05, 0.07, 0.09, 0.12)
"""Width of a crease, cells, by level."""
DEPTHS = (0.2, 0.35, 0.5, 0.65, 0.85)
"""How much light it takes, by level."""
BENDS = (0.025, 0.045, 0.065, 0.085, 0.11)
"""How far curl moves paper, shares of the grid's width, by level."""
CUTS = (0.12, 0.25, 0.45, 0.8, 1.4)
"""Cells beyond the frame, by level."""


def _line_at(scene: Scene, u: Map, v: Map) -> tuple[Map, Map]:
    """Signed distance (H, W) from a random crease, cells, and the way along it (H, W)."""
    rng = scene.rng
    to = float(rng.choice([0, np.pi / 2])) + float(rng.normal(0, 0.12))
    if rng.random() < 0.6:
        to = float(rng.uniform(0, np.pi))
    at = shapes.on_grid(rng, 0.3)
    across = (u - at[0]) * np.cos(to) + (v - at[1]) * np.sin(to)
    along = (v - at[1]) * np.cos(to) - (u - at[0]) * np.sin(to)
    bend = float(rng.choice([0.0, 0.01, 0.06]))
    wave = float(rng.uniform(0.5, 2))
    across = across + bend * np.sin(wave * along + rng.uniform(0, 6)) * 2
    return np.asarray(across, np.float32), np.asarray(along, np.float32)


def _crease(scene: Scene, wide: float, deep: float) -> None:
    """One crease: a dark line, a light flank, one side of the paper darker than the other."""
    rng = scene.rng
    u, v = scene.places()
    across, along = _line_at(scene, u, v)
    wide = max(wide, 0.8 / scene.cell)
    core = np.exp(-((across / (0.5 * wide)) ** (2 if rng.random() < 0.6 else 8)))
    if rng.random() < 0.3:  # it ends somewhere
        start = rng.uniform(-6, 2)
        core = core * np.clip((along - start) * 3, 0, 1) * np.clip((start + 7 - along) * 3, 0, 1)
    if rng.random() < 0.4:
        core = core * np.clip(0.8 + 0.5 * scene.blotches(0.5), 0, 1)
    side = float(rng.choice([-1, 1]))
    reach = float(rng.uniform(0.08, 0.6))
    flank = np.exp(-np.clip(side * across - wide * 0.4, 0, None) / reach) * (side * across > 0)
    step = 1 / (1 + np.exp(np.clip(side * across / (0.25 * wide), -30, 30)))
    lift = float(rng.uniform(0, 0.35)) * deep
    fall = float(rng.uniform(0, 0.3)) * deep
    far = np.exp(-np.abs(across) / float(rng.uniform(1, 8)))
    light = (1 - deep * core) * (1 + lift * flank) * (1 - fall * step * far)
    if rng.random() < 0.15:  # the ink has flaked off: a pale line
        pale = (0.9 * core * (deep > 0.3))[..., None]
        scene.image = np.asarray(scene.image * (1 - pale) + scene.paper * pale, np.float32)
        scene.seen *= 1 - pale[..., 0]
        light = (1 + 0.15 * core) * (1 - fall * step * far)
    scene.lit(lambda held: held * light[..., None])
    scene.edges = np.maximum(scene.edges, np.clip(core * 2 * deep, 0, 1).astype(np.float32))


def crease(scene: Scene, level: float) -> None:
    """One to three creases or folded shadows."""
    for _ in range(int(scene.rng.integers(1, 4))):
        wide = upto(WIDTHS, level) * float(scene.rng.uniform(0.7, 1.3))
        deep = upto(DEPTHS, level) * float(scene.rng.uniform(0.7, 1.1))
        _crease(scene, wide, min(deep, 0.93))


def crumple(scene: Scene, level: float) -> None:
    """Paper that was crumpled: many short creases, facets of uneven light."""
    rng = scene.rng
    u, v = scene.places()
    count = 5 + int(4 * level)
    spots = rng.uniform(-1.5, 10.5, (count, 2))
    tilt = rng.normal(0, 0.035 * level, count).astype(np.float32)
    far = np.stack([np.hypot(u - x, v - y) for x, y in spots]).astype(np.float32)
    order = np.argpartition(far, 1, axis=0)[:2]
    near = np.take_along_axis(far, order, axis=0)
    first = order[near.argmin(axis=0), np.arange(u.shape[0])[:, None], np.arange(u.shape[1])]
    gap = np.abs(near[0] - near[1])
    wide = max(0.02 + 0.012 * level, 0.7 / scene.cell)
    ridge = np.exp(-((gap / wide) ** 2)) * np.clip(0.6 + 0.6 * scene.blotches(0.8), 0, 1)
    deep = float(rng.uniform(0.06, 0.11)) * level * float(rng.choice([1, 1, -0.6]))
    light = (1 + scene.soft(tilt[first], 0.05)) * (1 - deep * ridge)
    scene.lit(lambda held: held * light[..., None])
    hard = np.clip(ridge * abs(deep) * 3, 0, 1).astype(np.float32)
    scene.edges = np.maximum(scene.edges, hard)


def curl(scene: Scene, level: float) -> None:
    """The page bends: its places move along a wave, its light with it."""
    rng = scene.rng
    most = upto(BENDS, level) * 9 * scene.cell
    to = float(rng.uniform(0, 2 * np.pi))
    way = np.array([np.cos(to), np.sin(to)])
    push = float(rng.uniform(0, 2 * np.pi))
    by = np.array([np.cos(push), np.sin(push)])
    middle = scene.crossings.mean(axis=(0, 1))
    long = 9 * scene.cell * float(rng.uniform(1.0, 2.2))
    phase = float(rng.uniform(0, 2 * np.pi))

    def shift(at: Points) -> Points:
        along = (at - middle) @ way / long * 2 * np.pi
        return np.asarray(most * np.sin(along + phase)[..., None] * by, np.float64)

    high, wide = scene.image.shape[:2]
    x, y = np.meshgrid(np.arange(wide, dtype=np.float64), np.arange(high, dtype=np.float64))
    at = np.stack([x, y], axis=-1)
    where = (at + shift(at) - shift(middle)).astype(np.float32)
    moved = scene.crossings.copy()
    for _ in range(12):
        moved = scene.crossings - shift(moved) + shift(middle)
    scene.warped(where, moved)
    slope = np.cos((at - middle) @ way / long * 2 * np.pi + phase)
    dim = 1 - float(rng.uniform(0, 0.06)) * level * (0.5 - 0.5 * slope)
    scene.lit(lambda held: held * dim[..., None].astype(np.float32))


def cut(scene: Scene, level: float) -> None:
    """The frame ends within the grid."""
    rng = scene.rng
    high, wide = scene.image.shape[:2]
    low, most = scene.crossings.min(axis=(0, 1)), scene.crossings.max(axis=(0, 1))
    off = upto(CUTS, level) * scene.cell
    side = int(rng.integers(4))
    x0, y0, x1, y1 = 0, 0, wide, high
    if side == 0:
        x0 = int(np.clip(low[0] + off, 0, wide - 9))
    elif side == 1:
        y0 = int(np.clip(low[1] + off, 0, high - 9))
    elif side == 2:
        x1 = int(np.clip(most[0] - off, 9, wide))
    else:
        y1 = int(np.clip(most[1] - off, 9, high))
    x, y = np.meshgrid(np.arange(x0, x1, dtype=np.float32), np.arange(y0, y1, dtype=np.float32))
    scene.warped(np.stack([x, y], axis=-1), scene.crossings - np.array([x0, y0], np.float64))
