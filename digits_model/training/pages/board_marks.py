"""What makes a grid a puzzle of another kind: cages with sums, arrows, dots, signs of less."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.pages.board_print import Stand
from papernudge.digits_model.training.pages.boards import Board
from papernudge.digits_model.training.pages.chance import stream
from papernudge.digits_model.training.pages.fonts import Supplies
from papernudge.digits_model.training.pages.printing import set_digit
from papernudge.digits_model.training.pages.spec import PageSpec
from papernudge.hints.layout import Layout, beside

Line = npt.NDArray[np.float64]
Marked = dict[str, set[int]]


def mark_board(
    stand: Stand,
    spec: PageSpec,
    held: Supplies,
    board: Board,
    number: int,
    solution: Sequence[int],
) -> Marked:
    """Draws the board's marks, true of its solution, and tells the cells that hold them or on whose
    rim they are, by what they are: cage, arrow, dot, sign, else.
    """
    chance = stream(spec.seed, "board marks", number)
    ink = spec.thick_ink if chance.random() < 0.6 else spec.thin_ink
    layout = board.layout
    if board.marks == "cages":
        _cages(stand, spec, held, layout, solution, chance)
        return {"cage": set(layout.cells)}
    if board.marks == "arrows":
        return {"arrow": _arrows(stand, layout, chance)}
    if board.marks == "dots":
        return {"dot": _dots(stand, layout, solution, chance)}
    width = float(chance.uniform(0.02, 0.04))
    strokes, cells = _signs(layout, solution, chance)
    stand.draw(layout.side, strokes, width, ink)
    return {"sign": cells}


# ---------------------------------------------------------------- cages


def parted(layout: Layout, chance: np.random.Generator) -> list[list[int]]:
    """The board in cages of one to five joined cells."""
    left = set(layout.cells)
    cages = []
    for cell in chance.permutation(layout.many).tolist():
        if cell not in left:
            continue
        wanted = int(chance.choice([1, 2, 3, 4, 5], p=[0.05, 0.4, 0.3, 0.2, 0.05]))
        cage = [cell]
        left.discard(cell)
        while len(cage) < wanted:
            near = sorted({n for c in cage for n in beside(layout.side, c)} & left)
            if not near:
                break
            cage.append(near[int(chance.integers(len(near)))])
            left.discard(cage[-1])
        cages.append(sorted(cage))
    return cages


def _cages(
    stand: Stand,
    spec: PageSpec,
    held: Supplies,
    layout: Layout,
    solution: Sequence[int],
    chance: np.random.Generator,
) -> None:
    inset = float(chance.uniform(0.05, 0.11))
    dash = (0.12, 0.07) if chance.random() < 0.6 else (0.05, 0.06)
    strokes: list[Line] = []
    sums: list[tuple[int, int]] = []
    for cage in parted(layout, chance):
        strokes += rim(layout, cage, inset, dash)
        if len(cage) > 1 or chance.random() < 0.5:
            sums.append((cage[0], sum(solution[cell] for cell in cage)))
    level = int(chance.integers(40, 120))
    stand.draw(layout.side, strokes, float(chance.uniform(0.018, 0.032)), (level,) * 3)
    high = float(chance.uniform(0.18, 0.25))
    for cell, total in sums:
        place = stand.cell(layout, cell)
        small_number(stand, spec, held, (place[0], place[1]), total, high, inset)


def rim(layout: Layout, cage: Sequence[int], inset: float, dash: tuple[float, float]) -> list[Line]:
    """The rim of joined cells, a little inside it, in dashes."""
    inside = set(cage)
    lines: list[Line] = []
    for cell in cage:
        row, column = layout.place(cell)

        def held(down: int, across: int, row: int = row, column: int = column) -> bool:
            r, c = row + down, column + across
            return 0 <= r < layout.high and 0 <= c < layout.wide and layout.at(r, c) in inside

        for down, across in ((-1, 0), (1, 0), (0, -1), (0, 1)):
            if held(down, across):
                continue
            ends = []
            for way in (-1, 1):  # along the side, to either end
                d, a = (0, way) if down else (way, 0)
                on = held(d, a)
                corner = on and held(d + down, a + across)
                ends.append(way * (0.5 + inset if corner else 0.5 if on else 0.5 - inset))
            t = np.arange(ends[0], ends[1], sum(dash))
            for start in t.tolist():
                stop = min(start + dash[0], ends[1])
                along = np.array([start, stop])
                across_ = np.full(2, 0.5 - inset)
                x = along if down else across * across_
                y = down * across_ if down else along
                lines.append(np.stack([column + 0.5 + x, row + 0.5 + y], axis=1))
    return lines


def small_number(
    stand: Stand,
    spec: PageSpec,
    held: Supplies,
    corner: tuple[float, float],
    number: int,
    high: float,
    inset: float,
) -> None:
    """A small number, ``inset`` cells right of and below a corner on the page."""
    scale, unit = stand.sheet.scale, stand.unit
    cap = max(3.0, round(high * unit * scale))
    x, y = corner
    at = x + (inset + 0.03) * unit
    for figure in str(number):
        mask, left, top, box = set_digit(held, spec.face, int(figure), cap, 0.0)
        at -= box[0] / scale
        stand.sheet.stamp(
            mask, at + left / scale, y + (inset + high / 2) * unit + top / scale, (40, 40, 40)
        )
        at += box[2] / scale + 0.12 * high * unit


# ---------------------------------------------------------------- arrows, dots, signs


def _arrows(stand: Stand, layout: Layout, chance: np.random.Generator) -> set[int]:
    """Rings from which arrows run through two to four cells; the cells of them."""
    level = int(chance.integers(80, 170))
    taken: set[int] = set()
    strokes: list[Line] = []
    for cell in chance.permutation(layout.many).tolist():
        if len(taken) > 0.45 * layout.many or cell in taken:
            continue
        path = path_from(layout, cell, taken, chance)
        if len(path) < 3:
            continue
        taken |= set(path)
        strokes += _arrow(layout, path)
    stand.draw(layout.side, strokes, float(chance.uniform(0.03, 0.06)), (level,) * 3)
    return taken


def path_from(layout: Layout, cell: int, taken: set[int], chance: np.random.Generator) -> list[int]:
    """Cells from one to the next, corners too."""
    path = [cell]
    for _ in range(int(chance.integers(2, 5))):
        near = [c for c in layout.around(path[-1]) if c not in taken and c not in path]
        if not near:
            break
        path.append(near[int(chance.integers(len(near)))])
    return path


def _arrow(layout: Layout, path: Sequence[int]) -> list[Line]:
    points = np.array([layout.place(cell)[::-1] for cell in path], float) + 0.5
    first = (points[1] - points[0]) / np.linalg.norm(points[1] - points[0])
    t = np.linspace(0, 2 * np.pi, 33)
    ring = points[0] + 0.4 * np.stack([np.cos(t), np.sin(t)], axis=1)
    way = (points[-1] - points[-2]) / np.linalg.norm(points[-1] - points[-2])
    across = np.array([-way[1], way[0]])
    tip = points[-1] + 0.2 * way
    head = np.array([tip - 0.2 * way + 0.17 * across, tip, tip - 0.2 * way - 0.17 * across])
    shaft = np.concatenate([[points[0] + 0.4 * first], points[1:-1], [tip]])
    return [ring, shaft, head]


def neighbours(layout: Layout) -> list[tuple[int, int]]:
    """All pairs of cells that touch along a side."""
    return [(c, n) for c in layout.cells for n in beside(layout.side, c) if n > c]


def _dots(
    stand: Stand, layout: Layout, solution: Sequence[int], chance: np.random.Generator
) -> set[int]:
    """White dots between digits that follow each other, black ones between a digit and its
    double; the cells beside them.
    """
    cells: set[int] = set()
    wide = float(chance.uniform(0.2, 0.3))
    white: list[Line] = []
    black: list[Line] = []
    for one, two in neighbours(layout):
        low, high = sorted((solution[one], solution[two]))
        if high - low != 1 and high != 2 * low:
            continue
        at = between(layout, one, two)
        cells |= {one, two}
        (black if high == 2 * low else white).append(np.array([at, at]))
    level = int(chance.integers(20, 70))
    ink = (level,) * 3
    stand.draw(layout.side, [*white, *black], wide, ink)
    stand.whiten(layout.side, white, wide - 0.05)
    return cells


def _signs(
    layout: Layout, solution: Sequence[int], chance: np.random.Generator
) -> tuple[list[Line], set[int]]:
    """Signs of less and more between cells of a block, and the cells beside them."""
    cells: set[int] = set()
    share, size = float(chance.uniform(0.35, 1.0)), float(chance.uniform(0.09, 0.13))
    strokes = []
    for one, two in neighbours(layout):
        same = layout.blocks[one] == layout.blocks[two]
        if not same or chance.random() > share:
            continue
        at = between(layout, one, two)
        cells |= {one, two}
        ends = np.array([layout.place(c)[::-1] for c in (one, two)], float)
        way = ends[1] - ends[0]
        tip = way if solution[one] > solution[two] else -way  # it points at the smaller
        side = np.array([-way[1], way[0]])
        strokes.append(at + size * np.array([-tip + side, tip, -tip - side]))
    return strokes, cells


def between(layout: Layout, one: int, two: int) -> Line:
    """The middle of the side between two cells."""
    ends = np.array([layout.place(c)[::-1] for c in (one, two)], float)
    return np.asarray(ends.mean(axis=0) + 0.5)
