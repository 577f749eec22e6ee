"""Photos of other boards, from the command's words to what it says."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

import papernudge as library
from papernudge.cli.session.saving import load, save
from papernudge.hints.generate import puzzle
from papernudge.hints.layout import Layout
from papernudge.hints.solver import solve
from papernudge.vision import read, scored

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "vision"))
from board_pages import board_page, found, marked_page  # one drawing for both rooms

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
SIX, SIXTEEN = Layout.of_blocks(2, 3), Layout.of_blocks(4, 4)
GIVENS = puzzle(5, layout=SIX)
SOLUTION = solve(GIVENS, SIX) or ""
Ran = Callable[..., Any]


@pytest.fixture
def six(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """A photo of a puzzle of six rows with three right entries."""
    return _photo(tmp_path, monkeypatch, SIX, GIVENS)


def _photo(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, layout: Layout, givens: str, **more: Any
) -> str:
    import cv2

    page = board_page(layout, givens)
    path = tmp_path / "page.png"
    cv2.imwrite(str(path), page)
    monkeypatch.setattr(read, "_found", lambda _: (found(layout, **more),))
    return str(path)


def _document(ran: Any) -> dict[str, Any]:
    told = json.loads(ran.out)
    schema = json.loads((files("papernudge.cli") / "schema.json").read_text("utf-8"))
    jsonschema.Draft202012Validator(schema).validate(told)
    return dict(told)


def test_a_photo_of_six_rows_says_its_board(papernudge: Ran, six: str) -> None:
    ran = papernudge("read", six, "--json")
    assert ran.code == 0
    (grid,) = _document(ran)["grids"]
    assert (grid["kind"], grid["givens"], grid["entries"]) == ("puzzle", GIVENS, "." * 36)
    assert grid["layout"]["block"] == [2, 3]
    assert papernudge("hint", six, "--tell", 4).code == 0
    assert papernudge("check", six).code == 0


def test_the_words_for_a_board_overrule_what_was_read_of_it(papernudge: Ran, six: str) -> None:
    ran = papernudge("read", six, "--blocks", "3x2", "--json")
    assert _document(ran)["grids"][0]["layout"]["block"] == [3, 2]
    ran = papernudge("read", six, "--blocks", "4x4")
    assert (ran.code, ran.out) == (3, "")
    assert ran.err.startswith("No grid of 16 rows and 16 columns was read in the photo:")


def test_a_board_in_words_is_that_of_the_grid_that_is_talked_about(papernudge: Ran) -> None:
    """The third grid of this page has six rows, the second four; the first can't be read."""
    photo = FIXTURES / "childrens-corner.jpg"
    for command in ("hint", "check"):
        assert papernudge(command, photo, "--blocks", "2x3").out.startswith("Grid 3 of 3 ")
    ran = papernudge("read", photo, "--blocks", "2x3", "--assume", "R6C6=1", "--json")
    assert [grid["givens"][-1] for grid in _document(ran)["grids"][1:]] == [".", "1"]
    ran = papernudge("hint", photo, "--blocks", "2x3", "--grid", 2)
    assert (ran.code, ran.out) == (3, "")
    assert ran.err.startswith("Grid 2 was not read with 6 rows and 6 columns: name another")
    ran = papernudge("hint", photo, "--blocks", "2x3", "--grid", 9)
    assert (ran.code, ran.err) == (2, "--grid 9 was asked for, but 3 grids were found.\n")
    ran = papernudge("hint", FIXTURES / "cut-off.jpg", "--blocks", "2x3")
    assert (ran.code, "cut off" in ran.err) == (3, True)


def test_a_board_in_words_is_the_grid_that_was_read_so_by_itself() -> None:
    from papernudge.cli.session.pages import Page, on_board, read_opened
    from papernudge.vision.photo import Photo, open_photo
    from papernudge.vision.reading import PageReading

    opened = open_photo(FIXTURES / "clean.jpg")
    assert isinstance(opened, Photo)
    grid = next(grid for grid in read_opened("clean.jpg", opened).grids if grid.evidence)
    assert grid.evidence is not None
    crossed = Layout.of_blocks(3, 3, True)
    again = replace(grid, evidence=replace(grid.evidence, layout=crossed), layout=crossed)
    page = Page(None, None, PageReading((0, 0), (grid, again)))
    assert on_board(page, crossed) == (page, 2)
    assert on_board(page, crossed, 1)[1] == 1
    assert on_board(page, grid.layout) == (page, 1)


def test_a_digit_beyond_the_board_is_no_answer(papernudge: Ran, six: str) -> None:
    cell = SIX.name(GIVENS.index("."))
    assert papernudge("read", six, "--assume", f"{cell}=6").code == 0
    for says in (f"{cell}=7", "R7C1=1", f"{cell}=A"):
        ran = papernudge("read", six, "--assume", says)
        assert (ran.code, ran.out) == (2, "")
        assert says in ran.err


def test_the_library_answers_and_keeps_a_session_of_another_board(six: str) -> None:
    sheet = library.open_photo(six).sheet()
    cell = GIVENS.index(".")
    wrong = str(int(SOLUTION[cell]) % 6 + 1)
    sheet = library.answered(sheet, f"{SIX.name(cell)}=entry:{wrong}")
    assert library.check(sheet).state == "mistaken"
    again = load(save(sheet))
    assert again.grid.layout is SIX
    assert again.grid.entries == sheet.grid.entries
    assert library.check(again).state == "mistaken"


def test_blocks_in_doubt_are_asked_in_words_and_answered(
    papernudge: Ran, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    blocks = [list(block) for block in SIX.plan.blocks]
    blocks[0][2], blocks[1][3] = 9, 2
    other = Layout.of_regions(blocks)
    # Another page than those above: each is read but once.
    givens = puzzle(6, layout=SIX)
    doubts = {"layout_doubts": ((2, 0.8), (9, 0.8)), "other_layout": other}
    photo = _photo(tmp_path, monkeypatch, SIX, givens, **doubts)
    ran = papernudge("hint", photo)
    assert ran.code == 6
    assert ran.err == (
        "Does R1C3 belong to the block of R1C2 or R1C4?"
        " Answer with --assume R1C3=block:R1C2 or R1C3=block:R1C4.\n"
    )
    assert papernudge("hint", photo, "--assume", "R1C3=block:R1C2").code == 0
    told = _document(papernudge("read", photo, "--json"))["grids"][0]["doubts"]
    assert [doubt["about"] for doubt in told] == ["layout", "layout"]
    assert told[0]["regions"][0] == ["R1C1", "R1C2", "R1C3", "R2C1", "R2C2", "R2C3"]
    ran = papernudge("read", photo, "--json", "--assume", "R1C3=block:R1C4")
    (grid,) = _document(ran)["grids"]
    assert Layout.of_regions(_cells(grid["layout"]["regions"])) is other
    assert not [doubt for doubt in grid["doubts"] if doubt["about"] == "layout"]
    kept = load(save(library.answered(library.open_photo(photo).sheet(), "R1C3=block:R1C4")))
    assert kept.grid.layout is other


@pytest.mark.slow
def test_sixteen_rows_are_answered_with_numbers_and_letters(
    papernudge: Ran, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from papernudge.digits_model.symbols import NAMES

    givens = puzzle(3, layout=SIXTEEN)
    solution = solve(givens, SIXTEEN) or ""
    blank = [cell for cell in SIXTEEN.cells if givens[cell] == "." and solution[cell] in "ABCDEFG"]
    cell = max(blank)

    def said(pixels: Any, *_: Any) -> tuple[Any, Any]:
        values = [SIXTEEN.symbols.index(mark) + 1 if mark != "." else 0 for mark in givens]
        signs = np.full((len(pixels), len(NAMES)), np.log(1e-6))
        signs[range(len(pixels)), values] = np.log(1 - 23e-6)
        return signs, np.full(len(pixels), -9.0)

    monkeypatch.setattr(scored, "read_signs", said)
    photo = _photo(tmp_path, monkeypatch, SIXTEEN, givens)
    name, number = SIXTEEN.name(cell), SIXTEEN.symbols.index(solution[cell]) + 1
    for written in (solution[cell], number):
        ran = papernudge("read", photo, "--json", "--assume", f"{name}=entry:{written}")
        (grid,) = _document(ran)["grids"]
        assert grid["givens"] == givens
        assert grid["entries"][cell] == solution[cell]
        assert (grid["layout"]["rows"], grid["layout"]["block"]) == (16, [4, 4])
    ran = papernudge("hint", photo, "--tell", 4, "--json")
    assert ran.code == 0
    (place, *_) = _document(ran)["nudge"]["places"]
    assert solution[SIXTEEN.cell(place["cell"]) or 0] == SIXTEEN.symbols[place["digit"] - 1]


def test_cells_that_cannot_be_seen_are_told_by_their_own_board() -> None:
    from papernudge.cli.said import ENGLISH
    from papernudge.cli.session.hidden import cannot_be_seen, regions
    from papernudge.vision.doubts import not_seen
    from papernudge.vision.hidden import Hidden

    cells = [SIXTEEN.cell(name) or 0 for name in ("R10C12", "R10C13", "R11C12", "R11C13")]
    (region,) = regions([not_seen(c, Hidden.COVERED, 16) for c in cells], SIXTEEN)
    said = cannot_be_seen(region, ENGLISH.on(SIXTEEN))
    assert said.startswith("R10C12 to R11C13 can't be seen")
    assert replace(region[0]).chance == 1 / 17


def _cells(regions: str) -> list[list[int]]:
    """The cells of each letter of a region line."""
    return [[c for c, mark in enumerate(regions) if mark == one] for one in sorted({*regions})]


def test_a_puzzle_of_another_kind_is_refused_with_a_word_what_was_seen(
    papernudge: Ran, tmp_path: Path
) -> None:
    import cv2

    path = tmp_path / "page.png"
    cv2.imwrite(str(path), marked_page("arrow"))
    (grid,) = _document(papernudge("read", path, "--json"))["grids"]
    assert grid["kind"] == "other"
    assert grid["quality"]["reason"] == "arrow"
    ran = papernudge("hint", path)
    assert ran.code == 3
    assert "Arrows are printed in it: it is a puzzle of another kind." in ran.err
