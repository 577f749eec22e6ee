"""Light that falls wrong: glare, shadows with edges of any sharpness."""

from __future__ import annotations

import numpy as np

from papernudge.digits_model.training.pages.harms import shapes
from papernudge.digits_model.training.pages.harms.covers import upto
from papernudge.digits_model.training.pages.harms.scene import Map, Scene

RADII = (0.4, 0.7, 1.0, 1.5, 2.2)
"""Radius of a glare spot, cells, by level."""
LEFT = (0.6, 0.4, 0.25, 0.15, 0.08)
"""Light left in a shadow, by level."""


def _flare(scene: Scene, far: Map, radius: float, strong: float, hard: float) -> Map:
    """Added light, (H, W), 0 to ``strong``: a core and a flank by a power ``hard``."""
    return np.asarray(strong * np.exp(-((np.clip(far, 0, None) / radius) ** hard)), np.float32)


def glare(scene: Scene, level: float) -> None:
    """A spot of mirrored light: a clipped core with flanks, round, long or broken."""
    rng = scene.rng
    radius = upto(RADII, level)
    u, v = scene.places()
    add = np.zeros(u.shape, np.float32)
    hard = float(rng.choice([1.5, 2.0, 4.0, 8.0]))
    strong = float(rng.uniform(1.0, 3.0))
    for _ in range(int(rng.choice([1, 1, 1, 2, 3]))):
        flat = float(rng.choice([1.0, 1.0, rng.uniform(0.25, 0.9)]))
        middle = shapes.on_grid(rng)
        wide = radius / np.sqrt(flat) if flat > 0.5 else radius * 1.4
        far = shapes.disc(u, v, middle, 0.0, flat, float(rng.uniform(0, 3.14))) / min(1.0, flat)
        add = np.maximum(add, _flare(scene, far, wide, strong, hard))
        radius *= 0.8
    if rng.random() < 0.3:
        add = add * np.clip(1 + 0.4 * scene.blotches(0.6), 0, 2)
    tint = np.asarray(rng.uniform(0.9, 1.05, 3), np.float32)

    def lit(held: Map) -> Map:
        return held + 255 * tint * add[..., None] * (0.55 if hard < 3 else 0.8)

    if rng.random() < 0.5:  # light that veils: what is dark below is lifted most

        def lit(held: Map) -> Map:
            part = np.clip(add * 1.3, 0, 1)[..., None]
            out: Map = np.asarray(held + (275 * tint - held) * part, np.float32)
            return out

    scene.lit(lit)
    scene.edge(np.clip(add, 0, 1) if hard > 3 else 0.5 * np.clip(add, 0, 1))


def _shadow_mask(scene: Scene) -> Map:
    """Inside 1: a half plane, a phone, a hand, stripes, a branch."""
    rng = scene.rng
    u, v = scene.places()
    form = rng.choice(["half", "phone", "hand", "stripe", "blob", "dapple"])
    at, to = shapes.on_grid(rng, 2.0), float(rng.uniform(0, 2 * np.pi))
    if form == "half":
        far = shapes.half_plane(u, v, at, to)
    elif form == "phone":
        far = shapes.corner(u, v, at, to, float(rng.uniform(1.2, 1.9)))
    elif form == "hand":
        arm, _, _ = shapes.in_from_outside(rng, float(rng.uniform(8, 45)), float(rng.uniform(2, 6)))
        far = arm(u, v)
        for _ in range(int(rng.integers(0, 4))):
            extra, _, _ = shapes.in_from_outside(rng, float(rng.uniform(3, 10)), 1.2)
            far = np.minimum(far, extra(u, v))
    elif form == "stripe":
        wide = float(rng.uniform(0.8, 4))
        phase = (u * np.cos(to) + v * np.sin(to)) / wide
        far = np.asarray((np.abs((phase % 2) - 1) - 0.5) * wide, np.float32)
    elif form == "blob":
        waves, turns = rng.normal(0, 0.15, 5), rng.uniform(0, 6.3, 5)
        far = shapes.blob(u, v, at, float(rng.uniform(1.5, 5)), waves, turns)
    else:
        far = np.asarray(scene.blotches(float(rng.uniform(0.7, 2.5))), np.float32)
    return np.asarray(np.clip(0.5 - far * scene.cell, 0, 1), np.float32)


def shadow(scene: Scene, level: float) -> None:
    """A shadow over part of the grid: hard edges mostly, sometimes soft ones."""
    rng = scene.rng
    left = upto(tuple(1 - f for f in LEFT), level)
    left = max(0.02, 1 - left)
    mask = _shadow_mask(scene)
    soft = float(rng.choice([0.0, 0.01, 0.03, 0.08, 0.25, 0.6], p=[0.3, 0.2, 0.2, 0.15, 0.1, 0.05]))
    mask = scene.soft(mask, soft)
    tint = np.asarray(1 + rng.normal(0, 0.06, 3), np.float32)

    def lit(held: Map) -> Map:
        out: Map = np.asarray(
            held * (1 - mask[..., None] * (1 - np.clip(left * tint, 0, 1))), np.float32
        )
        return out

    scene.lit(lit)
    scene.edge(mask * (1 - left) * 1.5)
