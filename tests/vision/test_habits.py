"""The hand's habits: its 1s are like its other 1s, its 7s like its other 7s."""

from __future__ import annotations

import numpy as np

from papernudge.vision.habits import by_habit, likeness

ONE, SEVEN = np.array([1.0, 0.2, 0.0, 0.0]), np.array([0.2, 1.0, 0.0, 0.0])


def page(unsure: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Three sure 1s, three sure 7s and, in cell 6, a mark that could be either."""
    entries = np.zeros((81, 9))
    entries[:3, 0] = entries[3:6, 6] = 1.0
    entries[6, [0, 6]] = 0.5
    features = np.zeros((81, 4), np.float32)
    features[:3], features[3:6], features[6] = ONE, SEVEN, unsure
    digits = np.full((81, 10), np.log(1e-6))
    digits[6, [1, 7]] = np.log(0.5)
    return digits, entries, features


def test_an_empty_page_stays_as_it_is() -> None:
    digits = np.full((81, 10), np.log(0.1))
    said = by_habit(digits, np.zeros((81, 9)), np.zeros((81, 128), np.float32))
    assert (said == digits).all()


def test_a_mark_like_this_hands_sevens_is_a_seven() -> None:
    for shape, digit in ((ONE, 1), (SEVEN, 7)):
        said = by_habit(*page(shape))
        assert np.exp(said[6, digit]) > 0.9
        assert said[6].argmax() == digit


def test_whether_anything_stands_there_is_left_alone() -> None:
    digits, entries, features = page(ONE)
    digits[6, 0] = np.log(0.3)
    digits[6] -= np.logaddexp.reduce(digits[6])
    said = by_habit(digits, entries, features)
    assert said[6, 0] == digits[6, 0]
    assert np.isclose(np.exp(said[6]).sum(), 1)


def test_a_cell_is_no_example_of_itself() -> None:
    entries = np.zeros((81, 9))
    entries[4, 2] = 1.0
    like, seen = likeness(entries, np.ones((81, 4), np.float32))
    assert not seen[4].any()
    assert not like[4].any()
    assert seen[5, 2] == 1
