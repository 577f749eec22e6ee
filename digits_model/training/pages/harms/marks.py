"""Ink that belongs to no cell: stamps, doodles, rings, spills, text across the page."""

from __future__ import annotations

import numpy as np

from papernudge.digits_model.training.pages.harms import shapes
from papernudge.digits_model.training.pages.harms.covers import upto
from papernudge.digits_model.training.pages.harms.scene import Image, Map, Points, Scene

INKS = ((40, 40, 40), (170, 60, 40), (40, 40, 190), (60, 130, 40), (140, 50, 140))
"""Blue, green, red."""
SIZES = (0.5, 0.8, 1.2, 1.7, 2.3)
"""Height of a stamp's letters, cells, by level."""
WORDS = ("PAID", "COPY", "Monday", "FILED", "page", "No", "TEA", "Sample", "URGENT", "milk", "OK")


def _ink(scene: Scene, mask: Map, strong: float) -> None:
    """Lays ink in a random colour: it darkens what it lies on."""
    rng = scene.rng
    colour = np.array(INKS[int(rng.integers(len(INKS)))], np.float32)
    part = np.clip(mask * strong, 0, 1)[..., None]
    before = scene.image
    inked = scene.image * (1 - part * (1 - colour / 255))
    scene.image = np.asarray(inked, np.float32)
    hidden = part[..., 0] * float((before.mean() > 0) * (1 - colour.mean() / 255))
    scene.seen *= 1 - 0.6 * hidden * (hidden > 0.45)
    scene.edges = np.maximum(scene.edges, np.clip(1.5 * part[..., 0], 0, 1))


def _placed(scene: Scene, flat: Image, at: Points, to: float, scale: float) -> Map:
    """A mask uint8 (h, w) laid on the page around ``at``, ``scale`` cells a pixel of it."""
    import cv2

    u, v = scene.places()
    x, y = (u - at[0]) / scale, (v - at[1]) / scale
    c, s = np.cos(to), np.sin(to)
    where_x = x * c + y * s + flat.shape[1] / 2
    where_y = y * c - x * s + flat.shape[0] / 2
    where_x, where_y = where_x.astype(np.float32), where_y.astype(np.float32)
    mask = cv2.remap(flat, where_x, where_y, cv2.INTER_LINEAR)
    return np.asarray(mask / np.float32(255), np.float32)


def stamp(scene: Scene, level: float) -> None:
    """A rubber stamp: a word, framed or not, pressed unevenly."""
    import cv2

    rng = scene.rng
    for _ in range(int(rng.choice([1, 1, 2]))):
        word = WORDS[int(rng.integers(len(WORDS)))]
        face = int(rng.choice([0, 2, 4, 6]))  # OpenCV's plain, heavier, serifed, written letters
        thick = int(rng.integers(2, 7))
        (wide, high), _ = cv2.getTextSize(word, face, 2.0, thick)
        flat = np.zeros((high + 60, wide + 60), np.uint8)
        cv2.putText(flat, word, (30, high + 28), face, 2.0, 255, thick, cv2.LINE_AA)
        form = rng.random()
        if form < 0.4:
            cv2.rectangle(flat, (6, 6), (flat.shape[1] - 7, flat.shape[0] - 7), 255, thick)
        elif form < 0.6:
            middle = (flat.shape[1] // 2, flat.shape[0] // 2)
            cv2.ellipse(flat, middle, (middle[0] - 5, middle[1] - 5), 0, 0, 360, 255, thick)
        size = upto(SIZES, level) / high
        mask = _placed(scene, flat, shapes.on_grid(rng), float(rng.normal(0, 0.4)), size)
        press = np.clip(0.85 + 0.35 * scene.blotches(0.4), 0.1, 1)
        _ink(scene, np.asarray(mask * press, np.float32), float(rng.uniform(0.45, 0.95)))


def doodle(scene: Scene, level: float) -> None:
    """A pen's wandering line, loops, hatching, arrows, over cells."""
    import cv2

    rng = scene.rng
    for _ in range(1 + int(level / 2)):
        long = upto((2.0, 3.5, 6.0, 10.0, 16.0), level)
        steps = max(8, int(long * 6))
        turn = np.cumsum(rng.normal(0, float(rng.choice([0.08, 0.3, 0.7])), steps))
        turn = turn + rng.uniform(0, 6.3) + np.linspace(0, 1, steps) * rng.choice([0, 0, 12, -20])
        path = np.cumsum(np.stack([np.cos(turn), np.sin(turn)], 1) * long / steps, axis=0)
        path = path - path.mean(axis=0) + shapes.on_grid(rng, 1.0)
        scale = 40
        flat = np.zeros((14 * scale, 14 * scale), np.uint8)
        wide = max(1, round(float(rng.uniform(0.04, 0.12)) * scale))
        points = np.round((path + 2.5) * scale * 8).astype(np.int32)
        cv2.polylines(flat, [points], False, 255, wide, cv2.LINE_AA, 3)
        mask = _placed(scene, flat, np.array([4.5, 4.5]), 0.0, 1 / scale)
        _ink(scene, mask, float(rng.uniform(0.5, 0.95)))


def ring(scene: Scene, level: float) -> None:
    """A cup's wet ring, or a stain with a darker rim."""
    rng = scene.rng
    u, v = scene.places()
    radius = float(rng.uniform(0.6, 4.0))
    waves, turns = rng.normal(0, 0.02, 4), rng.uniform(0, 6.3, 4)
    far = shapes.blob(u, v, shapes.on_grid(rng), radius, waves, turns)
    wide = float(rng.uniform(0.05, 0.25))
    line = np.exp(-((far / wide) ** 2)) * np.clip(0.6 + 0.6 * scene.blotches(1.0), 0, 1)
    inner = 0.4 * (far < 0) * float(rng.choice([0, 1]))
    deep = upto((0.15, 0.25, 0.4, 0.55, 0.75), level)
    brown = np.array([0.9, 0.65, 0.45], np.float32)
    part = np.clip(deep * (line + inner), 0, 1)[..., None] * brown
    scene.lit(lambda held: held * (1 - part))
    scene.edges = np.maximum(scene.edges, np.clip(2 * deep * line, 0, 1).astype(np.float32))
