"""Lattices grown line by line from a few cells, measured in the photo all the way.

A handful of linked cells tells where the next line should be; the line is looked for there, bent
to what is seen, and the next one is predicted from it. So a lattice follows a page however it
curls, reaches the rims that no closed cell touches, and ends where its lines end.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.vision.find_cells import Lattice, Page
from papernudge.vision.lines import Segments, look, slope
from papernudge.vision.mesh import Points

Grey = npt.NDArray[np.uint8]

_MOST = 12
"""Cells that a lattice may span one way: beyond nine only to tell that it does go on."""
_JOINED = 2.5
"""Standard errors by which the lines between two neighbouring lines must be there."""

_THERE = 1.0
"""Standard errors below which a line that others lead to is not seen itself."""


@dataclass(frozen=True, eq=False)
class Grown:
    """A rectangle of crossings, (R, C, 2) pixels, and which sides the photo's edge ended.

    ``hidden``: for top, bottom, left and right of the lattice.
    """

    crossings: Points
    hidden: tuple[bool, bool, bool, bool]

    @property
    def extent(self) -> tuple[int, int]:
        """Columns and rows of cells."""
        return self.crossings.shape[1] - 1, self.crossings.shape[0] - 1

    @property
    def step(self) -> float:
        """Usual side of a cell, pixels."""
        across = np.linalg.norm(np.diff(self.crossings, axis=1), axis=2)
        down = np.linalg.norm(np.diff(self.crossings, axis=0), axis=2)
        return float(np.median(np.concatenate([across.ravel(), down.ravel()])))

    def as_lattice(self) -> Lattice:
        """The same as cells with their middles."""
        c = self.crossings
        middles = (c[:-1, :-1] + c[1:, :-1] + c[:-1, 1:] + c[1:, 1:]) / 4
        wide, high = self.extent
        places = np.stack(np.meshgrid(np.arange(wide), np.arange(high)), axis=-1)
        return Lattice(middles.reshape(-1, 2), places.reshape(-1, 2).astype(np.int64))


def grow(grey: Grey, lattice: Lattice, middle: float = 0.0) -> Grown | None:
    """Grows a lattice of linked cells as far as its lines reach.

    ``grey``: uint8 (H, W), where it was seen; ``middle``: where in its cells the lattice's
    points lie, 0.0 for middles of cells, 0.5 for crossings. None where no lines bear it out, and
    for a lattice with so many lines already that no 9×9 can be told in it.
    """
    if max(lattice.extent) > _MOST + 2:
        return None
    page = Page.fitted(lattice)
    if page is None:
        return None
    wide, high = lattice.extent
    rows, columns = (middle + np.arange(n + 1.0 - 2 * middle) for n in (high, wide))
    start = page.mesh(columns, rows)
    settled = settle(grey, start)
    return None if settled is None else spread(grey, settled)


def windows(grey: Grey, grown: Grown, most: int = 4) -> list[Points]:
    """Meshes (10, 10, 2) of a 9×9 grid that a lattice may hold or be part of, likeliest first.

    Where it has more or fewer than nine cells one way, every third line being heavier tells the
    place. Three by three cells may be the blocks of a grid whose thin lines are too faint.
    """
    crossings = grown.crossings
    wide, high = grown.extent
    if (wide, high) == (3, 3):
        return [_between(crossings)]
    if not (5 <= wide <= _MOST + 1 and 5 <= high <= _MOST + 1):
        return []
    ranked: list[tuple[float, int, Points]] = []
    for top, down in _places(grey, crossings):
        rows = _taken(crossings, top)
        for left, right in _places(grey, crossings.transpose(1, 0, 2)):
            mesh = _taken(rows.transpose(1, 0, 2), left).transpose(1, 0, 2)
            ranked.append((down + right, len(ranked), mesh))
    ranked.sort(key=lambda item: (-item[0], item[1]))
    return [mesh for _, _, mesh in ranked[:most]]


def by_blocks(grey: Grey, mesh: Points) -> Points | None:
    """A rough mesh (10, 10, 2) laid anew by the lines around blocks, None where they fold.

    Those are plain where thin lines are not, and a block is so wide that a line to be found lies
    up to a cell off: it is looked for that far, and the thin ones are put between by a cubic.
    """
    blocks = settle(grey, mesh[::3, ::3])
    return None if blocks is None else _between(blocks)


def block_strength(grey: Grey, meshes: Points, most: float) -> Points:
    """How dark lines around blocks are in each of some meshes (K, 10, 10, 2), grey levels, (K,).

    The mean over their segments, none of which counts for more than ``most``.
    """
    lines = meshes[:, ::3, ::3]
    parts = []
    for way in (lines, lines.transpose(0, 2, 1, 3)):
        over = slope(np.moveaxis(way, 0, 1)).swapaxes(0, 1)
        ends, across = (
            np.stack([v[:, :, :-1], v[:, :, 1:]], axis=3).astype(np.float32) for v in (way, over)
        )
        seen = look(grey, ends, across, 0.12)
        parts.append(np.clip(seen.strength, 0, most).mean(axis=(1, 2)))
    return np.asarray((parts[0] + parts[1]) / 2, np.float64)


_STRETCH = np.array([0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.3, 1.45])
"""How far a side may lie from the next line between blocks, shares of the block before."""
_SKEWED = 0.45
"""How much more of that one end of a side may take than the other, as a logarithm."""


def resided(grey: Grey, mesh: Points) -> list[Points]:
    """Rough meshes (10, 10, 2) with one side each laid anew where a line is plainest.

    A page that curls away foreshortens its last rows and columns faster than those before them
    tell, and a heading's rule beside the grid is as good a line as the frame: every stretch and
    skew of the outer blocks is tried.
    """
    return [_resided(grey, mesh, side) for side in range(4)]


def _resided(grey: Grey, mesh: Points, side: int) -> Points:
    lines = _towards(mesh, side).copy()
    step = lines[6] - lines[3]
    first, last = (part.ravel() for part in np.meshgrid(_STRETCH, _STRETCH))
    even = np.abs(np.log(first / last)) < _SKEWED
    share = np.linspace(0.0, 1.0, 10)
    stretch = first[even, None] * (1 - share) + last[even, None] * share
    sides = lines[6] + stretch[..., None] * step
    known = _strips(grey, lines[[0, 3, 6]], np.broadcast_to(step / 3, (3, 10, 2)))
    seen = _strips(grey, sides, (sides - lines[6]) / 3)
    usual = max(float(np.median(known.strength)), 1.0)
    there = np.clip(seen.strength, 0, 1.2 * usual).mean(axis=1) / usual
    best = int(np.argmax(there - 0.6 * np.abs(seen.offset).mean(axis=1)))
    lines[9] = sides[best]
    return _between(_back(lines, side)[::3, ::3])


def _strips(grey: Grey, lines: Points, over: Points) -> Segments:
    """What is seen along lines (L, C, 2), ``over`` (L, C, 2) a cell across them."""
    ends, across = (
        np.stack([v[:, :-1], v[:, 1:]], axis=2).astype(np.float32) for v in (lines, over)
    )
    return look(grey, ends, across, 0.15)


def _between(blocks: Points) -> Points:
    """The (10, 10, 2) mesh between the (4, 4, 2) crossings of the lines around blocks."""
    return _thirds(_thirds(blocks).transpose(1, 0, 2)).transpose(1, 0, 2)


def _thirds(lines: Points) -> Points:
    """Ten lines (10, C, 2) from the four (4, C, 2) between blocks, by the cubic through them."""
    at, known = np.arange(10) / 3, np.arange(4.0)
    parts = [
        np.prod([(at - known[j]) / (known[i] - known[j]) for j in range(4) if j != i], axis=0)
        for i in range(4)
    ]
    return np.asarray(np.einsum("ik,icx->kcx", np.stack(parts), lines), np.float64)


def _places(grey: Grey, lines: Points) -> list[tuple[int, float]]:
    """Where ten lines may begin among ``lines`` (R, C, 2), best first, with how well blocks fit.

    That is how many times heavier, as a logarithm, the lines between blocks would be.
    """
    count = len(lines) - 1
    weight = _weights(grey, lines)
    usual = float(np.median(weight))
    found = []
    for start in range(min(0, count - 9), max(0, count - 9) + 1):
        number = np.arange(len(lines)) - start
        inside = (number >= 0) & (number <= 9)
        heavy = inside & (number % 3 == 0)
        light = inside & ~heavy
        more = float(weight[heavy].mean()) if heavy.any() else usual
        less = float(weight[light].mean()) if light.any() else usual
        found.append((start, more - less))
    return sorted(found, key=lambda item: -item[1])[:3]


def _weights(grey: Grey, lines: Points) -> Points:
    """Logarithm of the ink that each line (R, C, 2) carries, (R,)."""
    over = slope(lines)
    ends = np.stack([lines[:, :-1], lines[:, 1:]], axis=2).astype(np.float32)
    sides = np.stack([over[:, :-1], over[:, 1:]], axis=2).astype(np.float32)
    mass = np.median(look(grey, ends, sides, 0.12).mass(), axis=1)
    return np.asarray(np.log(np.maximum(mass, max(0.2 * float(np.median(mass)), 1e-2))))


def _taken(lines: Points, start: int) -> Points:
    """Ten of the lines (R, C, 2) from number ``start`` on, continued straight where they lack."""
    while start < 0:
        lines = np.concatenate([(2 * lines[0] - lines[1])[None], lines])
        start += 1
    while len(lines) < start + 10:
        lines = np.concatenate([lines, (2 * lines[-1] - lines[-2])[None]])
    return lines[start : start + 10]


def spread(grey: Grey, crossings: Points) -> Grown | None:
    """Trims a settled lattice (R, C, 2) to its lines and adds lines on all sides."""
    trimmed = _trimmed(grey, crossings)
    if trimmed is None:
        return None
    crossings = trimmed
    open_, hidden = [True] * 4, [False] * 4
    while any(open_):
        for side in range(4):
            if not open_[side]:
                continue
            lines = _towards(crossings, side)
            if len(lines) > _MOST:
                open_[side] = False
                continue
            further = _extended(grey, lines)
            if isinstance(further, str):
                open_[side], hidden[side] = False, further == "hidden"
                continue
            crossings = _back(np.concatenate([lines, further[None]]), side)
    return Grown(crossings, (hidden[0], hidden[1], hidden[2], hidden[3]))


def _towards(crossings: Points, side: int) -> Points:
    """The lattice turned so that its last line is that of a side: top, bottom, left or right."""
    turned = crossings.transpose(1, 0, 2) if side >= 2 else crossings
    return turned[::-1] if side % 2 == 0 else turned


def _back(lines: Points, side: int) -> Points:
    """Undoes :func:`_towards`."""
    turned = lines[::-1] if side % 2 == 0 else lines
    return turned.transpose(1, 0, 2) if side >= 2 else turned


def _extended(grey: Grey, lines: Points) -> Points | str:
    """The line (C, 2) after the last of ``lines`` (R, C, 2), or why there is none."""
    new: Points = 2 * lines[-1] - lines[-2]
    if len(lines) >= 4:  # the page bends along the lines much alike
        bend = lines[-1] - 2 * lines[-2] + lines[-3]
        new = new + 0.6 * bend.mean(axis=0)
    if _out(new, grey.shape).mean() > 0.4:
        return "hidden"
    step = np.linalg.norm(new - lines[-1], axis=1)
    if step.min() < 5.0 or step.max() > 3.0 * step.min():
        return "folded"
    straight: Points = new
    for reach in (0.32, 0.18):
        new = _bent(grey, lines[-1], new, reach)
    joined, there = _borne_out(grey, lines[-1], new)
    if joined < _JOINED or there < -1.0:
        return "ended"
    return straight if there < _THERE else new  # nothing to bend to: a grid without a frame


def _measured(grey: Grey, last: Points, new: Points, reach: float) -> tuple[Segments, Segments]:
    """Segments along the new line (C - 1) and those that join it to the last one (C)."""
    down = new - last
    right = slope(new)
    along = np.stack([new[:-1], new[1:]], axis=1), np.stack([down[:-1], down[1:]], axis=1)
    joins = np.stack([last, new], axis=1), np.stack([slope(last), right], axis=1)
    ends = np.concatenate([along[0], joins[0]]).astype(np.float32)
    over = np.concatenate([along[1], joins[1]]).astype(np.float32)
    seen = look(grey, ends, over, reach, _samples(over, reach))
    cut = len(new) - 1
    first = Segments(seen.offset[:cut], seen.strength[:cut], seen.profile[:cut], seen.across)
    rest = Segments(seen.offset[cut:], seen.strength[cut:], seen.profile[cut:], seen.across)
    return first, rest


def _samples(over: npt.NDArray[Any], reach: float) -> int:
    """Samples across that leave no line out between them; ``over``: (..., 2) a cell, pixels."""
    cell = float(np.median(np.linalg.norm(over, axis=-1)))
    return int(np.clip(2 * round((reach + 0.15) * cell / 1.5) + 1, 25, 75))


def _bent(grey: Grey, last: Points, new: Points, reach: float) -> Points:
    """The new line moved to what is seen within ``reach`` cells of it."""
    along, joins = _measured(grey, last, new, reach)
    count = len(new)
    halves = np.zeros((count - 1, count))
    at = np.arange(count - 1)
    halves[at, at] = halves[at, at + 1] = 0.5
    down = _fitted(halves, along, reach)
    right = _fitted(0.5 * np.eye(count), joins, reach)
    return np.asarray(new + down[:, None] * (new - last) + right[:, None] * slope(new), np.float64)


def _fitted(design: Points, seen: Segments, reach: float) -> Points:
    """Shifts (C,) of a line's crossings, cells, from its segments' offsets, robustly."""
    shift = _robust(design, seen, _stiffness(design.shape[1]), 3.0)
    return np.clip(shift, -reach, reach)


def _robust(design: Points, seen: Segments, stiff: Points, wide: float) -> Points:
    """Shifts (C,) that the segments' offsets call for, S segments seeing them by design (S, C).

    Least squares with a stiffness (C, C), weights by Tukey's biweight at ``wide`` standard
    deviations (J. Tukey; P. Holland and R. Welsch, 1977), three rounds.
    """
    strong = np.maximum(seen.strength.ravel().astype(np.float64), 0.0)
    trust = np.minimum(strong / max(float(np.median(strong)), 1.0), 1.0) + 1e-3
    offset = seen.offset.ravel().astype(np.float64)
    weight = trust
    shift: Points = np.zeros(design.shape[1])
    for _ in range(3):
        weighted = design.T * weight
        shift = np.asarray(np.linalg.solve(weighted @ design + stiff, weighted @ offset))
        left = offset - design @ shift
        scale = wide * max(1.4826 * float(np.median(np.abs(left))), 0.03)
        weight = trust * (np.clip(1 - (left / scale) ** 2, 0, None) ** 2 + 1e-4)
    return shift


@lru_cache(maxsize=32)
def _stiffness(count: int) -> Points:
    second = np.diff(np.eye(count), n=2, axis=0)
    return np.asarray(2.0 * second.T @ second + 0.01 * np.eye(count))


def _borne_out(grey: Grey, last: Points, new: Points) -> tuple[float, float]:
    """How surely lines join the new line to the last one, and that it is there itself."""
    along, joins = _measured(grey, last, new, 0.12)
    inside = ~_out(new, grey.shape)
    return sureness(joins, inside), sureness(along, inside[1:] & inside[:-1])


def sureness(seen: Segments, which: npt.NDArray[np.bool_]) -> float:
    """By how many standard errors segments (N,) stand out from the paper beside them."""
    if which.sum() < 2:
        return 0.0
    at, dark = seen.across, seen.profile[which]
    on = dark[:, np.abs(at) <= 0.04].mean(axis=-1)
    beside = (np.abs(at) > 0.11) & (np.abs(at) < 0.2)
    stands = (
        on
        - (dark[:, beside & (at < 0)].mean(axis=-1) + dark[:, beside & (at > 0)].mean(axis=-1)) / 2
    )
    middle = float(np.median(stands))
    spread = 1.4826 * float(np.median(np.abs(stands - middle)))
    return middle / (1.25 * spread / float(np.sqrt(len(stands))) + 0.3)


def _out(points: Points, shape: tuple[int, ...]) -> npt.NDArray[np.bool_]:
    """Which points (..., 2) lie on or beyond the photo's edge."""
    x, y = points[..., 0], points[..., 1]
    edge = 2.0
    return np.asarray(
        (x < edge) | (y < edge) | (x > shape[1] - 1 - edge) | (y > shape[0] - 1 - edge)
    )


def _trimmed(grey: Grey, crossings: Points) -> Points | None:
    """Without the rims whose lines are not there; None where too little is left."""
    while min(crossings.shape[:2]) >= 3:
        sure = []
        for side in range(4):
            lines = _towards(crossings, side)
            sure.append(_borne_out(grey, lines[-2], lines[-1])[0])
        worst = int(np.argmin(sure))
        if sure[worst] > _JOINED:
            return crossings
        crossings = _back(_towards(crossings, worst)[:-1], worst)
    return None


# -- settling a rectangle of any size


@lru_cache(maxsize=64)
def _system(rows: int, columns: int) -> tuple[Points, Points]:
    """What segments along rows see of shifts at crossings (R·(C-1), R·C), and bending (R·C, R·C).

    As in flattening: second differences along, across and mixed.
    """
    half = np.zeros((columns - 1, columns))
    at = np.arange(columns - 1)
    half[at, at] = half[at, at + 1] = 0.5
    averages = np.kron(np.eye(rows), half)
    along = np.kron(np.eye(rows), np.diff(np.eye(columns), n=2, axis=0))
    across = np.kron(np.diff(np.eye(rows), n=2, axis=0), np.eye(columns))
    mixed = np.kron(np.diff(np.eye(rows), axis=0), np.diff(np.eye(columns), axis=0))
    bending = along.T @ along + 0.3 * across.T @ across + 0.6 * mixed.T @ mixed
    return np.asarray(averages, np.float64), np.asarray(bending, np.float64)


def settle(grey: Grey, crossings: Points) -> Points | None:
    """Moves a rough lattice (R, C, 2) onto the lines seen; None where it folds."""
    for reach, stiffness in ((0.35, 3.0), (0.2, 0.7)):
        lines = (crossings, crossings.transpose(1, 0, 2))
        shifts = []
        for part in lines:
            over = slope(part)
            ends = np.stack([part[:, :-1], part[:, 1:]], axis=2).astype(np.float32)
            sides = np.stack([over[:, :-1], over[:, 1:]], axis=2).astype(np.float32)
            seen = look(grey, ends, sides, reach, _samples(over, reach))
            shifts.append(_surface(seen, part.shape[:2], stiffness))
        down, right = slope(crossings), slope(lines[1]).transpose(1, 0, 2)
        crossings = crossings + shifts[0][..., None] * down + shifts[1].T[..., None] * right
        if not _convex(crossings):
            return None
    return crossings


def _surface(seen: Segments, shape: tuple[int, int], stiffness: float) -> Points:
    """A smooth shift (R, C) of crossings that the offsets of segments (R, C - 1) call for."""
    averages, bending = _system(*shape)
    stiff = stiffness * bending + 1e-3 * np.eye(len(bending))
    return _robust(averages, seen, stiff, 4.0).reshape(shape)


def _convex(crossings: Points) -> bool:
    """Whether all cells turn the same way and none is absurdly small."""
    right, down = np.diff(crossings, axis=1), np.diff(crossings, axis=0)
    area = right[:-1, :, 0] * down[:, :-1, 1] - right[:-1, :, 1] * down[:, :-1, 0]
    return bool(np.isfinite(area).all() and area.min() > 9.0)
