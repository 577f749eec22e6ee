"""Marks of other puzzles laid on flat boards: on photos' too, and in more forms than pages show."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.sheets_truth import Sheet
from papernudge.vision.boards.printed import BOARD_NAMES, CELL_NAMES
from papernudge.vision.boards.sheet import CELL, MARGIN, light

Line = npt.NDArray[np.float64]
Mask = npt.NDArray[np.uint8]
_FINE = 2
"""Pixels of a mask per pixel of a sheet."""
_SUB = 3  # cv2 takes coordinates in eighths of a pixel


@dataclass
class _Pen:
    """Draws in cells, x right and y down from the board's corner, and knows what it marked."""

    side: int
    chance: np.random.Generator
    ink: Mask = field(init=False)
    bare: Mask = field(init=False)
    cells: set[int] = field(default_factory=set)

    def __post_init__(self) -> None:
        size = (self.side * CELL + 2 * MARGIN) * _FINE
        self.ink, self.bare = (np.zeros((size, size), np.uint8) for _ in range(2))

    def line(self, points: Line, width: float, on: Mask | None = None) -> None:
        """A line through points (n, 2), ``width`` cells wide; a spot where they are one."""
        import cv2

        scale = CELL * _FINE
        at = np.round((points * scale + MARGIN * _FINE) * (1 << _SUB)).astype(np.int32)
        mask = self.ink if on is None else on
        if len(at) == 1:
            centre = (int(at[0, 0]), int(at[0, 1]))
            cv2.circle(mask, centre, round(width / 2 * scale * (1 << _SUB)), 255, -1, 16, _SUB)
            return
        cv2.polylines(mask, [at], False, 255, max(1, round(width * scale)), cv2.LINE_AA, _SUB)

    def ring(self, middle: Line, wide: float, weight: float) -> None:
        """A ring ``wide`` cells across."""
        t = np.linspace(0, 2 * np.pi, 33)
        self.line(middle + wide / 2 * np.stack([np.cos(t), np.sin(t)], axis=1), weight)

    def mark(self, *cells: int) -> None:
        """Names cells as marked."""
        self.cells.update(cells)

    def middle(self, cell: int) -> Line:
        """The middle of a cell, (2,)."""
        return np.array([cell % self.side + 0.5, cell // self.side + 0.5])

    def edges(self, share: float) -> list[tuple[int, int]]:
        """Some pairs of cells side by side, above each other, or both."""
        side, chance = self.side, self.chance
        pairs = [(c, c + 1) for c in range(side * side) if (c + 1) % side]
        others = [(c, c + side) for c in range(side * side - side)]
        kind = int(chance.integers(4))
        some = pairs if kind == 0 else others if kind == 1 else pairs + others
        many = max(3, round(share * len(some)))
        return [some[k] for k in chance.choice(len(some), min(many, len(some)), replace=False)]

    def path(self, least: int, most: int) -> list[int]:
        """Cells from one to the next, none taken."""
        chance, side = self.chance, self.side
        path = [int(chance.integers(side * side))]
        for _ in range(int(chance.integers(least, most + 1)) - 1):
            row, column = divmod(path[-1], side)
            near = [
                (row + d) * side + column + a
                for d in (-1, 0, 1)
                for a in (-1, 0, 1)
                if 0 <= row + d < side and 0 <= column + a < side
            ]
            free = [c for c in near if c not in path and c not in self.cells]
            if not free:
                break
            path.append(int(chance.choice(free)))
        return path


def _dots(pen: _Pen) -> None:
    wide = float(pen.chance.uniform(0.14, 0.34))
    white = float(pen.chance.choice([0.0, 1.0, pen.chance.random()]))
    for one, two in pen.edges(float(pen.chance.uniform(0.06, 0.6))):
        at = (pen.middle(one) + pen.middle(two))[None] / 2
        pen.line(at, wide)
        if pen.chance.random() < white:
            pen.line(at, wide - 0.06, pen.bare)
        pen.mark(one, two)


def _signs(pen: _Pen) -> None:
    chance, size = pen.chance, float(pen.chance.uniform(0.07, 0.15))
    width, kind = float(chance.uniform(0.02, 0.05)), int(chance.integers(5))
    for one, two in pen.edges(float(chance.uniform(0.1, 0.8))):
        at = (pen.middle(one) + pen.middle(two)) / 2
        way = (pen.middle(two) - pen.middle(one)) * chance.choice([-1, 1])
        off = np.array([-way[1], way[0]])
        if kind <= 2:
            lines = [np.array([-way + off, way, -way - off])]
        elif kind == 3:
            lines = [np.array([[-1, -1], [1, 1]]), np.array([[-1, 1], [1, -1]])]
            lines = lines if chance.random() < 0.5 else [np.array([[-1, -1], [0, 1], [1, -1]])]
        else:
            lines = [np.array([[-1, 0], [1, 0]]), np.array([[0, -1], [0, 1]])]
        if chance.random() < 0.3:
            pen.line(at[None], 2.6 * size, pen.bare)
        for line in lines:
            pen.line(at + size * line, width)
        pen.mark(one, two)


def _arrows(pen: _Pen) -> None:
    chance = pen.chance
    width, wide = float(chance.uniform(0.02, 0.08)), float(chance.uniform(0.55, 0.9))
    ringed, tip = chance.random() < 0.8, float(chance.uniform(0.1, 0.24))
    for _ in range(int(chance.integers(2, 14))):
        path = pen.path(2, 5)
        if len(path) < 2:
            continue
        points = np.array([pen.middle(c) for c in path])
        first = (points[1] - points[0]) / np.linalg.norm(points[1] - points[0])
        way = (points[-1] - points[-2]) / np.linalg.norm(points[-1] - points[-2])
        off = np.array([-way[1], way[0]])
        end = points[-1] + float(chance.uniform(-0.1, 0.25)) * way
        if ringed:
            pen.ring(points[0], wide, width)
        pen.line(np.concatenate([[points[0] + wide / 2 * first], points[1:-1], [end]]), width)
        pen.line(np.array([end - tip * (way + off), end, end - tip * (way - off)]), width)
        pen.mark(*path)


def _cages(pen: _Pen) -> None:
    chance, side = pen.chance, pen.side
    inset, width = float(chance.uniform(0.04, 0.12)), float(chance.uniform(0.015, 0.045))
    dash = [(0.12, 0.07), (0.05, 0.06), (0.2, 0.0), (0.2, 0.0)][int(chance.integers(4))]
    left, numbers = set(range(side * side)), chance.random() < 0.85
    for cell in chance.permutation(side * side).tolist():
        if len(left) < float(chance.uniform(-0.6, 0.7)) * side * side or cell not in left:
            continue
        cage = [cell]
        left.discard(cell)
        for _ in range(int(chance.integers(1, 5))):
            near = {n for c in cage for n in _beside(side, c)} & left
            if near:
                cage.append(int(chance.choice(sorted(near))))
                left.discard(cage[-1])
        _rim(pen, set(cage), inset, width, dash)
        pen.mark(*cage)
        if numbers:
            _number(pen, min(cage), inset)


def _beside(side: int, cell: int) -> list[int]:
    row, column = divmod(cell, side)
    near = [(row - 1, column), (row + 1, column), (row, column - 1), (row, column + 1)]
    return [r * side + c for r, c in near if 0 <= r < side and 0 <= c < side]


def _rim(pen: _Pen, cage: set[int], inset: float, width: float, dash: tuple[float, float]) -> None:
    for cell in cage:
        x, y = pen.middle(cell)
        for way in (np.array([1, 0]), np.array([-1, 0]), np.array([0, 1]), np.array([0, -1])):
            if _at(pen.side, cell, way) in cage:
                continue
            along = np.array([-way[1], way[0]])
            ends = []
            for sign in (-1, 1):
                on = _at(pen.side, cell, sign * along)
                corner = on in cage and _at(pen.side, on, way) in cage
                ends.append(sign * (0.5 + inset if corner else 0.5 if on in cage else 0.5 - inset))
            for start in np.arange(ends[0], ends[1], sum(dash)).tolist():
                stop = min(start + dash[0], ends[1])
                base = np.array([x, y]) + (0.5 - inset) * way
                pen.line(np.array([base + start * along, base + stop * along]), width)


def _at(side: int, cell: int, way: Line) -> int:
    """The cell one step on; -1 beyond the board."""
    column, row = cell % side + int(way[0]), cell // side + int(way[1])
    inside = cell >= 0 and 0 <= row < side and 0 <= column < side
    return row * side + column if inside else -1


def _number(pen: _Pen, cell: int, inset: float) -> None:
    import cv2

    high = float(pen.chance.uniform(0.15, 0.26)) * CELL * _FINE
    corner = (pen.middle(cell) - 0.5 + inset) * CELL * _FINE + MARGIN * _FINE
    at = (int(corner[0]) + 1, int(corner[1] + high) + 1)
    face = cv2.FONT_HERSHEY_SIMPLEX if pen.chance.random() < 0.6 else cv2.FONT_HERSHEY_DUPLEX
    text = str(int(pen.chance.integers(3, 35)))
    cv2.putText(pen.ink, text, at, face, high / 22, 255, 1 + int(high > 16), cv2.LINE_AA)


def _lines(pen: _Pen) -> None:
    chance = pen.chance
    width, bulbs = float(chance.uniform(0.06, 0.35)), chance.random() < 0.5
    for _ in range(int(chance.integers(2, 9))):
        path = pen.path(3, 8)
        if len(path) < 2:
            continue
        pen.line(np.array([pen.middle(c) for c in path]), width)
        if bulbs:
            pen.line(pen.middle(path[0])[None], float(chance.uniform(0.55, 0.8)))
        pen.mark(*path)


def _shapes(pen: _Pen) -> None:
    chance, size = pen.chance, float(pen.chance.uniform(0.55, 0.9))
    weight, kind = float(chance.uniform(0.02, 0.05)), int(chance.integers(3))
    for cell in np.flatnonzero(chance.random(pen.side**2) < chance.uniform(0.08, 0.4)).tolist():
        middle = pen.middle(cell)
        corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1], [-1, -1]]) * size / 2
        if kind == 0 or (kind == 2 and chance.random() < 0.5):
            pen.ring(middle, size, weight)
        else:
            pen.line(middle + corners, weight)
        pen.mark(cell)


def _diagonals(pen: _Pen) -> None:
    """Lines along both diagonals or one, whole or in dashes: no marks but houses."""
    chance, side = pen.chance, pen.side
    width, dash = float(chance.uniform(0.02, 0.06)), float(chance.choice([0.0, 0.1]))
    for rises in [(False, True), (False, True), (False,), (True,)][int(chance.integers(4))]:
        ends = np.array([[0.0, 0.0], [side, side]])
        if rises:
            ends[:, 0] = side - ends[:, 0]
        steps = np.arange(0.0, 1.0, 0.24 / side)
        for start in steps.tolist() if dash else [0.0]:
            stop = min(start + 0.14 / side, 1.0) if dash else 1.0
            pen.line(ends[0] + np.outer([start, stop], ends[1] - ends[0]), width)
        for k in range(side):
            pen.mark(k * side + (side - 1 - k if rises else k))


_ALL: Sequence[tuple[str, Callable[[_Pen], None], bool]] = (
    ("dot", _dots, False),
    ("sign", _signs, False),
    ("arrow", _arrows, False),
    ("cage", _cages, False),
    ("else", _lines, True),
    ("else", _shapes, False),
    ("diagonals", _diagonals, True),
)
"""What is marked, how, and whether in a pale ink."""
KINDS = len(_ALL)
"""How many there are."""


def _along_diagonals(
    lie: set[int], cells: npt.NDArray[np.int8], board: npt.NDArray[np.int8]
) -> None:
    """Names the diagonals all of whose cells are among these."""
    side = cells.shape[1]
    for name, line in (
        ("falling", [k * side + k for k in range(side)]),
        ("rising", [k * side + side - 1 - k for k in range(side)]),
    ):
        if set(line) <= lie:
            cells[CELL_NAMES.index(name)].flat[line] = 1
            board[BOARD_NAMES.index(name)] = 1


def marked(sheet: Sheet, chance: np.random.Generator, which: int | None = None) -> Sheet:
    """A flat board with marks laid on it; ``which``: of all kinds in their order, or by chance."""
    import cv2

    kind = int(chance.integers(len(_ALL))) if which is None else which
    name, draw, pale = _ALL[kind]
    pen = _Pen(sheet.cells.shape[1], chance)
    draw(pen)
    blur, size = float(chance.uniform(0.35, 1.3)), sheet.pixels.shape[1::-1]
    ink, bare = (
        cv2.GaussianBlur(cv2.resize(m, size, interpolation=cv2.INTER_AREA), (0, 0), blur) / 255.0
        for m in (pen.ink, pen.bare)
    )
    level = chance.uniform(0.45, 0.85) if pale else chance.uniform(0.05, 0.6)
    colour = np.full(3, level)
    if chance.random() < 0.3:
        colour = np.clip(level + chance.uniform(-0.15, 0.4, 3), 0, 0.95)
    paper = cv2.GaussianBlur(cv2.dilate(sheet.pixels, np.ones((9, 9))), (0, 0), 6).astype(float)
    flat = sheet.pixels * (1 - ink[..., None] * (1 - colour))
    flat += bare[..., None] * (paper - flat)
    pixels = np.clip(flat, 0, 255).astype(np.uint8)
    cells, board = sheet.cells.copy(), sheet.board.copy()
    if name == "diagonals":
        _along_diagonals(pen.cells, cells, board)
    else:
        cells[CELL_NAMES.index(name)].flat[sorted(pen.cells)] = 1
        board[BOARD_NAMES.index(name)] = 1
    return Sheet(pixels, light(pixels), sheet.edges, cells, board)
