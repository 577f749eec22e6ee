"""Cells that can't be seen: told by region, never taken for blank, and no hint rests on them."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from papernudge.cli.session.hidden import boxes, cannot_be_seen, regions, where
from papernudge.vision.grid import GridKind, Quality
from papernudge.vision.hidden import Hidden
from papernudge.vision.reading import CellKind, CellReading, Doubt

Run = Callable[..., Any]
UNSEEN = CellReading(CellKind.BLANK, None, 0.1, (0.1,) * 10, notes_chance=0.0, seen=False)


def not_seen(*cells: int, why: Hidden = Hidden.COVERED) -> tuple[Doubt, ...]:
    return tuple(Doubt(cell, "seen", None, 0.1, why=why) for cell in cells)


def covering(grid_says: Any, puzzle: str, *cells: int, entries: str = "." * 81) -> Any:
    """The puzzle as read where something covers these cells."""
    seen = "".join("." if c in cells else d for c, d in enumerate(puzzle))
    written = "".join("." if c in cells else d for c, d in enumerate(entries))
    changed = dict.fromkeys(cells, UNSEEN)
    return grid_says(seen, written, doubts=not_seen(*cells), changed=changed)


def test_cells_side_by_side_are_one_region_unless_something_else_hides_them() -> None:
    doubts = (*not_seen(33, 34, 42, 43), *not_seen(80), *not_seen(35, why=Hidden.WASHED_OUT))
    assert [[d.cell for d in region] for region in regions(doubts)] == [
        [33, 34, 42, 43],
        [35],
        [80],
    ]


def test_rows_alike_are_put_together_to_rectangles() -> None:
    assert boxes([33, 34, 42, 43, 53]) == [(3, 6, 4, 7), (5, 8, 5, 8)]
    assert where([33, 34, 42, 43]) == "R4C7 to R5C8"
    assert where([0]) == "R1C1"
    assert where([0, 2, 10, 18, 20]) == "5 cells between R1C1 to R3C3"


@pytest.mark.parametrize(
    ("why", "words"),
    [
        (Hidden.COVERED, "R4C7 to R5C8 can't be seen: something covers them"),
        (Hidden.WASHED_OUT, "R4C7 to R5C8 can't be seen: light washes them out"),
        (Hidden.TOO_DARK, "R4C7 to R5C8 can't be seen: they lie in the dark"),
        (Hidden.CUT_OFF, "R4C7 to R5C8 can't be seen: the photo cuts them off"),
    ],
)
def test_a_region_says_what_hides_it(why: Hidden, words: str) -> None:
    assert cannot_be_seen(not_seen(33, 34, 42, 43, why=why)) == words


def test_read_says_not_seen_where_nothing_can_be_seen_and_never_blank(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    photo = desk.says("thumb.jpg", covering(grid_says, puzzle, 33, 34, 42, 43))
    out = papernudge("read", photo, "--sentences").out
    assert out.count("not seen") == 4
    assert "In doubt: R4C7 to R5C8 can't be seen: something covers them." in out
    told = json.loads(papernudge("read", photo, "--json").out)["grids"][0]["doubts"]
    assert told[0] == {
        "cell": "R4C7", "about": "seen", "read": None, "chance": 0.1, "instead": [],
        "why": "covered",
    }  # fmt: skip


def test_a_hint_that_rests_on_no_hidden_cell_is_given_and_says_so(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    blank = [c for c in range(81) if puzzle[c] == "."]
    said = []
    for cell in blank[::6]:
        photo = desk.says(f"{cell}.jpg", covering(grid_says, puzzle, cell))
        ran = papernudge("hint", photo, "--tell", 4, "--json")
        told = json.loads(ran.out)
        if told["state"] == "open":
            places = [place["cell"] for place in told["nudge"]["places"]]
            assert where([cell]) not in places
            assert "can't be seen: something covers it." in told["sentence"]
        else:
            assert (told["state"], ran.code) == ("unsure", 6)
        said.append(told["state"])
    assert "open" in said


def test_a_hint_into_a_hidden_cell_is_asked_about_first(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    plain = json.loads(papernudge("hint", "--given-line", puzzle, "--tell", 4, "--json").out)
    name = plain["nudge"]["places"][0]["cell"]
    cell = 9 * (int(name[1]) - 1) + int(name[3]) - 1
    others = [c for c in range(81) if puzzle[c] == "." and c != cell]
    photo = desk.says("thumb.jpg", covering(grid_says, puzzle, cell, *others))
    ran = papernudge("hint", photo)
    assert ran.code == 6
    assert "can't be seen" in ran.err
    assert "--assume" in ran.err


def test_where_a_hidden_given_leaves_several_solutions_what_the_others_force_still_holds(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    from papernudge.hints import solve

    solution = solve(puzzle)
    assert solution is not None
    given = next(
        c
        for c in range(81)
        if puzzle[c] != "." and solve(puzzle[:c] + "." + puzzle[c + 1 :]) is None
    )
    photo = desk.says("thumb.jpg", covering(grid_says, puzzle, given))
    told = json.loads(papernudge("hint", photo, "--tell", 4, "--json").out)
    if told["state"] == "open":
        for place in told["nudge"]["places"]:
            cell = 9 * (int(place["cell"][1]) - 1) + int(place["cell"][3]) - 1
            assert place["digit"] == int(solution[cell])
    written = next(c for c in range(81) if puzzle[c] == ".")
    entries = "".join(solution[c] if c == written else "." for c in range(81))
    photo = desk.says("more.jpg", covering(grid_says, puzzle, given, entries=entries))
    assert papernudge("hint", photo).code == 6


def test_check_says_nothing_of_a_paper_that_is_partly_hidden_before_it_is_told(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    blank = puzzle.index(".")
    photo = desk.says("thumb.jpg", covering(grid_says, puzzle, blank))
    ran = papernudge("check", photo)
    assert (ran.code, ran.out) == (6, "")
    assert f"{where([blank])} can't be seen: something covers it." in ran.err
    told = papernudge("check", photo, "--assume", f"{where([blank])}=.")
    assert told.code == 0


def test_a_refused_photo_is_drawn_with_what_hides_it(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str, tmp_path: Any
) -> None:
    sentence = "Something covers part of the grid; take it away and take the photo again."
    poor = Quality(False, "covered", sentence)
    grid = replace(
        grid_says(puzzle),
        kind=GridKind.TOO_POOR,
        quality=poor,
        cells=(),
        doubts=not_seen(*range(20)),
    )
    photo = desk.says("hand.jpg", grid)
    drawn = tmp_path / "where.png"
    ran = papernudge("hint", photo, "--picture", drawn)
    assert ran.code == 3
    assert sentence in ran.err
    assert drawn.stat().st_size > 1000
