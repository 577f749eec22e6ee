"""What of a cell can't be seen is never read as blank, nor as a digit; what can be is read."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from samples import chosen

from papernudge.digits_model.seen import Seen
from papernudge.hints.solver import solve_soon
from papernudge.vision.advice import ails_of
from papernudge.vision.even import LINE, exposed
from papernudge.vision.failure import Failure
from papernudge.vision.hidden import Hidden
from papernudge.vision.mesh import Mesh
from papernudge.vision.photo import Photo, open_photo
from papernudge.vision.read import read_page
from papernudge.vision.reading import CellKind, GridReading, PageReading, Told
from papernudge.vision.reread import reread
from papernudge.vision.sight import AsRead, Sight, View, judged

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
Picture = np.ndarray

ALL = np.ones((10, 10), np.bool_)


def fixture(name: str) -> tuple[Picture, dict, Mesh]:
    photo = open_photo(FIXTURES / name, name)
    assert isinstance(photo, Photo)
    grid = json.loads((FIXTURES / f"{name}.json").read_text("utf-8"))["grids"][0]
    crossings = np.array(grid["crossings"], np.float64)
    return photo.pixels, grid, Mesh(crossings, np.ones((10, 10), np.bool_))


def read(image: Picture) -> GridReading:
    page = read_page(image, solve=solve_soon)
    assert isinstance(page, PageReading), page
    return max(page.grids, key=lambda g: cv2.contourArea(g.corners.astype(np.float32)))


def places(image: Picture, mesh: Mesh) -> tuple[Picture, Picture]:
    """Column and row, in cells, of every pixel."""
    unit = np.array([[0, 0], [9, 0], [9, 9], [0, 9]], np.float32)
    way = cv2.getPerspectiveTransform(mesh.corners.astype(np.float32), unit)
    y, x = np.mgrid[: image.shape[0], : image.shape[1]].astype(np.float64)
    under = way[2, 0] * x + way[2, 1] * y + way[2, 2]
    return (
        (way[0, 0] * x + way[0, 1] * y + way[0, 2]) / under,
        (way[1, 0] * x + way[1, 1] * y + way[1, 2]) / under,
    )


def digits_of(grid: dict) -> list[str]:
    pairs = zip(grid["givens"], grid["entries"], strict=True)
    return [g if g != "." else e for g, e in pairs]


def silently_wrong(seen: GridReading, grid: dict) -> list[int]:
    about = {doubt.cell for doubt in seen.doubts}
    said = [str(cell.digit or ".") for cell in seen.cells]
    return [c for c, true in enumerate(digits_of(grid)) if said[c] != true and c not in about]


def spot(image: Picture, mesh: Mesh, column: float, row: float, cells: float) -> Picture:
    """How far inside a round spot of this radius each pixel lies, 0 to 1."""
    u, v = places(image, mesh)
    return np.clip((cells - np.hypot(u - column, v - row)) / 0.15, 0, 1)[..., None]


SKIN, PAPER, DARK = (70, 110, 190), (235, 235, 240), (25, 25, 25)
NAMES = ("clean.jpg", "mistake-followed.jpg")
LAID = [(name, over) for name in NAMES for over in (SKIN, PAPER, DARK)]


@pytest.mark.parametrize(("name", "colour"), chosen(LAID, LAID[4]))
def test_what_something_lies_on_is_asked_about_as_not_seen(
    name: str, colour: tuple[int, int, int]
) -> None:
    image, grid, mesh = fixture(name)
    inside = spot(image, mesh, 4.5, 4.5, 1.4)
    covered = np.round(image * (1 - inside) + np.array(colour) * inside).astype(np.uint8)
    seen = read(covered)
    hidden = {doubt.cell for doubt in seen.doubts if doubt.about == "seen"}
    assert 40 in hidden, "the cell in the middle"
    assert not silently_wrong(seen, grid)
    assert all(not seen.cells[c].seen and seen.cells[c].digit is None for c in hidden)
    far = {c for c in range(81) if np.hypot(c % 9 - 4, c // 9 - 4) > 3}
    assert not far & hidden


def test_what_light_washes_out_is_asked_about_and_light_is_blamed() -> None:
    image, grid, mesh = fixture("clean.jpg")
    shine = spot(image, mesh, 3.5, 5.5, 1.3)
    seen = read(np.clip(image + 300 * shine, 0, 255).astype(np.uint8))
    assert not silently_wrong(seen, grid)
    why = {doubt.cell: doubt.why for doubt in seen.doubts if doubt.about == "seen"}
    assert why[9 * 5 + 3] is Hidden.WASHED_OUT


SHADED = [(name, left) for name in NAMES for left in (0.5, 0.2)]


@pytest.mark.parametrize(("name", "left"), chosen(SHADED, SHADED[3]))
def test_under_a_hard_shadow_the_page_is_read_as_in_even_light(name: str, left: float) -> None:
    image, grid, mesh = fixture(name)
    u, v = places(image, mesh)
    shade = np.where(u + 0.4 * v > 6.2, left, 1.0)[..., None]
    seen = read(np.round(image * shade).astype(np.uint8))
    assert not silently_wrong(seen, grid)
    assert len(seen.doubts) <= 4


@pytest.mark.slow
def test_a_crease_across_digits_strikes_none_out_and_writes_no_ones() -> None:
    image, grid, mesh = fixture("clean.jpg")
    u, v = places(image, mesh)
    away = (v - 4.45 - 0.05 * u) / 0.04
    seen = read(np.round(image * (1 - 0.6 * np.exp(-(away**2)))[..., None]).astype(np.uint8))
    assert not silently_wrong(seen, grid)
    exposure = exposed(
        np.round(image * (1 - 0.6 * np.exp(-(away**2)))[..., None]).astype(np.uint8), mesh
    )
    lines = exposure.without_lines().lines.reshape(9, 9)
    assert (lines[4] > LINE).all()
    assert (lines[[0, 1, 2, 6, 7, 8]] < LINE).mean() > 0.9


def test_an_answer_shows_what_a_hidden_cell_holds() -> None:
    image, grid, mesh = fixture("clean.jpg")
    inside = spot(image, mesh, 4.5, 4.5, 0.7)
    seen = read(np.round(image * (1 - inside) + np.array((70, 110, 190)) * inside).astype(np.uint8))
    assert {d.cell for d in seen.doubts} == {40}
    assert seen.evidence is not None
    true = digits_of(grid)[40]
    told = Told(40, CellKind.GIVEN if true != "." else None, int(true) if true != "." else None)
    after = reread(seen.evidence, [told], solve_soon)
    assert not after.doubts
    assert str(after.cells[40].digit or ".") == true


def test_a_hand_over_most_of_the_grid_is_refused_with_what_to_do_and_where() -> None:
    image, _, mesh = fixture("clean.jpg")
    u, v = places(image, mesh)
    over = ((u > 2.4) & (u < 7.6) & (v > 5.4) & (v < 12))[..., None]
    seen = read(np.where(over, (70, 110, 190), image).astype(np.uint8))
    assert not seen.cells
    assert not seen.quality.ok
    assert seen.quality.reason == "covered"
    assert {9 * row + column for row in (6, 7, 8) for column in (3, 4, 5, 6)} <= {
        doubt.cell for doubt in seen.doubts
    }


def test_a_blurred_a_noisy_and_a_dark_photo_are_told_so() -> None:
    image, _, mesh = fixture("clean.jpg")
    cell = float(np.linalg.norm(mesh.corners[1] - mesh.corners[0])) / 9
    dice = np.random.default_rng(4)
    worse = {
        "blurred": cv2.GaussianBlur(image, (0, 0), 0.2 * cell),
        "noisy": np.clip(image + dice.normal(0, 60, image.shape), 0, 255).astype(np.uint8),
        "dark": (image * 0.04).astype(np.uint8),
    }
    assert ails_of(image).worst is None
    for reason, picture in worse.items():
        assert ails_of(picture).worst == reason
    page = read_page(worse["blurred"], solve=solve_soon)
    told = page.reason if isinstance(page, Failure) else page.grids[0].quality.reason
    assert told == "blurred"


def test_a_look_that_is_not_trusted_is_never_made_surer_and_a_hidden_one_says_nothing() -> None:
    dice = np.random.default_rng(1)
    digits = np.log(dice.dirichlet(np.full(10, 0.05), 81) + 1e-9)
    digits -= np.logaddexp.reduce(digits, axis=1)[:, None]
    signs = dice.normal(0, 4, (81, 4))
    told = Sight({7: Hidden.COVERED}, signs).trusted(digits)
    np.testing.assert_allclose(np.exp(told).sum(axis=1), 1)
    assert (told.max(axis=1) <= digits.max(axis=1) + 1e-9).all()
    np.testing.assert_allclose(np.exp(told[7]), 0.1)
    np.testing.assert_allclose(Sight().trusted(digits), digits)


def test_a_blank_that_is_all_white_or_black_with_its_lines_is_not_seen() -> None:
    blank = np.log(np.array([[0.9991] + [0.0001] * 9] * 81))
    mesh = Mesh(np.stack(np.meshgrid(np.arange(10), np.arange(10)), axis=-1) * 40.0 + 60, ALL)
    for level in (0, 255):
        paper = np.full((480, 480, 3), level, np.uint8)
        assert set(View.of(paper, mesh).sight(blank).hidden) == set(range(81))


def test_of_harmed_cells_what_is_read_must_be_likelier_by_itself() -> None:
    digits = np.log(np.array([[0.002, 0.991] + [0.007 / 8] * 8] * 81))
    hand = np.full(81, 12.0)
    plain = np.tile([8.0, 8.0, -8.0, 8.0], (81, 1))
    assert Sight(signs=plain).suspects(digits, hand) == frozenset()
    harmed = plain.copy()
    harmed[40] = (8.0, -8.0, 8.0, 1.0)
    assert Sight(signs=harmed).suspects(digits, hand) == {40}


def test_a_hand_told_in_a_harmed_cell_must_be_plain() -> None:
    digits = np.log(np.array([[1e-7, 1 - 1e-6] + [1e-7] * 8] * 81))
    signs = np.tile([8.0, 8.0, -8.0, 8.0], (81, 1))
    signs[40] = signs[41] = (8.0, 8.0, 8.0, 8.0)
    hand = np.full(81, 12.0)
    hand[40] = 4.0
    assert Sight(signs=signs).suspects(digits, hand) == {40}


def test_a_page_on_its_side_is_refused_where_the_vote_was_close() -> None:
    digits = np.log(np.array([[0.002, 0.95] + [0.048 / 8] * 8] * 81))
    sight = Sight(signs=np.tile([8.0, 8.0, -8.0, 4.0], (81, 1)))
    assert 2 < sight.wrong(digits) < 7
    ails = lambda: ails_of(np.full((200, 200, 3), 200, np.uint8))  # noqa: E731
    assert judged(sight, digits, False, ails, 60.0).poor is None
    assert judged(sight, digits, False, ails, 12.0).poor is not None


def test_an_entry_of_which_a_veil_hides_part_must_be_plainly_written() -> None:
    """A veil over print makes strokes of it: the page's word must be the surer the less is seen."""
    digits = np.log(np.array([[1e-7, 1 - 1e-6] + [1e-7] * 8] * 81))
    signs = np.tile([8.0, 8.0, -8.0, 8.0], (81, 1))
    veiled, little, shade = (6.0, -6.0, 8.0, 8.0), (3.0, -6.0, 8.0, 8.0), (8.0, 8.0, -2.0, 8.0)
    signs[[10, 11]], signs[[20, 21]], signs[[30, 31]] = veiled, little, shade
    hand = np.full(81, 7.2)  # 4.4 as far as it counts in harmed cells
    hand[[11, 30, 31]], hand[21] = 9.0, 11.0
    hands, own = np.repeat(hand[:, None], 3, axis=1), hand
    read = AsRead(np.ones(81, np.int64), np.zeros(81, np.bool_), np.full(81, 1 - 1e-9))
    asked = Sight(signs=signs, hands=hands).suspects(digits, hand, own, read)
    assert asked == {10, 20}
    hand[30] = 6.0
    hands = np.repeat(hand[:, None], 3, axis=1)
    assert 30 in Sight(signs=signs, hands=hands).suspects(digits, hand, own, read)
    hand[40] = 6.0  # as unsure, where nothing befell the page
    hands = np.repeat(hand[:, None], 3, axis=1)
    assert 40 not in Sight(signs=signs, hands=hands).suspects(digits, hand, own, read)


def test_a_cell_where_the_mesh_may_lie_beside_the_lines_is_asked_about_though_it_looks_blank() -> (
    None
):
    digits = np.log(np.array([[1 - 1e-6] + [1e-7] * 9] * 81))
    signs = np.tile([8.0, 8.0, -8.0, 8.0], (81, 1))
    assert Sight(signs=signs, bent=frozenset({30})).suspects(digits, np.full(81, -9.0)) == {30}


def test_beside_a_covered_cell_more_must_speak_for_a_blank_of_which_part_is_hidden() -> None:
    blank = np.log(np.array([[1 - 1e-5] + [1e-5 / 9] * 9] * 81))
    mesh = Mesh(np.stack(np.meshgrid(np.arange(10), np.arange(10)), axis=-1) * 40.0 + 60, ALL)
    plain = View.of(np.full((480, 480, 3), 200, np.uint8), mesh)
    chances = {name: np.full(81, level) for name, level in
               (("seen", 0.9999), ("whole", 0.9999), ("crossed", 0.0001), ("laid", 0.0001),
                ("trusted", 0.9999))}  # fmt: skip
    half = 40
    chances["seen"][half], chances["whole"][half], chances["crossed"][half] = 0.99, 0.001, 0.999
    chances["trusted"][half] = 0.998
    assert not replace(plain, said=Seen(**chances)).sight(blank).hidden
    chances["seen"][half + 1] = 0.2
    assert half in replace(plain, said=Seen(**chances)).sight(blank).hidden
