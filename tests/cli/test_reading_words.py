"""Assumptions, and what ``read`` prints."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from papernudge.cli.session.assume import Assumption, assumed, parse_assumption
from papernudge.cli.terminal.closeup import close_up
from papernudge.vision.reading import CellKind, CellReading, Doubt

Run = Callable[..., Any]
EMPTY = "." * 81


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("R4C7=1", Assumption(None, 33, None, 1)),
        ("r4c7=entry:1", Assumption(None, 33, "entry", 1)),
        ("2:R1C1=given:9", Assumption(2, 0, "given", 9)),
        ("R9C9=.", Assumption(None, 80, None, None)),
        ("R1C2=notes:41", Assumption(None, 1, None, None, frozenset({1, 4}))),
        ("R1C2=notes:.", Assumption(None, 1, None, None, frozenset())),
    ],
)
def test_assumptions_are_read(text: str, expected: Assumption) -> None:
    assert parse_assumption(text) == expected


def test_an_assumption_overrules_the_reading_and_settles_the_doubt(
    grid_says: Any, puzzle: str
) -> None:
    doubts = Doubt(1, "digit", 3, 0.6, ((8, 0.4),)), Doubt(3, "digit", 2, 0.7, ((7, 0.3),))
    grid = replace(grid_says(puzzle, doubts=doubts), restored=(1, 4))
    (after,) = assumed((grid,), [parse_assumption("R1C2=8")], 1)
    assert after.cells[1].digit == 8
    assert after.cells[1].kind is CellKind.GIVEN
    assert after.cells[1].chance == 1.0
    assert [d.cell for d in after.doubts] == [3]
    assert after.restored == (4,)
    assert grid.cells[1].digit == 3


def test_a_bare_digit_keeps_the_kind_and_on_a_blank_cell_is_an_entry(
    grid_says: Any, puzzle: str
) -> None:
    words = ["R1C2=5", "R1C1=8", "R1C4=entry:2", "R2C2=.", "R1C1=6"]
    (after,) = assumed((grid_says(puzzle),), [parse_assumption(w) for w in words], 1)
    assert (after.cells[1].kind, after.cells[1].digit) == (CellKind.GIVEN, 5)
    assert (after.cells[0].kind, after.cells[0].digit) == (CellKind.ENTRY, 6)
    assert (after.cells[3].kind, after.cells[3].digit) == (CellKind.ENTRY, 2)
    assert (after.cells[10].kind, after.cells[10].digit) == (CellKind.BLANK, None)


def test_assumptions_reach_the_grid_they_name(
    papernudge: Run, desk: Any, grid_says: Any, mesh_at: Any, puzzle: str
) -> None:
    left, right = mesh_at(30.0, (20.0, 40.0)), mesh_at(30.0, (400.0, 40.0))
    photo = desk.says(
        "page.jpg", grid_says(puzzle, mesh=left), grid_says(puzzle, mesh=right), size=(760, 420)
    )
    told = json.loads(papernudge("read", photo, "--assume", "2:R1C1=8", "--json").out)
    assert [g["entries"][0] for g in told["grids"]] == [".", "8"]
    told = json.loads(papernudge("read", photo, "--assume", "R1C1=8", "--json").out)
    assert [g["entries"][0] for g in told["grids"]] == ["8", "."]
    told = json.loads(papernudge("read", photo, "--grid", 2, "--assume", "R1C1=8", "--json").out)
    assert [g["entries"][0] for g in told["grids"]] == [".", "8"]


def test_read_prints_a_board_with_signs_notes_and_doubts(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    noted = CellReading(CellKind.BLANK, None, 1.0, notes=frozenset({1, 4}))
    struck = CellReading(CellKind.BLANK, None, 1.0, struck=True)
    doubt = Doubt(1, "digit", 3, 0.6, ((8, 0.4),))
    grid = grid_says(puzzle, "8" + "." * 80, doubts=(doubt,), changed={2: noted, 40 + 1: struck})
    out = papernudge("read", desk.says("breakfast.jpg", grid)).out
    lines = out.splitlines()
    assert lines[0] == ("A puzzle with 29 printed digits, 1 written one and small notes in 1 cell.")
    assert lines[2].startswith(" 1   8' 3? ·")
    assert "Small notes: R1C3 14." in lines
    assert "Struck out: R5C6." in lines
    assert "In doubt: Is the digit in R1C2 a 3 or an 8?" in lines


def test_read_in_sentences_draws_nothing(papernudge: Run, puzzle: str) -> None:
    out = papernudge("read", "--given-line", puzzle, "--sentences").out
    assert out.splitlines()[1] == (
        "Row 1: blank, 3 printed, blank, 2 printed, blank, blank, 5 printed, blank, 9 printed."
    )
    assert "│" not in out


def test_a_terminal_without_box_characters_gets_plain_ones(
    papernudge: Run, puzzle: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("papernudge.cli.terminal.board._can_print", lambda _: False)
    out = papernudge("read", "--given-line", puzzle).out
    assert out.isascii()
    assert "|" in out


def test_a_doubtful_cell_is_drawn_large(desk: Any, grid_says: Any, puzzle: str) -> None:
    import cv2

    from papernudge.cli.session.pages import Sheet
    from papernudge.cli.terminal.sources import Source, open_page

    grid = grid_says(puzzle)
    photo = desk.says("breakfast.jpg", grid)
    page = open_page(Source(str(photo)))
    assert page.photo is not None
    x, y = grid.mesh.crossings[3:5, 6:8].reshape(-1, 2).mean(axis=0)
    cv2.line(page.photo.pixels, (int(x), int(y) - 20), (int(x), int(y) + 20), (10, 10, 10), 6)
    drawn = close_up(Sheet(page, 1), 33)
    marked = [line for line in drawn.splitlines() if "█" in line or "▓" in line]
    assert len(marked) >= 5
    assert not [line for line in close_up(Sheet(page, 1), 40).splitlines() if "██" in line[12:24]]


def test_notes_read_with_little_chance_or_left_beside_an_entry_are_not_built_upon() -> None:
    from dataclasses import replace

    from papernudge.cli.session.pages import position_of
    from papernudge.vision import CellKind, CellReading, GridKind, GridReading, Quality

    blank = CellReading(CellKind.BLANK, None, 1.0)
    sure = replace(blank, notes=frozenset({1, 2}), notes_chance=0.99)
    unsure = replace(sure, notes_chance=0.6)
    corners = np.zeros((4, 2))
    filled = replace(sure, kind=CellKind.ENTRY, digit=5)
    cells = (sure, unsure, filled, *[blank] * 78)
    grid = GridReading(GridKind.PUZZLE, corners, Quality(True), cells=cells)
    assert list(position_of(grid).notes) == [0]


@pytest.mark.parametrize("depth", [1, 3])
def test_shaded_blanks_have_a_legend_as_the_other_signs_have(
    at_terminal: Run, puzzle: str, depth: int
) -> None:
    """A check of depth 2 shades its houses; a hint that follows a digit shades none at depth 1."""
    mistaken = ["--entry-line", "2" + "." * 80]
    shaded = at_terminal("s\n", "check", "--given-line", puzzle, *mistaken, "--tell", 2).out
    assert "░ where to look" in shaded
    plain = at_terminal("s\n", "check", "--given-line", puzzle, *mistaken, "--tell", 1).out
    assert "░" not in plain
    hinted = at_terminal("s\n", "hint", "--given-line", puzzle, "--tell", depth).out
    assert ("░ where to look" in hinted) == (hinted.count("░") > 1)
