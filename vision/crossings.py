"""Grids as a small network sees them: where the lines around blocks cross, however faint.

``crossings.onnx`` was trained on drawn pages (``digits_model/training/crossings*.py``). It says of
every place of a picture how likely a corner, a side's crossing, an inner crossing of block lines
or a thinner one lies there, how far it is to the nearest, what the steps from block to block are,
where the middle of a grid is, and what kind of grid the place lies in. From each middle the four
by four crossings of block lines are looked up, step by step outwards.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import IntEnum
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.files import manifest_of, network_of, session_of
from papernudge.vision.flatten import bending
from papernudge.vision.mesh import Points
from papernudge.vision.tuned import tuned, whole

Grey = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float32]
Flags = npt.NDArray[np.bool_]

PAPER = 64
"""Level of plain paper in what the network sees."""
_AROUND = 61
"""Pixels a side over which the paper's brightness is averaged."""
FINE, COARSE = 4, 8
"""Pixels between the places at which the network speaks of crossings, of steps and kinds."""
_BLOCKS, _THIN, _MIDDLE, _HEATS = slice(0, 3), 3, 4, 5
"""Heats: of corners, sides and inner crossings of block lines, other crossings, middles."""
_CORNER, _SIDE, _INNER = range(3)
_STEPS = 5
_USUAL = 48.0
"""Size of a block's step, pixels, whose logarithm the network tells as 0."""
_LEAST_MIDDLE = tuned("crossings._LEAST_MIDDLE")
"""Chance of a middle from which on a grid is looked for around it."""
_LEAST_POINT = tuned("crossings._LEAST_POINT")
"""Chance from which on a crossing counts."""
_NEAR = tuned("crossings._NEAR")
"""How far from where it is expected a crossing may lie, shares of the step between blocks."""
_FAR = tuned("crossings._FAR")
"""The same where no step is told."""
_GOOD = tuned("crossings._GOOD")
"""Mean chance of a grid's crossings from which on no other are looked for."""
_QUAD_OF = whole("crossings._QUAD_OF")
"""Of so many inner crossings nearest to a middle four are taken."""
_QUADS = whole("crossings._QUADS")
"""In so many ways at most."""
_UNEVEN_QUAD = tuned("crossings._UNEVEN_QUAD")
"""How much longer one side of a middle block may be than that across from it."""
_ASIDE = tuned("crossings._ASIDE")
"""How far aside of that block's own middle the grid's may lie."""
_THERE = tuned("crossings._THERE")
"""Share of a grid's area that must look like one."""
_FAINTEST = whole("crossings._FAINTEST")
"""Darkness above that of paper below which there is no line."""
_LIKELY = tuned("crossings._LIKELY")
"""Chance from which on one is likely."""
_FEWEST = whole("crossings._FEWEST")
"""Crossings of block lines that must lie in the picture."""
_OWN = tuned("crossings._OWN")
"""How much of a crossing's chance must be that of its own sort; the rest may be of any."""
_TURNS = tuned("crossings._TURNS")
"""How far a step told ahead may differ from the one before to be its continuation."""
_LEAST_WORTH = tuned("crossings._LEAST_WORTH")
"""What a crossing near its place is worth at least."""
_LEAST_BLOCK = tuned("crossings._LEAST_BLOCK")
"""Smallest side of a block."""
_LEAST_SNAP = tuned("crossings._LEAST_SNAP")
"""What a crossing is worth at least to pull the mesh."""
_SNAP_OUTLIER = tuned("crossings._SNAP_OUTLIER")
"""Deviation at which a crossing pulls no more (Tukey's biweight)."""


class Kind(IntEnum):
    """What the network may say of a place."""

    NOTHING = 0
    WHOLE = 1
    CUT = 2
    OTHER = 3


@functools.cache
def manifest() -> dict[str, Any]:
    """The network's manifest: hash, geometry, training, data and licences, accuracy."""
    return manifest_of(__package__, "crossings")


@functools.cache
def _session() -> Any:
    """The network, loaded when first asked.

    Raises RuntimeError where the file is not the one that its manifest describes.
    """
    return session_of(network_of(__package__, "crossings", manifest()))


def relative(grey: Grey) -> Grey:
    """How much darker than its surroundings a picture is, uint8 (H, W), as the network sees it.

    A share of the local brightness in 256ths, plus PAPER: light and shade fall out.
    """
    import cv2

    around = cv2.blur(grey, (_AROUND, _AROUND), borderType=cv2.BORDER_REFLECT)
    # Ink would darken what it is compared with: average again with the dark lifted.
    lifted = cv2.max(grey, cv2.convertScaleAbs(around, alpha=0.94))
    paper = cv2.blur(lifted, (_AROUND, _AROUND), borderType=cv2.BORDER_REFLECT).astype(np.float32)
    share = (paper - grey) / (paper + 8.0)
    return np.clip(np.rint(PAPER + 256.0 * share), 0, 255).astype(np.uint8)


@dataclass(frozen=True, eq=False)
class Sketch:
    """A grid as the network sees it.

    ``blocks``: (4, 4, 2) crossings of the lines around blocks, pixels, clockwise as seen, also
    those beyond the picture; ``chance``: mean chance of those that lie in it; ``kinds``: (4,), the
    mean chance of each Kind over its area; ``starts``: (10, 10, 2) meshes of all crossings, the
    likeliest first: smooth between those of the blocks; moved to the thin crossings seen; and with
    an uneven side laid anew, where a neighbour's crossings may have been taken.
    """

    blocks: Points
    chance: float
    kinds: Points
    starts: tuple[Points, ...]

    @property
    def plain(self) -> float:
        """Chance that it is a 9×9 of nine blocks, whole or cut off, not a grid of another kind.

        Grids without a frame have rims of which it is not sure that they are any.
        """
        nine = float(self.kinds[Kind.WHOLE] + self.kinds[Kind.CUT])
        return nine / (nine + float(self.kinds[Kind.OTHER])) if nine > _THERE else nine

    @property
    def rim(self) -> Points:
        """The twelve crossings (12, 2) of block lines on its frame, clockwise as seen."""
        b = self.blocks
        return np.concatenate([b[0, :-1], b[:-1, 3], b[3, :0:-1], b[:0:-1, 0]])

    @property
    def corners(self) -> Points:
        """Its corners (4, 2), clockwise as seen."""
        return self.rim[::3]

    @property
    def cell(self) -> float:
        """Side of a cell, pixels."""
        c = self.corners
        one, two = c[2] - c[0], c[3] - c[1]
        return float(np.sqrt(abs(one[0] * two[1] - one[1] * two[0]) / 2)) / 9

    def scaled(self, by: float) -> Sketch:
        """The same in a picture that is ``by`` times as large."""
        blocks, *starts = ((p + 0.5) * by - 0.5 for p in (self.blocks, *self.starts))
        return Sketch(blocks, self.chance, self.kinds, tuple(starts))


class Seen:
    """What the network says of a picture, uint8 (H, W), paper light and ink dark.

    ``session``: another network's than the shipped one's, for experiments.
    """

    def __init__(self, grey: Grey, session: Any = None) -> None:
        high, wide = self.shape = grey.shape
        page = np.full((-(-high // 32) * 32, -(-wide // 32) * 32), PAPER, np.uint8)
        page[:high, :wide] = relative(grey)
        session = session or _session()
        fine, coarse = session.run(None, {"page": page[None, None].astype(np.float32)})
        self._heats: Floats = 1 / (1 + np.exp(-fine[0, :_HEATS]))
        self._near: Floats = fine[0, _HEATS:]
        self._steps: Floats = coarse[0, :_STEPS]
        chances = np.exp(coarse[0, _STEPS:] - coarse[0, _STEPS:].max(axis=0))
        self.kinds: Floats = (chances / chances.sum(axis=0))[
            :, : -(-high // COARSE), : -(-wide // COARSE)
        ]
        self._points, self._chances = self._peaks(page)
        # Where grids touch and where lines are missing, sorts pass into one another.
        best = (1 - _OWN) * self._chances[:, _BLOCKS].max(axis=1, initial=0.0)
        self._sure = [_OWN * self._chances[:, sort] + best for sort in range(_INNER + 1)]

    def _peaks(self, page: Grey) -> tuple[Points, Points]:
        """Peaks of heat (N, 2), pixels, and the heats of all sorts of crossing there (N, 4)."""
        import cv2

        best = self._heats[:_MIDDLE].max(axis=0)
        top = cv2.dilate(best, np.ones((3, 3), np.uint8))
        # On a page without any mark the network's own rim may look like one.
        ink = cv2.dilate(page, np.ones((9, 9), np.uint8))[FINE // 2 :: FINE, FINE // 2 :: FINE]
        y, x = np.nonzero((best >= top) & (best > _LEAST_POINT) & (ink > PAPER + _FAINTEST))
        at = _pixels(x, y, FINE) + FINE * np.clip(self._near[:, y, x].T, -1.0, 1.0)
        return np.asarray(at, np.float64), np.asarray(self._heats[:_MIDDLE, y, x].T, np.float64)

    @property
    def crossings(self) -> tuple[Points, Points]:
        """Where lines may cross (N, 2), pixels, and the chances of each sort of crossing (N, 4)."""
        return self._points, self._chances

    def grids(self) -> list[Sketch]:
        """The grids seen, the surest first; those that share a middle are one."""
        middles = self._middles()
        second = len(middles) <= _MANY_MIDDLES
        found = [self._sketch(middle, second) for middle in middles[:_MOST_MIDDLES]]
        return sorted((s for s in found if s is not None), key=lambda s: -s.chance)

    def _middles(self) -> Points:
        """Middles of grids (N, 2), pixels, the likeliest first."""
        import cv2

        heat = cv2.blur(self._heats[_MIDDLE], (3, 3))
        top = cv2.dilate(heat, np.ones((5, 5), np.uint8))
        y, x = np.nonzero((heat >= top) & (heat > _LEAST_MIDDLE))
        hottest = np.argsort(-heat[y, x], kind="stable")
        return _pixels(x[hottest], y[hottest], FINE)

    def _steps_at(self, point: Points) -> Points:
        """The two steps (2, 2) from block to block at a point (2,), see :func:`steps_of`."""
        high, wide = self._steps.shape[1:]
        x, y = np.rint((point - (COARSE - 1) / 2) / COARSE).astype(int)
        told = self._steps[:, np.clip(y, 0, high - 1), np.clip(x, 0, wide - 1)]
        return steps_of(told.astype(np.float64))

    def _ahead(self, point: Points, before: Points) -> Points:
        """The step from ``point`` on that goes as the one ``before`` did."""
        steps = self._steps_at(point + 0.5 * before)
        steps = np.concatenate([steps, -steps])
        off = np.linalg.norm(steps - before, axis=1)
        best = int(off.argmin())
        return steps[best] if off[best] < _TURNS * np.linalg.norm(before) else before

    def _nearest(self, aim: Points, reach: float, sort: int) -> tuple[Points, float]:
        """The likeliest crossing of a sort within ``reach`` of ``aim``, else that; its chance."""
        off = np.linalg.norm(self._points - aim, axis=1)
        sure = self._sure[sort]
        worth = sure * np.clip(1 - (off / reach) ** 2, 0, None) ** 2
        best = int(worth.argmax()) if len(worth) else -1
        if best < 0 or worth[best] <= _LEAST_WORTH:
            return aim, 0.0
        return self._points[best], float(sure[best])

    def _sketch(self, middle: Points, second: bool) -> Sketch | None:
        """The grid around a middle (2,), None where none is seen there.

        Where the steps that the network tells lead to no crossings, as on a steep bend, the four
        inner crossings are looked for without them, if a ``second`` try is worth it.
        """
        told = self._by_steps(middle)
        if not second or (told is not None and told.chance > _GOOD):
            return told
        others = [self._by_inners(inner) for inner in self._inner_quads(middle)]
        found = [s for s in (told, *others) if s is not None]
        return max(found, key=lambda s: s.chance, default=None)

    def _by_steps(self, middle: Points) -> Sketch | None:
        """The grid to which the steps told at a middle (2,) lead."""
        right, down = self._steps_at(middle)
        if abs(right[0]) < abs(down[0]):
            right, down = down, right
        right = right if right[0] > 0 else -right
        down = down if right[0] * down[1] - right[1] * down[0] > 0 else -down
        step = float(min(np.linalg.norm(right), np.linalg.norm(down)))
        if step < _LEAST_BLOCK:
            return None
        blocks, chances = np.zeros((4, 4, 2)), np.zeros((4, 4))
        for r, c in _INNERS:
            aim = middle + (c - 1.5) * right + (r - 1.5) * down
            blocks[r, c], chances[r, c] = self._nearest(aim, _NEAR * step, _INNER)
        self._walk(blocks, chances, self._ahead, _NEAR)
        return self._judged(blocks, chances)

    def _by_inners(self, inner: Points) -> Sketch | None:
        """The grid around four inner crossings (2, 2, 2), each step as long as the one before."""
        blocks, chances = np.zeros((4, 4, 2)), np.zeros((4, 4))
        blocks[1:3, 1:3] = inner
        for r, c in _INNERS:
            _, chances[r, c] = self._nearest(blocks[r, c], 2.0 * FINE, _INNER)
        self._walk(blocks, chances, lambda _, before: before, _FAR)
        return self._judged(blocks, chances)

    def _inner_quads(self, middle: Points) -> list[Points]:
        """Likely inner crossings of block lines around a middle, (2, 2, 2) each."""
        inner = self._chances[:, _INNER]
        off = np.linalg.norm(self._points - middle, axis=1)
        likely = np.flatnonzero(
            (inner > _LIKELY) & (inner >= self._chances[:, _BLOCKS].max(axis=1))
        )
        near = likely[np.argsort(off[likely])[:_QUAD_OF]]
        found: list[tuple[float, Points]] = []
        for four in itertools.combinations(near.tolist(), 4):
            at = self._points[list(four)]
            away = at - at.mean(axis=0)
            ring = at[np.argsort(np.arctan2(away[:, 1], away[:, 0]))]  # clockwise as seen
            side = np.roll(ring, -1, axis=0) - ring
            turn = side[:, 0] * np.roll(side[:, 1], -1) - side[:, 1] * np.roll(side[:, 0], -1)
            long = np.linalg.norm(side, axis=1)
            uneven = max(long[0] / long[2], long[2] / long[0], long[1] / long[3], long[3] / long[1])
            if turn.min() <= 0 or long.min() < _LEAST_BLOCK or uneven > _UNEVEN_QUAD:
                continue
            aside = float(np.linalg.norm(ring.mean(axis=0) - middle)) / float(long.min())
            if aside < _ASIDE:
                found.append((aside + uneven - float(inner[list(four)].mean()), ring))
        best = [ring for _, ring in sorted(found, key=lambda item: item[0])[:_QUADS]]
        return [np.stack([ring[:2], ring[[3, 2]]]) for ring in best]

    def _walk(
        self,
        blocks: Points,
        chances: Points,
        ahead: Callable[[Points, Points], Points],
        near: float,
    ) -> None:
        """Fills in (4, 4, 2) crossings from the four inner ones outwards.

        ``ahead``: a point and the step to it, to the step on; ``near``: how far from where that
        leads a crossing may lie, shares of the step.
        """
        for r, c, up, left in _SIDES:
            last = blocks[r - up, c - left]
            on = ahead(last, last - blocks[r - 2 * up, c - 2 * left])
            reach = near * float(np.linalg.norm(on))
            blocks[r, c], chances[r, c] = self._nearest(last + on, reach, _SIDE)
        for r, c, up, left in _CORNERS:
            one, two, inner = blocks[r - up, c], blocks[r, c - left], blocks[r - up, c - left]
            along, over = ahead(one, two - inner), ahead(two, one - inner)
            reach = near * float(min(np.linalg.norm(along), np.linalg.norm(over)))
            aim = (one + along + two + over) / 2
            blocks[r, c], chances[r, c] = self._nearest(aim, reach, _CORNER)

    def _judged(self, blocks: Points, chances: Points) -> Sketch | None:
        edge = np.array(self.shape[::-1]) - 1.0
        inside = ((blocks > -FINE / 2) & (blocks < edge + FINE / 2)).all(axis=-1)
        if inside.sum() < _FEWEST:
            return None
        even = between(blocks)
        starts = (even, self._snapped(even), *map(between, _straightened(blocks)))
        sketch = Sketch(blocks, float(chances[inside].mean()), np.zeros(4), starts)
        kinds = self.kinds_in(sketch.rim)
        return None if kinds is None else replace(sketch, kinds=kinds)

    def kinds_in(self, rim: Points) -> Points | None:
        """Mean chance of each Kind (4,) in a polygon (N, 2), None if no part of it shows."""
        area = self.area(rim)
        return np.asarray(self.kinds[:, area].mean(axis=1), np.float64) if area.any() else None

    def area(self, rim: Points) -> Flags:
        """Places of the map of kinds, bool (h, w), that lie in a polygon (N, 2)."""
        import cv2

        at = np.clip((rim - (COARSE - 1) / 2) / COARSE, -2000, 2000)
        mask = np.zeros(self.kinds.shape[1:], np.uint8)
        cv2.fillPoly(mask, [np.rint(at * 16).astype(np.int32)], (1,), shift=4)
        return mask > 0

    def crossings_in(self, area: Flags) -> int:
        """How many crossings are likely in some places, bool (h, w), of the map of kinds."""
        x, y = np.rint((self._points - (COARSE - 1) / 2) / COARSE).astype(int).T
        high, wide = area.shape
        there = area[np.clip(y, 0, high - 1), np.clip(x, 0, wide - 1)]
        return int((there & (self._chances.max(axis=1) > _LIKELY)).sum())

    def _snapped(self, even: Points) -> Points:
        """A mesh (10, 10, 2) moved to the crossings seen, as far as the page may bend there."""
        sides = [np.linalg.norm(np.gradient(even, axis=axis), axis=2) for axis in (0, 1)]
        side = np.minimum(*sides)
        if len(self._points) < _FEWEST or side.min() < 1.0:
            return even
        # Points too far off to count for any crossing would only cost time: there may be thousands.
        reach = _SNAP * float(side.max())
        low, high = even.min(axis=(0, 1)) - reach, even.max(axis=(0, 1)) + reach
        near = ((self._points >= low) & (self._points <= high)).all(axis=1)
        points, sure = self._points[near], self._chances[near].max(axis=1)
        if not len(points):
            return even
        far = np.linalg.norm(points[:, None, None] - even, axis=-1)
        worth = sure[:, None, None] * np.clip(1 - (far / (_SNAP * side)) ** 2, 0, None)
        best = worth.argmax(axis=0)
        trust = np.where(worth.max(axis=0) > _LEAST_SNAP, sure[best], 0.0).ravel()
        by = (points[best] - even).reshape(100, 2)
        weight, shift = trust, by
        for _ in range(3):  # Tukey's biweight (1977) against crossings of something else
            system = np.diag(weight) + _STIFF * bending() + 1e-4 * np.eye(100)
            shift = np.linalg.solve(system, weight[:, None] * by)
            left = np.linalg.norm(by - shift, axis=1) / side.ravel()
            weight = trust * np.clip(1 - (left / _SNAP_OUTLIER) ** 2, 0, None) ** 2
        return np.asarray(even + shift.reshape(10, 10, 2), np.float64)


_MOST_MIDDLES = whole("crossings._MOST_MIDDLES")
"""So many grids are looked for in a picture at most: a bound of time."""
_MANY_MIDDLES = whole("crossings._MANY_MIDDLES")
"""Where there are more middles, each gets one try."""
_SNAP = tuned("crossings._SNAP")
"""How far a crossing may lie from its even place, sides of a cell."""
_STIFF = tuned("crossings._STIFF")
"""How the page's bending weighs against a crossing that is surely seen."""
_INNERS = tuple((r, c) for r in (1, 2) for c in (1, 2))
_SIDES = (
    *((r, c, 1 if r else -1, 0) for r in (0, 3) for c in (1, 2)),
    *((r, c, 0, 1 if c else -1) for c in (0, 3) for r in (1, 2)),
)
"""Row, column, and the step that leads there from inside."""
_CORNERS = tuple((r, c, 1 if r else -1, 1 if c else -1) for r in (0, 3) for c in (0, 3))


def steps_of(told: Points) -> Points:
    """The two steps (2, 2) from block to block, pixels, in any order and sign, that (5,) tell.

    As complex numbers a and b they are told by their size √|a × b| and, in units of it, by
    a² + b² and a²b², which know neither order nor sign.
    """
    both, product = complex(told[1], told[2]), complex(told[3], told[4])
    size = _USUAL * np.exp(np.clip(told[0], -3.0, 3.0))
    root = np.sqrt(both**2 - 4 * product)
    steps = [size * np.sqrt((both + sign * root) / 2) for sign in (1, -1)]
    return np.array([[step.real, step.imag] for step in steps])


def _straightened(blocks: Points) -> list[Points]:
    """Crossings (4, 4, 2) with one side each continued evenly from inside, the most uneven first.

    Only sides are that bend less evenly than a page does.
    """
    found = []
    for side in range(4):
        fixed = blocks.copy()
        lines = fixed if side < 2 else fixed.transpose(1, 0, 2)
        lines = lines[::-1] if side % 2 else lines
        bend = lines[0] - 2 * lines[1] + lines[2]
        even = np.median(bend, axis=0)
        uneven = float(
            np.abs(bend - even).max() / np.linalg.norm(lines[1] - lines[2], axis=1).max()
        )
        lines[0] = 2 * lines[1] - lines[2] + even
        if uneven > _UNEVEN:
            found.append((uneven, fixed))
    return [fixed for _, fixed in sorted(found, key=lambda item: -item[0])]


_UNEVEN = tuned("crossings._UNEVEN")
"""How much crossings of one side may differ in their bend, shares of a block."""


def _pixels(x: npt.NDArray[Any], y: npt.NDArray[Any], step: int) -> Points:
    """Pixels (N, 2) of places on a map with one every ``step`` pixels."""
    return np.asarray(np.stack([x, y], axis=1) * float(step) + (step - 1) / 2, np.float64)


def between(blocks: Points) -> Points:
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
