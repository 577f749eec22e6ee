"""Harms laid on pages: their truth, their levels, and that they can be had again."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from papernudge.digits_model.training.pages.harms import COVERS, KINDS, Harmed, harm, harms
from papernudge.digits_model.training.pages.harms.scene import RIM

pytestmark = pytest.mark.slow
CELL, EDGE = 32, 60


def _plain() -> tuple[np.ndarray, np.ndarray]:
    """A grid of even paper with a black square in each second cell."""
    side = 9 * CELL + 2 * EDGE
    image = np.full((side, side, 3), 215, np.uint8)
    at = EDGE + CELL * np.arange(10)
    for line in at:
        image[EDGE : EDGE + 9 * CELL + 1, line] = 40
        image[line, EDGE : EDGE + 9 * CELL + 1] = 40
    for cell in range(0, 81, 2):
        y, x = EDGE + CELL * (cell // 9), EDGE + CELL * (cell % 9)
        image[y + 11 : y + 21, x + 11 : x + 21] = 30
    x, y = np.meshgrid(at, at)
    return image, np.stack([x, y], axis=-1).astype(np.float64)


def _some(kind: str, level: float, seeds: range) -> list[Harmed]:
    return [harm(*_plain(), kind, level, seed) for seed in seeds]


def test_an_unknown_kind_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match="got 'flood'"):
        harm(*_plain(), "flood", 1, 1)


def test_a_page_without_harm_is_whole_and_unchanged() -> None:
    image, crossings = _plain()
    bare = harms(image, crossings, [], 1)
    assert np.array_equal(bare.image, image)
    assert (bare.paper == 1).all()
    assert (bare.seen == 1).all()
    assert not bare.crossed.any()
    assert not bare.laid.any()
    assert np.isnan(bare.ink[1::2]).all()
    assert (bare.ink[::2] == 1).all()


@pytest.mark.parametrize("kind", KINDS)
def test_the_same_seed_gives_the_same_photo_and_another_another(kind: str) -> None:
    one, two = (harm(*_plain(), kind, 3, 5) for _ in range(2))
    assert np.array_equal(one.image, two.image)
    assert np.array_equal(one.seen, two.seen)
    others = [harm(*_plain(), kind, 3, seed).image for seed in range(6, 8)]
    assert any(not np.array_equal(one.image, other) for other in others)


@pytest.mark.parametrize("kind", COVERS)
def test_stronger_covers_hide_more_cells(kind: str) -> None:
    mild, strong = (
        np.mean([(h.seen < 0.5).sum() for h in _some(kind, level, range(5))]) for level in (1, 5)
    )
    assert strong > mild + 1


@pytest.mark.parametrize("kind", ["thumb", "page", "thing", "torn"])
def test_what_is_hidden_shows_nothing_of_the_ink_and_what_is_seen_shows_all(kind: str) -> None:
    """Judged by two pages that differ in their ink alone."""
    image, crossings = _plain()
    blank = image.copy()
    blank[blank[..., 0] == 30] = 215
    for seed in range(4):
        with_ink, without = (harm(i, crossings, kind, 3, seed) for i in (image, blank))
        apart = cv2.absdiff(with_ink.image, without.image).max(axis=2)
        for cell in range(0, 81, 2):
            y, x = EDGE + CELL * (cell // 9), EDGE + CELL * (cell % 9)
            most = float(apart[y + 11 : y + 21, x + 11 : x + 21].mean())
            if with_ink.ink[cell] < 0.01:
                assert most < 25
            elif with_ink.ink[cell] > 0.99:
                assert most > 60


def test_glare_hides_where_paper_and_ink_are_both_white() -> None:
    for harmed in _some("glare", 4, range(6)):
        for cell in range(81):
            y, x = EDGE + CELL * (cell // 9), EDGE + CELL * (cell % 9)
            rim = round(RIM * CELL) + 1
            inner = harmed.image[y + rim : y + CELL - rim, x + rim : x + CELL - rim]
            if harmed.paper[cell] < 0.02:
                assert (inner.min(axis=2) > 235).mean() > 0.5


def test_a_light_shadow_hides_nothing_but_is_told_where_its_edge_crosses() -> None:
    for harmed in _some("shadow", 1, range(6)):
        assert harmed.seen.min() > 0.9
    assert any(harmed.crossed.max() > 0.02 for harmed in _some("shadow", 3, range(6)))


def test_cells_beyond_the_frame_are_not_seen_and_the_crossings_say_so() -> None:
    for harmed in _some("cut", 5, range(6)):
        high, wide = harmed.image.shape[:2]
        middles = (harmed.crossings[1:, 1:] + harmed.crossings[:-1, :-1]).reshape(81, 2) / 2
        out = ((middles < -8) | (middles > np.array([wide, high]) + 7)).any(axis=1)
        assert out.any()
        assert harmed.paper[out].max() < 0.5


def test_curled_crossings_lie_on_the_lines_still() -> None:
    image, crossings = _plain()
    for seed in range(4):
        harmed = harm(image, crossings, "curl", 3, seed)
        inner = harmed.crossings[1:-1, 1:-1].reshape(-1, 2)
        grey = harmed.image.min(axis=2)
        x, y = np.rint(inner).astype(int).T
        near = [grey[b - 1 : b + 2, a - 1 : a + 2].min() for a, b in zip(x, y, strict=True)]
        assert np.mean(np.array(near) < 130) > 0.97
