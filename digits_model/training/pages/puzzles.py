"""Proper puzzles of our own: a seeded bank, widened by the symmetries of the grid."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from papernudge.digits_model.training.pages.chance import stream
from papernudge.hints.layout import BLOCK, NEWSPAPER, Layout

BANK = 144
"""Puzzles in the bank; which one a page may use depends on its split."""

_FOLDS = {"train": (0, 96), "calibrate": (96, 116), "test": (116, BANK)}
HOUSES = [
    *[[r * 9 + c for c in range(9)] for r in range(9)],
    *[[r * 9 + c for r in range(9)] for c in range(9)],
    *[[(b // 3 * 3 + i // 3) * 9 + b % 3 * 3 + i % 3 for i in range(9)] for b in range(9)],
]
PEERS = [
    sorted({x for house in HOUSES if cell in house for x in house} - {cell}) for cell in range(81)
]
_BITS = [[d for d in range(1, 10) if mask >> d & 1] for mask in range(1024)]


def solve(
    digits: list[int], limit: int, order: np.random.Generator | None = None
) -> list[list[int]]:
    """At most ``limit`` solutions of a grid of 81 digits, 0 for blank.

    Backtracking on the cell with the fewest candidates; ``order`` shuffles what is tried first.
    """
    grid = list(digits)
    allowed = [0x3FE] * 81
    for cell, digit in enumerate(grid):
        if digit:
            for peer in PEERS[cell]:
                allowed[peer] &= ~(1 << digit)
    found: list[list[int]] = []
    if all(not d or allowed[cell] >> d & 1 for cell, d in enumerate(grid)):
        _search(grid, allowed, limit, order, found)
    return found


def _search(
    grid: list[int],
    allowed: list[int],
    limit: int,
    order: np.random.Generator | None,
    found: list[list[int]],
) -> None:
    best, fewest = -1, 10
    for cell in range(81):
        if not grid[cell]:
            count = allowed[cell].bit_count()
            if count < fewest:
                best, fewest = cell, count
                if count < 2:
                    break
    if best < 0:
        found.append(list(grid))
        return
    choices = _BITS[allowed[best]]
    if order is not None:
        choices = [choices[i] for i in order.permutation(len(choices))]
    for digit in choices:
        bit = 1 << digit
        touched = [p for p in PEERS[best] if allowed[p] & bit]
        for peer in touched:
            allowed[peer] ^= bit
        grid[best] = digit
        _search(grid, allowed, limit, order, found)
        grid[best] = 0
        for peer in touched:
            allowed[peer] |= bit
        if len(found) >= limit:
            return


@lru_cache(maxsize=BANK)
def banked(index: int) -> tuple[tuple[int, ...], tuple[int, ...], tuple[int, ...]]:
    """Puzzle ``index`` of the bank: solution, minimal givens, and the order of digging.

    The last is the order in which the givens were taken away, so that giving the latest ones
    back makes an easier puzzle with the same solution.
    """
    chance = stream(index, "puzzle bank")
    solution = solve([0] * 81, 1, chance)[0]
    grid, dug = list(solution), []
    for cell in chance.permutation(81):
        kept, grid[cell] = grid[cell], 0
        if len(solve(grid, 2)) > 1:
            grid[cell] = kept
        else:
            dug.append(int(cell))
    return tuple(solution), tuple(grid), tuple(dug)


def puzzle(split: str, seed: int, number: int, givens: int) -> tuple[list[int], list[int], int]:
    """A proper puzzle: givens (81 digits, 0 blank), solution, and its number in the bank.

    ``givens``: about how many to print; never fewer than the bank's minimal puzzle has. A bank
    puzzle belongs to one split, and what the symmetries make of it stays there.
    """
    chance = stream(seed, "puzzle", number)
    low, high = _FOLDS[split]
    index = int(chance.integers(low, high))
    solution, minimal, dug = banked(index)
    grid = list(minimal)
    extra = givens - sum(1 for d in grid if d)
    for cell in dug[::-1][: max(0, extra)]:
        grid[cell] = solution[cell]
    names = np.concatenate([[0], chance.permutation(9) + 1])
    rows, columns = _shuffled(chance), _shuffled(chance)
    both = []
    for cells in (grid, solution):
        square = names[np.array(cells)].reshape(9, 9)[rows][:, columns]
        both.append(square)
    if chance.random() < 0.5:
        both = [square.T for square in both]
    return [int(d) for d in both[0].ravel()], [int(d) for d in both[1].ravel()], index


def natural_order(
    givens: list[int],
    solution: list[int],
    chance: np.random.Generator,
    layout: Layout = NEWSPAPER,
) -> list[int]:
    """The blank cells in about the order in which a person fills them.

    Again and again one of the cells that are easiest at the time: the last of a house, a digit's
    only place in a block, then in a row or column, then a cell with one candidate; any cell when
    nothing of that kind is left.
    """
    grid, order = list(givens), []
    while 0 in grid:
        blanks = [cell for cell in layout.cells if not grid[cell]]
        effort = [_effort(grid, cell, solution[cell], layout) for cell in blanks]
        easiest = [cell for cell, e in zip(blanks, effort, strict=True) if e == min(effort)]
        cell = easiest[int(chance.integers(len(easiest)))]
        grid[cell] = solution[cell]
        order.append(cell)
    return order


def forced(grid: list[int], layout: Layout = NEWSPAPER) -> list[tuple[int, int]]:
    """Cells and digits that the digits of a grid force at once, right or wrong.

    A cell with one candidate, or a digit with one place in a house; what a solver would write
    next who trusts all that stands there.
    """
    able = {
        cell: {*layout.digits} - {grid[p] for p in layout.peers[cell]}
        for cell in layout.cells
        if not grid[cell]
    }
    found = {(cell, next(iter(digits))) for cell, digits in able.items() if len(digits) == 1}
    for house in layout.house_cells:
        for digit in layout.digits:
            places = [cell for cell in house if digit in able.get(cell, ())]
            if len(places) == 1 and digit not in [grid[cell] for cell in house]:
                found.add((places[0], digit))
    return sorted(found)


def _effort(grid: list[int], cell: int, digit: int, layout: Layout) -> int:
    """0 last of a house, 1 only place in a block, 2 in another house, 3 only candidate, 4 else."""
    peers = layout.peers
    own = [layout.houses[house] for house in layout.houses_of[cell]]
    if any(sum(grid[x] == 0 for x in house.cells) == 1 for house in own):
        return 0
    alone = {
        house.kind
        for house in own
        if all(x == cell or grid[x] or any(grid[p] == digit for p in peers[x]) for x in house.cells)
    }
    if BLOCK in alone:
        return 1
    if alone:
        return 2
    return 3 if len({grid[p] for p in peers[cell]} - {0}) == layout.side - 1 else 4


def _shuffled(chance: np.random.Generator) -> np.ndarray[tuple[int, ...], np.dtype[np.int64]]:
    bands = chance.permutation(3)
    return np.concatenate([band * 3 + chance.permutation(3) for band in bands])
