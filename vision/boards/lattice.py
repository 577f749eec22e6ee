"""How many lines a square lattice has, and where they run: no number of cells is assumed.

A small network shows the lines and nothing else (:mod:`papernudge.vision.boards.cleaned`). Each row
of its map of the lines that run down a board meets every one of them once: how many it meets is the
number of cells, told by each row anew and by the columns, which the lines along the board cross,
independently. Rows that meet them all also say which is which, however the page bends.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.vision.boards.cleaned import AREA_STEP, STEP, Cleaned, cleaned
from papernudge.vision.find_outlines import quad_of
from papernudge.vision.flatten import moved_by, sane, smooth
from papernudge.vision.lines import Segments, look, measure, mesh_segments, outward
from papernudge.vision.mesh import Mesh, Points
from papernudge.vision.quality import cell_side
from papernudge.vision.tuned import several, tuned, whole

Grey = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float32]
Flags = npt.NDArray[np.bool_]

FEWEST, MOST = 4, 16
"""Cells a side that are told apart."""
_PEAK = tuned("boards.lattice._PEAK")
"""Chance from which on a place may lie on a line."""
_VOTES = tuned("boards.lattice._VOTES")
"""Share of the rows, and of the columns, that must meet as many lines for a number to be tried."""
_TRIED = whole("boards.lattice._TRIED")
"""Numbers that are tried, the likeliest first."""
_EVEN = tuned("boards.lattice._EVEN")
_RIM = tuned("boards.lattice._RIM")
"""Cells by which lines may lie off their even places, and places by which the board's rims may lie
off where it seems to end."""
_EXTRA = whole("boards.lattice._EXTRA")
"""Lines too many that are looked for."""
_DEGREE = whole("boards.lattice._DEGREE")
"""Of the curves that lines follow along and across each other (polynomials of Legendre)."""
_NEAR = tuned("boards.lattice._NEAR")
"""Cells within which a place is a line's."""
_PASSES = several("boards.lattice._PASSES")
"""Of each pass on the map: reach, cells; stiffness of the page; least usual deviation, cells."""
_CLOSE = tuned("boards.lattice._CLOSE")
"""A segment this near to its place, cells, is seen there."""
_DARK = tuned("boards.lattice._DARK")
"""Levels of 255 that a seen segment stands out by."""
_LINE = tuned("boards.lattice._LINE")
_LINES = tuned("boards.lattice._LINES")
"""Share of a line's segments that must be seen, and of all."""
_BESIDE = tuned("boards.lattice._BESIDE")
"""Share of places on lines that may lie on none of the lattice's."""
_IN = tuned("boards.lattice._IN")
_OUT = tuned("boards.lattice._OUT")
"""Chance of the board inside the lattice, at least, and outside, at most."""
_SOME = tuned("boards.lattice._SOME")
"""Share of a frame that looks like a board for its own corners to be looked at."""
_LOOKS = whole("boards.lattice._LOOKS")
"""Looks at a frame at most."""
_OFF = tuned("boards.lattice._OFF")
"""How far a board's corners must lie off the frame's, sides of that, to look again."""
_FAR = tuned("boards.lattice._FAR")
"""The same where a lattice was found."""
_GOES_ON = tuned("boards.lattice._GOES_ON")
"""Share of inner lines that may run on beyond a side, if they do so beyond another."""
_ASIDE = tuned("boards.lattice._ASIDE")
"""Cells by which such lines may run aside."""
_AS_DARK = tuned("boards.lattice._AS_DARK")
"""How dark they must be, shares of the usual inner line's."""
_DARK_LEAST = tuned("boards.lattice._DARK_LEAST")
"""And grey levels at least."""
_BEYOND = tuned("boards.lattice._BEYOND")
"""Cells by which crossings may lie beyond the picture."""


@dataclass(frozen=True, eq=False)
class Lattice:
    """A lattice of S × S cells. ``mesh``: its crossings, pixels of the picture; ``seen``: bool
    (2, S + 1, S), which segments of the horizontals and of the verticals are there.
    """

    mesh: Mesh
    seen: Flags

    @property
    def side(self) -> int:
        """Cells a side."""
        return int(self.seen.shape[-1])


def lattice_in(grey: Grey, quad: Points, session: Any = None) -> Lattice | None:
    """The lattice of the board in a frame; None where there is none, or its lines do not tell
    surely how many they are.

    ``grey``: uint8 (H, W); ``quad``: (4, 2) the frame's corners, clockwise, pixels; a board that
    lies otherwise in the frame than its corners say is looked at again by its own. ``session``:
    as for :func:`cleaned`.
    """
    found = None
    for _ in range(_LOOKS):
        seen = cleaned(grey, quad, session)
        if seen is None:
            break
        found = traced(seen)
        own = _seen_corners(seen) if found is None else found.mesh.corners
        if own is None or _off(own, quad) < (_OFF if found is None else _FAR):
            break
        quad = own
    if found is None:
        return None
    at, size = found.mesh.crossings, np.array(grey.shape[::-1])
    room = _BEYOND * cell_side(at)
    whole = (at > -room).all() and (at < size - 1 + room).all()
    return found if whole and not _goes_on(grey, at) else None


def _goes_on(grey: Grey, mesh: Points) -> bool:
    """Whether inner lines run on beyond two sides of a lattice: then it is part of a larger one."""
    ends, over = outward(mesh)
    beyond = look(grey, ends, over, _ASIDE).strength
    inner = measure(grey, mesh, _ASIDE).strength[:, 1:-1]
    lines = beyond > max(_AS_DARK * float(np.median(inner)), _DARK_LEAST)
    return bool(np.sort(lines.mean(axis=1))[-2] > _GOES_ON)


def _seen_corners(seen: Cleaned) -> Points | None:
    """Corners (4, 2) of what looks like a board in a frame, pixels of the picture; None where
    nothing does.
    """
    import cv2

    there = (seen.area > 0.5).astype(np.uint8)
    if there.mean() < _SOME:
        return None
    pieces, _ = cv2.findContours(there, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    corners = quad_of(np.asarray(max(pieces, key=len)[:, 0], np.int32))
    if corners is None:
        return None
    out = corners - corners.mean(axis=0)  # a contour runs through the middles of its places
    corners = corners + 0.5 * np.sign(out)
    return seen.back((corners + 0.5) * (AREA_STEP / STEP) - 0.5)


def _off(corners: Points, quad: Points) -> float:
    """How far corners (4, 2) lie off a frame's, shares of its longest side."""
    off = [np.linalg.norm(np.roll(corners, k, axis=0) - quad, axis=1).max() for k in range(4)]
    long = np.linalg.norm(quad - np.roll(quad, 1, axis=0), axis=1).max()
    return float(min(off) / long)


@dataclass(frozen=True, eq=False)
class _Met:
    """Where rows of a map meet lines: ``row`` and ``at``, (N,) places; ``many``: (h,) a row."""

    row: Points
    at: Points
    many: npt.NDArray[np.int64]

    def full(self, lines: int) -> _Places:
        """The places in rows that meet so many lines."""
        chosen = self.many[self.row.astype(int)] == lines
        row, at = self.row[chosen], self.at[chosen]
        return np.tile(np.arange(float(lines)), len(row) // lines), row, at

    def even(self, lines: int, first: Points, last: Points) -> _Places:
        """The places in rows that lie evenly between the board's rims, whatever lies between
        them; ``first``, ``last``: (h,) where about the rims are, not finite without a board.
        """
        rows = np.flatnonzero(np.isfinite(first) & (self.many >= lines))
        start = np.concatenate([[0], np.cumsum(self.many)])
        parts = []
        for k in rows.tolist():
            at = self.at[start[k] : start[k + 1]]
            rims = [float(at[np.abs(at - rim).argmin()]) for rim in (first[k], last[k])]
            cell = (rims[1] - rims[0]) / (lines - 1)
            due = np.linspace(rims[0], rims[1], lines)
            nearest = np.abs(at[:, None] - due).argmin(axis=0)
            off = max(abs(rims[0] - first[k]), abs(rims[1] - last[k])) - _RIM
            if cell > 0 and max(off, np.abs(at[nearest] - due).max()) < _EVEN * cell:
                parts.append((np.arange(float(lines)), np.full(lines, float(k)), at[nearest]))
        if len(parts) < _VOTES * max(1, int(np.isfinite(first).sum())):
            return np.zeros(0), np.zeros(0), np.zeros(0)
        numbers, all_rows, places = (np.concatenate(part) for part in zip(*parts, strict=True))
        return numbers, all_rows, places


_Places = tuple[Points, Points, Points]
"""Places (N,) that are lines': the line's number, the row, where it is met."""


def traced(seen: Cleaned) -> Lattice | None:
    """The lattice of the board that a frame holds, pixels of the picture; None where there is none,
    or its lines do not tell surely how many they are.
    """
    met = [_met(seen.lines[1]), _met(seen.lines[0].T)]
    if (seen.area > 0.5).mean() < _SOME:
        return None
    sides = _likely(seen, met)
    full = ([each.full(side + 1) for each in met] for side in sides)
    found = _first(seen, met, zip(sides, full, strict=True))
    if found is None:  # creases and ink may look like more lines
        found = _first(seen, met, _evenly(seen, met))
    return found


def _first(
    seen: Cleaned, met: list[_Met], tries: Iterable[tuple[int, list[_Places]]]
) -> Lattice | None:
    """The first lattice that is borne out, of numbers of cells and places of their lines."""
    for side, places in tries:
        mesh = _mesh(met, places, side, seen.lines.shape[-1])
        found = None if mesh is None else _fitted(seen, mesh)
        if found is not None and _bears_out(seen, met, *found):
            mesh, whole = found
            ends = np.zeros((2, side + 1, side + 1), bool)
            ends[..., :-1] |= whole
            ends[..., 1:] |= whole
            return Lattice(Mesh(seen.back(mesh), ends[0] & ends[1].T), whole)
    return None


def _met(lines: Floats) -> _Met:
    """Where each row of a map (h, w) meets lines that run down it."""
    left, middle, right = lines[:, :-2], lines[:, 1:-1], lines[:, 2:]
    row, at = np.nonzero((middle > left) & (middle >= right) & (middle > _PEAK))
    a, b, c = left[row, at], middle[row, at], right[row, at]
    off = (c - a) / np.maximum(2 * (2 * b - a - c), 1e-6)
    return _Met(
        row.astype(np.float64),
        at + 1.0 + np.clip(off, -0.5, 0.5),
        np.bincount(row, minlength=len(lines)),
    )


def _likely(seen: Cleaned, met: list[_Met]) -> list[int]:
    """Numbers of cells that rows and columns agree on, the likeliest first."""
    inside = seen.area > 0.5
    votes = []
    for way, each in enumerate(met):
        there = np.repeat(inside.any(axis=1 - way), len(each.many) // len(inside))
        if there.sum() < len(there) // 4:
            return []
        many = np.bincount(np.clip(each.many[there] - 1, 0, MOST + 1), minlength=MOST + 2)
        votes.append(many / there.sum())
    both = np.minimum(*votes)
    best = [side for side in np.argsort(-both) if FEWEST <= side <= MOST and both[side] > _VOTES]
    return [int(side) for side in best[:_TRIED]]


def _evenly(seen: Cleaned, met: list[_Met]) -> Iterator[tuple[int, list[_Places]]]:
    """Numbers of cells whose lines lie evenly among those met, the greatest first, with their
    places.
    """
    inside = seen.area > 0.5
    step, rims = AREA_STEP // STEP, []
    for way in (0, 1):
        there = inside if way == 0 else inside.T
        some = there.any(axis=1)
        first = np.where(some, there.argmax(axis=1), np.nan)
        last = np.where(some, there.shape[1] - there[:, ::-1].argmax(axis=1), np.nan)
        rims.append([np.repeat(step * rim - 0.5, step) for rim in (first, last)])
    usual = [
        int(np.median(each.many[np.isfinite(rims[way][0])])) - 1 for way, each in enumerate(met)
    ]
    for side in range(min(MOST, *usual), max(FEWEST, min(usual) - _EXTRA) - 1, -1):
        places = [each.even(side + 1, *rims[way]) for way, each in enumerate(met)]
        if all(len(part[0]) for part in places):
            yield side, places


def _mesh(met: list[_Met], places: list[_Places], side: int, size: int) -> Points | None:
    """The crossings (S + 1, S + 1, 2), places of the map, of smooth curves through the lines that
    rows and columns meet.
    """
    down, along = (_curves(*both, side, size) for both in zip(met, places, strict=True))
    number = np.arange(side + 1.0)
    row, column = np.meshgrid(number, number, indexing="ij")
    x, y = (size * (v + 0.5) / (side + 1) for v in (column, row))
    for _ in range(8):
        x = _course(down, column, y, side, size)
        y = _course(along, row, np.clip(x, 0, size), side, size)
        y = np.clip(y, 0, size)
    mesh = np.stack([x, y], axis=-1)
    return mesh if sane(mesh) else None


def _curves(met: _Met, places: _Places, side: int, size: int) -> Points:
    """Coefficients (K,) of the lines' places by number and by row."""
    curve = _through(*places, side, size)
    # Then all places near a line, also of rows that miss some.
    lines = np.arange(side + 1.0)[:, None]
    course = _course(
        curve,
        np.broadcast_to(lines, (side + 1, size)),
        np.broadcast_to(np.arange(float(size)), (side + 1, size)),
        side,
        size,
    )
    off = np.abs(course[:, met.row.astype(int)] - met.at)
    nearest = off.argmin(axis=0)
    near = off.min(axis=0) < _NEAR * size / (side + 2)
    return _through(nearest[near].astype(float), met.row[near], met.at[near], side, size)


def _basis(number: Points, row: Points, side: int, size: int) -> Points:
    """Products of Legendre's polynomials at points (...), (..., K)."""
    legendre = np.polynomial.legendre.legvander
    one = legendre(2 * number / side - 1, _DEGREE)
    two = legendre(2 * row / size - 1, _DEGREE)
    return np.asarray((one[..., :, None] * two[..., None, :]).reshape(*one.shape[:-1], -1))


def _through(number: Points, row: Points, at: Points, side: int, size: int) -> Points:
    """Coefficients of the smooth curves through places, by reweighted least squares (Tukey)."""
    basis = _basis(number, row, side, size)
    bends = np.add.outer(np.arange(_DEGREE + 1), np.arange(_DEGREE + 1)).ravel()
    hold = np.diag(1e-3 * len(at) * 4.0 ** np.maximum(bends - 3, 0) * (bends > 1))
    weight = np.ones(len(at))
    solved: Points = np.zeros(basis.shape[1])
    for _ in range(4):
        weighted = basis.T * weight
        normal = weighted @ basis + hold + 1e-6 * np.eye(len(solved))
        solved = np.asarray(np.linalg.solve(normal, weighted @ at), np.float64)
        left = np.abs(at - basis @ solved)
        scale = 4.0 * max(1.4826 * float(np.median(left)), 0.3)
        weight = np.clip(1 - (left / scale) ** 2, 0, None) ** 2 + 1e-6
    return np.asarray(solved, np.float64)


def _course(curve: Points, number: Points, row: Points, side: int, size: int) -> Points:
    """Where lines are in rows."""
    return np.asarray(_basis(number, row, side, size) @ curve, np.float64)


def _fitted(seen: Cleaned, mesh: Points) -> tuple[Points, Flags] | None:
    """The mesh laid on the lines of the map, and which segments are seen."""
    for reach, stiffness, usual in _PASSES:
        segments = _measured(seen.lines, mesh, reach)
        hidden = np.zeros(segments.offset.shape, bool)
        shift, left = smooth(segments, hidden, stiffness, usual)
        mesh = moved_by(mesh, shift)
        if not sane(mesh):
            return None
    near = np.abs(left).reshape(hidden.shape) < _CLOSE
    return mesh, near & (segments.strength > _DARK)


def _measured(lines: Floats, mesh: Points, reach: float) -> Segments:
    """The segments of a mesh, those along the board and those down it each on their own map."""
    ends, over = mesh_segments(mesh)
    ways = [
        look(np.rint(255 * (1 - lines[k])).astype(np.uint8), ends[k], over[k], reach)
        for k in (0, 1)
    ]
    return Segments(
        np.stack([way.offset for way in ways]),
        np.stack([way.strength for way in ways]),
        np.stack([way.profile for way in ways]),
        ways[0].across,
    )


def _bears_out(seen: Cleaned, met: list[_Met], mesh: Points, whole: Flags) -> bool:
    """Whether all lines of a lattice are there, and no other."""
    share = whole.mean(axis=2)
    if share.min() < _LINE or share.mean() < _LINES:
        return False
    return _beside(met, mesh, seen.lines.shape[-1]) < _BESIDE and _fills(seen, mesh)


def _beside(met: list[_Met], mesh: Points, size: int) -> float:
    """Share of the places on lines that lie on none of the lattice's."""
    import cv2

    off, all_ = 0, 0
    cell = float(
        np.sqrt(
            np.linalg.norm(np.diff(mesh, axis=1), axis=2).mean()
            * np.linalg.norm(np.diff(mesh, axis=0), axis=2).mean()
        )
    )
    for way, each in enumerate(met):
        lines = mesh.transpose(1, 0, 2) if way == 0 else mesh[..., ::-1]
        near = np.zeros((size, size), np.uint8)
        wide = max(1, round(0.3 * cell))
        curves = [np.rint(16 * line).astype(np.int32) for line in lines]
        cv2.polylines(near, curves, False, (1,), wide, cv2.LINE_8, 4)
        there = near[each.row.astype(int), np.rint(each.at).astype(int).clip(0, size - 1)]
        off, all_ = off + int((there == 0).sum()), all_ + len(there)
    return off / max(all_, 1)


def _fills(seen: Cleaned, mesh: Points) -> bool:
    """Whether the board lies where the lattice does."""
    import cv2

    step = seen.lines.shape[-1] / len(seen.area)
    rim = np.concatenate([mesh[0, :-1], mesh[:-1, -1], mesh[-1, :0:-1], mesh[:0:-1, 0]])
    at = (rim + 0.5) / step - 0.5
    inside = np.zeros(seen.area.shape, np.uint8)
    cv2.fillPoly(inside, [np.rint(at * 16).astype(np.int32)], (1,), shift=4)
    core, wider = cv2.erode(inside, np.ones((3, 3), np.uint8)), cv2.dilate(inside, np.ones((3, 3)))
    if not core.any():
        return False
    beyond = seen.area[wider == 0]
    return bool(seen.area[core > 0].mean() > _IN and (beyond.size == 0 or beyond.mean() < _OUT))
