"""The ruled lines of a board as a small network sees them: however faint, and nothing else.

``lines.onnx`` was trained on drawn pages (``digits_model/training/board_lines*.py``). Of a frame
laid square it says of every second pixel how likely a line along or down the board runs there, and
of every eighth how likely that lies in the board whose frame it is: digits, tints, diagonals,
stains and other print fall out.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.files import manifest_of, network_of, session_of
from papernudge.vision.flatten import homography, project
from papernudge.vision.mesh import Points

Grey = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float32]

SIDE, RIM = 352, 32
"""Pixels a side of what the network sees, and around the frame on each of its sides."""
STEP, AREA_STEP = 2, 8
"""Pixels between the places at which it speaks of lines, and of the board."""
PAPER, GAIN = 64, 512.0
"""Level of plain paper in what the network sees, and of a darkness as large as the paper's own."""
_FLAT = 0.01
"""Sine of a frame's corner, as if its sides were as long as the longest, at least."""
_AROUND = 49
"""Pixels a side over which the paper's brightness is averaged."""
_LIFTED = 0.94
"""What is darker than this share of its surroundings is left out of their brightness."""


@functools.cache
def manifest() -> dict[str, Any]:
    """The network's manifest: hash, geometry, training, data and licences, accuracy."""
    return manifest_of(__package__, "lines")


@functools.cache
def _session() -> Any:
    """The network, loaded when first asked.

    Raises RuntimeError where the file is not the one that its manifest describes.
    """
    return session_of(network_of(__package__, "lines", manifest()))


def square_of(quad: Points) -> Points:
    """The map (3, 3) from the pixels of a picture to those of what the network sees.

    ``quad``: (4, 2) corners of the frame, clockwise, pixels of the picture.
    """
    low, high = RIM - 0.5, SIDE - RIM - 0.5
    inner = np.array([[low, low], [high, low], [high, high], [low, high]], np.float64)
    return np.asarray(homography(inner) @ np.linalg.inv(homography(quad)), np.float64)


def _is_frame(quad: Points) -> bool:
    """Whether corners (4, 2) make a form that can be laid square: no corner lies on, or inside, a
    line between others.
    """
    if not np.isfinite(quad).all():
        return False
    (x, y), (onward, down) = (np.roll(quad, -1, axis=0) - quad).T, (quad - np.roll(quad, 1, 0)).T
    turns = onward * y - down * x
    longest = float(np.hypot(x, y).max())
    return bool(np.abs(turns).min() > _FLAT * longest**2 and len(set(np.sign(turns))) == 1)


def laid(grey: Grey, quad: Points) -> Grey:
    """A frame as the network sees it: square, with a rim, darkness against the paper around.

    ``grey``: uint8 (H, W); ``quad``: (4, 2) its corners, clockwise, pixels; the result is uint8
    (SIDE, SIDE).
    """
    import cv2

    size = np.array(grey.shape[::-1])
    margin = 0.2 * float(np.linalg.norm(quad - np.roll(quad, 1, axis=0), axis=1).max())
    low = np.clip(np.floor(quad.min(axis=0) - margin), 0, size - 2).astype(int)
    high = np.clip(np.ceil(quad.max(axis=0) + margin), low + 2, size).astype(int)
    part = grey[low[1] : high[1], low[0] : high[0]].astype(np.float32)
    corners = quad - low
    ahead = np.roll(corners, -1, axis=0)
    area = (corners[:, 0] * ahead[:, 1] - corners[:, 1] * ahead[:, 0]).sum() / 2
    shrink = (SIDE - 2 * RIM) / max(float(np.sqrt(abs(area))), 1.0)
    if shrink < 0.9:  # lines finer than a pixel lie between samples otherwise
        small = (max(2, round(part.shape[1] * shrink)), max(2, round(part.shape[0] * shrink)))
        by = np.array(small) / np.array(part.shape[::-1])
        part = np.asarray(cv2.resize(part, small, interpolation=cv2.INTER_AREA), np.float32)
        corners = (corners + 0.5) * by - 0.5
    matrix = square_of(corners)
    flat = cv2.warpPerspective(
        part, matrix, (SIDE, SIDE), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return _darkness(np.asarray(flat, np.float32))


def _darkness(flat: Floats) -> Grey:
    """How much darker than its surroundings each pixel of a grey picture is, uint8."""
    import cv2

    window = (_AROUND, _AROUND)
    around = cv2.blur(flat, window, borderType=cv2.BORDER_REFLECT)
    # Ink would darken what it is compared with: average again with the dark lifted.
    lifted = cv2.max(flat, _LIFTED * around)
    paper = cv2.blur(lifted, window, borderType=cv2.BORDER_REFLECT)
    share = (paper - flat) / (paper + 8.0)
    return np.clip(np.rint(PAPER + GAIN * share), 0, 255).astype(np.uint8)


@dataclass(frozen=True, eq=False)
class Cleaned:
    """What the network says of a frame.

    ``lines``: float32 (2, h, h), chances of lines along the board and of lines down it, at places
    STEP pixels apart; ``area``: float32 (a, a), of the board, AREA_STEP pixels apart; ``matrix``:
    float64 (3, 3), from places of ``lines`` to pixels of the picture.
    """

    lines: Floats
    area: Floats
    matrix: Points

    def back(self, places: Points) -> Points:
        """Places (..., 2) of ``lines``, x/y, as pixels of the picture."""
        return project(self.matrix, places)


def cleaned(grey: Grey, quad: Points, session: Any = None) -> Cleaned | None:
    """What is seen of the lines in a frame; None where its corners are no frame.

    ``grey``: uint8 (H, W), paper light and ink dark; ``quad``: (4, 2) the frame's corners,
    clockwise; ``session``: another network's than the shipped one's, for experiments.
    """
    if not _is_frame(quad):
        return None
    seen = laid(grey, quad)
    run = (session or _session()).run
    lines, area = run(None, {"board": seen[None, None].astype(np.float32)})
    lines, area = (1 / (1 + np.exp(-part[0])) for part in (lines, area))
    half = (STEP - 1) / 2
    spread = np.array([[STEP, 0, half], [0, STEP, half], [0, 0, 1]], np.float64)
    return Cleaned(lines, area[0], np.asarray(np.linalg.inv(square_of(quad)) @ spread, np.float64))
