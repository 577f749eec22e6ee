"""Which board lies on a page: its lines, its blocks, its further houses, and what is none."""

from __future__ import annotations

import itertools
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import pytest
from board_pages import RIM, UNIT, board_page
from samples import chosen

from papernudge.hints.generate import any_blocks
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.shapes import board_of
from papernudge.vision.boards.find import find_all
from papernudge.vision.boards.regions import blocks_of, heaviness
from papernudge.vision.boards.sheet import CELL, MARGIN, Sheet
from papernudge.vision.boards.tints import further
from papernudge.vision.photo import open_photo

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
WINDOWS = "........." + ".AAA.BBB." * 3 + "........." + ".CCC.DDD." * 3 + "........."
BOARDS = {
    "2x2": board_of("2x2"),
    "2x3": board_of("2x3"),
    "3x2": board_of("3x2"),
    "4x2": board_of("4x2"),
    "5x2": board_of("5x2"),
    "3x4": board_of("3x4"),
    "4x4": board_of("4x4"),
    "any 7": any_blocks(3, 7),
    "any 9": any_blocks(5, 9),
}


def inks(layout: Layout, thin: float, heavy: float, seed: int = 1) -> npt.NDArray[np.float64]:
    """Invented ink of the inner edges of a board, a fifth more or less."""
    of = np.zeros(layout.many, int)
    for number, block in enumerate(layout.plan.blocks):
        of[list(block)] = number
    of = of.reshape(layout.side, layout.side)
    between = np.stack([of[:, :-1] != of[:, 1:], of.T[:, :-1] != of.T[:, 1:]])
    noise = np.random.default_rng(seed).normal(0, 0.1, between.shape)
    return np.asarray(np.where(between, heavy, thin) * np.exp(noise))


def sorted_blocks(layout: Layout) -> list[list[int]]:
    return sorted(sorted(block) for block in layout.plan.blocks)


@pytest.mark.parametrize("layout", BOARDS.values(), ids=BOARDS)
def test_heavy_lines_tell_the_blocks(layout: Layout) -> None:
    told = blocks_of(inks(layout, 0.01, 0.03))
    assert told is not None
    assert sorted(told.cells) == sorted_blocks(layout)
    assert told.sure


@pytest.mark.parametrize("layout", [BOARDS["any 7"], BOARDS["any 9"]], ids=["7", "9"])
def test_one_edge_that_ink_hides_changes_no_block(layout: Layout) -> None:
    ink = inks(layout, 0.01, 0.03)
    for at in itertools.islice(np.ndindex(*ink.shape), 0, None, 11):
        spoilt = ink.copy()
        spoilt[at] = 0.04 - ink[at]
        told = blocks_of(spoilt)
        assert told is not None
        assert sorted(told.cells) == sorted_blocks(layout)


def test_lines_that_are_all_alike_tell_no_blocks() -> None:
    assert heaviness(inks(BOARDS["2x3"], 0.01, 0.01)) is None
    assert blocks_of(inks(BOARDS["2x3"], 0.01, 0.01)) is None


def test_heavy_lines_at_random_are_no_blocks() -> None:
    chance = np.random.default_rng(4)
    ink = np.where(chance.random((2, 9, 8)) < 0.4, 0.03, 0.01)
    assert blocks_of(ink) is None


def test_blocks_of_which_two_cells_may_have_changed_places_are_in_doubt() -> None:
    layout = BOARDS["any 7"]
    ink = inks(layout, 0.01, 0.03)
    told = blocks_of(ink)
    assert told is not None
    assert told.other is not None
    one, two = told.of, told.other
    edges = [np.stack([of[:, :-1] != of[:, 1:], of.T[:, :-1] != of.T[:, 1:]]) for of in (one, two)]
    ink[edges[0] != edges[1]] = 0.0175  # between thin and heavy
    doubted = blocks_of(ink)
    assert doubted is not None
    assert not doubted.sure
    assert len(doubted.moved) == 2


# ------------------------------------------------------------- tints and diagonals


def sheet(side: int, tints: dict[tuple[int, ...], float], slope: float = 0.0) -> Sheet:
    """An invented flat board, with some cells darker, under light that falls off to the right."""
    grey = np.ones((side * CELL + 2 * MARGIN,) * 2, np.float32)
    for cells, level in tints.items():
        for cell in cells:
            r, c = divmod(cell, side)
            top, left = MARGIN + r * CELL, MARGIN + c * CELL
            grey[top : top + CELL, left : left + CELL] = level
    for k in range(side + 1):
        at = MARGIN + k * CELL
        grey[at - 1 : at + 1] = grey[:, at - 1 : at + 1] = 0.3
    light = np.linspace(1.0, 1.0 - slope, len(grey), dtype=np.float32)
    noise = np.random.default_rng(2).normal(0, 0.01, grey.shape)
    return Sheet(np.asarray(grey * light + noise, np.float32))


NINE = [list(block) for block in NEWSPAPER.plan.blocks]
FOUR = board_of(extra=[WINDOWS]).plan.extra


@pytest.mark.parametrize("level", [0.94, 0.8, 0.6])
@pytest.mark.parametrize("slope", [0.0, 0.3])
def test_tinted_windows_are_extra_blocks(level: float, slope: float) -> None:
    told = further(sheet(9, dict.fromkeys(FOUR, level), slope), NINE)
    assert told.extra == tuple(sorted(FOUR))
    assert not told.diagonals
    assert not told.odd


def test_cells_that_somebody_marked_leave_a_tint_whole() -> None:
    tints = dict.fromkeys(FOUR, 0.85) | {(10,): 0.6, (4,): 0.6, (32,): 0.5}
    assert further(sheet(9, tints), NINE).extra == tuple(sorted(FOUR))


def test_a_window_that_is_written_over_is_one_by_its_mirror_images_and_shade_is_not() -> None:
    marks = {(FOUR[3][k],): 0.5 for k in (0, 2, 4, 6, 8)}
    assert len(further(sheet(9, dict.fromkeys(FOUR, 0.8) | marks), NINE).extra) == 4
    shade = {(FOUR[2][k], FOUR[3][k]): 0.94 for k in range(2, 9)}
    assert len(further(sheet(9, shade | dict.fromkeys(FOUR[:2], 0.7)), NINE).extra) == 2


def test_tinted_diagonals_are_houses() -> None:
    cross = tuple(sorted({10 * k for k in range(9)} | {8 * k + 8 for k in range(9)}))
    told = further(sheet(9, {cross: 0.85}), NINE)
    assert told.diagonals
    assert not told.extra


def test_drawn_diagonals_are_houses_and_one_alone_is_odd() -> None:
    both, one = sheet(9, {}), sheet(9, {})
    ends = [(MARGIN, len(both.grey) - MARGIN), (len(both.grey) - MARGIN, MARGIN)]
    for board, lines in ((both, 2), (one, 1)):
        for left, right in ends[:lines]:
            cv2.line(board.grey, (left, MARGIN), (right, len(board.grey) - MARGIN), 0.6, 2)
    assert further(both, NINE).diagonals
    assert further(one, NINE).odd


def test_blocks_in_tones_of_their_own_are_decoration() -> None:
    tones = {tuple(block): (0.8, 0.87, 1.0)[n % 3] for n, block in enumerate(NINE)}
    told = further(sheet(9, tones), NINE)
    assert not told.extra
    assert not told.odd


def test_a_shadow_along_a_side_or_across_cells_is_no_house() -> None:
    plain = sheet(9, {})
    for low, high in ((0, 1), (0, 2.5), (3.4, 9)):
        shaded = plain.grey.copy()
        left, right = (MARGIN + round(at * CELL) for at in (low, high))
        shaded[:, left:right] *= 0.8
        told = further(Sheet(shaded), NINE)
        assert not told.extra
        assert not told.diagonals


# ------------------------------------------------------------- whole pages


@pytest.mark.parametrize("name", chosen(["2x3", "4x2", "3x4", "any 9"], "2x3", "any 9"))
def test_a_board_is_found_on_its_page(name: str) -> None:
    layout = BOARDS[name]
    page = board_page(layout, "1" + "." * (layout.many - 1))
    (found,) = [grid for grid in find_all(page) if grid.mesh is not None]
    assert found.layout is layout
    at = RIM + UNIT * np.arange(layout.side + 1)
    true = np.stack(np.meshgrid(at, at), axis=-1)
    assert found.mesh is not None
    assert np.abs(found.mesh.crossings - true).max() < 0.06 * UNIT


def test_a_table_without_heavy_lines_is_no_board() -> None:
    page = np.full((500, 500, 3), 235, np.uint8)
    for at in range(50, 451, 50):
        cv2.line(page, (50, at), (450, at), (60, 60, 60), 2)
        cv2.line(page, (at, 50), (at, 450), (60, 60, 60), 2)
    assert not [grid for grid in find_all(page) if grid.mesh is not None]


@pytest.mark.parametrize(
    "name", chosen(["hard-shade", "kitchen-table", "clean", "six-grids"], "clean")
)
def test_a_newspapers_grid_stays_one_under_any_light(name: str) -> None:
    found = find_all(open_photo(FIXTURES / f"{name}.jpg").pixels)
    assert [g.layout for g in found if g.mesh is not None]
    assert all(grid.layout is NEWSPAPER for grid in found)
