"""Whose hand a digit in a harmed cell is, seen in several exposures."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from papernudge.digits_model.scores import Scores, looked_at, score
from papernudge.hints.solver import solve_soon
from papernudge.vision import exposures
from papernudge.vision.even import Exposure, exposed
from papernudge.vision.exposures import MOST, lightest, look_again, sharpened, with_last_word
from papernudge.vision.photo import Photo, open_photo
from papernudge.vision.read import read_page
from papernudge.vision.reading import CellKind, GridReading, PageReading
from papernudge.vision.sight import AsRead, Sight, hand_signs

FIXTURE = Path(__file__).resolve().parents[2] / "fixtures" / "one-mistake.jpg"


@pytest.fixture(scope="module")
def grid() -> tuple[GridReading, Exposure, Scores]:
    """A page with printed and written digits, as it is read, on its sheet, and by the looks."""
    photo = open_photo(FIXTURE)
    assert isinstance(photo, Photo)
    page = read_page(photo.pixels, solve=solve_soon)
    assert isinstance(page, PageReading)
    read = next(one for one in page.grids if one.cells)
    assert read.mesh is not None
    exposure = exposed(photo.pixels, read.mesh)
    return read, exposure, score(exposure.patches.pixels)


def written(read: GridReading, kind: CellKind) -> np.ndarray:
    return np.array([c for c, cell in enumerate(read.cells) if cell.kind == kind])


def test_digits_of_an_undamaged_page_keep_their_hand_in_every_exposure(
    grid: tuple[GridReading, Exposure, Scores],
) -> None:
    read, exposure, scores = grid
    given, entry = (written(read, kind) for kind in (CellKind.GIVEN, CellKind.ENTRY))
    page = np.where([cell.kind == CellKind.ENTRY for cell in read.cells], 9.0, -9.0)
    least, greatest, mean = look_again(exposure, scores, page, np.arange(81)).hands.T
    assert len(given) > 20
    assert len(entry) > 10
    assert (greatest[given] < 0).all()
    assert (least[entry] > 0).all()
    assert ((least <= mean) & (mean <= greatest)).all()
    assert np.abs([least, greatest]).max() <= MOST


def test_digits_of_an_undamaged_page_are_what_they_were_when_looked_at_again_and_others_untouched(
    grid: tuple[GridReading, Exposure, Scores],
) -> None:
    read, exposure, scores = grid
    given, entry = (written(read, kind) for kind in (CellKind.GIVEN, CellKind.ENTRY))
    some = np.concatenate([given[::3], entry[::2]])
    rest = np.setdiff1d(np.arange(81), some)
    again = look_again(exposure, scores, scores.hand, some)
    assert (again.digits[some].argmax(axis=1) == scores.digits[some].argmax(axis=1)).all()
    np.testing.assert_allclose(np.exp(again.digits).sum(axis=1), 1.0)
    assert not np.array_equal(again.digits[some], scores.digits[some])
    np.testing.assert_array_equal(again.digits[rest], scores.digits[rest])
    np.testing.assert_array_equal(again.hand[rest], scores.hand[rest])
    np.testing.assert_allclose(again.hand[some], again.hands[some, 2])


def test_cells_that_were_looked_at_again_are_not_looked_at_closer(
    grid: tuple[GridReading, Exposure, Scores],
) -> None:
    _, exposure, scores = grid
    some, asked = np.array([3, 40]), np.array([2, 40, 3])
    assert scores.closer is not None
    again = look_again(exposure, scores, scores.hand, some)
    closer = with_last_word(scores, again, some).closer
    assert closer is not None
    said = closer.digits(asked)
    np.testing.assert_array_equal(said[1:], again.digits[[40, 3]])
    np.testing.assert_array_equal(said[:1], scores.closer.digits(asked[:1]))


def test_an_exposure_in_which_the_ink_fades_is_left_out_and_a_mark_is_made_no_blank_by_others(
    grid: tuple[GridReading, Exposure, Scores], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exposures that show nothing, or the lightest alone, in place of the real ones."""
    read, exposure, scores = grid
    some = written(read, CellKind.GIVEN)[:6]
    plain = np.full_like(exposure.sheet, 255)
    seen = look_again(exposure, scores, scores.hand, some)
    real = exposures.lightest
    monkeypatch.setattr(exposures, "lightest", lambda even: plain)
    faded = look_again(exposure, scores, scores.hand, some)
    assert (faded.digits[some].argmax(axis=1) == seen.digits[some].argmax(axis=1)).all()
    assert np.exp(faded.digits[some].max(axis=1)).min() > 0.99
    assert (faded.hands[some, 1] < 0).all()
    monkeypatch.setattr(exposures, "sharpened", lambda even: plain)
    monkeypatch.setattr(exposures, "lightest", real)
    half = look_again(exposure, scores, scores.hand, some)
    assert (half.digits[some].argmax(axis=1) > 0).all()


def test_cells_that_nobody_asked_about_keep_what_the_page_said(
    grid: tuple[GridReading, Exposure, Scores],
) -> None:
    _, exposure, scores = grid
    page = np.linspace(-20, 20, 81)
    none = look_again(exposure, scores, page, np.array([], np.int64))
    assert none.digits is scores.digits
    assert none.hand is page
    np.testing.assert_allclose(
        none.hands, np.repeat(np.clip(page, -MOST, MOST)[:, None], 3, axis=1)
    )


def test_the_same_picture_looked_at_again_says_the_same(
    grid: tuple[GridReading, Exposure, Scores],
) -> None:
    read, exposure, scores = grid
    some = np.concatenate([written(read, CellKind.GIVEN)[:5], written(read, CellKind.ENTRY)[:5]])
    again = looked_at(exposure.patches.pixels[some], scores)
    assert (again.digits.argmax(axis=1) == scores.digits[some].argmax(axis=1)).all()


def test_sharpening_leaves_plain_paper_alone_and_coloured_marks_fade_in_the_lightest_channel() -> (
    None
):
    paper = np.full((60, 60, 3), 200, np.uint8)
    assert (sharpened(paper) == paper).all()
    paper[20:30, 20:30] = (30, 40, 210)  # red, channels blue, green, red
    assert lightest(paper)[25, 25].tolist() == [210, 210, 210]


def told(given: bool, said: tuple[float, float, float], page: float) -> frozenset[int]:
    """What is asked of a harmed cell 40 whose looks are sure, with this word on its hand."""
    digits = np.log(np.array([[1e-7, 1 - 1e-6] + [1e-7] * 8] * 81))
    signs = np.tile([8.0, 8.0, -8.0, 8.0], (81, 1))
    signs[40, 2] = 8.0
    way = -1.0 if given else 1.0
    hand = np.full(81, way * 12.0)
    hand[40] = way * page
    several = np.repeat(hand[:, None], 3, axis=1)
    several[40] = np.sort(way * np.array(said))[[0, 2, 1]]
    right = np.full(81, 1 - 1e-9)
    right[40] -= 0.5 * (np.ptp(said) > 0)
    read = AsRead(np.ones(81, np.int64), np.full(81, given), right)
    sight = Sight(signs=signs, hands=several)
    return sight.suspects(digits, hand, hand, read)


@pytest.mark.parametrize("given", [True, False])
def test_a_hand_is_asked_about_where_exposures_disagree_and_not_where_all_are_sure(
    given: bool,
) -> None:
    assert told(given, (12.0, 12.0, 12.0), 12.0) == frozenset()
    assert told(given, (-12.0, 0.0, -6.0), 1.0) == {40}


def test_signs_of_a_hand_speak_towards_the_hand_that_is_read() -> None:
    """The same page with print and hand exchanged says the same of the exchanged reading."""
    dice = np.random.default_rng(4)
    digits = np.log(dice.dirichlet(np.full(10, 0.1), 81) + 1e-12)
    own = dice.normal(0, 6, 81)
    several = np.sort(dice.normal(0, 6, (81, 3)), axis=1)[:, [0, 2, 1]]
    marks = digits.argmax(axis=1)
    printed = dice.random(81) < 0.5
    right = dice.random(81)
    one = hand_signs(digits, own, AsRead(marks, printed, right), several)
    turned = -several[:, [1, 0, 2]]
    other = hand_signs(digits, -own, AsRead(marks, ~printed, right), turned)
    np.testing.assert_allclose(one, other)
