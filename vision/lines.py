"""Measures a grid's lines in the photo, segment by segment, across an assumed mesh."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from papernudge.vision.mesh import Points

Floats = npt.NDArray[np.float32]

ALONG = 8
"""Samples along one segment between two crossings."""
_RANK = ALONG // 2
"""Darkness that this many samples of a segment reach counts; more than half, against digits."""
_FLANK = 0.15
"""Where the paper beside a line is looked at, cells from its middle."""


@dataclass(frozen=True, eq=False)
class Segments:
    """What was seen near every assumed line segment.

    Index 0 of the first axis is the horizontals, 1 the verticals; then the line (0–9) and the
    cell along it (0–8). ``offset``: float32 (2, 10, 9), cells, how far beside its assumed place
    the line lies (positive: down or right); ``strength``: float32 (2, 10, 9), darkness of the
    line against the paper on its better-inked side, grey levels, at or below 0 where none is;
    ``profile``: float32 (2, 10, 9, V), darkness across each segment, grey levels below the
    lightest seen there; ``across``: float32 (V,), the places of its samples in cells.
    """

    offset: Floats
    strength: Floats
    profile: Floats
    across: Floats


def line_frames(crossings: Points) -> tuple[Floats, Floats]:
    """Segments of both directions and the cell vectors across them.

    ``crossings``: (10, 10, 2). Returns ``ends`` float32 (2, 10, 10, 2), the crossings with
    verticals transposed so that axis 2 runs along the line, and ``over`` float32 (2, 10, 10, 2),
    at each crossing the vector of one cell across the line (down for horizontals, right for
    verticals).
    """
    flat = crossings.astype(np.float32)
    down = np.gradient(flat, axis=0).astype(np.float32)
    right = np.gradient(flat, axis=1).astype(np.float32)
    ends = np.stack([flat, flat.transpose(1, 0, 2)])
    over = np.stack([down, right.transpose(1, 0, 2)])
    return ends, over


def sample_strips(
    grey: npt.NDArray[np.uint8], crossings: Points, reach: float, places: int
) -> tuple[npt.NDArray[np.uint8], Floats]:
    """Grey levels on a small raster laid over every segment.

    ``grey``: uint8 (H, W). Returns uint8 (2, 10, 9, ALONG, places) and the places float32
    (places,), cells across the line from -reach to reach. Outside the photo its edge is repeated.
    """
    import cv2

    ends, over = line_frames(crossings)
    share = ((np.arange(ALONG, dtype=np.float32) + 0.5) / ALONG * 0.84 + 0.08)[:, None]
    base = ends[:, :, :-1, None] * (1 - share) + ends[:, :, 1:, None] * share
    slide = over[:, :, :-1, None] * (1 - share) + over[:, :, 1:, None] * share
    across = np.linspace(-reach, reach, places, dtype=np.float32)
    where = base[..., None, :] + slide[..., None, :] * across[:, None]
    where = where.reshape(2 * 10 * 9, ALONG * places, 2)
    seen = cv2.remap(
        grey, where[..., 0], where[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(seen, np.uint8).reshape(2, 10, 9, ALONG, places), across


def measure(
    grey: npt.NDArray[np.uint8], crossings: Points, reach: float, places: int = 25
) -> Segments:
    """Looks for the line near each of the 180 segments of an assumed mesh.

    ``grey``: uint8 (H, W); ``reach``: how far to either side to look, cells.
    A rank beyond the median along the segment keeps what is dark over most of its length, which
    a line is and a stroke of a digit is not; a line must stand out from the paper on both sides, which the
    edge of a shaded cell does not.
    """
    strips, across = sample_strips(grey, crossings, reach + _FLANK, places)
    level = np.partition(strips, (_RANK, _RANK + 1), axis=3)[..., _RANK : _RANK + 2, :]
    dark = 255.0 - level.mean(axis=3, dtype=np.float32)
    dark -= dark.min(axis=3, keepdims=True)
    step = float(across[1] - across[0])
    flank = max(1, round(_FLANK / step))
    middle = dark[..., flank:-flank]
    stands = middle - np.maximum(dark[..., : -2 * flank], dark[..., 2 * flank :])
    inner = across[flank:-flank]
    # A faint preference for the assumed place settles ties between a line and a digit's stroke.
    # Far darker than the usual line is no better: pen strokes are.
    usual = max(float(np.median(stands.max(axis=3))), 1.0)
    likely = np.minimum(stands, usual) + 0.05 * stands
    likely *= 1.0 - 0.5 * (inner / max(reach, 1e-6)) ** 2
    best = likely.argmax(axis=3)[..., None]
    top = np.take_along_axis(stands, best, axis=3)
    near = np.abs(inner - inner[best]) <= 0.12
    weight = np.where(near, np.maximum(stands - 0.5 * np.maximum(top, 1e-3), 0), 0)
    offset = (weight * inner).sum(axis=3) / np.maximum(weight.sum(axis=3), 1e-6)
    return Segments(offset.astype(np.float32), top[..., 0].astype(np.float32), dark, across)
