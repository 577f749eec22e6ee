"""A mesh against the sheet of paper that it must lie on.

Paper lies flat, or bends as a whole; what lies on it does neither. Where a thumb or a cup covers
the frame its own edge is taken for the grid's last line, and the mesh leaves the sheet there. The
sheet is fitted to all crossings at once, robustly, so that what left it shows.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from papernudge.vision.flatten import lattice, project
from papernudge.vision.mesh import Mesh, Points

Flags = npt.NDArray[np.bool_]

STRAYED = 0.2
"""Cells from the sheet beyond which a crossing left it. Of 291 grids on undamaged photos 278 stay
below, ten curl there and were seen, and the meshes of three had indeed left the lines."""
_UNSURE = 0.1
"""The same for one that was not seen; and within which a crossing speaks for a sheet."""
_CURLED = 0.9
"""Share of the strays that were seen from which on the paper itself curls there: three quarters of
23 drawn curls showed all of them, half of 55 covers less than 0.4."""
_STIFFER = 4
"""So many crossings less, of a hundred as below, may lie on the stiffer sheet for it to be the
one."""
_FLATTER = 6
"""The same of those that were seen, for a flat sheet to be the one where much was not: of 24 grids
under large thumbs 4, whose bent sheets missed the lines by 0.3 to 1.8 cells, differed by 4 at most
and one whose paper does curl by 12."""
_MOST_UNSEEN, _MOST_ON = 8, 75
"""Of a hundred crossings, as a newspaper's grid has, of other boards in proportion: with more
unseen than the first something lies on the page, and a sheet that the second lie on
is stiff enough."""
_LEAST_ON, _LEAST_ON_BENT = 68, 86
"""Crossings that must lie on the stiffer sheet where so many were not seen, and on the other where
any weren't: with fewer the mesh skipped a line, and nobody knows where it is right."""
_UNEVEN = 0.25
"""Log of the width of a column, or height of a row, to that of the others from which on a line was
skipped or made up: 291 grids on undamaged photos stay below 0.142, all but 5 below 0.07; a page of
which the outer half bends away by 45 degrees reaches 0.16, a line too few or too many 0.69."""
_ROUNDS = 8
_FLOOR = 0.03
"""Least scale of a usual distance from the sheet, cells."""
_BLIND = 0.15
"""Weight of a crossing that was not seen."""


@dataclass(frozen=True, eq=False)
class Settled:
    """A mesh with its strays put back.

    ``mesh``: the mesh; ``strays``: bool (n + 1, n + 1), crossings that had left the sheet;
    ``lost``: whether so much left it that no cell may be trusted.
    """

    mesh: Mesh
    strays: Flags
    lost: bool = False

    @property
    def strained(self) -> Flags:
        """The cells with a stray at a corner, bool (N,)."""
        return _around(self.strays)

    def turned(self, quarter_turns: int) -> Settled:
        """The same of the grid upright, as ``Mesh.turned``."""
        strays = np.rot90(self.strays, -quarter_turns).copy()
        return Settled(self.mesh.turned(quarter_turns), strays, self.lost)


@cache
def _terms(degree: int, side: int) -> Points:
    """Products of powers of the place, up to ``degree`` together, (P, K) of P crossings."""
    x, y = (2 * lattice(side).reshape(-1, 2) - 1).T
    powers = [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]
    return np.stack([x**i * y**j for i, j in powers], axis=1)


def _plane(points: Points, weights: Points, side: int) -> Points:
    """The homography (3, 3) that takes the unit square's lattice nearest to points (P, 2).

    Direct linear transform, weighted (R. Hartley and A. Zisserman, Multiple View Geometry, 2nd ed.
    2004, algorithm 4.1).
    """
    u, v = lattice(side).reshape(-1, 2).T
    x, y = points.T
    zero, one = np.zeros(len(u)), np.ones(len(u))
    rows = np.concatenate(
        [
            np.stack([u, v, one, zero, zero, zero, -u * x, -v * x, -x], axis=1),
            np.stack([zero, zero, zero, u, v, one, -u * y, -v * y, -y], axis=1),
        ]
    )
    rows *= np.sqrt(np.concatenate([weights, weights]))[:, None]
    return np.asarray(np.linalg.eigh(rows.T @ rows)[1][:, 0].reshape(3, 3), np.float64)


def _sheet(mesh: Mesh, degree: int) -> tuple[Points, Points]:
    """The sheet that most crossings lie on: how far each is from it, cells (n + 1, n + 1),
    and where the sheet has it, (n + 1, n + 1, 2).

    A plane seen in perspective and a bend of this ``degree``, by iteratively reweighted least
    squares with Tukey's biweight.
    """
    points, side = mesh.crossings.reshape(-1, 2), mesh.side
    middle, size = points.mean(axis=0), points.std()
    normed = np.asarray((points - middle) / size, np.float64)
    places, terms = lattice(side).reshape(-1, 2), _terms(degree, side)
    trust = np.where(mesh.seen.reshape(-1), 1.0, _BLIND)
    weights = trust
    for _ in range(_ROUNDS):
        plane = _plane(normed, weights, side)
        flat = project(np.asarray(np.linalg.inv(plane), np.float64), normed)
        root = np.sqrt(weights)[:, None]
        bend, *_ = np.linalg.lstsq(terms * root, (flat - places) * root, rcond=None)
        off = side * np.linalg.norm(flat - places - terms @ bend, axis=1)
        if off.max() < _UNSURE:
            break
        scale = 4 * max(1.4826 * float(np.median(off)), _FLOOR)
        weights = trust * (np.clip(1 - (off / scale) ** 2, 0, None) ** 2 + 1e-3)
    there = project(plane, places + terms @ bend) * size + middle
    return off.reshape(mesh.seen.shape), there.reshape(mesh.crossings.shape)


def _unevenness(mesh: Mesh) -> float:
    """How far the width of a column or row is from the others', log.

    Seen in perspective the logs of widths lie nearly on a line, which is fitted by the median of
    slopes (P. Sen, Journal of the American Statistical Association 63, 1968).
    """
    at, most = np.arange(float(mesh.side)), 0.0
    first, second = np.triu_indices(mesh.side, 1)
    for lines in (mesh.crossings, mesh.crossings.transpose(1, 0, 2)):
        steps = np.linalg.norm(np.diff(lines, axis=1), axis=2)
        logs = np.median(np.log(np.maximum(steps, 1e-6)), axis=0)
        slope = np.median((logs[second] - logs[first]) / (at[second] - at[first]))
        off = logs - slope * at
        most = max(most, float(np.abs(off - np.median(off)).max()))
    return most


def settle(mesh: Mesh, harmed: Callable[[], Flags]) -> Settled:
    """The mesh with crossings that left the sheet put where the sheet has them.

    ``harmed``: says of the mesh's cells, bool (N,), whether something befell them; asked only
    where all that left the sheet was seen: the paper itself may curl there.
    """
    none = np.zeros_like(mesh.seen)
    share = mesh.seen.size / 100
    if _unevenness(mesh) > _UNEVEN:
        return Settled(mesh, none, lost=True)
    off, there = _sheet(mesh, 2)
    if off.max() < _UNSURE:
        return Settled(mesh, none)
    on, unseen = int((off < _UNSURE).sum()), int((~mesh.seen).sum())
    bent, bent_there = _sheet(mesh, 3)
    on_bent = int((bent < _UNSURE).sum())
    few = on_bent < _LEAST_ON_BENT * share
    if on < _LEAST_ON * share and (unseen > _MOST_UNSEEN * share or (unseen and few)):
        return Settled(mesh, off > STRAYED, lost=True)
    flat, flat_there = _sheet(mesh, 0)
    bends = unseen <= _MOST_UNSEEN * share or on < _MOST_ON * share
    if unseen > _MOST_UNSEEN * share and _as_many(mesh, flat, (off, bent), share):
        off, there = flat, flat_there
    elif on_bent - on > _STIFFER * share and bends:
        off, there = bent, bent_there
    strays = off > STRAYED
    if not strays.any():
        return Settled(mesh, none)
    curled = (mesh.seen & strays).sum() > _CURLED * strays.sum()
    if curled and not (harmed() & _around(strays)).any():
        return Settled(mesh, none)
    away = strays | (~mesh.seen & (off > _UNSURE))
    crossings = np.where(away[..., None], there, mesh.crossings)
    return Settled(Mesh(crossings, mesh.seen & ~away), strays)


def _as_many(mesh: Mesh, off: Points, others: tuple[Points, ...], share: float) -> bool:
    """Whether nearly as many crossings that were seen lie on this sheet as on each of others.

    Where much was not seen the stiffest sheet knows best where it lies: bends are fitted to a
    cover's edge as well.
    """
    on, *rest = (int((mesh.seen & (one < _UNSURE)).sum()) for one in (off, *others))
    return max(rest) - on <= _FLATTER * share


def _around(crossings: Flags) -> Flags:
    """Cells, bool (N,), that have one of these crossings, (n + 1, n + 1), at a corner."""
    at = crossings[1:, 1:] | crossings[1:, :-1] | crossings[:-1, 1:] | crossings[:-1, :-1]
    return np.asarray(at.reshape(-1), np.bool_)
