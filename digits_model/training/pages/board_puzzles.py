"""Proper puzzles for boards of any layout, seeded, a small bank for each."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.pages.chance import stream
from papernudge.hints.generate import full_grid, puzzle
from papernudge.hints.layout import Layout
from papernudge.hints.masks import SYMBOLS
from papernudge.hints.solver import OutOfPatience, models

BANK = 12
"""Puzzles in the bank of a layout; which one a page may use depends on its split."""
_FOLDS = {"train": (0, 8), "calibrate": (8, 10), "test": (10, BANK)}
_FIRST = 3_000
"""Seed of the bank's first puzzle."""
_TRIES = 40
"""Seeds that are tried for one puzzle: on some boards the first strewn digits leave no grid."""

Square = npt.NDArray[np.int64]
Puzzle = tuple[tuple[int, ...], tuple[int, ...]]
"""A solution, and givens."""
_held: dict[Layout, list[Puzzle]] = {}


def hold(layout: Layout, puzzles: list[Puzzle]) -> None:
    """Lets pages of this process take these puzzles of a layout in place of its bank's: making them
    takes longer than drawing pages, and other processes may have made them.
    """
    _held[layout] = puzzles


@lru_cache(maxsize=1024)
def banked(layout: Layout, index: int) -> Puzzle:
    """Puzzle ``index`` of a layout's bank: solution, and givens as few as were soon found.

    ValueError where the layout seems to have no full grid.
    """
    least = round(layout.many * (0.24 if layout.side < 10 else 0.36 if layout.side < 16 else 0.41))
    for turn in range(_TRIES):
        seed = _FIRST + index + turn * BANK
        try:
            solution = full_grid(seed, layout)
            givens = puzzle(seed, least, layout=layout)
        except (AssertionError, OutOfPatience):
            continue
        return _digits(solution), _digits(givens)
    raise ValueError(f"expected a board with a full grid, found none in {_TRIES} tries")


def has_puzzles(layout: Layout) -> bool:
    """Whether a puzzle of the layout is soon found; most boards without are soon seen to."""
    try:
        grid = next(models(layout.all_candidates, 0, True, 1, 60, layout), None)
        return grid is not None and bool(banked(layout, 0))
    except (OutOfPatience, ValueError):
        return False


def _digits(text: str) -> tuple[int, ...]:
    return tuple(SYMBOLS.index(sign) + 1 if sign != "." else 0 for sign in text)


def board_puzzle(
    layout: Layout, split: str, seed: int, number: int, share: float
) -> tuple[list[int], list[int], int]:
    """A proper puzzle on a board: givens (0 for blank), solution, and its number in the bank.

    ``share``: of the cells about, that are given; more where the bank's puzzle has more. Digits are
    exchanged at random, on boards of even blocks alone rows and columns too.
    """
    chance = stream(seed, "board puzzle", number)
    low, high = _FOLDS[split]
    index = int(chance.integers(low, high))
    held = _held.get(layout)
    solution, fewest = held[index % len(held)] if held else banked(layout, index)
    grid = list(fewest)
    blanks = chance.permutation([cell for cell, digit in enumerate(grid) if not digit])
    extra = round(share * layout.many) - (layout.many - len(blanks))
    for cell in blanks[: max(0, extra)].tolist():
        grid[cell] = solution[cell]
    names = np.concatenate([[0], chance.permutation(layout.side) + 1])
    both = [names[np.array(cells)].reshape(layout.high, layout.wide) for cells in (grid, solution)]
    if layout.even is not None and not layout.plan.diagonals and not layout.plan.extra:
        rows = _shuffled(layout.side, layout.even[0], chance)
        columns = _shuffled(layout.side, layout.even[1], chance)
        both = [square[rows][:, columns] for square in both]
    return both[0].ravel().tolist(), both[1].ravel().tolist(), index


def _shuffled(side: int, step: int, chance: np.random.Generator) -> Square:
    """Lines in bands of ``step``, bands and the lines in them in any order."""
    bands = chance.permutation(side // step)
    return np.concatenate([band * step + chance.permutation(step) for band in bands])
