"""Small notes in the light of the page: givens in sight speak against a note, plain ink wins."""

from __future__ import annotations

import numpy as np

from papernudge.vision.small_notes import OPEN, SEEN, in_sight, on_page

BLANK = np.zeros(81, np.int64)


def page(cell: int, digit: int) -> np.ndarray:
    held = BLANK.copy()
    held[cell] = digit
    return held


def test_a_cell_sees_its_row_column_and_block_and_not_itself() -> None:
    seen = in_sight(page(40, 5))
    others = [c for c in range(81) if seen[c, 4]]
    assert len(others) == 20
    assert 40 not in others
    assert {36, 44, 4, 76, 30, 50} <= set(others)
    assert not seen[:, [0, 1, 2, 3, 5, 6, 7, 8]].any()


def test_a_given_in_sight_speaks_against_a_note_and_plain_ink_outweighs_it() -> None:
    ink = np.full((81, 9), -9.0)
    ink[41, 4], ink[42, 4], ink[80, 4] = 2.0, 6.0, 2.0
    said = on_page(ink, page(40, 5), BLANK)
    assert said[41, 4] == 2.0 - SEEN < 0
    assert said[42, 4] > 0
    assert said[80, 4] == 2.0  # out of sight, and nothing else speaks for a note there


def test_an_entry_in_sight_speaks_against_nothing() -> None:
    ink = np.full((81, 9), -9.0)
    ink[41, 4] = 0.5
    assert on_page(ink, BLANK, page(40, 5))[41, 4] == 0.5


def test_in_a_noted_cell_digits_that_are_left_gain_and_others_do_not() -> None:
    ink = np.full((81, 9), -9.0)
    ink[41, 0], ink[41, 1], ink[41, 4] = 8.0, -0.5, -0.5
    said = on_page(ink, page(40, 5), BLANK)
    assert said[41, 1] == -0.5 + OPEN > 0
    assert said[41, 4] < -3
    assert (said[0] == -9.0).all()  # a blank cell stays blank


def test_no_note_is_made_of_paper() -> None:
    rng = np.random.default_rng(0)
    ink = rng.uniform(-8, -3, (81, 9))
    givens = rng.integers(0, 10, 81) * (rng.random(81) < 0.35)
    assert (on_page(ink, givens, BLANK) < 0).all()
