"""Given or entry: what a page's own print and pen say of an unsure cell."""

from __future__ import annotations

import numpy as np

from papernudge.vision.hand import (
    ENOUGH,
    MOST_INK,
    hand_on_page,
    ink_features,
    page_evidence,
)
from papernudge.vision.patches import PAPER, SIDE


def test_an_empty_page_says_nothing() -> None:
    none = np.zeros(81)
    assert (page_evidence(np.zeros((81, 6)), none, np.zeros(81, np.bool_)) == 0).all()
    blank = np.zeros(81, np.int64)
    said = hand_on_page(none, blank, np.zeros((81, 128), np.float32), np.zeros((81, 2)))
    assert (said == 0).all()


def test_blue_ink_is_told_from_black() -> None:
    pixels = np.full((2, SIDE, SIDE, 3), PAPER, np.uint8)
    pixels[0, 16:32, 20:26] = (40, 40, 40)
    pixels[1, 16:32, 20:26] = (200, 60, 40)
    black, blue = ink_features(pixels)
    assert black[0] > blue[0] + 0.5  # in the blue channel only black is dark
    assert abs(black[2] - blue[2]) < 0.15


def test_an_unsure_cell_in_the_pens_colour_is_written() -> None:
    rng = np.random.default_rng(0)
    features = rng.normal(0, 0.02, (20, 6))
    features[10:, 0] += 0.5
    hand = np.array([-8.0] * 9 + [0.0] + [8.0] * 9 + [0.0])
    evidence = page_evidence(features, hand, np.ones(20, np.bool_))
    assert evidence[9, 0] < -2
    assert evidence[19, 0] > 2
    assert np.abs(evidence).max() <= MOST_INK


def test_a_strange_typeface_is_known_by_its_colour() -> None:
    """The classifier makes little of the print: none of it is sure by itself."""
    rng = np.random.default_rng(2)
    features = rng.normal(0, 0.02, (60, 6))
    features[30:, 2] += 0.4
    hand = np.concatenate([rng.uniform(-3.5, 0.4, 30), rng.uniform(3.0, 12.0, 30)])
    evidence = page_evidence(features, hand, np.ones(60, np.bool_))
    assert (evidence[:30, 0] < -4).all()
    assert (evidence[30:, 0] > 4).all()


def test_a_blot_is_neither_print_nor_writing() -> None:
    rng = np.random.default_rng(3)
    features = rng.normal(0, 0.02, (41, 6))
    features[20:40, 2] += 0.4
    features[40] = 5.0
    hand = np.array([-8.0] * 20 + [8.0] * 20 + [0.0])
    assert abs(page_evidence(features, hand, np.ones(41, np.bool_))[40, 0]) < 0.1


def test_too_little_print_is_no_measure() -> None:
    hand = np.array([-8.0] * (ENOUGH - 1) + [8.0] * 10)
    evidence = page_evidence(np.zeros((len(hand), 6)), hand, np.ones(len(hand), np.bool_))
    assert (evidence == 0).all()


def test_a_copy_of_the_print_is_print_and_what_only_resembles_it_is_not() -> None:
    rng = np.random.default_rng(1)
    type_, pen = rng.random(128), rng.random(128)
    features = np.stack([type_, type_, pen, pen + rng.normal(0, 0.1, 128), type_, pen])
    hand = np.array([-8.0, -8.0, 8.0, 8.0, 0.5, 0.5])
    digits = np.full(6, 7, np.int64)
    said = hand_on_page(hand, digits, features.astype(np.float32), np.zeros((6, 2)))
    assert said[4] < -1
    assert said[5] > 1


def test_another_digits_looks_say_nothing_of_this_one() -> None:
    features = np.ones((3, 128), np.float32)
    hand, ink = np.array([-8.0, 8.0, 0.5]), np.zeros((3, 2))
    among = hand_on_page(hand, np.array([1, 2, 3]), features, ink)
    alone = hand_on_page(hand[2:], np.array([3]), features[2:], ink[2:])
    assert among[2] == alone[0]
