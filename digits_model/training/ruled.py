"""Lattices ruled by hand of a program: sizes, blocks and fillings that puzzle pages seldom show.

They tell :mod:`fit_kind` what a plain 9×9 is not: part of a larger grid of whatever blocks, heavy
lines in other places, a blank table, a square of letters.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Grey = npt.NDArray[np.uint8]
Points = npt.NDArray[np.float64]

SIDE = 420
"""Pixels a side of the picture."""
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


class Ruled(NamedTuple):
    """``view``: uint8 (SIDE, SIDE); ``mesh``: (10, 10, 2) on nine by nine cells of it; ``plain``:
    whether that is a puzzle's grid of nine 3×3 blocks.
    """

    view: Grey
    mesh: Points
    plain: bool


class _Plan(NamedTuple):
    """``size`` cells a side; ``heavy``: which lines are, of the rows and of the columns;
    ``filled``: share of cells with something in them, letters if ``words``.
    """

    size: int
    heavy: tuple[frozenset[int], frozenset[int]]
    filled: float
    words: bool
    plain: bool


def ruled(number: int) -> Ruled:
    """The lattice of this number."""
    rng = np.random.default_rng([number, 23])
    plan = _plan(number, rng)
    matrix = _camera(rng, cut=number % 5 < 2 and number % 3 == 0)
    flat = _drawn(plan, rng)
    view = _photo(flat, matrix, rng)
    first = rng.integers(0, plan.size - 8, 2)
    if rng.random() < 0.5:  # where blocks of three would lie right
        first = first // 3 * 3
    at = np.arange(10)
    cells = np.stack(np.meshgrid(first[1] + at, first[0] + at), axis=-1) / plan.size
    full = np.concatenate([cells, np.ones((10, 10, 1))], axis=-1) @ matrix.T
    return Ruled(view, full[..., :2] / full[..., 2:], plan.plain)


def _plan(number: int, rng: np.random.Generator) -> _Plan:
    kind = number % 5
    filled = float(rng.uniform(0.25, 0.85))
    blocks = frozenset({0, 3, 6, 9})
    if kind == 0:  # a puzzle, solved or not
        return _Plan(9, (blocks, blocks), float(rng.uniform(0.25, 1.0)), False, True)
    if kind == 1:  # a larger one
        size = int(rng.choice([10, 12, 12, 15, 16, 16, 18, 20]))
        step = int(rng.choice([k for k in (2, 3, 4, 5, 6, size) if size % k == 0]))
        lines = frozenset(range(0, size + 1, step))
        return _Plan(size, (lines, lines), filled, False, False)
    if kind == 2:  # heavy lines elsewhere
        ways = [frozenset({0, 9, *rng.choice(8, 2, replace=False).tolist()}) for _ in (0, 1)]
        moved = [way | {1 + int(rng.integers(2))} if way == blocks else way for way in ways]
        return _Plan(9, (moved[0], moved[1]), filled, False, moved[0] == blocks == moved[1])
    rim = frozenset({0, 9}) if rng.random() < 0.5 else frozenset[int]()
    if kind == 3:  # all lines alike: a table or a square of letters
        words = bool(rng.random() < 0.5)
        return _Plan(9, (rim, rim), 1.0 if words else float(rng.uniform(0, 0.12)), words, False)
    return _Plan(9, (rim, rim), filled, False, True)  # a puzzle that spares its blocks


def _drawn(plan: _Plan, rng: np.random.Generator) -> Grey:
    import cv2

    unit = SIDE // plan.size
    side = unit * plan.size
    page = np.full((side + 1, side + 1), 255, np.uint8)
    thin = int(rng.integers(1, 3))
    thick = max(thin + 1, round(thin * float(rng.uniform(1.6, 3.2))))
    ink = int(rng.integers(20, 110))
    for way, heavy in enumerate(plan.heavy):
        for k in range(plan.size + 1):
            a, b = (0, k * unit), (side, k * unit)
            ends = (a, b) if way == 0 else (a[::-1], b[::-1])
            cv2.line(page, *ends, ink, thick if k in heavy else thin)
    marks = LETTERS if plan.words else "123456789"
    for r, c in np.argwhere(rng.random((plan.size, plan.size)) < plan.filled).tolist():
        at = (round((c + 0.28) * unit), round((r + 0.76) * unit))
        mark = marks[int(rng.integers(len(marks)))]
        cv2.putText(page, mark, at, cv2.FONT_HERSHEY_SIMPLEX, unit / 42, ink, 1 + unit // 25)
    return page


def _camera(rng: np.random.Generator, cut: bool) -> Points:
    """The homography (3, 3) from the unit square to the picture, whose edge may cut it off."""
    from papernudge.vision.flatten import homography

    rim = 0.09 * SIDE
    square = np.array([[rim, rim], [SIDE - rim, rim], [SIDE - rim, SIDE - rim], [rim, SIDE - rim]])
    moved = np.zeros(2)
    if cut:
        moved[int(rng.integers(2))] = rng.choice([-1, 1]) * rng.uniform(0.1, 0.5) * SIDE
    return homography(square + moved + rng.uniform(-0.06, 0.06, (4, 2)) * SIDE)


def _photo(flat: Grey, matrix: Points, rng: np.random.Generator) -> Grey:
    import cv2

    scaled = matrix @ np.diag([1 / (flat.shape[1] - 1), 1 / (flat.shape[0] - 1), 1.0])
    seen = cv2.warpPerspective(flat, scaled, (SIDE, SIDE), flags=cv2.INTER_AREA, borderValue=(255,))
    blurred = cv2.GaussianBlur(seen, (0, 0), float(rng.uniform(0.4, 1.4)))
    low, high = sorted(rng.uniform(0.5, 1.0, 2))
    light = np.linspace(low, high, SIDE)[:: int(rng.choice([-1, 1]))]
    lit = np.asarray(blurred, np.float64) * (light if rng.random() < 0.5 else light[:, None])
    lit += rng.normal(0, float(rng.uniform(0.5, 4.0)), lit.shape)
    return np.clip(lit, 0, 255).astype(np.uint8)
