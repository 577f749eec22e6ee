"""Boards of any layout are drawn as their truth says."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from board_judge import judged
from samples import chosen

from papernudge.digits_model.training.pages import (
    Page,
    PageSpec,
    board_page,
    draw,
    fonts,
    named,
    other_page,
    preset,
)
from papernudge.digits_model.training.pages.__main__ import main
from papernudge.digits_model.training.pages.board_marks import mark_board, parted
from papernudge.digits_model.training.pages.board_pages import NAMES, styled, windows
from papernudge.digits_model.training.pages.board_print import Stand, coloured, edges
from papernudge.digits_model.training.pages.board_puzzles import board_puzzle
from papernudge.digits_model.training.pages.boards import LETTERS, MARKS, Board, board_from
from papernudge.digits_model.training.pages.own import OwnSupplies
from papernudge.digits_model.training.pages.sheet import Sheet
from papernudge.digits_model.training.pages.spec import from_json
from papernudge.digits_model.training.pages.truth import GridTruth
from papernudge.hints.layout import NEWSPAPER, Layout, beside
from papernudge.hints.shapes import board_of, from_data

Make = Callable[..., PageSpec]
Grey = npt.NDArray[np.float64]

STRUCTURES = ("2x2", "2x3", "5x2", "3x4", "4x4", "any 5", "any 7", "any 9")


def grid_of(page: Page) -> GridTruth:
    return page.truth.grids[0]


def plain(board: Board, still: Make, own: OwnSupplies, **fields: Any) -> tuple[GridTruth, Grey]:
    """The board alone on white paper, as large as the picture: its truth and grey levels."""
    spec = still(3, boards=(board.words(),), width=900, height=900, **fields)
    page = draw(spec, own)
    return grid_of(page), page.image.mean(axis=2)


def along(grid: GridTruth, one: int, two: int) -> tuple[Grey, Grey]:
    """The ends of the side between two cells that touch."""
    assert grid.crossings is not None
    (r1, c1), (r2, c2) = grid.layout.place(one), grid.layout.place(two)
    low, high = max(r1, r2), max(c1, c2)
    if r1 == r2:
        return grid.crossings[low, high], grid.crossings[low + 1, high]
    return grid.crossings[low, high], grid.crossings[low, high + 1]


def weight(grey: Grey, ends: tuple[Grey, Grey], cell: float) -> float:
    """How much ink lies across the middle of a line."""
    a, b = ends
    middle, way = (a + b) / 2, (b - a) / np.linalg.norm(b - a)
    across = np.array([-way[1], way[0]])
    reach = np.arange(-0.2 * cell, 0.2 * cell, 0.5)
    at = np.round(middle[None] + reach[:, None] * across).astype(int)
    return float((255 - grey[at[:, 1], at[:, 0]]).sum())


def sides(layout: Layout) -> list[tuple[int, int]]:
    return [(c, n) for c in layout.cells for n in beside(layout.side, c) if n > c]


@pytest.mark.parametrize("words", chosen([*STRUCTURES], "2x3", "any 7"))
def test_lines_are_heavier_exactly_where_two_blocks_meet(
    words: str, still: Make, own: OwnSupplies
) -> None:
    layout = named(words, 1)
    grid, grey = plain(Board(layout=layout), still, own, thin=0.02, thick=0.06, givens=0)
    block = {cell: k for k, cells in enumerate(layout.plan.blocks) for cell in cells}
    bare = [
        pair for pair in sides(layout) if all(grid.cells[cell].kind == "blank" for cell in pair)
    ]
    ink = {pair: weight(grey, along(grid, *pair), grid.cell_px) for pair in bare}
    heavy = [ink[p] for p in bare if block[p[0]] != block[p[1]]]
    light = [ink[p] for p in bare if block[p[0]] == block[p[1]]]
    assert heavy
    assert light
    assert min(heavy) > 1.5 * max(light)


def test_runs_of_edges_cover_each_side_between_two_cells_once() -> None:
    for words in STRUCTURES:
        layout = named(words, 2)
        total = sum(stop - first for _, _, first, stop, _ in edges(layout))
        assert total == len(sides(layout))


def test_no_two_blocks_that_touch_have_the_same_tint() -> None:
    for seed in range(6):
        layout = named("any 9", seed)
        tint = dict(zip(range(9), coloured(layout), strict=True))
        block = {cell: k for k, cells in enumerate(layout.plan.blocks) for cell in cells}
        for one, two in sides(layout):
            if block[one] != block[two]:
                assert tint[block[one]] != tint[block[two]]
        assert max(tint.values()) < 5  # five tints are at hand; four do (Appel & Haken 1977)


def middle(grid: GridTruth, grey: Grey, cell: int) -> float:
    """The paper's level beside a cell's middle, where no digit stands."""
    assert grid.crossings is not None
    row, column = grid.layout.place(cell)
    a, b = grid.crossings[row, column], grid.crossings[row + 1, column + 1]
    x, y = np.round(a + (b - a) * [0.5, 0.14]).astype(int)
    return float(np.median(grey[y - 2 : y + 3, x - 2 : x + 3]))


@pytest.mark.parametrize("kind", ["extra", "diagonals"])
def test_the_cells_of_extra_blocks_and_of_tinted_diagonals_are_darker(
    kind: str, still: Make, own: OwnSupplies
) -> None:
    layout = named(f"3x3 {kind}", 0)
    board = Board(layout=layout, diagonal="tint", tints=((200, 200, 200),))
    grid, grey = plain(board, still, own, givens=0)
    wanted = {cell for house in layout.houses[27:] for cell in house.cells}
    for cell in layout.cells:
        assert (middle(grid, grey, cell) < 230) is (cell in wanted)
        assert ("shaded" in grid.cells[cell].marks) is (cell in wanted)


def test_diagonals_are_lines_from_corner_to_corner(still: Make, own: OwnSupplies) -> None:
    layout = named("2x3 diagonals", 0)
    board = Board(layout=layout, diagonal_ink=(90, 90, 90), diagonal_weight=0.05)
    grid, grey = plain(board, still, own, givens=0)
    assert grid.crossings is not None
    for cell in layout.cells:
        row, column = layout.place(cell)
        corners = grid.crossings[row : row + 2, column : column + 2]
        falls = corners[0, 0] + (corners[1, 1] - corners[0, 0]) * 0.2
        rises = corners[1, 0] + (corners[0, 1] - corners[1, 0]) * 0.2
        for place, crossed in ((falls, row == column), (rises, row + column == 5)):
            x, y = np.round(place).astype(int)
            assert bool(grey[y - 1 : y + 2, x - 1 : x + 2].min() < 170) is crossed


def test_numbers_of_two_figures_are_wide_letters_are_not_and_all_lie_in_their_cells(
    still: Make, own: OwnSupplies
) -> None:
    wide: dict[str, list[float]] = {}
    for symbols in ("figures", "letters"):
        grid, grey = plain(Board(layout=named("4x4", 0), symbols=symbols), still, own)
        assert grid.symbols == symbols
        assert grid.crossings is not None
        for cell, truth in enumerate(grid.cells):
            if truth.kind != "given":
                continue
            assert truth.ink is not None
            assert truth.digit is not None
            x0, y0, x1, y1 = truth.ink
            row, column = grid.layout.place(cell)
            low, high = grid.crossings[row, column], grid.crossings[row + 1, column + 1]
            assert low[0] < x0 < x1 < high[0]
            assert low[1] < y0 < y1 < high[1]
            assert grey[round(y0) : round(y1), round(x0) : round(x1)].min() < 60
            kind = symbols if truth.digit > 9 else "digit"
            wide.setdefault(kind, []).append(x1 - x0)
    assert np.median(wide["figures"]) > 1.3 * np.median(wide["digit"])
    assert np.median(wide["letters"]) < 1.3 * np.median(wide["digit"])


def test_what_is_written_by_hand_lies_about_its_cell_and_is_never_a_letter(
    still: Make, own: OwnSupplies
) -> None:
    fields = {"fill": 1.0, "entry_high": 0.5, "note_share": 0.5}
    board = Board(layout=named("3x4", 0))
    grid, _ = plain(board, still, own, **fields)
    assert grid.crossings is not None
    entries = [i for i, cell in enumerate(grid.cells) if cell.kind == "entry"]
    assert any((grid.cells[i].digit or 0) > 9 for i in entries)
    for i in entries:
        ink = grid.cells[i].ink
        assert ink is not None
        row, column = grid.layout.place(i)
        centre = grid.crossings[row : row + 2, column : column + 2].mean(axis=(0, 1))
        off = np.array([(ink[0] + ink[2]) / 2, (ink[1] + ink[3]) / 2]) - centre
        assert np.abs(off).max() < 0.35 * grid.cell_px
    lettered, _ = plain(replace(board, symbols=LETTERS), still, own, **fields)
    written = [c for c in lettered.cells if c.kind == "entry" or c.notes]
    assert written
    assert all((c.digit or 0) < 10 and max(c.notes, default=0) < 10 for c in written)


@pytest.mark.parametrize(
    "words", chosen([*NAMES], "2x2", "3x2", "any 5", "2x3 diagonals", "2x4 extra")
)
def test_each_named_boards_puzzle_is_proper_and_the_same_for_the_same_seed(words: str) -> None:
    layout = named(words, 3)
    givens, solution, _ = board_puzzle(layout, "test", 5, 0, 0.45)
    signs = ".123456789ABCDEFG"
    line = "".join(signs[d] for d in givens)
    assert judged(layout, line) == ["".join(signs[d] for d in solution)]
    assert board_puzzle(layout, "test", 5, 0, 0.45)[0] == givens


def test_splits_share_no_puzzle() -> None:
    layout = named("2x3", 0)
    numbers = [
        {board_puzzle(layout, split, seed, 0, 0.4)[2] for seed in range(40)}
        for split in ("train", "calibrate", "test")
    ]
    assert not numbers[0] & numbers[1]
    assert not numbers[1] & numbers[2]
    assert not numbers[0] & numbers[2]


def test_extra_blocks_have_the_size_of_a_house_and_share_no_cell() -> None:
    for words in ("2x2", "2x3", "3x2", "2x4", "3x3", "any 9"):
        layout = named(words, 0)
        cells = [cell for block in windows(layout) for cell in block]
        assert len(cells) == len(set(cells))
        assert all(len(block) == layout.side for block in windows(layout))


@pytest.mark.parametrize("words", chosen([*NAMES], *NAMES[:6], "any 6", "2x4 extra"))
def test_a_board_reads_back_from_its_words(words: str) -> None:
    k = NAMES.index(words)
    board = styled(named(words, k), k)
    assert board_from(board.words()) == board
    assert board_from("") is None


def test_other_words_for_a_board_are_refused_with_those_that_would_do() -> None:
    for words in ("7", "any nine", "3x3 arrows", "any diagonals"):
        with pytest.raises(ValueError):  # noqa: PT011  two rooms word it
            named(words, 0)


def test_the_same_seed_gives_the_same_page_and_truth(own: OwnSupplies) -> None:
    spec = board_page("newspaper", 8, [named("any 6", 8), None], width=640, height=800, face="any")
    one, two = draw(spec, own), draw(from_json(json.loads(json.dumps(spec.as_json()))), own)
    assert np.array_equal(one.image, two.image)
    assert one.truth.as_json() == two.truth.as_json()


def test_the_truth_tells_the_layout_as_lines_do_and_nothing_of_it_for_the_newspapers(
    own: OwnSupplies,
) -> None:
    layout = named("2x4 extra", 1)
    spec = board_page("easy", 4, [layout, None], face="any", width=800, height=1000)
    told = [g for g in draw(spec, own).truth.as_json()["grids"] if g["kind"] == "puzzle"]
    assert from_data(told[0]["layout"]) is layout
    assert np.shape(told[0]["crossings"]) == (9, 9, 2)
    assert len(told[0]["givens"]) == 64
    assert "layout" not in told[1]
    assert len(told[1]["givens"]) == 81
    assert "boards" not in preset("easy", 4, face="any").as_json()


def test_a_page_of_newspaper_grids_alone_is_the_presets_own() -> None:
    assert board_page("hard", 5, None, face="any", grids=1) == replace(
        preset("hard", 5, face="any", grids=1), boards=("",)
    )


@pytest.mark.parametrize("marks", MARKS)
def test_a_puzzle_of_another_kind_says_which_and_shows_its_marks(
    marks: str, own: OwnSupplies
) -> None:
    spec = other_page("easy", 6, marks, face="any", width=640, height=640, fill=0.0)
    grid = next(g for g in draw(spec, own).truth.grids if g.name == marks)
    assert grid.kind == "other"


@pytest.mark.parametrize("marks", MARKS)
def test_marks_are_drawn_inside_the_grid_and_nowhere_else(
    marks: str, still: Make, own: OwnSupplies
) -> None:
    sheet, _ = marked(marks, still, own)
    dark = (sheet.pixels < 200).all(axis=2)
    inside = dark[sheet_pixels(-0.1) : sheet_pixels(9.1), sheet_pixels(-0.1) : sheet_pixels(9.1)]
    assert 0.002 < inside.mean() < 0.25
    assert dark.sum() == inside.sum()


def test_dots_stand_where_digits_follow_each_other_or_one_is_double(
    still: Make, own: OwnSupplies
) -> None:
    sheet, solution = marked("dots", still, own)
    for one, two in sides(NEWSPAPER):
        (r1, c1), (r2, c2) = NEWSPAPER.place(one), NEWSPAPER.place(two)
        y, x = sheet_pixels((r1 + r2) / 2 + 0.5), sheet_pixels((c1 + c2) / 2 + 0.5)
        part = sheet.pixels[y - 12 : y + 13, x - 12 : x + 13].min(axis=2)
        low, high = sorted((solution[one], solution[two]))
        assert bool(part.min() < 128) is (high - low == 1 or high == 2 * low)
        assert bool(part[12, 12] < 128) is (high == 2 * low)


def sheet_pixels(cells: float) -> int:
    return round((cells + 1) * 60)


def marked(marks: str, still: Make, own: OwnSupplies) -> tuple[Sheet, list[int]]:
    """A bare sheet with the marks of a grid alone, at 60 pixels a cell and a cell from its rim."""
    sheet = Sheet(-1, -1, 10, 10, 60)
    _, solution, _ = board_puzzle(NEWSPAPER, "test", 1, 0, 0.3)
    stand = Stand(sheet, 0.0, 0.0, 1.0)
    mark_board(stand, still(2), own, Board(marks=marks), 0, solution)
    return sheet, solution


def test_cages_hold_each_cell_once_and_each_is_in_one_piece() -> None:
    layout = board_of("2x3")
    cages = parted(layout, np.random.default_rng(1))
    assert sorted(cell for cage in cages for cell in cage) == list(layout.cells)
    for cage in cages:
        reached, todo = set[int](), [cage[0]]
        while todo:
            cell = todo.pop()
            reached.add(cell)
            todo += [n for n in beside(6, cell) if n in cage and n not in reached]
        assert reached == set(cage)


@pytest.mark.slow
def test_the_command_draws_boards_with_their_truth(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, own: OwnSupplies
) -> None:
    monkeypatch.setattr(fonts, "_in_use", [own])
    words = ["draw", str(tmp_path), "--preset", "easy", "--count", "1", "--ending", ".png"]
    assert main([*words, "--board", "2x2", "--board", "newspaper"]) == 0
    told = json.loads(next(tmp_path.glob("*.json")).read_text())
    assert told["grids"][0]["layout"]["block"] == [2, 2]
    assert NEWSPAPER.many == len(told["grids"][1]["givens"])
