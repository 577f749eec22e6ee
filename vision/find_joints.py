"""Lattices of joints: places where lines cross or meet, however faint, linked along the lines.

Closed cells need every line around them unbroken; a joint needs three short pieces of line that
meet. Ink is averaged over straight pieces in sixteen directions; where three of four pieces that
leave a point along two directions stand out from the paper beside them, there is a joint. Joints
that repeat at even steps along their own lines are a lattice.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from papernudge.vision.find_cells import Lattice
from papernudge.vision.find_outlines import TURNS, oriented
from papernudge.vision.mesh import Points

Grey = npt.NDArray[np.uint8]
Bytes = npt.NDArray[np.uint8]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

_LENGTH = 13
"""Pixels over which ink is averaged along a line."""
_LEAST_TURNS = 4
"""Two lines of a joint are at least this many directions apart: a strong slant is 45°."""
_MISS = 0.16
"""How far a joint may lie from where the lattice calls for it, shares of the step."""
_FEWEST = 12
"""Joints in a lattice that is worth growing."""


@dataclass(frozen=True, eq=False)
class Joints:
    """Joints of lines.

    ``at``: (N, 2) pixels; ``ways``: uint8 (N,), the number of its pair of directions; ``maps``:
    what :func:`oriented` saw, and ``least``: what counts as a line there.
    """

    at: Points
    ways: Bytes
    maps: Bytes
    least: int

    def joined(self, start: Points, by: Points) -> Flags:
        """Whether a line leads from each of ``start`` (..., 2) on ``by`` (..., 2) pixels."""
        turn = np.rint(np.arctan2(by[..., 1], by[..., 0]) * TURNS / np.pi).astype(np.int64)
        size = np.array(self.maps.shape[:0:-1]) - 1
        seen = []
        for share in (0.3, 0.5, 0.7):
            x, y = np.moveaxis(np.clip(np.rint(start + share * by), 0, size).astype(int), -1, 0)
            near = [self.maps[(turn + off) % TURNS, y, x] for off in (-1, 0, 1)]
            seen.append(np.maximum(np.maximum(near[0], near[1]), near[2]))
        return np.asarray(np.median(np.stack(seen), axis=0) > self.least)


def joints(grey: Grey) -> Joints:
    """All joints of a picture, uint8 (H, W)."""
    import cv2

    maps, noise = oriented(grey, _LENGTH)
    least = int(10 * max(1.0, 0.35 * noise))
    field = np.zeros(grey.shape, np.uint8)
    pairs = np.zeros(grey.shape, np.uint8)
    for top in range(0, len(grey), _BAND):
        sure, pair, where = _third_best(maps, top, min(top + _BAND, len(grey)), least)
        field[top : top + _BAND].ravel()[where] = sure
        pairs[top : top + _BAND].ravel()[where] = pair
    field[field <= least] = 0
    soft = cv2.GaussianBlur(field.astype(np.float32), (0, 0), 1.2)
    tops = cv2.compare(soft, cv2.dilate(soft, np.ones((9, 9), np.uint8)), cv2.CMP_GE)
    y, x = np.nonzero((tops > 0) & (field > 0))
    at = np.stack([x, y], axis=1).astype(np.float64)
    return Joints(at, pairs[y, x], maps, least)


_BAND = 128
"""Rows worked on at once: little memory, and that of the nearest kind."""


def _third_best(maps: Bytes, top: int, foot: int, least: int) -> tuple[Bytes, Bytes, Ints]:
    """The third best of the four pieces that leave each point of a band of rows.

    Of the pair of ways for which it is best; returns it, the pair's number and the flat index in
    the band, each (N,), for points at which any piece of line stands out.
    """
    where = np.flatnonzero(maps[:, top:foot].max(axis=0) > least)
    low, high = [], []
    for turn, seen in enumerate(maps):
        angle = np.pi * turn / TURNS
        dx = round((_LENGTH // 2 + 1) * float(np.cos(angle)))
        dy = round((_LENGTH // 2 + 1) * float(np.sin(angle)))
        ahead = _band(seen, top + dy, foot + dy, dx).ravel()[where]
        back = _band(seen, top - dy, foot - dy, -dx).ravel()[where]
        low.append(np.minimum(ahead, back))
        high.append(np.maximum(ahead, back))
    best, pair = np.zeros(len(where), np.uint8), np.zeros(len(where), np.uint8)
    for number, (a, b) in enumerate(_PAIRS):
        third = np.minimum(np.maximum(low[a], low[b]), np.minimum(high[a], high[b]))
        np.copyto(pair, np.uint8(number), where=third > best)
        np.maximum(best, third, out=best)
    return best, pair, where


def _band(seen: Bytes, top: int, foot: int, dx: int) -> Bytes:
    """Rows ``top`` to ``foot`` of a picture (H, W), moved by ``dx``; nothing beyond its edge."""
    high, wide = seen.shape
    out = np.zeros((foot - top, wide), np.uint8)
    a, b = max(0, top), min(high, foot)
    if a < b:
        left, right = max(0, -dx), min(wide, wide - dx)
        out[a - top : b - top, left:right] = seen[a:b, left + dx : right + dx]
    return out


_PAIRS = tuple(
    (a, b)
    for a in range(TURNS)
    for b in range(a + _LEAST_TURNS, min(TURNS, a + TURNS - _LEAST_TURNS + 1))
)


def _alikes() -> Flags:
    """Which pairs of ways (P, P) are the same but for a slight turn."""
    pairs = np.array(_PAIRS)
    alike = np.zeros((len(pairs), len(pairs)), bool)
    for other in (pairs, pairs[:, ::-1]):
        off = np.abs(pairs[:, None] - other[None])
        alike |= np.minimum(off, TURNS - off).max(axis=-1) <= 2
    return alike


_ALIKE = _alikes()
_WAYS = np.array(_PAIRS, np.float32)


def joint_lattices(grey: Grey, outside: Flags, widest: float) -> list[Lattice]:
    """Lattices of at least _FEWEST joints, biggest first; their "cells" are the joints.

    ``grey``: uint8 (H, W); ``outside``: bool (H, W), where joints count; ``widest``: longest step
    that is looked for, pixels.
    """
    seen = joints(grey)
    keep = outside[seen.at[:, 1].astype(int), seen.at[:, 0].astype(int)]
    seen = replace(seen, at=seen.at[keep], ways=seen.ways[keep])
    if len(seen.at) < _FEWEST:
        return []
    near = _Nearest(seen, grey.shape)
    start, steps, hits = _seeds(seen, near, widest)
    free = np.ones(len(seen.at), bool)
    found = []
    for k in np.argsort(-hits, kind="stable"):
        if free[start[k]]:
            lattice = _linked(int(start[k]), steps[k], seen, near, free)
            if lattice is not None:
                found.append(lattice)
    return sorted(found, key=lambda item: -len(item.centres))


class _Nearest:
    """The nearest joint to any pixel, looked up."""

    def __init__(self, seen: Joints, shape: tuple[int, ...]) -> None:
        import cv2

        free = np.full(shape, 255, np.uint8)
        x, y = seen.at.astype(int).T
        free[y, x] = 0
        _, labels = cv2.distanceTransformWithLabels(
            free, cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL
        )
        number = np.zeros(int(labels.max()) + 1, np.int64)
        number[labels[y, x]] = np.arange(len(x))
        self._index = labels
        self._number = number
        self._size = np.array([shape[1], shape[0]])

    def to(self, points: Points) -> Ints:
        """Which joint is nearest to each of the points (..., 2); those outside get the rim's."""
        at = np.clip(np.rint(points).astype(np.int64), 0, self._size - 1)
        return np.asarray(self._number[self._index[at[..., 1], at[..., 0]]], np.int64)


def _along(seen: Joints, widest: float) -> tuple[Ints, Ints, Ints]:
    """Pairs of like joints that lie along one of the first's two ways.

    Returns first, second, way (0 or 1), each (P,).
    """
    order = np.argsort(seen.at[:, 0], kind="stable")
    at, ways = seen.at[order].astype(np.float32), seen.ways[order]
    parts = []
    # Some hundred at a time: all pairs of a page of text would fill the memory.
    for begin in range(0, len(at), 512):
        block = np.arange(begin, min(begin + 512, len(at)))
        end = int(np.searchsorted(at[:, 0], at[block[-1], 0] + widest))
        by = at[None, begin:end] - at[block, None]
        ok = (np.abs(by[..., 1]) < widest) & (by[..., 0] < widest)
        ok &= _ALIKE[ways[block]][:, ways[begin:end]]
        ok &= np.arange(begin, end) > block[:, None]
        one, two = np.nonzero(ok)
        by = by[one, two]
        one, two = one + begin, two + begin
        angle = np.arctan2(by[:, 1], by[:, 0]) * np.float32(TURNS / np.pi)
        for first, second in ((one, two), (two, one)):
            for way in (0, 1):
                off = np.mod(angle - _WAYS[ways[first], way] + TURNS / 2, TURNS) - TURNS / 2
                good = np.abs(off) < 0.75
                both = order[first[good]], order[second[good]]
                parts.append(np.stack([*both, np.full(len(both[0]), way)]))
    first, second, along = np.concatenate(parts, axis=1)
    return first, second, along


_RING = np.array([(a, b) for a in (-1, 0, 1) for b in (-1, 0, 1) if (a, b) != (0, 0)], float)
_WIDER = np.array([(a, b) for a in range(-2, 3) for b in range(-2, 3) if (a, b) != (0, 0)], float)


def _seeds(seen: Joints, near: _Nearest, widest: float) -> tuple[Ints, Points, Points]:
    """Joints that repeat around themselves: which, their steps (S, 2, 2), and how well (S,)."""
    first, second, way = _along(seen, widest)
    by = seen.at[second] - seen.at[first]
    length = np.linalg.norm(by, axis=1)
    order = np.lexsort((length, way, first))
    first, by, length, way = first[order], by[order], length[order], way[order]
    # Up to five nearest along each way, as a table; what lacks is left out later.
    key = first * 2 + way
    fresh = np.r_[True, key[1:] != key[:-1]] if len(key) else np.zeros(0, bool)
    begin = np.flatnonzero(fresh)
    rank = np.arange(len(key)) - np.repeat(begin, np.diff(np.r_[begin, len(key)]))
    few = rank < _TRIED
    table = np.full((len(seen.at), 2, _TRIED, 2), np.nan)
    table[first[few], way[few], rank[few]] = by[few]
    best_hits = np.zeros(len(seen.at))
    best_steps = np.zeros((len(seen.at), 2, 2))
    for i in range(_TRIED):
        for j in range(_TRIED):
            u, v = table[:, 0, i], table[:, 1, j]
            ratio = np.linalg.norm(u, axis=1) / np.maximum(np.linalg.norm(v, axis=1), 1e-6)
            which = np.flatnonzero(np.isfinite(ratio) & (ratio > 0.38) & (ratio < 2.6))
            if not len(which):
                continue
            steps = np.stack([u[which], v[which]], axis=1)
            ahead = np.concatenate([steps, -steps], axis=1)
            linked = seen.joined(seen.at[which][:, None], ahead).sum(axis=1) >= 3
            which, steps = which[linked], steps[linked]
            hits = _hits(seen, near, which, steps, _RING)
            good = hits >= 0.6
            which, steps = which[good], steps[good]
            if not len(which):
                continue
            hits = _hits(seen, near, which, steps, _WIDER)
            better = hits > best_hits[which] + 0.05
            best_hits[which[better]] = hits[better]
            best_steps[which[better]] = steps[better]
    start = np.flatnonzero(best_hits >= 0.3)
    return start, best_steps[start], best_hits[start]


_TRIED = 5
"""Neighbours along each way that may be the next joint of the lattice."""


def _hits(seen: Joints, near: _Nearest, which: Ints, steps: Points, around: Points) -> Points:
    """Share of the places ``around`` (A, 2), in steps, that hold a like joint, (S,)."""
    aim = seen.at[which][:, None] + around @ steps
    other = near.to(aim)
    off = np.abs(seen.at[other] - aim).max(axis=-1)
    span = np.linalg.norm(steps, axis=2).min(axis=1)
    ok = off < np.maximum(_MISS * span, 2.5)[:, None]
    ok &= _ALIKE[seen.ways[other], seen.ways[which][:, None]]
    return np.asarray(ok.mean(axis=1), np.float64)


def _linked(seed: int, steps: Points, seen: Joints, near: _Nearest, free: Flags) -> Lattice | None:
    """Breadth first from a joint; each newly linked one corrects its local step."""
    if abs(steps[0, 0]) * np.linalg.norm(steps[1]) < abs(steps[1, 0]) * np.linalg.norm(steps[0]):
        steps = steps[::-1]
    right = steps[0] if steps[0, 0] > 0 else -steps[0]
    down = steps[1] if right[0] * steps[1, 1] - right[1] * steps[1, 0] > 0 else -steps[1]
    at = {seed: (0, 0)}
    taken = {(0, 0)}
    local = {seed: np.stack([right, down])}
    queue = [seed]
    for joint in queue:
        own = local[joint]
        aims = seen.at[joint] + np.stack([own[0], -own[0], own[1], -own[1]])
        others = near.to(aims)
        offs = np.linalg.norm(seen.at[others] - aims, axis=1)
        reach = np.maximum(_MISS * np.linalg.norm(own, axis=1), 2.5)[[0, 0, 1, 1]]
        alike = _ALIKE[seen.ways[others], seen.ways[joint]]
        alike &= seen.joined(seen.at[joint], seen.at[others] - seen.at[joint])
        for k in np.flatnonzero((offs < reach) & alike & free[others]).tolist():
            axis, sign = k // 2, 1 - 2 * (k % 2)
            place = (at[joint][0] + sign * (axis == 0), at[joint][1] + sign * (axis == 1))
            other = int(others[k])
            if place in taken or other in at:
                continue
            at[other] = place
            taken.add(place)
            moved = own.copy()
            moved[axis] = 0.5 * own[axis] + 0.5 * sign * (seen.at[other] - seen.at[joint])
            local[other] = moved
            queue.append(other)
    members = np.array(queue)
    if len(members) < _FEWEST:
        return None
    free[members] = False
    places = np.array([at[joint] for joint in queue], np.int64)
    places -= places.min(axis=0)
    if places.max(axis=0).min() < 2:
        return None
    return Lattice(seen.at[members], places)
