"""From a rough outline to the mesh of a grid's 10×10 crossings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from papernudge.vision.failure import Failure
from papernudge.vision.lines import Segments, measure
from papernudge.vision.mesh import Mesh, Points

Grey = npt.NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class Flat:
    """A mesh with the evidence for it.

    ``support``: float (2, 10), for horizontals and verticals the share of each line's nine
    segments that are seen where the mesh says; ``contrast``: grey levels, median darkness of the
    seen segments; ``segments``: the last measurement.
    """

    mesh: Mesh
    support: Points
    contrast: float
    segments: Segments


# (reach in cells, polynomial degree of the correction) of each pass
_PASSES = ((0.42, 2), (0.3, 3), (0.2, 4))
_CLOSE = 0.07
"""A segment this near to the smooth model, in cells, counts as seen there."""


def quad_mesh(corners: Points) -> Points:
    """The (10, 10, 2) crossings of a flat page whose outer corners are ``corners`` (4, 2)."""
    return project(homography(corners), lattice())


def lattice() -> Points:
    """Places of the crossings on the unit square, (10, 10, 2)."""
    at = np.linspace(0.0, 1.0, 10)
    return np.stack(np.meshgrid(at, at), axis=-1)


def homography(corners: Points) -> Points:
    """The 3×3 map from the unit square to ``corners`` (top-left, clockwise)."""
    import cv2

    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    return np.asarray(cv2.getPerspectiveTransform(unit, corners.astype(np.float32)), np.float64)


def project(matrix: Points, places: Points) -> Points:
    """Applies a homography to points (..., 2)."""
    full = places @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(full[..., :2] / full[..., 2:3], np.float64)


def _basis(x: Points, y: Points, degree: int) -> Points:
    """Chebyshev products up to a total degree at places -1…1: the smooth page model."""
    tx = np.polynomial.chebyshev.chebvander(x, degree)
    ty = np.polynomial.chebyshev.chebvander(y, degree)
    return np.stack(
        [tx[..., i] * ty[..., j] for i in range(degree + 1) for j in range(degree + 1 - i)],
        axis=-1,
    )


def _places(degree: int) -> tuple[Points, Points]:
    """Basis at the 2×90 segment middles, (2, 90, K), and at the 100 crossings, (100, K)."""
    line = np.linspace(-1, 1, 10)
    middle = (line[:-1] + line[1:]) / 2
    y, x = np.meshgrid(line, middle, indexing="ij")
    across = _basis(x.ravel(), y.ravel(), degree)
    # Verticals: first index is x, the cell along them is y.
    upright = _basis(y.ravel(), x.ravel(), degree)
    yy, xx = np.meshgrid(line, line, indexing="ij")
    return np.stack([across, upright]), _basis(xx.ravel(), yy.ravel(), degree)


def _stiffness(degree: int) -> Points:
    """Penalty of each basis term: bends of a high degree need more evidence than a shift."""
    orders = [i + j for i in range(degree + 1) for j in range(degree + 1 - i)]
    return np.array([1e-3 + 0.4 * max(0, order - 1) ** 2 for order in orders])


_STIFF = {degree: _stiffness(degree) for _, degree in _PASSES}
_PLACES = {degree: _places(degree) for _, degree in _PASSES}


def _smooth(segments: Segments, degree: int) -> tuple[Points, Points]:
    """Fits the smooth correction; returns it at crossings (2, 100) and the residuals (2, 90).

    Iteratively reweighted least squares with Tukey's biweight, weighted by how clearly each
    line is seen.
    """
    at_segments, at_crossings = _PLACES[degree]
    strong = np.maximum(segments.strength.reshape(2, 90).astype(np.float64), 0.0)
    strong = np.minimum(strong / max(float(np.median(strong)), 1e-6), 1.5)
    correction = np.empty((2, 100))
    residual = np.empty((2, 90))
    for way in range(2):
        offset = segments.offset[way].ravel().astype(np.float64)
        design = at_segments[way]
        weight = strong[way]
        left = offset
        ridge = np.diag(_STIFF[degree])
        for _ in range(6):
            weighted = design * weight[:, None]
            solved = np.linalg.solve(weighted.T @ design + ridge, weighted.T @ offset)
            left = offset - design @ solved
            scale = max(1.4826 * float(np.median(np.abs(left))), 0.015) * 4.0
            weight = strong[way] * np.clip(1 - (left / scale) ** 2, 0, None) ** 2
        correction[way] = at_crossings @ solved
        residual[way] = left
    return correction, residual


def _moved(crossings: Points, correction: Points) -> Points:
    """Crossings shifted by cells down (correction[0]) and right (correction[1])."""
    down = np.gradient(crossings, axis=0)
    right = np.gradient(crossings, axis=1)
    shift = correction.reshape(2, 10, 10, 1)
    return np.asarray(crossings + shift[0] * down + shift[1] * right, np.float64)


def flatten(grey: Grey, start: Points) -> Flat | Failure:
    """Refines a rough mesh to the printed lines.

    ``grey``: uint8 (H, W); ``start``: (10, 10, 2) crossings within about 0.4 cell of the truth,
    pixels of ``grey``. Each pass measures all 180 segments, fits a smooth correction and moves
    the mesh; the last also follows each line locally, which a fold needs. Where a line cannot
    be seen the smooth model stands, and ``seen`` says so.
    """
    crossings = np.asarray(start, np.float64)
    for reach, degree in _PASSES:
        if not _sane(crossings):
            return Failure("flatten", "no lattice", "No 9×9 lattice of lines was found there.")
        segments = measure(grey, crossings, reach)
        correction, residual = _smooth(segments, degree)
        crossings = _moved(crossings, correction)
    if not _sane(crossings):
        return Failure("flatten", "no lattice", "No 9×9 lattice of lines was found there.")
    segments = measure(grey, crossings, 0.12)
    residual = segments.offset.reshape(2, 90)
    strong = segments.strength.reshape(2, 90)
    lines = float(np.median(strong))
    good = (np.abs(residual) < _CLOSE) & (strong > max(0.15 * lines, 2.5))
    local, seen = _local(residual, good)
    crossings = _moved(crossings, local)
    support = good.reshape(2, 10, 9).mean(axis=2)
    return Flat(Mesh(crossings, seen), support, lines, segments)


def _local(
    residual: npt.NDArray[np.float32], good: npt.NDArray[np.bool_]
) -> tuple[Points, npt.NDArray[np.bool_]]:
    """Averages the residuals of the seen segments that meet at a crossing, along each line.

    Returns the correction (2, 100) and which crossings were measured in both directions.
    """
    value = np.where(good, residual, 0).reshape(2, 10, 9)
    count = good.reshape(2, 10, 9).astype(np.float64)
    total = np.zeros((2, 10, 10))
    weight = np.zeros((2, 10, 10))
    total[..., :-1] += value
    total[..., 1:] += value
    weight[..., :-1] += count
    weight[..., 1:] += count
    mean = total / np.maximum(weight, 1)
    seen = weight > 0
    mean[1] = mean[1].T.copy()
    both = seen[0] & seen[1].T
    return mean.reshape(2, 100), both


def _sane(crossings: Points) -> bool:
    """All cells convex, alike in turning sense and not absurd in size."""
    if not np.isfinite(crossings).all():
        return False
    right = np.diff(crossings, axis=1)
    down = np.diff(crossings, axis=0)
    area = right[:-1, :, 0] * down[:, :-1, 1] - right[:-1, :, 1] * down[:, :-1, 0]
    area2 = right[1:, :, 0] * down[:, 1:, 1] - right[1:, :, 1] * down[:, 1:, 0]
    low = min(float(area.min()), float(area2.min()))
    return low > 9.0 and float(area.max()) < 40.0 * low
