"""Which board lies on a page: its lines, its blocks, its further houses, and what is none."""

from __future__ import annotations

import itertools
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import pytest
from board_pages import RIM, UNIT, board_page, marked_page
from samples import chosen

from papernudge.digits_model.training.pages import MissingSuppliesError, draw, other_page
from papernudge.hints.generate import any_blocks
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.shapes import board_of
from papernudge.vision.boards.find import find_all
from papernudge.vision.boards.printed import BOARD, CELLS, EDGES, HEAVY, MARKS, STEP, Printed, read
from papernudge.vision.boards.regions import blocks_of
from papernudge.vision.boards.sheet import CELL, MARGIN, Flat, light
from papernudge.vision.boards.tints import Further, further
from papernudge.vision.even import even_page
from papernudge.vision.grid import GridKind
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


def between(layout: Layout) -> npt.NDArray[np.bool_]:
    """Which inner edges lie between blocks."""
    of = np.zeros(layout.many, int)
    for number, block in enumerate(layout.plan.blocks):
        of[list(block)] = number
    of = of.reshape(layout.side, layout.side)
    return np.stack([of[:, :-1] != of[:, 1:], of.T[:, :-1] != of.T[:, 1:]])


def odds(layout: Layout, sure: float = 5.0, seed: int = 1) -> npt.NDArray[np.float64]:
    """Invented log-odds that inner edges of a board are heavy, a third more or less."""
    noise = np.random.default_rng(seed).uniform(0.67, 1.5, (2, layout.side, layout.side - 1))
    return np.asarray(np.where(between(layout), sure, -sure) * noise)


def sorted_blocks(layout: Layout) -> list[list[int]]:
    return sorted(sorted(block) for block in layout.plan.blocks)


@pytest.mark.parametrize("layout", BOARDS.values(), ids=BOARDS)
def test_heavy_lines_tell_the_blocks(layout: Layout) -> None:
    told = blocks_of(odds(layout))
    assert told is not None
    assert sorted(told.cells) == sorted_blocks(layout)
    assert told.sure


@pytest.mark.parametrize("layout", [BOARDS["any 7"], BOARDS["any 9"]], ids=["7", "9"])
def test_one_edge_that_ink_hides_changes_no_block(layout: Layout) -> None:
    heavy = odds(layout)
    for at in itertools.islice(np.ndindex(*heavy.shape), 0, None, 11):
        spoilt = heavy.copy()
        spoilt[at] *= -1
        told = blocks_of(spoilt)
        assert told is not None
        assert sorted(told.cells) == sorted_blocks(layout)


def test_lines_that_are_all_thin_tell_no_blocks() -> None:
    assert blocks_of(-np.abs(odds(BOARDS["2x3"]))) is None


def test_heavy_lines_at_random_are_no_blocks() -> None:
    chance = np.random.default_rng(4)
    assert blocks_of(np.where(chance.random((2, 9, 8)) < 0.4, 5.0, -5.0)) is None


def test_blocks_of_which_two_cells_may_have_changed_places_are_in_doubt() -> None:
    layout = BOARDS["any 7"]
    heavy = odds(layout)
    told = blocks_of(heavy)
    assert told is not None
    assert told.other is not None
    edges = [
        np.stack([of[:, :-1] != of[:, 1:], of.T[:, :-1] != of.T[:, 1:]])
        for of in (told.of, told.other)
    ]
    heavy[edges[0] != edges[1]] *= 0.04  # may be heavy, may be thin
    doubted = blocks_of(heavy)
    assert doubted is not None
    assert not doubted.sure
    assert len(doubted.moved) == 2


# ------------------------------------------------------------- what the network's odds mean

NINE = [list(block) for block in NEWSPAPER.plan.blocks]
FOUR = board_of(extra=[WINDOWS]).plan.extra
CROSS = tuple(sorted({10 * k for k in range(9)} | {8 * k + 8 for k in range(9)}))


def told(tones: dict[tuple[int, ...], int], sure: float = 6.0) -> Printed:
    """Invented log-odds of a 9×9 with tinted pieces, each of a tone."""
    tone = np.zeros(81, int)
    for cells, level in tones.items():
        tone[list(cells)] = level
    cells = np.full((CELLS, 9, 9), -sure)
    cells[0] = np.where(tone > 0, sure, -sure).reshape(9, 9)
    of = tone.reshape(9, 9)
    steps = np.stack([of[:, :-1] != of[:, 1:], of.T[:, :-1] != of.T[:, 1:]])
    edges = np.full((EDGES, 2, 9, 8), -sure)
    edges[STEP] = np.where(steps, sure, -sure)
    edges[HEAVY] = np.where(between(NEWSPAPER), sure, -sure)
    return Printed(edges, cells, np.full(BOARD, -3 * sure))


def test_tinted_pieces_of_nine_cells_are_extra_blocks() -> None:
    assert further(told(dict.fromkeys(FOUR, 1)), NINE) == Further(extra=tuple(sorted(FOUR)))


def test_extra_blocks_of_which_one_is_half_there_are_no_strewn_tints() -> None:
    assert further(told(dict.fromkeys(FOUR[:3], 1) | {FOUR[3][:5]: 1}), NINE).odd


def test_a_window_that_is_hardly_seen_is_one_by_its_mirror_images() -> None:
    printed = told(dict.fromkeys(FOUR, 1))
    for cell in FOUR[3][:4]:
        printed.cells[0].flat[cell] = -1.0
    assert further(printed, NINE).extra == tuple(sorted(FOUR))


def test_pieces_that_touch_are_told_apart_by_their_tones() -> None:
    one, two = tuple(range(9, 18)), tuple(range(18, 27))
    blocks = [[9 * r + k for r in range(9)] for k in range(9)]  # columns: none of them a block
    pair = {(10, 11, 12, 19, 20, 21, 28, 29, 30): 1, (13, 14, 15, 22, 23, 24, 31, 32, 33): 2}
    assert further(told(pair), blocks).extra == tuple(sorted(pair))
    assert not further(told({one: 1, two: 2}), NINE).extra  # rows are houses anyway


def test_one_extra_block_off_the_middle_may_have_fellows_in_the_shade() -> None:
    assert further(told({FOUR[0]: 1}), NINE).odd
    middle = tuple(9 * r + c for r in range(3, 6) for c in range(2, 5))
    assert further(told({middle: 1}), NINE) == Further(extra=(middle,))


def test_a_third_window_that_may_be_there_is_not_dropped_in_silence() -> None:
    two = told(dict.fromkeys(FOUR[:2], 1))
    assert further(two, NINE) == Further(extra=tuple(sorted(FOUR[:2])))
    two.cells[0].flat[list(FOUR[2])] = -1.0
    two.edges[STEP][two.edges[STEP] < 0] = -1.5
    assert further(two, NINE).odd


def test_windows_of_which_every_other_cell_is_seen_are_no_strewn_tints() -> None:
    pale = told({})
    for window in FOUR:
        pale.cells[0].flat[list(window)] = [2.0, -0.5, 1.0] * 3
    assert further(pale, NINE).odd


def test_a_shaded_corner_that_may_be_a_tint_makes_no_block() -> None:
    shaded = told({})
    shaded.cells[0].flat[list(FOUR[0])] = -1.0
    shaded.edges[STEP][shaded.edges[STEP] < 0] = -2.0
    assert further(shaded, NINE) == Further()


def test_a_board_on_a_ground_that_may_be_a_tint_has_no_extra_blocks() -> None:
    grounded = told({})
    grounded.cells[0].flat[:] = np.random.default_rng(3).uniform(-4.0, 2.0, 81)
    assert further(grounded, NINE) == Further()


def test_tinted_diagonals_are_houses_and_tinted_blocks_and_strewn_cells_are_none() -> None:
    assert further(told({CROSS: 1}), NINE) == Further(diagonals=True)
    blocks = {tuple(block): (0, 1, 2)[n % 3] for n, block in enumerate(NINE)}
    assert further(told(blocks), NINE) == Further()
    strewn = tuple(range(0, 81, 7))
    assert further(told({strewn: 1}), NINE) == Further()


@pytest.mark.parametrize(("falling", "rising"), [(9.0, -9.0), (9.0, 0.0), (-9.0, 9.0), (0.0, 0.0)])
def test_one_diagonal_alone_or_one_that_may_be_there_is_odd(falling: float, rising: float) -> None:
    printed = told({})
    printed.board[:2] = falling, rising
    assert further(printed, NINE).odd


def test_marks_are_named() -> None:
    printed = told({})
    printed.board[3] = 9.0
    assert further(printed, NINE) == Further()  # no cell shows them
    printed.cells[4, 2, 3:7] = 2.0
    assert further(printed, NINE) == Further(odd=True, marks="arrow")


@pytest.mark.parametrize(("mark", "odds"), [("sign", 5.2), ("cage", 6.9), ("else", 6.1)])
def test_a_newspapers_grid_that_is_a_little_like_a_marked_one_is_read(
    mark: str, odds: float
) -> None:
    # As high as they came on drawn newspaper pages, which outnumber other puzzles by far.
    printed = told({})
    printed.board[2 + MARKS.index(mark)] = odds
    printed.cells[3 + MARKS.index(mark)] = 2.0
    assert further(printed, NINE, usual=True) == Further()
    printed.board[2 + MARKS.index(mark)] = 9.0
    assert further(printed, NINE, usual=True).marks == mark


def test_dark_corners_of_a_newspapers_grid_are_shade() -> None:
    printed = told({})
    rows, columns = np.indices((9, 9))
    off = np.minimum.reduce([np.hypot(rows - r, columns - c) for r in (0, 8) for c in (0, 8)])
    printed.cells[0] = 2 - 4 * off
    assert further(printed, NINE, usual=True) == Further()


@pytest.mark.parametrize("odds", [-9.0, -3.2, 9.0])
def test_tinted_diagonals_are_houses_with_a_line_along_them_or_without(odds: float) -> None:
    printed = told({CROSS: 1})
    printed.board[:2] = odds
    assert further(printed, NINE) == Further(diagonals=True)


# ------------------------------------------------------------- what the network sees


def sheet(side: int, tints: dict[tuple[int, ...], float], slope: float = 0.0) -> Flat:
    """An invented flat 9×9 with some cells darker, under light that falls off to the right."""
    grey = np.full((side * CELL + 2 * MARGIN,) * 2, 0.9)
    for cells, level in tints.items():
        for cell in cells:
            r, c = divmod(cell, side)
            top, left = MARGIN + r * CELL, MARGIN + c * CELL
            grey[top : top + CELL, left : left + CELL] *= level
    for k in range(side + 1):
        at = MARGIN + k * CELL
        half = 2 if k % 3 == 0 else 1
        grey[at - half : at + half] = grey[:, at - half : at + half] = 0.3
    for cell in range(0, side * side, 3):
        r, c = divmod(cell, side)
        at = (MARGIN + c * CELL + 8, MARGIN + r * CELL + 25)
        mask = np.zeros(grey.shape, np.uint8)
        cv2.putText(mask, str(cell % 9 + 1), at, cv2.FONT_HERSHEY_SIMPLEX, 0.8, 255, 2, cv2.LINE_AA)
        grey *= 1 - 0.7 * mask / 255
    slant = np.linspace(1.0, 1.0 - slope, len(grey))
    noise = np.random.default_rng(2).normal(0, 0.01, grey.shape)
    flat = np.clip(255 * (grey * slant + noise), 0, 255).astype(np.uint8)
    return of_pixels(np.repeat(flat[:, :, None], 3, axis=2))


def of_pixels(pixels: npt.NDArray[np.uint8]) -> Flat:
    return Flat(pixels, light(pixels))


@pytest.mark.parametrize("level", [0.92, 0.8, 0.6])
@pytest.mark.parametrize("slope", [0.0, 0.3])
def test_tinted_windows_are_seen(level: float, slope: float) -> None:
    flat = sheet(9, dict.fromkeys(FOUR, level), slope)
    assert further(read(flat.planes), NINE) == Further(extra=tuple(sorted(FOUR)))


def test_tinted_and_drawn_diagonals_are_seen_and_one_alone_is_odd() -> None:
    assert further(read(sheet(9, {CROSS: 0.85}).planes), NINE) == Further(diagonals=True)
    plain = sheet(9, {})
    last = len(plain.pixels) - MARGIN
    for lines in ([True, False], [True]):
        pixels = plain.pixels.copy()
        for falls in lines:
            ends = (MARGIN, MARGIN if falls else last), (last, last if falls else MARGIN)
            cv2.line(pixels, *ends, (150, 150, 150), 1, cv2.LINE_AA)
        seen = further(read(of_pixels(pixels).planes), NINE)
        assert seen.odd if len(lines) == 1 else seen == Further(diagonals=True)


def test_a_shadow_along_a_side_or_across_cells_is_no_house() -> None:
    plain = sheet(9, {})
    for low, high in ((0, 0), (0, 1), (0, 2.5), (3.4, 9)):
        left, right = (MARGIN + round(at * CELL) for at in (low, high))
        shade = np.ones(len(plain.pixels))
        shade[left:right] = 0.8
        soft = cv2.GaussianBlur(shade[None], (0, 0), 3.0)[0]
        pixels = (plain.pixels * soft[:, None]).astype(np.uint8)
        assert further(read(of_pixels(pixels).planes), NINE) == Further()


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


def test_light_that_was_evened_hides_no_tint() -> None:
    page = board_page(NEWSPAPER, ("1" + "." * 9) * 8 + "1").astype(np.float64)
    for cell in itertools.chain(*FOUR):
        top, left = (RIM + UNIT * at for at in divmod(cell, 9))
        page[top : top + UNIT, left : left + UNIT] *= 0.85
    printed = page.astype(np.uint8)
    even = even_page(printed)
    assert not any(grid.layout.plan.extra for grid in find_all(even))
    (found,) = find_all(even, printed)
    assert found.layout.plan.extra == tuple(sorted(FOUR))


def test_a_table_without_heavy_lines_is_no_board() -> None:
    page = np.full((500, 500, 3), 235, np.uint8)
    for at in range(50, 451, 50):
        cv2.line(page, (50, at), (450, at), (60, 60, 60), 2)
        cv2.line(page, (at, 50), (at, 450), (60, 60, 60), 2)
    assert not [grid for grid in find_all(page) if grid.mesh is not None]


@pytest.mark.parametrize("kind", ["arrow", "dot"])
def test_a_puzzle_of_another_kind_is_other_with_a_word_what_was_seen(kind: str) -> None:
    (found,) = find_all(marked_page(kind))
    assert found.kind is GridKind.OTHER
    assert found.mesh is None
    assert found.quality.reason == kind
    assert "puzzle of another kind" in (found.quality.sentence or "")


@pytest.mark.parametrize("layout", [NEWSPAPER, Layout.of_blocks(2, 3)], ids=lambda b: str(b.side))
def test_a_board_whose_diagonals_cannot_be_told_says_so_and_what_to_do(layout: Layout) -> None:
    page = board_page(layout, layout.blank)
    low, high = RIM, RIM + layout.side * UNIT
    cv2.line(page, (low, low), (high, high), (110, 110, 110), 2, cv2.LINE_AA)  # one of two
    (found,) = find_all(page)
    assert (found.kind, found.mesh, found.quality.reason) == (GridKind.OTHER, None, None)
    assert "diagonals can't be told for sure; take it again" in (found.quality.sentence or "")


@pytest.mark.parametrize(
    ("marks", "kind"), [("cages", "cage"), ("signs", "sign"), ("dots", "dot"), ("arrows", "arrow")]
)
def test_marks_on_drawn_pages_are_named(marks: str, kind: str) -> None:
    try:
        page = draw(other_page("easy", 18, marks, split="test", neighbours=0.0))
    except MissingSuppliesError as missing:
        pytest.skip(str(missing))
    told = [grid.quality.reason for grid in find_all(page.image)]
    assert told == [kind]


@pytest.mark.parametrize(
    "name", chosen(["hard-shade", "kitchen-table", "clean", "six-grids"], "clean")
)
def test_a_newspapers_grid_stays_one_under_any_light(name: str) -> None:
    found = find_all(open_photo(FIXTURES / f"{name}.jpg").pixels)
    assert [g.layout for g in found if g.mesh is not None]
    assert all(grid.layout is NEWSPAPER for grid in found)
