"""An answer about one cell settles what stands or falls with it."""

from __future__ import annotations

import math
import pickle

import numpy as np

from papernudge.digits_model.scores import Scores
from papernudge.hints import solve
from papernudge.vision.grid import FoundGrid, GridKind, Quality
from papernudge.vision.patches import PAPER, SIDE, Patches
from papernudge.vision.read import read_grid
from papernudge.vision.reading import CellKind, GridReading, Told
from papernudge.vision.reread import reread

# Published: Project Euler, Problem 96, worked example (read).
PUZZLE = "..3.2.6..9..3.5..1..18.64....81.29..7.......8..67.82....26.95..8..2.3..9..5.1.3.."
FIRST, SECOND = 6, 71  # the 6 in R1C7 and the 9 in R8C9: with either, the other is forced


def reading(flat: tuple[int, ...]) -> GridReading:
    """The puzzle as read where the classifier says nothing about some cells."""
    digits, hand = np.full((81, 10), math.log(1e-6)), np.full(81, -8.0)
    for cell, char in enumerate(PUZZLE):
        digits[cell, 0 if char == "." else int(char)] = 0.0
    digits[list(flat)], hand[list(flat)] = -math.log(10), 0.0
    none = np.full((81, 9), -9.0)
    upright = np.tile([0.0, -9.0, -9.0, -9.0], (81, 1))
    said = Scores(digits, hand, none, np.full(81, -9.0), upright, np.ones((81, 8), np.float32))
    paper = Patches(np.full((81, SIDE, SIDE, 3), PAPER, np.uint8))
    found = FoundGrid(GridKind.PUZZLE, np.zeros((4, 2)), None, Quality(True))
    return read_grid(found, paper, said, 0, solve)


def again(grid: GridReading, answer: Told) -> GridReading:
    """The grid read once more with one more answer."""
    assert grid.evidence is not None
    return reread(grid.evidence, (*grid.told, answer), solve)


def test_every_cell_that_may_be_wrong_is_asked_about() -> None:
    grid = reading((FIRST, SECOND))
    assert {d.cell for d in grid.doubts} == {FIRST, SECOND}


def test_an_answer_is_taken_and_settles_the_other_cell() -> None:
    grid = reading((FIRST, SECOND))
    after = again(grid, Told(FIRST, CellKind.GIVEN, 6))
    assert grid.cells[SECOND].digit_chances[9] < 0.7
    assert after.givens == PUZZLE
    assert after.cells[SECOND].chance > 0.99
    assert after.doubts == ()


def test_an_answer_against_the_rules_is_taken_as_well() -> None:
    grid = reading(())
    after = again(grid, Told(FIRST, None, 9))
    assert after.cells[FIRST].digit == 9
    assert {d.about for d in after.doubts if d.cell == FIRST} <= {"hand"}


def test_notes_that_were_told_stay_told() -> None:
    grid = reading((FIRST,))
    noted = again(grid, Told(0, None, None, frozenset({1, 4})))
    after = again(noted, Told(FIRST, CellKind.GIVEN, 6))
    assert after.cells[0].notes == {1, 4}
    assert after.cells[0].notes_chance == 1


def test_the_last_word_on_a_cell_counts() -> None:
    grid = reading((FIRST, SECOND))
    after = again(again(grid, Told(FIRST, CellKind.GIVEN, 9)), Told(FIRST, CellKind.GIVEN, 6))
    assert after.givens == PUZZLE
    assert after.told == (Told(FIRST, CellKind.GIVEN, 6),)


def test_a_reading_travels_between_processes() -> None:
    grid = pickle.loads(pickle.dumps(reading((FIRST,))))
    assert again(grid, Told(FIRST, CellKind.GIVEN, 6)).givens == PUZZLE
