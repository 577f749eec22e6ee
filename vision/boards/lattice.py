"""How many lines a square lattice has, and where they run: no number of cells is assumed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from papernudge.vision.find_outlines import Contour, bent_mesh, quad_of
from papernudge.vision.flatten import (
    Pass,
    beyond_edge,
    followed,
    line_evidence,
    moved_by,
    smooth,
)
from papernudge.vision.lines import measure, ranked
from papernudge.vision.mesh import Mesh, Points

Grey = npt.NDArray[np.uint8]
Flags = npt.NDArray[np.bool_]

FEWEST, MOST = 4, 16
"""Cells a side that are tried."""
_GLANCE = 0.3
"""Reach of the first look, cells: an even bend that the frame does not show."""
_PASSES: tuple[Pass, ...] = ((0.3, 3.0, 0.02, 0.0), (0.18, 0.6, 0.015, 0.0))
"""Of each pass: reach, cells; stiffness of the page; the least of a usual deviation, cells; the
least agreement."""
_LAST_REACH, _LAST_STIFFNESS, _LAST_DEVIATION = 0.12, 0.15, 0.01
_CLOSE = 0.08
"""A segment this near to its place, cells, is seen there."""
_THIN, _DARK, _HEAVY, _DARK_LEAST = 0.3, 0.4, 0.12, 2.5
"""A line is as dark as a share of the thin ones', of whom so many are thinner, and of the heavy
ones', and so many grey levels."""
_CELL = 40.0
"""Side of a cell, pixels, at which lines are looked for: thin ones of large cells lie between
samples otherwise."""
_LINE, _LINES = 0.65, 0.85
"""Share of a line's segments that must be seen, and of all."""
_FAINT, _USUAL, _RIM = 2.0, 4.0, 3.0
"""Standard errors by which each line must stand out from the paper, the usual one, and the sides
of the frame."""
_WORTH = 0.4
"""Share of segments seen at the first glance from which on a number of cells is tried."""


@dataclass(frozen=True, eq=False)
class Lattice:
    """A lattice of S × S cells. ``mesh``: its crossings, pixels of the picture; ``seen``: bool
    (2, S + 1, S), which segments of the horizontals and of the verticals are there; ``evidence``:
    float64 (2, S + 1), by how many standard errors each line stands out.
    """

    mesh: Mesh
    seen: Flags
    evidence: Points

    @property
    def side(self) -> int:
        """Cells a side."""
        return int(self.seen.shape[-1])

    def scaled(self, by: float) -> Lattice:
        """The same in a picture that is ``by`` times as large."""
        return Lattice(
            Mesh((self.mesh.crossings + 0.5) * by - 0.5, self.mesh.seen), self.seen, self.evidence
        )

    @property
    def whole(self) -> bool:
        """Whether every line is there, the sides of the frame as well.

        Thin lines may drown in noise and ink, piece by piece, and stand out as a whole.
        """
        lines = self.seen.mean(axis=2)
        if lines.min() > _LINE and lines.mean() > _LINES:
            return True
        rims = self.evidence[:, [0, -1]]
        there = float(self.evidence.min()) > _FAINT and float(rims.min()) > _RIM
        return bool(there and np.median(self.evidence) > _USUAL)


def lattice_in(grey: Grey, contour: Contour) -> Lattice | None:
    """The lattice whose frame a piece of ink is, with as many lines as are there.

    ``grey``: uint8 (H, W); ``contour``: int32 (N, 2), that ink's outline, x/y. Every number of
    cells is tried, and the greatest of which all lines are seen is taken: half the lines of an
    8 × 8 are a whole 4 × 4. None where no number fits.
    """
    corners = quad_of(contour)
    if corners is None:
        return None
    rough = contour.astype(np.float64)
    for side in range(MOST, FEWEST - 1, -1):
        start = bent_mesh(rough, corners, side)
        if not np.isfinite(start).all():
            continue
        smaller, scale = _shrunk(grey, start)
        start = (start + 0.5) * scale - 0.5
        if _worth(smaller, start):
            found = _fitted(smaller, start)
            if found is not None and found.whole:
                return found.scaled(1 / scale)
    return None


def _shrunk(grey: Grey, mesh: Points) -> tuple[Grey, float]:
    """The picture with cells of at most about _CELL pixels, and its scale."""
    import cv2

    step = float(np.median(np.linalg.norm(np.diff(mesh, axis=1), axis=2)))
    if step < 1.5 * _CELL:
        return grey, 1.0
    scale = _CELL / step
    size = (round(grey.shape[1] * scale), round(grey.shape[0] * scale))
    return np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.uint8), scale


def _worth(grey: Grey, start: Points) -> bool:
    """Whether so many segments are seen at a glance that the mesh (S + 1, S + 1, 2) may be it."""
    segments = measure(grey, start, _GLANCE)
    return bool(_dark(segments.strength)[:, 1:-1].mean() > _WORTH)


def _dark(strength: npt.NDArray[np.float32]) -> Flags:
    """Which segments are as dark as lines."""
    thin, heavy = (float(ranked(strength.ravel(), share)) for share in (_THIN, 0.8))
    return np.asarray(strength > max(_DARK * thin, _HEAVY * heavy, _DARK_LEAST))


def _fitted(grey: Grey, start: Points) -> Lattice | None:
    """The mesh (S + 1, S + 1, 2) laid on the lines, and which of them are seen."""
    crossings = followed(grey, start, _PASSES)
    if crossings is None:
        return None
    segments = measure(grey, crossings, _LAST_REACH)
    hidden = beyond_edge(crossings, grey.shape)
    shift, left = smooth(segments, hidden, _LAST_STIFFNESS, _LAST_DEVIATION)
    near = np.abs(left).reshape(hidden.shape) < _CLOSE
    seen = near & _dark(segments.strength) & ~hidden
    moved = moved_by(crossings, shift)
    ends = np.zeros((2, *moved.shape[:2]), bool)
    ends[..., :-1] |= seen
    ends[..., 1:] |= seen
    return Lattice(Mesh(moved, ends[0] & ends[1].T), seen, line_evidence(segments))
