"""What is told of a board's cells by two networks, and what is asked about on other boards."""

from __future__ import annotations

import itertools

import cv2
import numpy as np
import pytest

from papernudge.digits_model import symbols
from papernudge.digits_model.scores import Scores
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.vision import scored
from papernudge.vision.decode import _best_first
from papernudge.vision.even import exposed
from papernudge.vision.mesh import Mesh
from papernudge.vision.patches import PAPER, SIDE
from papernudge.vision.sight import AsRead

SIX, SIXTEEN = Layout.of_blocks(2, 3), Layout.of_blocks(4, 4)


def logs(classes: int, **chances: float) -> np.ndarray:
    """One row of log-probabilities: ``_3=0.6`` gives class 3 that chance, the others share what is
    left.
    """
    row = np.full(classes, (1 - sum(chances.values()) + 1e-4) / classes)
    for name, chance in chances.items():
        row[int(name[1:])] = chance
    return np.asarray(np.log(row / row.sum())[None])


@pytest.mark.parametrize("weights", [scored.AT_ONCE, scored.BY_VIEWS])
def test_a_lone_figure_is_read_by_the_look_that_knows_nine_and_a_number_by_the_other(
    weights: np.ndarray,
) -> None:
    told = scored.together(logs(24, _3=0.6, _9=0.39), logs(10, _9=0.999), weights)
    assert told[0].argmax() == 9
    assert np.exp(told[0, 9]) > 0.9
    # To the look that knows nine an 11 is a 1, and it is sure of it.
    told = scored.together(logs(24, _11=0.999), logs(10, _1=0.999), weights)
    assert told[0].argmax() == 11
    assert np.exp(told[0]).sum() == pytest.approx(1.0)


def test_who_wrote_a_figure_is_told_by_the_look_that_knows_nine(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    signs = np.concatenate([logs(24, _8=0.999), logs(24, _12=0.999)])
    found = np.column_stack([signs, [-9.0, -9.0]])
    monkeypatch.setattr(symbols, "logits", lambda pixels: found[: len(pixels)])
    digits = np.concatenate([logs(10, _8=0.999), logs(10, _1=0.9)])
    both = np.full(2, 9.0)
    empty = np.zeros((2, 1))
    said = Scores(digits, both, empty, both, empty, empty.astype(np.float32))
    told, hand = scored.read_signs(np.full((2, SIDE, SIDE, 3), PAPER, np.uint8), said)
    assert told.argmax(axis=1).tolist() == [8, 12]
    assert hand[0] > 4
    assert hand[1] < -3


def test_views_of_empty_paper_are_empty_paper_and_of_a_figure_each_differs() -> None:
    cells = np.full((2, SIDE, SIDE, 3), PAPER, np.uint8)
    cv2.putText(cells[1], "12", (14, 30), cv2.FONT_HERSHEY_SIMPLEX, 0.5, (40, 40, 40), 1)
    seen: list[np.ndarray] = []

    def looked(patches: np.ndarray) -> np.ndarray:
        seen.append(patches)
        return np.zeros((len(patches), symbols.OUTPUTS))

    whole = symbols.logits
    symbols.logits = looked
    try:
        assert symbols.many_views(cells).shape == (2, symbols.OUTPUTS)
    finally:
        symbols.logits = whole
    assert all((view[0] == PAPER).all() for view in seen)
    assert len({view[1].tobytes() for view in seen}) == len(seen) == 11


def test_givens_that_are_no_puzzle_are_asked_about_unless_their_ink_is_plain() -> None:
    ink = np.full((36, 7), np.log(1e-5))
    givens = np.zeros(36, np.int64)
    givens[[0, 7]] = 3, 4
    ink[0, 3], ink[7, 4] = np.log(0.998), np.log(0.9995)
    assert scored.of_no_puzzle(ink, givens, SIX) == {0}
    # A newspaper's misprint is read as it stands, as before.
    assert scored.of_no_puzzle(np.zeros((81, 10)), np.ones(81, np.int64), NEWSPAPER) == set()


def test_a_cell_that_is_hardly_blank_is_asked_about_on_boards_of_other_than_nine_digits() -> None:
    told = np.concatenate([logs(17, _0=0.97), logs(17, _0=0.999), logs(17, _12=0.6)])
    assert scored.unfit(told) == {0}
    assert scored.unfit(logs(10, _0=0.97)) == set()


def test_a_hand_that_the_page_hardly_tells_is_asked_about_on_other_boards() -> None:
    #                 plain print, faint print, plain entry, the cell against the page, blank
    hand = np.array([-8.0, -2.0, 8.0, 6.0, 0.0])
    own = np.array([-8.0, -2.0, 8.0, -1.0, 0.0])
    read = AsRead(np.array([1, 2, 3, 4, 0]), np.array([True, True, False, False, False]), own)
    assert scored.of_either_hand(hand, own, read, SIX) == {1, 3}
    assert scored.of_either_hand(hand, own, read, NEWSPAPER) == set()


def test_what_a_diagonals_line_crosses_looks_as_if_it_were_not_there() -> None:
    """A pencil's 7 in the middle cell, where both lines cross, and one on an end."""
    plain = np.full((480, 480, 3), 235, np.uint8)
    for k in range(10):
        at = 15 + 50 * k
        cv2.line(plain, (15, at), (465, at), (60, 60, 60), 1)
        cv2.line(plain, (at, 15), (at, 465), (60, 60, 60), 1)
    for row, column in ((4, 4), (0, 8), (2, 5)):
        x, y = 15 + 50 * column, 15 + 50 * row
        pen = np.array([[x + 14, y + 12], [x + 36, y + 14], [x + 22, y + 40]])
        cv2.polylines(plain, [pen], False, (120, 120, 120), 2, cv2.LINE_AA)
    ruled = plain.copy()
    cv2.line(ruled, (15, 15), (465, 465), (150, 150, 190), 2, cv2.LINE_AA)
    cv2.line(ruled, (465, 15), (15, 465), (150, 150, 190), 2, cv2.LINE_AA)
    at = np.stack(np.meshgrid(15.0 + 50 * np.arange(10), 15.0 + 50 * np.arange(10)), axis=-1)
    mesh = Mesh(at, np.ones((10, 10), np.bool_))

    def off(told: bool) -> np.ndarray:
        apart = cv2.absdiff(
            exposed(ruled, mesh, told).patches.pixels, exposed(plain, mesh).patches.pixels
        )
        inner = apart[:, 8:-8, 8:-8].reshape(81, -1)
        return np.asarray(inner.astype(np.float64).mean(axis=1))

    crossed = [k for k in range(81) if k // 9 in (k % 9, 8 - k % 9)]
    rest = [k for k in range(81) if k not in crossed]
    before, after = off(False), off(True)
    assert (after[crossed] < 0.8 * before[crossed]).all()
    assert np.median(after[crossed]) < 0.1 * np.median(before[crossed])
    assert after[rest].max() < 0.5


def test_choices_come_once_each_by_rising_cost() -> None:
    rng = np.random.default_rng(1)
    for _ in range(40):
        many = rng.integers(0, 4, rng.integers(0, 6))
        costs = [[0.0, *np.sort(rng.random(k)).tolist()] for k in many]
        told = list(_best_first(costs))
        every = set(itertools.product(*map(range, map(len, costs))))
        assert {choice for _, choice in told} == every
        assert len(told) == len(every)
        paid = [sum(row[k] for row, k in zip(costs, choice, strict=True)) for _, choice in told]
        assert [cost for cost, _ in told] == pytest.approx(paid)
        assert paid == pytest.approx(sorted(paid))
