"""Measures a grid's lines in the photo, segment by segment, across an assumed mesh."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from papernudge.vision.mesh import Points
from papernudge.vision.tuned import tuned

Grey = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float32]
Real = TypeVar("Real", np.float32, np.float64)

ALONG = 8
"""Samples along one segment between two crossings."""
_RANK = ALONG // 2
"""Darkness that this many samples of a segment reach counts; more than half, against digits."""

_FLANK = tuned("lines._FLANK")
"""Where the paper beside a line is looked at, cells from its middle."""
_SPARED = tuned("lines._SPARED")
"""Share of a segment left out at either end, where other lines cross."""
_CORE = tuned("lines._CORE")
"""Half the width in which a line's own ink lies."""
_CORE_BESIDE = tuned("lines._CORE_BESIDE")
"""Where the paper beside that begins."""
_CORE_TO = tuned("lines._CORE_TO")
"""And where it ends."""
_DARKER = tuned("lines._DARKER")
"""What being darker than the usual line is worth, beside being as dark."""
_NEARER = tuned("lines._NEARER")
"""What is lost at the far end of the reach."""
_WIDE = tuned("lines._WIDE")
"""Half the width over which a line's middle is taken."""
_ONWARD = tuned("lines._ONWARD")
"""How far beyond the frame a line that goes on is looked for."""


@dataclass(frozen=True, eq=False)
class Segments:
    """What was seen near every assumed line segment; leading axes are those of the query.

    For a whole mesh they are (2, 10, 9): horizontals then verticals, the line, the cell along it.
    ``offset``: float32 (...), cells, how far beside its assumed place the line lies (positive:
    down for horizontals, right for verticals); ``strength``: float32 (...), darkness of the line
    against the paper on its better-inked side, grey levels, at or below 0 where none is;
    ``profile``: float32 (..., V), darkness across each segment, grey levels below the lightest
    seen there; ``across``: float32 (V,), the places of its samples in cells.
    """

    offset: Floats
    strength: Floats
    profile: Floats
    across: Floats

    def mass(self) -> Floats:
        """Ink of each line, float32 (...): darkness times width, grey levels × cells.

        Blur spreads a line but keeps its mass, so that thick lines tell themselves from thin
        ones in a blurred photo as well.
        """
        rim = max(1, self.profile.shape[-1] // 6)
        flanks = np.maximum(
            self.profile[..., :rim].mean(axis=-1), self.profile[..., -rim:].mean(axis=-1)
        )
        above = np.clip(self.profile[..., rim:-rim] - flanks[..., None], 0, None)
        step = float(self.across[1] - self.across[0])
        return np.asarray(above.sum(axis=-1) * step, np.float32)

    def core(self) -> Floats:
        """Ink of each line itself, float32 (...): what lies within a tenth of a cell of its place.

        Against the lightest paper on its better-inked side: what is written beside a line or
        across its end weighs less than in :meth:`mass`, and so does a line that was bent aside.
        """
        at = self.across
        beside = (np.abs(at) > _CORE_BESIDE) & (np.abs(at) < _CORE_TO)
        paper = np.maximum(
            self.profile[..., beside & (at < 0)].min(axis=-1),
            self.profile[..., beside & (at > 0)].min(axis=-1),
        )
        above = np.clip(self.profile[..., np.abs(at) <= _CORE] - paper[..., None], 0, None)
        return np.asarray(above.sum(axis=-1) * float(at[1] - at[0]), np.float32)


def mesh_segments(crossings: Points) -> tuple[Floats, Floats]:
    """The 180 segments of a mesh (10, 10, 2), both float32 (2, 10, 9, 2, 2).

    First their two ends, x/y pixels; then at each end the vector of one cell across the line,
    down for horizontals and right for verticals.
    """
    flat = crossings.astype(np.float32)
    down = slope(flat)
    right = slope(flat.transpose(1, 0, 2))
    ends = np.stack([flat, flat.transpose(1, 0, 2)])
    over = np.stack([down, right])
    return (
        np.stack([ends[:, :, :-1], ends[:, :, 1:]], axis=3),
        np.stack([over[:, :, :-1], over[:, :, 1:]], axis=3),
    )


def ranked(values: npt.NDArray[Real], share: float = 0.5) -> npt.NDArray[Real]:
    """The value that this share of the others lies below, along the last axis.

    The nearest rank, without numpy's care for empty and missing values, which takes longer than
    the work itself on a few hundred numbers.
    """
    rank = round(share * (values.shape[-1] - 1))
    return np.asarray(np.partition(values, rank, axis=-1)[..., rank])


def slope(lines: npt.NDArray[Real]) -> npt.NDArray[Real]:
    """Central differences along the first axis, one-sided at its ends."""
    slope = np.empty_like(lines)
    slope[1:-1] = (lines[2:] - lines[:-2]) * 0.5
    slope[0] = lines[1] - lines[0]
    slope[-1] = lines[-1] - lines[-2]
    return slope


def strips(grey: Grey, ends: Floats, over: Floats, across: Floats) -> Grey:
    """Grey levels on a small raster laid over every segment, uint8 (N, ALONG, V).

    ``grey``: uint8 (H, W); ``ends`` and ``over``: float32 (N, 2, 2), a segment's ends and the
    cell vectors across it there; ``across``: float32 (V,), cells. Beyond the photo its edge is
    repeated.
    """
    import cv2

    share = (np.arange(ALONG, dtype=np.float32) + 0.5) / ALONG
    share = (share * (1 - 2 * _SPARED) + _SPARED)[:, None]
    base = ends[:, None, 0] * (1 - share) + ends[:, None, 1] * share
    slide = over[:, None, 0] * (1 - share) + over[:, None, 1] * share
    x = base[..., 0, None] + slide[..., 0, None] * across
    y = base[..., 1, None] + slide[..., 1, None] * across
    flat = (len(ends) * ALONG // 8, -1)
    seen = cv2.remap(
        grey,
        x.reshape(flat),
        y.reshape(flat),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(seen, np.uint8).reshape(len(ends), ALONG, len(across))


# Batcher's odd-even merge sort (1968) of eight: which pairs to compare, in order.
_PAIRS = (
    *((0, 1), (2, 3), (4, 5), (6, 7), (0, 2), (1, 3), (4, 6), (5, 7), (1, 2), (5, 6)),
    *((0, 4), (1, 5), (2, 6), (3, 7), (2, 4), (3, 5), (1, 2), (3, 4), (5, 6)),
)


def _ranked(seen: Grey) -> list[Grey]:
    """The ALONG samples (N, ALONG, V) sorted, each rank as (N, V): whole arrays at a time."""
    lanes = list(np.ascontiguousarray(seen.transpose(1, 0, 2)))
    for a, b in _PAIRS:
        lanes[a], lanes[b] = np.minimum(lanes[a], lanes[b]), np.maximum(lanes[a], lanes[b])
    return lanes


def look(grey: Grey, ends: Floats, over: Floats, reach: float, places: int = 25) -> Segments:
    """Looks for a line near each assumed segment, no further than ``reach`` cells beside it.

    ``grey``: uint8 (H, W); ``ends`` and ``over``: float32 (..., 2, 2) as of
    :func:`mesh_segments`; ``places``: samples across. A rank beyond the median along the
    segment keeps what is dark over most of its length, which a line is and a stroke of a digit
    is not; a line must stand out from the paper on both sides, which the edge of a shaded cell
    does not.
    """
    shape = ends.shape[:-2]
    across = np.linspace(-reach - _FLANK, reach + _FLANK, places, dtype=np.float32)
    seen = strips(grey, ends.reshape(-1, 2, 2), over.reshape(-1, 2, 2), across)
    ranked = _ranked(seen)
    dark = 255.0 - (ranked[_RANK].astype(np.float32) + ranked[_RANK + 1]) / 2
    dark -= dark.min(axis=1, keepdims=True)
    step = float(across[1] - across[0])
    flank = max(1, round(_FLANK / step))
    stands = dark[:, flank:-flank] - np.maximum(dark[:, : -2 * flank], dark[:, 2 * flank :])
    inner = across[flank:-flank]
    # Far darker than the usual line is no better: pen strokes are. Nearer is a little better.
    peaks = stands.max(axis=1)
    usual = max(float(np.partition(peaks, len(peaks) // 2)[len(peaks) // 2]), 1.0)
    likely = np.minimum(stands, usual) + _DARKER * stands
    likely *= 1.0 - _NEARER * (inner / max(reach, 1e-6)) ** 2
    best = likely.argmax(axis=1)[:, None]
    top = np.take_along_axis(stands, best, axis=1)
    near = np.abs(inner - inner[best]) <= _WIDE
    weight = np.where(near, np.maximum(stands - 0.5 * np.maximum(top, 1e-3), 0), 0)
    offset = (weight @ inner) / np.maximum(weight.sum(axis=1), 1e-6)
    return Segments(
        offset.astype(np.float32).reshape(shape),
        top.astype(np.float32).reshape(shape),
        np.asarray(dark, np.float32).reshape(*shape, places),
        across,
    )


def measure(grey: Grey, crossings: Points, reach: float, places: int = 25) -> Segments:
    """Looks for the lines of an assumed mesh (10, 10, 2); the result's axes are (2, 10, 9)."""
    ends, over = mesh_segments(crossings)
    return look(grey, ends, over, reach, places)


def outward(crossings: Points) -> tuple[Floats, Floats]:
    """Where lines would go on if the lattice did not end at the frame.

    ``crossings``: (10, 10, 2). Returns ends and over, float32 (4, 8, 2, 2): for the top, bottom,
    left and right side the eight inner lines that meet it, continued by half a cell: further
    out a neighbouring grid may begin.
    """
    flat = crossings.astype(np.float32)
    ends, over = [], []
    for lines in (flat, flat[::-1], flat.transpose(1, 0, 2), flat[:, ::-1].transpose(1, 0, 2)):
        rim, inner = lines[0], lines[1]
        beyond = rim + _ONWARD * (rim - inner)
        side = (rim[2:] - rim[:-2]) * 0.5
        ends.append(np.stack([rim[1:-1], beyond[1:-1]], axis=1))
        over.append(np.stack([side, side], axis=1))
    return np.stack(ends), np.stack(over)


def frame_half_widths(segments: Segments) -> Floats:
    """How far the frame's ink reaches from its middle, cells, float32 (4,).

    Top, bottom, left, right, from the segments of a whole mesh: where darkness has fallen to
    half the line's own, on the side where it falls sooner, since a shadow may lie on the other.
    """
    middle = len(segments.across) // 2
    rims = segments.profile[[0, 0, 1, 1], [0, 9, 0, 9]]
    dark = ranked(rims.transpose(0, 2, 1))
    step = float(segments.across[1] - segments.across[0])
    return np.minimum(_fall(dark[:, middle:], step), _fall(dark[:, middle::-1], step))


def _fall(dark: Floats, step: float) -> Floats:
    """Where each profile (N, V), starting at a line's middle, falls to half, cells (N,)."""
    paper = dark.min(axis=1)
    half = (paper + dark[:, :4].max(axis=1)) / 2
    first = np.argmax(dark < half[:, None], axis=1)
    before = np.maximum(first - 1, 0)
    rows = np.arange(len(dark))
    drop = dark[rows, before] - dark[rows, first]
    part = (dark[rows, before] - half) / np.maximum(drop, 1e-6)
    return np.asarray((before + np.clip(part, 0, 1)) * step, np.float32)
