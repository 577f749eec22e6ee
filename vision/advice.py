"""What is wrong with a photo that can't be read, and what the person can do about it.

Asked only where reading has failed: each sign is measured on the whole photo, so that a grid that
was not even found can be told too blurred, too noisy or in too hard a shadow.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from papernudge.hints.catalogue import Message, message
from papernudge.vision.even import even_page
from papernudge.vision.patches import PAPER

Floats = npt.NDArray[np.float32]

_SIDE = 640
"""Long side of the picture in which blur and shadows are measured, pixels."""
_TILE = 16
"""Side of the windows in which edges are measured, pixels of that picture."""
_WINDOW = 2048
"""Side of the window in which grain and blocks are measured, pixels of the photo."""
_LEAST = 4 * _TILE
"""Least short side that signs are measured on, pixels."""
MOST_BLUR = 1.6
"""Blur, as a Gaussian's sigma in pixels of that picture, from which on it is blamed."""
MOST_NOISE = 9.0
"""Noise, grey levels as photographed, from which on it is blamed."""
MOST_BLOCKS = 1.7
"""How much steeper steps are at the borders of JPEG's blocks than beside them, likewise."""
LEAST_LIGHT = 45.0
"""Grey level of the photo's lighter half below which it is too dark."""
MOST_SHADOW = 0.006
"""Share of the photo along the rims of hard shadows from which on these are blamed."""


def advice(reason: str) -> Message:
    """What to say of a reason."""
    return message(f"advice, {reason}")


@dataclass(frozen=True, slots=True)
class Ails:
    """Signs of a poor photo, in the units of the limits above."""

    blur: float
    noise: float
    blocks: float
    light: float
    shadow: float

    @property
    def worst(self) -> str | None:
        """The reason that outweighs the others most, as there is advice for it; None for none."""
        by = {
            "blurred": self.blur / MOST_BLUR,
            "noisy": self.noise / MOST_NOISE,
            "compressed": self.blocks / MOST_BLOCKS,
            "dark": LEAST_LIGHT / max(self.light, 1.0),
            "shadow": self.shadow / MOST_SHADOW,
        }
        reason = max(by, key=lambda name: by[name])
        return reason if by[reason] >= 1 else None


def ails_of(raster: npt.NDArray[np.uint8]) -> Ails:
    """What is wrong with a photo. ``raster``: uint8 (H, W, 3), blue, green, red."""
    import cv2

    by = min(1.0, _SIDE / max(raster.shape[:2]))
    small = raster
    if by < 1:
        small = np.asarray(
            cv2.resize(raster, None, fx=by, fy=by, interpolation=cv2.INTER_AREA), np.uint8
        )
    shades = np.asarray(cv2.cvtColor(small, cv2.COLOR_BGR2GRAY), np.float32)
    grey = np.asarray(cv2.cvtColor(_middle(raster), cv2.COLOR_BGR2GRAY), np.float32)
    light = float(np.percentile(shades, 75))
    if min(shades.shape) < _LEAST or min(grey.shape) < _LEAST:  # too little to measure anything on
        return Ails(0.0, 0.0, 0.0, max(light, LEAST_LIGHT + 1), 0.0)
    return Ails(_blur(shades), _noise(grey), _blocks(grey), light, _shadow(raster, by))


def _middle(raster: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    """As much as grain and blocks need, from the middle; it begins where a block of JPEG's does."""
    top, left = (max(0, (side - _WINDOW) // 2) // 8 * 8 for side in raster.shape[:2])
    return raster[top : top + _WINDOW, left : left + _WINDOW]


def _blur(grey: Floats) -> float:
    """Sigma of the sharpest tenth of the edges: a blurred step c high is c / (√(2π) σ) steep."""
    import cv2

    soft = cv2.GaussianBlur(grey, (0, 0), 0.8)
    kernel = np.ones((_TILE, _TILE), np.uint8)
    high = cv2.dilate(soft, kernel) - cv2.erode(soft, kernel)
    x, y = cv2.Sobel(soft, cv2.CV_32F, 1, 0) / 8, cv2.Sobel(soft, cv2.CV_32F, 0, 1) / 8
    steep = cv2.dilate(np.hypot(x, y), kernel)
    half = slice(_TILE // 2, None, _TILE)
    height, slope = high[half, half].ravel(), steep[half, half].ravel()
    plain = height > max(20.0, 0.4 * float(np.percentile(height, 95)))
    if plain.sum() < 4:
        return 0.0
    sigma = height[plain] / (2.5066 * np.maximum(slope[plain], 1e-3))
    return float(np.sqrt(max(float(np.percentile(sigma, 10)) ** 2 - 0.8**2, 0.0)))


def _noise(grey: Floats) -> float:
    """Standard deviation of the grain: of second differences both ways, where little else is
    (J. Immerkær, Computer Vision and Image Understanding 64(2), 1996), by the median.
    """
    import cv2

    mask = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
    return float(np.median(np.abs(cv2.filter2D(grey, cv2.CV_32F, mask)))) / 0.6745 / 6


def _blocks(grey: Floats) -> float:
    """How much steeper steps at every eighth pixel are than the others, the usual ones of rows and
    columns; 1 where nothing was compressed.
    """
    ratios = []
    for plane in (grey, grey.T):
        step = np.abs(np.diff(plane, axis=1)).mean(axis=0)
        step = step[: len(step) // 8 * 8].reshape(-1, 8)
        if len(step):
            ratios.append(float(step[:, 7].mean() / max(float(step[:, :7].mean()), 0.3)))
    return float(np.mean(ratios)) if ratios else 1.0


def _shadow(raster: npt.NDArray[np.uint8], by: float) -> float:
    """Share of the photo where evening the light softly and up to the rim differ much."""
    import cv2

    size = (max(1, round(raster.shape[1] * by)), max(1, round(raster.shape[0] * by)))
    small = np.asarray(cv2.resize(raster, size, interpolation=cv2.INTER_AREA), np.uint8)
    sharp = even_page(small)
    side = max(5, round(max(size) / 40)) | 1
    paper = cv2.morphologyEx(cv2.medianBlur(small, 3), cv2.MORPH_CLOSE, np.ones((side, side)))
    paper = cv2.GaussianBlur(paper, (0, 0), side / 4)
    soft = cv2.divide(small, np.maximum(paper, 1), scale=float(PAPER))
    return float((cv2.absdiff(soft, sharp).max(axis=2) > 60).mean())
