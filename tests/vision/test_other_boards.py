"""Boards of other sizes and forms, from the mesh to what is read and asked."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from board_pages import UNIT, board_page, found
from samples import chosen

from papernudge.digits_model.symbols import NAMES, Symbols
from papernudge.hints.generate import any_blocks, puzzle
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.shapes import from_data
from papernudge.hints.solver import solve, solve_soon
from papernudge.vision import read, scored
from papernudge.vision.decode import decode
from papernudge.vision.doubts import find_doubts
from papernudge.vision.evidence import most_bytes, read_back, written
from papernudge.vision.failure import Failure
from papernudge.vision.fill import best_fillings
from papernudge.vision.grid import FoundGrid, GridKind
from papernudge.vision.photo import open_photo
from papernudge.vision.read import read_page
from papernudge.vision.reading import GridReading, Told
from papernudge.vision.reread import reread
from papernudge.vision.weigher import LITTLE

SIX, SIXTEEN = Layout.of_blocks(2, 3), Layout.of_blocks(4, 4)
BOARDS = [
    Layout.of_blocks(2, 2),
    SIX,
    Layout.of_blocks(3, 2),
    Layout.of_blocks(2, 4),
    Layout.of_blocks(3, 3, diagonals=True),
    any_blocks(3, 9),
]


def with_entries(layout: Layout, seed: int, many: int = 4) -> tuple[str, str]:
    """A puzzle's givens, and right entries in some of its blank cells."""
    givens = puzzle(seed, layout=layout)
    solution = solve(givens, layout) or ""
    blanks = [cell for cell in layout.cells if givens[cell] == "."]
    chosen = set(np.random.default_rng(seed).permutation(blanks)[:many].tolist())
    return givens, "".join(solution[c] if c in chosen else "." for c in layout.cells)


def shifted(layout: Layout) -> str:
    """A full grid of blocks that are all alike: each row is the one above it, moved on."""
    assert layout.even is not None
    high, wide = layout.even
    starts = (wide * (row % high) + row // high for row in range(layout.side))
    return "".join(layout.symbols[s:] + layout.symbols[:s] for s in starts)


def read_as(
    monkeypatch: pytest.MonkeyPatch, picture: npt.NDArray[np.uint8], *grids: FoundGrid
) -> GridReading:
    """What is read of a page on which these grids were found."""
    monkeypatch.setattr(read, "_found", lambda _: grids)
    page = read_page(picture, solve=solve_soon)
    return page.grids[0]


LYING = [(layout, turns) for layout in BOARDS for turns in range(4)]


@pytest.mark.parametrize(("layout", "turns"), chosen(LYING, *LYING[::5], LYING[16]))
def test_a_drawn_board_is_read_as_drawn(
    monkeypatch: pytest.MonkeyPatch, layout: Layout, turns: int
) -> None:
    givens, entries = with_entries(layout, seed=5)
    upright = board_page(layout, givens, entries)
    lying = np.ascontiguousarray(np.rot90(upright, -turns))
    grid = read_as(monkeypatch, lying, found(layout, turns))
    assert (grid.givens, grid.entries) == (givens, entries)
    assert grid.layout is layout
    assert grid.kind == GridKind.PUZZLE


SIZES = [
    *(Layout.of_blocks(*block) for block in [(2, 2), (3, 2), (2, 4), (3, 3), (2, 5), (3, 4)]),
    SIXTEEN,
]


@pytest.mark.parametrize("layout", chosen(SIZES, *SIZES[1:4:2]), ids=lambda board: str(board.side))
def test_a_board_with_every_cell_printed_is_full(
    monkeypatch: pytest.MonkeyPatch, layout: Layout
) -> None:
    solution = shifted(layout)
    grid = read_as(monkeypatch, board_page(layout, solution), found(layout))
    assert (grid.kind, grid.givens) == (GridKind.FULL, solution)


EMPTY = [*SIZES, any_blocks(3, 7)]


@pytest.mark.parametrize("layout", chosen(EMPTY, *EMPTY[1::3]), ids=lambda board: str(board.side))
def test_a_board_with_nothing_in_it_is_blank_and_nothing_is_asked(
    monkeypatch: pytest.MonkeyPatch, layout: Layout
) -> None:
    grid = read_as(monkeypatch, board_page(layout, layout.blank), found(layout))
    assert (grid.kind, grid.givens, grid.entries) == (GridKind.PUZZLE, layout.blank, layout.blank)
    assert grid.doubts == ()


NEARLY = [NEWSPAPER, *BOARDS[:2], SIXTEEN]


@pytest.mark.parametrize("layout", chosen(NEARLY, *NEARLY[:3:2]), ids=lambda b: str(b.side))
def test_a_nearly_empty_board_is_read_where_its_digits_say_which_way_is_up(
    monkeypatch: pytest.MonkeyPatch, layout: Layout
) -> None:
    marks = "4" + "." * (layout.many - 4) + "3.2"
    for printed, penned in ((marks, layout.blank), (layout.blank, marks)):
        grid = read_as(monkeypatch, board_page(layout, printed, penned), found(layout))
        asked = {doubt.cell for doubt in grid.doubts}
        lines = zip(grid.givens, grid.entries, printed, penned, strict=True)
        wrong = {cell for cell, (g, e, p, w) in enumerate(lines) if (g, e) != (p, w)}
        assert grid.kind == GridKind.PUZZLE
        assert wrong <= asked
    # One digit alone may as well stand on its head: the photo counts as it lies, and it is asked.
    alone = read_as(monkeypatch, board_page(layout, layout.blank[1:] + "4"), found(layout))
    assert [doubt.cell for doubt in alone.doubts] == [layout.many - 1]


LAID = [("irregular", 1), ("irregular", 2), ("diagonals", 3)]


@pytest.mark.parametrize(("name", "turns"), chosen(LAID, LAID[0]))
def test_a_photo_that_lies_says_the_same_of_its_board(name: str, turns: int) -> None:
    photo = Path(__file__).resolve().parents[2] / f"fixtures/{name}.jpg"
    told = json.loads(photo.with_name(f"{name}.jpg.json").read_text("utf-8"))["grids"]
    (truth,) = [grid for grid in told if grid["kind"] == "puzzle"]
    opened = open_photo(photo)
    assert not isinstance(opened, Failure)
    page = read_page(np.ascontiguousarray(np.rot90(opened.pixels, -turns)), solve=solve_soon)
    assert not isinstance(page, Failure)
    (grid,) = [grid for grid in page.grids if grid.cells]
    assert grid.layout is from_data(truth["layout"])
    assert (grid.givens, grid.entries) == (truth["givens"], truth["entries"])


def test_a_digit_that_the_board_has_not_is_asked_about(monkeypatch: pytest.MonkeyPatch) -> None:
    givens, _ = with_entries(SIX, seed=5)
    cell = givens.index(".")
    # The page says 7 where the board goes to 6.
    drawn = board_page(SIX, givens[:cell] + "7" + givens[cell + 1 :])
    grid = read_as(monkeypatch, drawn, found(SIX))
    assert cell in [doubt.cell for doubt in grid.doubts if doubt.about == "digit"]
    assert grid.givens[:cell] == givens[:cell]


def test_chances_of_what_a_board_has_not_are_spread_evenly() -> None:
    chances = np.full((2, 10), 0.01)
    chances[0, 3], chances[1, 8] = 0.91, 0.91
    told = np.exp(scored.of_board(np.log(chances), 6))
    assert told.shape == (2, 7)
    assert np.allclose(told.sum(axis=1), 1)
    assert told[0, 3] > 0.9
    assert told[1].max() < 0.15
    assert scored.unfit(np.log(told)) == {1}


def signs_of(layout: Layout, marks: str, letters: bool) -> Symbols:
    """What a good network would say of these marks, 10 and more as letters or as numbers."""
    names = [*NAMES[:10], *(NAMES[17:] if letters else NAMES[10:17])]
    chances = np.full((layout.many, len(NAMES)), 1e-5)
    for cell, mark in enumerate(marks):
        value = 0 if mark == "." else layout.symbols.index(mark) + 1
        chances[cell, NAMES.index(names[value])] = 1
    chances /= chances.sum(axis=1, keepdims=True)
    return Symbols(np.log(chances), np.full(layout.many, -9.0))


@pytest.mark.parametrize("letters", [False, True])
def test_a_page_prints_numbers_or_letters_and_not_both(letters: bool) -> None:
    marks = shifted(SIXTEEN)
    said = signs_of(SIXTEEN, marks, letters).signs.copy()
    # Cell 0 may be an 8 or the B of 11.
    said[0] = np.log(1e-6)
    said[0, 8], said[0, NAMES.index("B")] = np.log(0.45), np.log(0.55)
    digits = scored.folded(said, 16)
    assert np.allclose(np.exp(digits).sum(axis=1), 1)
    assert digits[0].argmax() == (11 if letters else 8)
    assert np.exp(digits[0, 8]) < 0.5 if letters else np.exp(digits[0, 8]) > 0.99
    line = "".join(SIXTEEN.symbols[d - 1] for d in digits.argmax(axis=1))
    assert line[1:] == marks[1:]


@pytest.mark.parametrize("side", [10, 12, 16])
def test_chances_of_a_large_boards_digits_are_one_together(side: int) -> None:
    signs = np.random.default_rng(side).normal(0, 3, (5, len(NAMES)))
    signs -= np.logaddexp.reduce(signs, axis=1, keepdims=True)
    told = np.exp(scored.folded(signs, side))
    assert told.shape == (5, side + 1)
    assert np.allclose(told.sum(axis=1), 1.0)


@pytest.mark.slow
def test_sixteen_rows_are_read_named_and_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    givens = puzzle(3, layout=SIXTEEN)
    said = signs_of(SIXTEEN, givens, letters=False)
    monkeypatch.setattr(scored, "read_signs", lambda *_: (said.signs, said.hand))
    grid = read_as(monkeypatch, board_page(SIXTEEN, givens), found(SIXTEEN))
    assert grid.givens == givens
    assert grid.layout.name(grid.layout.cell("R10C12") or 0) == "R10C12"
    assert grid.evidence is not None
    data = written(grid.evidence, {"beside": 1})
    assert len(data) <= most_bytes(SIXTEEN)
    again, beside = read_back(data)
    assert beside == {"beside": 1}
    assert reread(again, (), solve_soon).givens == givens
    cell = givens.index(".")
    told = reread(again, [Told(cell, None, 14)], solve_soon)
    assert told.cells[cell].digit == 14


def test_a_weekend_page_is_right_or_asked_about_and_nothing_on_it_is_struck() -> None:
    photo = Path(__file__).resolve().parents[2] / "fixtures/weekend.jpg"
    truth = json.loads(photo.with_name("weekend.jpg.json").read_text("utf-8"))["grids"][0]
    opened = open_photo(photo)
    assert not isinstance(opened, Failure)
    page = read_page(opened.pixels, solve=solve_soon)
    assert not isinstance(page, Failure)
    grid = next(grid for grid in page.grids if grid.layout is SIXTEEN)
    asked = {doubt.cell for doubt in grid.doubts}
    for told, line in ((grid.givens, truth["givens"]), (grid.entries, truth["entries"])):
        assert {c for c in SIXTEEN.cells if told[c] != line[c]} <= asked
    assert len(asked) <= 12
    # Numbers of two figures look struck out to the look that knows one figure a cell.
    assert not [SIXTEEN.name(c) for c, cell in enumerate(grid.cells) if cell.struck]


@pytest.fixture
def unsure() -> FoundGrid:
    """A board of six of which two cells may have changed blocks."""
    blocks = [list(block) for block in SIX.plan.blocks]
    blocks[0].remove(2), blocks[1].remove(9)
    blocks[0].append(9), blocks[1].append(2)
    return found(SIX, layout_doubts=((2, 0.8), (9, 0.8)), other_layout=Layout.of_regions(blocks))


def test_blocks_in_doubt_are_asked_about_and_one_answer_settles_them(
    monkeypatch: pytest.MonkeyPatch, unsure: FoundGrid
) -> None:
    givens, _ = with_entries(SIX, seed=5)
    grid = read_as(monkeypatch, board_page(SIX, givens), unsure)
    laid = [doubt for doubt in grid.doubts if doubt.about == "layout"]
    assert [(doubt.cell, doubt.chance) for doubt in laid] == [(2, 0.8), (9, 0.8)]
    assert laid[0].regions[0] == SIX.plan.blocks[0]
    assert 2 in laid[0].regions[1]
    assert grid.chance_all_right <= 0.8
    assert grid.evidence is not None
    kept, _ = read_back(written(grid.evidence))
    for evidence in (grid.evidence, kept):
        as_read = reread(evidence, [Told(2, None, None, beside=1)], solve_soon)
        other = reread(evidence, [Told(2, None, None, beside=3)], solve_soon)
        assert as_read.layout is SIX
        assert other.layout is unsure.other_layout
        assert not [d for d in (*as_read.doubts, *other.doubts) if d.about == "layout"]
        assert as_read.givens == givens


def test_a_lying_page_turns_its_doubts_too(
    monkeypatch: pytest.MonkeyPatch, unsure: FoundGrid
) -> None:
    givens, _ = with_entries(SIX, seed=5)
    lying = np.ascontiguousarray(np.rot90(board_page(SIX, givens), -1))
    assert unsure.other_layout is not None
    # Turned once, row r and column c lie in row c and column 5 - r.
    moved = tuple((6 * (c % 6) + 5 - c // 6, chance) for c, chance in unsure.layout_doubts)
    other = unsure.other_layout.turned(1)
    grid = read_as(
        monkeypatch, lying, replace(found(SIX, 1), layout_doubts=moved, other_layout=other)
    )
    assert [doubt.cell for doubt in grid.doubts if doubt.about == "layout"] == [2, 9]
    assert grid.evidence is not None
    assert grid.evidence.other_layout is unsure.other_layout


@pytest.mark.parametrize("layout", [*BOARDS, NEWSPAPER, Layout.of_blocks(3, 4)])
def test_a_board_turned_four_times_is_itself(layout: Layout) -> None:
    assert layout.turned(0) is layout.turned(4) is layout
    assert layout.turned(1).turned(3) is layout
    once = layout.turned(1)
    assert once.even == (layout.even and layout.even[::-1])
    numbers = np.array(layout.blocks).reshape(layout.side, -1)
    parted = np.array(once.blocks).reshape(layout.side, -1)
    same = np.rot90(numbers, -1)
    assert len({*zip(same.ravel().tolist(), parted.ravel().tolist(), strict=True)}) == layout.side


def nonsense(layout: Layout) -> tuple[Any, Any]:
    rng = np.random.default_rng(1)
    digits = rng.normal(size=(layout.many, layout.side + 1))
    return digits - np.log(np.exp(digits).sum(axis=1, keepdims=True)), rng.normal(size=layout.many)


def test_nonsense_on_a_large_board_is_read_in_bounded_effort_and_doubted() -> None:
    asked: list[str] = []
    digits, hand = nonsense(SIXTEEN)

    def counted(line: str, board: Layout) -> str | None:
        asked.append(line)
        return solve_soon(line, board)

    decoded = decode(digits, hand, counted, LITTLE, SIXTEEN)
    assert len(asked) <= 3 * LITTLE.on(SIXTEEN).solved
    assert len(find_doubts(decoded, suspects=scored.unfit(digits))) > 240


@pytest.mark.parametrize("layout", [SIX, SIXTEEN])
def test_the_likeliest_complete_grid_is_found_on_any_board(layout: Layout) -> None:
    solution = shifted(layout)
    rng = np.random.default_rng(0)
    scores = rng.normal(size=(layout.many, layout.side))
    for cell, mark in enumerate(solution):
        scores[cell, layout.symbols.index(mark)] += 8
    ((best, *_), complete, _) = best_fillings(scores, 1, most_nodes=500, layout=layout)
    assert complete
    assert "".join(layout.symbols[d - 1] for d in best) == solution


def test_a_page_of_the_drawing_has_its_cells_where_they_are_said(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    grid = read_as(monkeypatch, board_page(SIX, SIX.blank), found(SIX))
    assert grid.mesh is not None
    assert np.allclose(np.diff(grid.mesh.crossings[0, :, 0]), UNIT)
    assert all(map(partial(np.isclose, 1, atol=0.02), (cell.chance for cell in grid.cells)))


@pytest.mark.parametrize("layout", [Layout.of_blocks(2, 2), Layout.of_blocks(2, 3)])
@pytest.mark.parametrize("digit", "1234")
def test_a_lone_digit_is_read_as_the_photo_lies_and_asked_about(
    monkeypatch: pytest.MonkeyPatch, layout: Layout, digit: str
) -> None:
    givens = "." * 5 + digit + "." * (layout.many - 6)
    grid = read_as(monkeypatch, board_page(layout, givens), found(layout))
    assert grid.givens == givens
    assert [doubt.cell for doubt in grid.doubts] == [5]


def test_few_marks_on_a_spoilt_photo_are_not_read(monkeypatch: pytest.MonkeyPatch) -> None:
    layout = Layout.of_blocks(2, 3)
    page = board_page(layout, "....4" + "." * 31)
    noisy = page + np.random.default_rng(2).normal(0, 70, page.shape)
    grid = read_as(monkeypatch, np.clip(noisy, 0, 255).astype(np.uint8), found(layout))
    assert not grid.cells
