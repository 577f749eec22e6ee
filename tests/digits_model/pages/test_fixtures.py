"""The published fixtures are what their truth says, and can be drawn anew."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from board_judge import judged

from papernudge.digits_model.training.pages import MissingSuppliesError
from papernudge.digits_model.training.pages.fixtures import FIXTURES, Fixture, drawn, truth_of
from papernudge.digits_model.training.pages.fonts import SystemSupplies
from papernudge.digits_model.training.pages.puzzles import HOUSES, PEERS, solve
from papernudge.digits_model.training.pages.spec import from_json
from papernudge.digits_model.training.pages.store import stored
from papernudge.hints.layout import NEWSPAPER
from papernudge.hints.shapes import from_data

FOLDER = Path(__file__).resolve().parents[3] / "fixtures"
BOARDS = [f for f in FIXTURES if f.spec.boards]
PUZZLES = [f for f in FIXTURES if f.name not in {"no-grid.jpg", "cut-off.jpg"} and f not in BOARDS]


def told(name: str) -> dict[str, Any]:
    held: dict[str, Any] = json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    return held


def alike(a: Any, b: Any) -> bool:
    """Equal, but for numbers in the last decimal kept: processors round differently."""
    if isinstance(a, dict):
        return a.keys() == b.keys() and all(alike(a[k], b[k]) for k in a)
    if isinstance(a, list):
        return len(a) == len(b) and all(map(alike, a, b))
    if isinstance(a, float):
        return bool(abs(a - b) < 0.11)
    return bool(a == b)


def raster(data: bytes) -> np.ndarray[Any, np.dtype[np.int64]]:
    from PIL import Image

    if data[4:8] == b"ftyp":
        import pillow_heif

        pillow_heif.register_heif_opener()
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB")).astype(int)


def test_the_folder_holds_the_fixtures_with_their_truths_and_nothing_else() -> None:
    wanted = {f.name for f in FIXTURES} | {f"{f.name}.json" for f in FIXTURES}
    wanted |= {"README.md", "pictures"}  # the pictures are what the README of the project shows
    assert {p.name for p in FOLDER.iterdir()} == wanted


def test_all_fixtures_together_stay_below_four_megabytes() -> None:
    assert sum(p.stat().st_size for p in FOLDER.iterdir()) < 4e6


@pytest.mark.parametrize("fixture", FIXTURES, ids=lambda f: f.name)
def test_size_and_spec_are_those_of_the_truth(fixture: Fixture) -> None:
    truth = told(fixture.name)
    high, wide, _ = raster((FOLDER / fixture.name).read_bytes()).shape
    assert truth["size"] == [wide, high]
    assert from_json(truth["spec"]) == fixture.spec
    assert truth["says"] == fixture.says


@pytest.mark.parametrize("fixture", PUZZLES, ids=lambda f: f.name)
def test_the_first_grid_is_a_whole_puzzle_and_proper_unless_misprinted(fixture: Fixture) -> None:
    grid = told(fixture.name)["grids"][0]
    assert grid["kind"] == "puzzle"
    found = solve([0 if d == "." else int(d) for d in grid["givens"]], 2)
    proper = found == [[int(d) for d in grid["solution"]]]
    assert proper is (fixture.name != "misprint.jpg")


@pytest.mark.parametrize("fixture", BOARDS, ids=lambda f: f.name)
def test_each_board_is_a_whole_and_proper_puzzle_and_right_so_far(fixture: Fixture) -> None:
    whole = [g for g in told(fixture.name)["grids"] if g["kind"] == "puzzle"]
    assert len(whole) == len(fixture.spec.boards)
    for grid in whole:
        layout = from_data(grid["layout"]) if "layout" in grid else NEWSPAPER
        assert judged(layout, grid["givens"]) == [grid["solution"]]
        assert all(e in (".", s) for e, s in zip(grid["entries"], grid["solution"], strict=True))
        assert np.shape(grid["crossings"]) == (layout.high + 1, layout.wide + 1, 2)


def test_the_boards_are_those_that_the_fixtures_promise() -> None:
    shapes = {
        f.name: [g.get("layout") for g in told(f.name)["grids"] if g["kind"] == "puzzle"]
        for f in BOARDS
    }
    assert [g["block"] for g in shapes["childrens-corner.jpg"]] == [[2, 2], [2, 3]]
    weekend = shapes["weekend.jpg"]
    assert weekend[0]["block"] == [4, 4]
    assert weekend[1] is None
    assert len(set(shapes["irregular.jpg"][0]["regions"])) == 9
    assert shapes["diagonals.jpg"][0]["diagonals"] is True


def test_mistakes_are_where_the_fixtures_say_and_nowhere_else() -> None:
    wrong = {
        fixture.name: sum(
            e not in (".", s) for e, s in zip(g["entries"], g["solution"], strict=True)
        )
        for fixture in PUZZLES
        for g in told(fixture.name)["grids"][:1]
    }
    expected = {"one-mistake.jpg": 1, "mistake-followed.jpg": 4, "six-grids.jpg": 1}
    assert {name: count for name, count in wrong.items() if count} == expected


def test_the_contest_sheet_holds_six_whole_puzzles() -> None:
    assert [g["kind"] for g in told("six-grids.jpg")["grids"]] == ["puzzle"] * 6


def test_the_later_photo_of_the_kitchen_table_only_adds_entries() -> None:
    first, later = (told(n)["grids"][0] for n in ("kitchen-table.jpg", "kitchen-table-later.jpg"))
    assert first["givens"] == later["givens"]
    pairs = list(zip(first["entries"], later["entries"], strict=True))
    assert all(a in (".", b) for a, b in pairs)
    assert sum(a != b for a, b in pairs) >= 5


def test_the_kitchen_table_offers_a_hidden_single_and_no_house_with_one_blank() -> None:
    grid = told("kitchen-table.jpg")["grids"][0]
    cells = [g if g != "." else e for g, e in zip(grid["givens"], grid["entries"], strict=True)]
    assert min(sum(cells[x] == "." for x in house) or 9 for house in HOUSES) > 1
    places = [
        [x for x in house if cells[x] == "." and all(cells[p] != d for p in PEERS[x])]
        for house in HOUSES[18:]
        for d in "123456789"
        if d not in [cells[x] for x in house]
    ]
    assert any(len(spots) == 1 for spots in places)


def test_the_tag_is_on_the_tagged_photo_alone() -> None:
    from PIL import Image

    for fixture in FIXTURES:
        if fixture.name.endswith(".jpg"):
            with Image.open(FOLDER / fixture.name) as photo:
                tag = photo.getexif().get(0x0112, 0)
            assert tag == (6 if fixture.name == "rotation-tag.jpg" else 0)


def test_the_sideways_page_truly_lies_on_its_side() -> None:
    corners = np.array(told("sideways.jpg")["grids"][0]["corners"])
    along = corners[1] - corners[0]  # the reader's top edge
    assert abs(along[1]) > 5 * abs(along[0])


def test_notes_and_struck_notes_stand_where_they_are_promised() -> None:
    cells = told("notes.jpg")["grids"][0]["cells"]
    assert sum(bool(c["notes"]) for c in cells) > 15
    assert sum(bool(c["struck_notes"]) for c in cells) > 3


def test_the_book_page_curls() -> None:
    assert told("book.jpg")["grids"][0]["curl"] > 0.12


def test_pages_without_a_whole_grid_say_so() -> None:
    assert told("no-grid.jpg")["grids"] == []
    assert told("cut-off.jpg")["grids"][0]["kind"] == "cut off"


@pytest.mark.slow
@pytest.mark.parametrize("fixture", FIXTURES, ids=lambda f: f.name)
def test_a_fixture_drawn_anew_has_the_same_truth_and_the_same_photo(fixture: Fixture) -> None:
    try:
        page = drawn(fixture, SystemSupplies())
    except MissingSuppliesError as missing:
        pytest.skip(str(missing))
    assert alike(json.loads(json.dumps(truth_of(fixture, page))), told(fixture.name))
    kept = raster((FOLDER / fixture.name).read_bytes())
    again = raster(stored(page, Path(fixture.name).suffix, fixture.quality))
    assert np.abs(kept - again).mean() < 0.5  # encoders differ a little between builds
