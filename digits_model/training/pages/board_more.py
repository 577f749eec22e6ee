"""Marks that are drawn for training alone, so that what is learnt of marks is not four drawings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from papernudge.digits_model.training.pages.board_marks import (
    Line,
    Marked,
    between,
    neighbours,
    parted,
    path_from,
    rim,
    small_number,
)
from papernudge.digits_model.training.pages.board_print import Stand
from papernudge.digits_model.training.pages.boards import Board
from papernudge.digits_model.training.pages.chance import stream
from papernudge.digits_model.training.pages.fonts import Supplies
from papernudge.digits_model.training.pages.presets import printing_ink
from papernudge.digits_model.training.pages.spec import Colour, PageSpec
from papernudge.hints.layout import Layout, beside


def mark_more(
    stand: Stand,
    spec: PageSpec,
    held: Supplies,
    board: Board,
    number: int,
    solution: Sequence[int],
) -> Marked:
    """Draws one of MORE_MARKS; what it tells is as of ``board_marks.mark_board``."""
    chance = stream(spec.seed, "board marks", number)
    layout = board.layout
    if board.marks in {"lined cages", "tinted cages"}:
        _cages(stand, spec, held, layout, solution, chance, board.marks == "tinted cages")
        return {"cage": set(layout.cells)}
    if board.marks == "letters":
        return {"sign": _letters(stand, layout, chance)}
    if board.marks == "bars":
        return {"sign": _bars(stand, layout, solution, chance)}
    if board.marks == "shapes":
        return {"else": _shapes(stand, layout, chance)}
    if board.marks == "corners":
        return {"else": _corners(stand, spec, held, layout, solution, chance)}
    if board.marks == "one diagonal":
        return _one_diagonal(stand, board, bool(chance.random() < 0.5))
    return {"else": _lines(stand, layout, chance, board.marks == "thermometers")}


def _ink(chance: np.random.Generator, low: int, high: int) -> Colour:
    """A grey, or now and then a colour as pale."""
    level = int(chance.integers(low, high))
    if chance.random() < 0.7:
        return level, level, level
    share = (255 - level) / 255
    blue, green, red = (round(255 - share * (255 - part)) for part in printing_ink(chance))
    return blue, green, red


def _cages(
    stand: Stand,
    spec: PageSpec,
    held: Supplies,
    layout: Layout,
    solution: Sequence[int],
    chance: np.random.Generator,
    tinted: bool,
) -> None:
    """Cages in whole lines, or each in a tint that no neighbour has."""
    inset = 0.02 if tinted else float(chance.uniform(0.03, 0.1))
    cages = parted(layout, chance)
    if tinted:
        home = {cell: at for at, cage in enumerate(cages) for cell in cage}
        inks = [_ink(chance, 190, 245) for _ in range(6)] + [(255, 255, 255)]
        chosen: list[int] = []
        for at, cage in enumerate(cages):
            near = {home[n] for c in cage for n in beside(layout.side, c)}
            taken = {chosen[other] for other in near if other < at}
            free = [k for k in range(len(inks)) if k not in taken] or [0]
            chosen.append(free[int(chance.integers(len(free)))])
            for cell in cage:
                stand.sheet.bar(*stand.cell(layout, cell), inks[chosen[-1]])
    else:
        strokes = [line for cage in cages for line in rim(layout, cage, inset, (0.2, 0.0))]
        ink = _ink(chance, 40, 150)
        stand.draw(layout.side, strokes, float(chance.uniform(0.015, 0.04)), ink)
    high = float(chance.uniform(0.16, 0.26))
    for cage in cages:
        if len(cage) > 1 or chance.random() < 0.5:
            x, y, _, _ = stand.cell(layout, cage[0])
            total = sum(solution[cell] for cell in cage)
            small_number(stand, spec, held, (x, y), total, high, inset)


def _letters(stand: Stand, layout: Layout, chance: np.random.Generator) -> set[int]:
    """X and V on sides between cells."""
    size = float(chance.uniform(0.08, 0.15))
    crossed = [np.array([[-1.0, -1.0], [1.0, 1.0]]), np.array([[-1.0, 1.0], [1.0, -1.0]])]
    tick = [np.array([[-1.0, -1.0], [0.0, 1.0], [1.0, -1.0]])]
    cells: set[int] = set()
    strokes: list[Line] = []
    for one, two in neighbours(layout):
        if chance.random() > 0.25:
            continue
        cells |= {one, two}
        at = between(layout, one, two)
        strokes += [at + size * line for line in (crossed if chance.random() < 0.5 else tick)]
    if chance.random() < 0.5:  # on a white ground
        spots = [np.stack([line.mean(axis=0)] * 2) for line in strokes]
        stand.whiten(layout.side, spots, 2.6 * size)
    stand.draw(layout.side, strokes, float(chance.uniform(0.02, 0.045)), _ink(chance, 20, 110))
    return cells


def _bars(
    stand: Stand, layout: Layout, solution: Sequence[int], chance: np.random.Generator
) -> set[int]:
    """Bars on the sides between digits that follow each other."""
    half = float(chance.uniform(0.12, 0.38))
    cells: set[int] = set()
    strokes: list[Line] = []
    for one, two in neighbours(layout):
        if abs(solution[one] - solution[two]) != 1:
            continue
        cells |= {one, two}
        way = np.array([0.0, half]) if two == one + 1 else np.array([half, 0.0])
        at = between(layout, one, two)
        strokes.append(np.array([at - way, at + way]))
    stand.draw(layout.side, strokes, float(chance.uniform(0.09, 0.18)), _ink(chance, 30, 170))
    return cells


def _shapes(stand: Stand, layout: Layout, chance: np.random.Generator) -> set[int]:
    """Discs or squares in some cells."""
    share, size = float(chance.uniform(0.1, 0.4)), float(chance.uniform(0.6, 0.85))
    round_ones: list[Line] = []
    square: list[Line] = []
    cells: set[int] = set()
    for cell in layout.cells:
        if chance.random() > share:
            continue
        cells.add(cell)
        row, column = layout.place(cell)
        middle = np.array([column + 0.5, row + 0.5])
        if chance.random() < 0.5:
            round_ones.append(np.stack([middle, middle]))
        else:
            square.append(
                middle + size / 2 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1], [-1, -1]])
            )
    ink = _ink(chance, 150, 228)
    stand.draw(layout.side, round_ones, size, ink)
    if chance.random() < 0.5:
        stand.draw(layout.side, square, 0.04, _ink(chance, 60, 160))
    else:
        for line in square:
            low, high = line.min(axis=0) * stand.unit, line.max(axis=0) * stand.unit
            stand.sheet.bar(
                stand.x + low[0], stand.y + low[1], stand.x + high[0], stand.y + high[1], ink
            )
    if chance.random() < 0.3:
        stand.whiten(layout.side, round_ones, size - 0.1)
    return cells


def _corners(
    stand: Stand,
    spec: PageSpec,
    held: Supplies,
    layout: Layout,
    solution: Sequence[int],
    chance: np.random.Generator,
) -> set[int]:
    """Rings where four cells meet, with one of their digits."""
    wide = float(chance.uniform(0.3, 0.45))
    cells: set[int] = set()
    spots: list[tuple[int, int]] = []
    for row in range(1, layout.side):
        for column in range(1, layout.side):
            if chance.random() < 0.15:
                spots.append((row, column))
                cells |= {layout.at(row - d, column - a) for d in (0, 1) for a in (0, 1)}
    at = [np.array([[c, r], [c, r]], float) for r, c in spots]
    stand.draw(layout.side, at, wide, _ink(chance, 20, 110))
    stand.whiten(layout.side, at, wide - float(chance.uniform(0.04, 0.08)))
    for row, column in spots:
        corner = stand.x + (column - 0.1) * stand.unit, stand.y + (row - 0.12) * stand.unit
        number = solution[layout.at(row, column)]
        small_number(stand, spec, held, corner, number, 0.6 * wide, 0.0)
    return cells


def _one_diagonal(stand: Stand, board: Board, rises: bool) -> Marked:
    """A line along one of the diagonals."""
    side = board.layout.side
    line = np.array([[0.0, 0.0], [side, side]])
    if rises:
        line[:, 0] = side - line[:, 0]
    stand.draw(side, [line], board.diagonal_weight, board.diagonal_ink)
    cells = {board.layout.at(k, side - 1 - k if rises else k) for k in range(side)}
    return {"rising" if rises else "falling": cells}


def _lines(stand: Stand, layout: Layout, chance: np.random.Generator, bulbs: bool) -> set[int]:
    """Broad lines through cells, or bulbs with a stem."""
    taken: set[int] = set()
    paths: list[Line] = []
    most = float(chance.uniform(0.15, 0.45))
    for cell in chance.permutation(layout.many).tolist():
        if len(taken) > most * layout.many or cell in taken:
            continue
        path = path_from(layout, cell, taken, chance)
        if len(path) < 3:
            continue
        taken |= set(path)
        paths.append(np.array([layout.place(c)[::-1] for c in path], float) + 0.5)
    ink = _ink(chance, 120, 222)
    stand.draw(layout.side, paths, float(chance.uniform(0.08, 0.35)), ink)
    if bulbs:
        ends = [np.stack([path[0], path[0]]) for path in paths]
        stand.draw(layout.side, ends, float(chance.uniform(0.6, 0.8)), ink)
    return taken
