"""Pictures for the network of crossings, with what it should say of them, from drawn pages.

A page gives several pictures: it is shrunk, cropped, turned by quarters and mirrored, and the
truth is that of the picture: what the crop cuts is cut off.

Steps from one block to the next are told without an order, since no turn of a grid is special: of
steps a and b as complex numbers, a² and b² are the roots of w² - (a² + b²) w + a²b² = 0, and
neither the order nor the signs of a and b show in its coefficients. Those are what the network
says, each divided by its power of the size √|a × b|, and that size's logarithm.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.pages import Page, PageSpec, draw, preset, use_pack
from papernudge.digits_model.training.pages.truth import GridTruth
from papernudge.vision.crossings import relative

Points = npt.NDArray[np.float64]
Bytes = npt.NDArray[np.uint8]

SIDE = 640
"""Pixels a side of a picture; what lies beyond the photo is IGNORED."""
FINE, COARSE = 4, 8
"""Pixels between places at which the network speaks."""
IGNORED = 255
"""Heat or kind that is not asked for."""
TOP = 200
"""Heat at a crossing."""
NOTHING, WHOLE, CUT, OTHER = range(4)
USUAL = 48.0
"""Size of a block's step, pixels, whose logarithm is told as 0."""
LEAST_CELL, LEAST_OTHERS = 6.0, 11.0
"""Cells smaller than this, pixels, are not asked for; nor are crossings inside blocks of such."""
MIX = (("easy", 0.05), ("newspaper", 0.2), ("hard", 0.65), ("cruel", 0.1))
"""Presets and their shares in training."""
RICHER: tuple[tuple[dict[str, Any], float], ...] = (
    ({}, 0.5),
    ({"curl": (0.2, 0.5)}, 0.2),
    ({"outer": 0.0}, 0.06),
    ({"outer": 0.0, "curl": (0.1, 0.5)}, 0.04),
    ({"thin_ink": (170, 170, 170), "thin": 0.012, "curl": (0.0, 0.5)}, 0.06),
    ({"grids": 0, "neighbours": 0.9}, 0.04),
    ({"decoys": ("cages", "diagonals", "irregular", "16x16", "small solved"), "neighbours": 0.9,
      "focus": "page"}, 0.1),
)  # fmt: skip
"""What pages are given more of: what is missed otherwise."""

Sample = dict[str, npt.NDArray[Any]]
"""``picture`` uint8 (SIDE, SIDE); ``heats`` uint8 (5, SIDE/4, SIDE/4), 0 to TOP or IGNORED;
``near`` int8 (2, SIDE/4, SIDE/4), x and y to the nearest crossing, 32nds of 4 pixels, -128 where
none is near; ``steps`` float16 (5, SIDE/8, SIDE/8), ``kinds`` uint8 (SIDE/8, SIDE/8); ``size``
int16 (2,), the picture's height and width."""


@dataclass(frozen=True, eq=False, slots=True)
class Seen:
    """A grid in a picture: its crossings (10, 10, 2), None where unknown, and corners (4, 2)."""

    crossings: Points | None
    corners: Points
    plain: bool


def recipe(seed: int, split: str = "train") -> PageSpec:
    """The page that is drawn for this seed, its preset chosen by MIX."""
    rng = np.random.default_rng([seed, 11])
    name = str(rng.choice([n for n, _ in MIX], p=[share for _, share in MIX]))
    more = dict(RICHER[int(rng.choice(len(RICHER), p=[share for _, share in RICHER]))][0])
    if "curl" in more:
        more["curl"] = float(rng.uniform(*more["curl"]))
        more["curl_kind"] = str(rng.choice(["gutter", "wave", "roll", "roll", "fold"]))
    return preset(name, seed, split=split, **more)


def samples(
    seed: int, pages: Path | None = None, split: str = "train", count: int = 3
) -> list[Sample]:
    """``count`` pictures with truth from the page of this seed.

    ``pages``: packed typefaces and strokes, where the machine has no font files.
    """
    import cv2

    cv2.setNumThreads(1)
    if pages is not None:
        _use(pages)
    page = draw(recipe(seed, split))
    rng = np.random.default_rng([seed, 12])
    return [sample(*picture_of(page, rng)) for _ in range(count)]


@lru_cache(maxsize=1)
def _use(pages: Path) -> None:
    """Once a process: reading the pack takes a third of the time that a page does."""
    use_pack(pages)


def grids_of(truth: Iterable[GridTruth]) -> list[Seen]:
    """The page's grids as the network is to see them."""
    return [
        Seen(g.crossings, g.corners, g.name in {"", "small solved"} and g.crossings is not None)
        for g in truth
    ]


def picture_of(page: Page, rng: np.random.Generator) -> tuple[Bytes, list[Seen]]:
    """A grey picture of the page or of a part of it, at most SIDE a side, and its grids."""
    import cv2

    grey = np.asarray(cv2.cvtColor(page.image, cv2.COLOR_BGR2GRAY), np.uint8)
    grids = grids_of(page.truth.grids)
    long = max(grey.shape)
    # Most grids of a page are alike: the smallest main one must not become too small.
    cells = [g.cell_px for g in page.truth.grids if g.kind == "puzzle"] or [40.0]
    least = max(420.0, 8.0 * long / min(cells))
    wanted = float(np.exp(rng.uniform(np.log(min(least, 1280.0)), np.log(1320.0))))
    if rng.random() < 0.4:
        wanted = min(wanted, float(SIDE))
    scale = min(wanted / long, 1.0)
    size = (round(grey.shape[1] * scale), round(grey.shape[0] * scale))
    factor = np.array(size) / np.array(grey.shape[::-1])
    how = cv2.INTER_AREA if rng.random() < 0.7 else cv2.INTER_LINEAR
    if how == cv2.INTER_LINEAR:  # as the finder shrinks: by halves, then by what is left
        while grey.shape[1] >= 2 * size[0] and grey.shape[0] >= 2 * size[1]:
            half = (grey.shape[1] // 2, grey.shape[0] // 2)
            grey = np.asarray(cv2.resize(grey, half, interpolation=cv2.INTER_AREA), np.uint8)
    grey = np.asarray(cv2.resize(grey, size, interpolation=how), np.uint8)
    left, top = (int(rng.integers(0, max(1, n - SIDE + 1))) for n in size)
    grey = grey[top : top + SIDE, left : left + SIDE]
    turn, mirror = int(rng.integers(4)), bool(rng.integers(2))

    def moved(points: Points) -> Points:
        p = (points + 0.5) * factor - 0.5 - [left, top]
        high, wide = grey.shape
        for _ in range(turn):  # as np.rot90, which turns against the clock
            p = np.stack([p[..., 1], wide - 1 - p[..., 0]], axis=-1)
            high, wide = wide, high
        return np.stack([wide - 1 - p[..., 0], p[..., 1]], axis=-1) if mirror else p

    seen = [
        Seen(None if g.crossings is None else moved(g.crossings), moved(g.corners), g.plain)
        for g in grids
    ]
    turned = np.rot90(grey, turn)
    return np.ascontiguousarray(turned[:, ::-1] if mirror else turned), seen


def sample(grey: Bytes, grids: list[Seen]) -> Sample:
    """What the network sees of a grey picture (h, w), h and w at most SIDE, and should say."""
    high, wide = grey.shape
    picture = np.full((SIDE, SIDE), 64, np.uint8)
    picture[:high, :wide] = relative(grey)
    heats = np.zeros((5, SIDE // FINE, SIDE // FINE), np.uint8)
    near = np.full((2, SIDE // FINE, SIDE // FINE), -128, np.int8)
    steps = np.zeros((5, SIDE // COARSE, SIDE // COARSE), np.float16)
    kinds = np.zeros((SIDE // COARSE, SIDE // COARSE), np.uint8)
    for grid in sorted(grids, key=lambda g: g.plain):
        _mark_kind(kinds, grid, (wide, high))
        if not grid.plain:
            _ignore(heats, grid)
    for grid in grids:
        if grid.plain and grid.crossings is not None:
            _mark_steps(steps, grid.crossings)
            _mark_heats(heats, near, grid.crossings, (wide, high))
    beyond = -(-high // FINE), -(-wide // FINE)
    heats[:, beyond[0] :], heats[:, :, beyond[1] :] = IGNORED, IGNORED
    kinds[-(-high // COARSE) :], kinds[:, -(-wide // COARSE) :] = IGNORED, IGNORED
    maps: Sample = {"heats": heats, "near": near, "steps": steps, "kinds": kinds}
    return maps | {"picture": picture, "size": np.array([high, wide], np.int16)}


def cell_of(crossings: Points) -> float:
    """Usual side of a cell, pixels."""
    across = np.linalg.norm(np.diff(crossings, axis=1), axis=2)
    down = np.linalg.norm(np.diff(crossings, axis=0), axis=2)
    return float(np.median(np.concatenate([across.ravel(), down.ravel()])))


def _rim(crossings: Points) -> Points:
    c = crossings
    return np.concatenate([c[0, :-1], c[:-1, 9], c[9, :0:-1], c[:0:-1, 0]])


def _fill(map_: Bytes, points: Points, step: int, value: int) -> None:
    """Fills a polygon (N, 2), pixels, on a map with a place every ``step`` pixels."""
    import cv2

    at = (points - (step - 1) / 2) / step
    at = np.clip(at, -2000, 2000)
    cv2.fillPoly(map_, [np.rint(at * 16).astype(np.int32)], (value,), shift=4)


def _mark_kind(kinds: Bytes, grid: Seen, size: tuple[int, int]) -> None:
    if not grid.plain or grid.crossings is None:
        _fill(kinds, grid.corners, COARSE, OTHER)
        return
    cell = cell_of(grid.crossings)
    out = max(float(-grid.corners.min()), float((grid.corners - size + 1).max()))
    kind = IGNORED if cell < LEAST_CELL else CUT if out > 0.5 * cell else WHOLE
    _fill(kinds, _rim(grid.crossings), COARSE, kind)


def _ignore(heats: Bytes, grid: Seen) -> None:
    """No heat is asked for where another kind of grid may well have the same crossings."""
    middle = grid.corners.mean(axis=0)
    for heat in heats:
        _fill(heat, middle + 1.08 * (grid.corners - middle), FINE, IGNORED)


def told(a: Points, b: Points) -> Points:
    """Steps a and b (N, 2), pixels, as the STEPS numbers (N, 5) that the network says of them."""
    size = np.sqrt(np.maximum(np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]), 1.0))
    one, two = ((v[:, 0] + 1j * v[:, 1]) / size for v in (a, b))
    both, product = one**2 + two**2, one**2 * two**2
    parts = [np.log(size / USUAL), both.real, both.imag, product.real, product.imag]
    return np.stack(parts, axis=1)


def _mark_steps(steps: npt.NDArray[np.float16], crossings: Points) -> None:
    import cv2

    right, down = np.diff(crossings, axis=1), np.diff(crossings, axis=0)
    a = 1.5 * (right[:-1] + right[1:]).reshape(81, 2)
    b = 1.5 * (down[:, :-1] + down[:, 1:]).reshape(81, 2)
    numbers = np.clip(told(a, b), -8, 8).astype(np.float16)
    corners = np.stack(
        [crossings[:-1, :-1], crossings[:-1, 1:], crossings[1:, 1:], crossings[1:, :-1]], axis=2
    ).reshape(81, 4, 2)
    at = np.clip((corners - (COARSE - 1) / 2) / COARSE, -2000, 2000)
    where = np.zeros(steps.shape[1:], np.uint8)
    for k, cell in enumerate(np.rint(at * 16).astype(np.int32)):
        cv2.fillConvexPoly(where, cell, k + 1, shift=4)
    inside = where > 0
    steps[:, inside] = numbers[where[inside].astype(int) - 1].T


def _mark_heats(
    heats: Bytes, near: npt.NDArray[np.int8], crossings: Points, size: tuple[int, int]
) -> None:
    cell = cell_of(crossings)
    spread = np.clip(0.12 * cell / FINE * 3, 0.55, 1.0)
    row, column = np.mgrid[0:10, 0:10]
    on_rim = ((row % 9 == 0).astype(int) + (column % 9 == 0)).ravel()
    block = ((row % 3 == 0) & (column % 3 == 0)).ravel()
    channel = np.where(block, 2 - on_rim, 3)
    points = crossings.reshape(-1, 2)
    inside = ((points > -1.5) & (points < np.array(size) + 0.5)).all(axis=1)
    for number in range(4):
        which = inside & (channel == number)
        blind = cell < (LEAST_OTHERS if number == 3 else LEAST_CELL)
        for point in points[which]:
            _bump(heats[number], point, float(spread), blind)
            if not blind:
                _point_to(near, point)
    middle = crossings[4:6, 4:6].mean(axis=(0, 1))
    if (middle > 0).all() and (middle < np.array(size) - 1).all():
        _bump(heats[4], middle, float(np.clip(0.4 * cell / FINE, 0.8, 4.0)), cell < LEAST_CELL)


def _window(point: Points, reach: int, most: int) -> tuple[slice, slice, Points]:
    """The part of a fine map around a point, and from each place there to the point (h, w, 2)."""
    at = (point - (FINE - 1) / 2) / FINE
    x, y = (int(v) for v in np.rint(at))
    rows = slice(max(0, y - reach), min(most, y + reach + 1))
    columns = slice(max(0, x - reach), min(most, x + reach + 1))
    v, u = np.mgrid[rows, columns]
    return rows, columns, np.stack([at[0] - u, at[1] - v], axis=-1)


def _bump(heat: Bytes, point: Points, spread: float, blind: bool) -> None:
    rows, columns, to = _window(point, int(np.ceil(3 * spread)), heat.shape[0])
    old = heat[rows, columns]
    if not old.size:
        return
    level = TOP * np.exp(-(to**2).sum(axis=-1) / (2 * spread**2))
    if blind:
        old[level > 0.1 * TOP] = IGNORED
        return
    # The nearest place counts as a crossing, however far it lies from the point.
    away = (to**2).sum(axis=-1)
    level[np.unravel_index(int(away.argmin()), away.shape)] = TOP
    np.copyto(old, np.rint(level).astype(np.uint8), where=(level > old) & (old != IGNORED))


def _point_to(near: npt.NDArray[np.int8], point: Points) -> None:
    rows, columns, to = _window(point, 2, near.shape[1])
    held = near[:, rows, columns]
    if not held.size:
        return
    old = np.where(held[0] == -128, 1e3, np.hypot(held[0] / 32.0, held[1] / 32.0))
    closer = (np.hypot(to[..., 0], to[..., 1]) < np.minimum(old, 2.2)) & (np.abs(to).max(-1) < 3.9)
    new = np.clip(np.rint(32 * to), -127, 127).astype(np.int8)
    np.copyto(held, new.transpose(2, 0, 1), where=closer[None])
