"""What the camera does: noise, blur, hard compression."""

from __future__ import annotations

import numpy as np

from papernudge.digits_model.training.pages.harms.covers import upto
from papernudge.digits_model.training.pages.harms.scene import Scene

GRAIN = (8.0, 15.0, 25.0, 40.0, 55.0)
"""Noise, grey levels, by level."""
SMEAR = (0.05, 0.07, 0.085, 0.1, 0.12)
"""Blur as a Gaussian's sigma, cells, by level."""
QUALITY = (14.0, 10.0, 7.0, 5.0, 3.0)
"""JPEG quality, by level."""


def noise(scene: Scene, level: float) -> None:
    """Sensor noise, fine or blotchy, coloured or not, more of it where light is scarce."""
    import cv2

    rng = scene.rng
    amount = upto(GRAIN, level)
    shape = scene.image.shape
    grey = rng.standard_normal((*shape[:2], 1), dtype=np.float32)
    colour = rng.standard_normal(shape, dtype=np.float32)
    part = float(rng.uniform(0, 1))
    field = (1 - part) * grey + part * colour
    soft = float(rng.choice([0.0, 0.0, 0.6, 1.0]))
    if soft:
        field = cv2.GaussianBlur(field, (0, 0), soft)
    field = field / field.std() * amount
    if rng.random() < 0.3:
        hit = rng.random(shape[:2]) < 0.0015 * level
        field[hit] = rng.choice([-200, 200], (int(hit.sum()), 1))
    scene.image = np.clip(scene.image + field, 0, 255)


def blur(scene: Scene, level: float) -> None:
    """Out of focus, moved, or soft."""
    import cv2

    rng = scene.rng
    sigma = max(0.3, upto(SMEAR, level) * scene.cell)
    form = rng.choice(["soft", "disc", "moved"], p=[0.4, 0.3, 0.3])
    if form == "soft":
        scene.image = np.asarray(cv2.GaussianBlur(scene.image, (0, 0), sigma), np.float32)
        return
    radius = int(np.ceil(2 * sigma)) + 1
    at = np.arange(-radius, radius + 1)
    x, y = np.meshgrid(at, at)
    if form == "disc":  # a disc's spread is half its radius
        kernel = np.clip(2 * sigma - np.hypot(x, y) + 0.5, 0, 1)
    else:  # a line's is its length over √12
        to, long = rng.uniform(0, np.pi), np.sqrt(12) * sigma
        along, across = x * np.cos(to) + y * np.sin(to), y * np.cos(to) - x * np.sin(to)
        kernel = np.clip(long / 2 - np.abs(along) + 0.5, 0, 1) * np.clip(1 - np.abs(across), 0, 1)
    kernel = (kernel / kernel.sum()).astype(np.float32)
    blurred = cv2.filter2D(scene.image, -1, kernel, borderType=cv2.BORDER_REPLICATE)
    scene.image = np.asarray(blurred, np.float32)


def jpeg(scene: Scene, level: float) -> None:
    """Compressed far too much, now and then twice."""
    import cv2

    rng = scene.rng
    quality = int(np.clip(np.interp(level, range(1, 6), QUALITY) + rng.integers(-1, 2), 2, 40))
    image = np.clip(np.rint(scene.image), 0, 255).astype(np.uint8)
    for _ in range(int(rng.choice([1, 1, 2]))):
        _, packed = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, quality])
        image = np.asarray(cv2.imdecode(packed, cv2.IMREAD_COLOR), np.uint8)
    scene.image = image.astype(np.float32)
