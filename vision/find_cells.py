"""Candidate grids from their cells: pieces of paper that lie in a lattice.

A frame may be broken, or joined to what stands beside it; the cells inside still lie in rows and
columns. Pieces of paper between ink are linked to their neighbours, each predicting where the
next one should be, so that a lattice bends with the page.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from papernudge.vision.flatten import project
from papernudge.vision.mesh import Points

Contour = npt.NDArray[np.int32]
Ints = npt.NDArray[np.int64]

_MISS = 0.3
"""How far a neighbour may lie from its predicted place, shares of the step."""


@dataclass(frozen=True, eq=False)
class Lattice:
    """Cells linked into rows and columns.

    ``centres``: (N, 2) pixels; ``places``: int (N, 2), column and row, from 0.
    """

    centres: Points
    places: Ints

    @property
    def extent(self) -> tuple[int, int]:
        """Columns and rows spanned."""
        wide, high = self.places.max(axis=0) + 1
        return int(wide), int(high)

    @property
    def filled(self) -> float:
        """Share of the spanned rectangle's cells that were linked."""
        wide, high = self.extent
        return len(self.centres) / (wide * high)

    @property
    def ragged(self) -> float:
        """Usual distance of a cell from its place in an even lattice, shares of a step."""
        design = np.c_[
            self.places, self.places[:, :1] * self.places[:, 1:], np.ones(len(self.places))
        ]
        fit = np.linalg.lstsq(design, self.centres, rcond=None)[0]
        off = np.linalg.norm(self.centres - design @ fit, axis=1)
        return float(np.median(off)) / max(self.step, 1e-6)

    @property
    def step(self) -> float:
        """Side of a cell, pixels: from the span of the whole lattice."""
        c = self.corners
        area = abs(_cross(c[2] - c[0], c[3] - c[1])) / 2
        return float(np.sqrt(area / (self.extent[0] * self.extent[1])))

    @property
    def corners(self) -> Points:
        """Outer corners of the spanned rectangle, (4, 2) pixels, clockwise from its top left."""
        return self.reach(0.0)

    def reach(self, beyond: float) -> Points:
        """Corners of the spanned rectangle grown by ``beyond`` cells on every side, (4, 2)."""
        wide, high = self.extent
        a, b, c, d = -beyond, -beyond, wide + beyond, high + beyond
        at = np.array([[a, b], [c, b], [c, d], [a, d]], np.float64)
        design = np.c_[self.places + 0.5, np.ones(len(self.places))]
        affine = np.linalg.lstsq(design, self.centres, rcond=None)[0]
        return np.asarray(np.c_[at, np.ones(4)] @ affine, np.float64)


def _cross(a: Points, b: Points) -> float:
    return float(a[0] * b[1] - a[1] * b[0])


def paper_pieces(pieces: list[Contour], least: int, most: int) -> tuple[Points, Points]:
    """Centres (N, 2) and sizes (N, 2), x/y, of pieces of paper that could be cells.

    ``pieces``: contours of paper enclosed by ink; ``least`` and ``most``: sides of a cell that
    are looked for, pixels. The middle of the bounding box is the middle of a cell however it
    lies and whatever is written in it.
    """
    import cv2

    boxes, areas = [], []
    for piece in pieces:
        if 3 * least <= len(piece) <= 5 * most:
            boxes.append(cv2.boundingRect(piece))
            areas.append(cv2.contourArea(piece))
    if not boxes:
        return np.zeros((0, 2)), np.zeros((0, 2))
    box = np.array(boxes, np.float64)
    low, size = box[:, :2], box[:, 2:]
    short, long = size.min(axis=1), size.max(axis=1)
    good = (short >= least) & (long <= most) & (long < 2.6 * short)
    good &= np.array(areas) > 0.3 * size.prod(axis=1)
    return (low + (size - 1) / 2)[good], size[good]


def lattices(centres: Points, sizes: Points, fewest: int = 7) -> list[Lattice]:
    """Links cells into lattices of at least ``fewest`` cells, biggest first."""
    if len(centres) < fewest:
        return []
    links = _neighbours(centres, sizes)
    free = np.ones(len(centres), bool)
    found = []
    # The cell with the most neighbours of its own size is the safest start.
    counts = np.array([len(link) for link in links])
    for seed in np.argsort(-counts, kind="stable"):
        if counts[seed] < 4:
            break
        if not free[seed]:
            continue
        lattice = _grow(int(seed), centres, links, free)
        if lattice is not None and len(lattice.centres) >= fewest:
            found.append(lattice)
    return sorted(found, key=lambda item: -len(item.centres))


def _neighbours(centres: Points, sizes: Points) -> list[Ints]:
    """For each cell the indices of those near it and alike in size.

    Cells are sorted along x; only those within the widest reach are compared.
    """
    order = np.argsort(centres[:, 0], kind="stable")
    x, y = centres[order].T
    log_size = np.log(sizes[order])
    reach = 1.55 * sizes[order].max(axis=1) + 8.0  # the ink of a line lies between
    ends = np.searchsorted(x, x + reach)
    count = ends - np.arange(len(x)) - 1
    first = np.repeat(np.arange(len(x)), count)
    step = np.arange(len(first)) - np.repeat(np.cumsum(count) - count, count)
    second = first + 1 + step
    ok = np.abs(y[first] - y[second]) < reach[first]
    first, second = first[ok], second[ok]
    ok = np.abs(log_size[first] - log_size[second]).max(axis=1) < 0.45
    first, second = order[first[ok]], order[second[ok]]
    both = np.concatenate([first, second]), np.concatenate([second, first])
    by = np.argsort(both[0], kind="stable")
    cuts = np.searchsorted(both[0][by], np.arange(1, len(x)))
    return np.split(both[1][by], cuts)


def _steps(others: Points) -> Points | None:
    """The two lattice vectors at a cell, right and down in the raster, (2, 2), or None.

    ``others``: (N, 2), where its neighbours lie from it.
    """
    length = np.linalg.norm(others, axis=1)
    others, length = others[length > 1], length[length > 1]
    if not len(others):
        return None
    first = others[int(length.argmin())]
    # The second vector completes the lattice if both it and its opposite, or its sum, occur.
    area = np.abs(first[0] * others[:, 1] - first[1] * others[:, 0])
    slant = np.abs(others @ first) / (length * np.linalg.norm(first))
    ok = (slant < 0.6) & (length < 2.2 * length.min())
    if not ok.any():
        return None
    second = others[int(np.where(ok, area + 1e-3 * length, np.inf).argmin())]
    pair = np.stack([first, second])
    if abs(pair[0, 0]) / np.linalg.norm(pair[0]) < abs(pair[1, 0]) / np.linalg.norm(pair[1]):
        pair = pair[::-1]
    right = pair[0] if pair[0, 0] > 0 else -pair[0]
    down = pair[1] if right[0] * pair[1, 1] - right[1] * pair[1, 0] > 0 else -pair[1]
    return np.stack([right, down])


def _grow(
    seed: int, centres: Points, links: list[Ints], free: npt.NDArray[np.bool_]
) -> Lattice | None:
    """Breadth first from a cell; each newly linked cell corrects its local step."""
    free[seed] = False
    steps = _steps(centres[links[seed]] - centres[seed])
    if steps is None:
        return None
    at = {seed: (0, 0)}
    taken = {(0, 0)}
    local = {seed: steps}
    queue = [seed]
    ways = ((0, 1), (0, -1), (1, 1), (1, -1))
    for cell in queue:
        close = links[cell][free[links[cell]]]
        if not len(close):
            continue
        own = local[cell]
        targets = np.stack([own[0], -own[0], own[1], -own[1]])
        offs = np.abs((centres[close] - centres[cell])[None] - targets[:, None]).sum(axis=2)
        picks = offs.argmin(axis=1).tolist()
        fits = offs.min(axis=1) < 1.4 * _MISS * np.abs(targets).sum(axis=1)
        for (axis, sign), pick, fit in zip(ways, picks, fits.tolist(), strict=True):
            place = (at[cell][0] + sign * (axis == 0), at[cell][1] + sign * (axis == 1))
            other = int(close[pick])
            if not fit or place in taken or not free[other]:
                continue
            at[other] = place
            taken.add(place)
            free[other] = False
            moved = own.copy()
            moved[axis] = 0.5 * own[axis] + 0.5 * sign * (centres[other] - centres[cell])
            local[other] = moved
            queue.append(other)
    members = np.array(queue)
    places = np.array([at[cell] for cell in queue], np.int64)
    return Lattice(centres[members], places - places.min(axis=0))


def meshes_of(lattice: Lattice) -> list[Points]:
    """Rough meshes (10, 10, 2) for a lattice: one if it spans 9×9, else each that may fit.

    Rows or columns that the lattice lacks at its rim are continued on either side. Three by
    three pieces may be the blocks of a grid whose thin lines are too faint.
    """
    wide, high = lattice.extent
    blocks = (wide, high) == (3, 3)
    if not blocks and not (6 <= wide <= 10 and 6 <= high <= 10):
        return []
    model = Page.fitted(lattice)
    if model is None:
        return []
    if blocks:
        return [model.crossings(0.0, 0.0, 1 / 3)]
    return [model.crossings(left, top) for left in _starts(wide) for top in _starts(high)]


def _starts(span: int) -> range:
    """Where the nine may begin if ``span`` of them, give or take a false one, were linked."""
    return range(min(0, span - 9), max(0, span - 9) + 1)


@dataclass(frozen=True, eq=False)
class Page:
    """From lattice places to pixels: a homography, a quadratic bend and what cells still show.

    ``left``: (N, 2) pixels by which the cells at ``places`` (N, 2) lie off the smooth page.
    """

    matrix: Points
    bend: Points
    middle: Points
    places: Points
    left: Points

    @classmethod
    def fitted(cls, lattice: Lattice) -> Page | None:
        """Least squares with outliers left out; None if the places are degenerate."""
        import cv2

        places = np.asarray(lattice.places + 0.5, np.float64)
        matrix = np.asarray(cv2.findHomography(places, lattice.centres, 0)[0], np.float64)
        if matrix.shape != (3, 3):  # cv2 returns None for places in one row
            return None
        left = lattice.centres - project(matrix, places)
        off = np.linalg.norm(left, axis=1)
        good = off < max(4.0 * float(np.median(off)), 0.05 * lattice.step)
        middle = np.asarray(places.mean(axis=0), np.float64)
        design = _quadratic(places - middle)
        weighted = design * good[:, None]
        ridge = np.diag([1e-3, 1e-3, 1e-3, 2.0, 2.0, 2.0])
        bend = np.linalg.solve(weighted.T @ design + ridge, weighted.T @ left)
        return cls(matrix, bend, middle, places, np.asarray(left - design @ bend, np.float64))

    def at(self, places: Points) -> Points:
        """Pixels of lattice places (N, 2) on the smooth page."""
        bent = _quadratic(places - self.middle) @ self.bend
        return np.asarray(project(self.matrix, places) + bent, np.float64)

    def crossings(self, left: float, top: float, step: float = 1.0) -> Points:
        """The (10, 10, 2) crossings from place ``left``, ``top``, lines ``step`` places apart."""
        return self.mesh(left + step * np.arange(10.0), top + step * np.arange(10.0))

    def mesh(self, columns: Points, rows: Points) -> Points:
        """Crossings (R, C, 2) of lines at places ``columns`` (C,) and ``rows`` (R,)."""
        places = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 2)
        moved = self.at(places)
        apart = places[:, None] - self.places
        near = np.exp(-(apart**2).sum(axis=-1) / (2 * 0.6**2))
        moved += near @ self.left / (near.sum(axis=1, keepdims=True) + 0.05)
        return np.asarray(moved.reshape(len(rows), len(columns), 2), np.float64)


def _quadratic(p: Points) -> Points:
    """1, x, y, x², xy, y² at points (N, 2), in units of about a grid's half."""
    x, y = p[:, 0] / 4.5, p[:, 1] / 4.5
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
