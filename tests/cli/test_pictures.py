"""Pictures: each depth draws only its own fields, in the photo's geometry, without metadata.

The golden pictures of every depth lie in ``golden/``. ``PAPERNUDGE_GOLDEN=write`` draws them anew:
look at them before they are committed.
"""

from __future__ import annotations

import dataclasses
import os
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from samples import chosen

from papernudge.cli.pictures import ink
from papernudge.cli.pictures.pictures import read_scene
from papernudge.cli.pictures.printed import board_raster
from papernudge.cli.pictures.scene import (
    THICK,
    Scene,
    Stroke,
    answer_scene,
    checked_scene,
    house_box,
    nudge_scene,
)
from papernudge.cli.pictures.sketch import Placed, sketch
from papernudge.cli.session.answers import HintWishes, walk_answer
from papernudge.cli.session.pages import choose
from papernudge.cli.terminal.sources import Source, open_page
from papernudge.hints import Position, next_nudge, walk
from papernudge.hints.checking import check
from papernudge.hints.nudge import DigitFocus, HouseFocus, Told1, Told2, Told3, Told4, ToldStep
from papernudge.hints.pattern import Barred, Pattern
from papernudge.vision.reading import CellKind, CellReading, Doubt, GridReading

Run = Callable[..., Any]
GOLDEN = Path(__file__).parent / "golden"
EMPTY = "." * 81

REASON: dict[str, Any] = {
    "technique": "hidden single",
    "opened": "hidden single",
    "houses": (20,),
    "evidence": (3, 15, 44),
    "looks": 4,
    "line": (
        ToldStep(
            "locked candidates",
            (2,),
            (18,),
            ((25, (6,)),),
            pattern=Pattern(
                1 << 5,
                (("locked", 1 << 22 | 1 << 23),),
                (("base", (19,)), ("cover", (2,))),
            ),
        ),
    ),
    "noted": (26,),
    "pattern": Pattern(
        1 << 5,
        (("witness", 1 << 52), ("filled", 1 << 6 | 1 << 8 | 1 << 15 | 1 << 16)),
        (("base", (20,)),),
        barred=(Barred(52, 1 << 7 | 1 << 25),),
    ),
}
TOLD = {
    1: Told1(HouseFocus(20)),
    2: Told2(HouseFocus(20), "hidden single"),
    3: Told3(HouseFocus(20), **REASON),
    4: Told4(HouseFocus(20), **REASON, places=((17, 6),)),
}


PUZZLE = ".3.2..5.9.79..438..........3.27....5..8.3.4..4....26.7..........245..76.9.7..6.5."
# Two digits that repeat others, one that repeats nothing, and notes that lost the right digit.
ENTRIES = "2.4" + "." * 33 + "5" + "." * 44
NOTES = {80: [1, 2]}


def drawn(scene: Scene, side: int = 420) -> np.ndarray:
    grid = reading(PUZZLE, ENTRIES)
    noted = dataclasses.replace(grid.cells[80], notes=frozenset(NOTES[80]))
    grid = dataclasses.replace(grid, cells=(*grid.cells[:80], noted))
    return board_raster(grid, scene, side)


def checked_at(depth: int) -> Scene:
    return checked_scene(check(Position.of(PUZZLE, ENTRIES, NOTES)).at(depth))


def reading(givens: str, entries: str) -> GridReading:
    return open_page(Source(None, givens, entries)).grids[0]


def agrees(picture: np.ndarray, name: str) -> bool:
    """Whether a picture is the golden one, within what fonts and libraries may differ by."""
    path = GOLDEN / f"{name}.png"
    if os.environ.get("PAPERNUDGE_GOLDEN") == "write":
        GOLDEN.mkdir(exist_ok=True)
        cv2.imwrite(str(path), picture, [cv2.IMWRITE_PNG_COMPRESSION, 9])
    golden = cv2.imread(str(path))
    assert golden is not None, f"{path.name} is missing"
    if golden.shape != picture.shape:
        return False
    away = cv2.absdiff(cv2.blur(golden, (5, 5)), cv2.blur(picture, (5, 5))).mean(axis=2)
    tiles = cv2.resize(away, None, fx=1 / 12, fy=1 / 12, interpolation=cv2.INTER_AREA)
    return float(tiles.max()) < 9


@pytest.mark.parametrize("depth", [1, 2, 3, 4])
def test_the_golden_nudge_of_each_depth(depth: int) -> None:
    assert agrees(drawn(nudge_scene(TOLD[depth])), f"nudge-{depth}")


@pytest.mark.parametrize("depth", [1, 2, 3, 4])
def test_the_golden_check_of_each_depth(depth: int) -> None:
    assert agrees(drawn(checked_at(depth)), f"check-{depth}")


def test_a_golden_picture_of_another_depth_does_not_agree() -> None:
    if os.environ.get("PAPERNUDGE_GOLDEN") == "write":
        pytest.skip("goldens are being written")
    assert not agrees(drawn(nudge_scene(TOLD[4])), "nudge-3")
    assert not agrees(drawn(nudge_scene(TOLD[3])), "nudge-2")
    assert not agrees(drawn(checked_at(4)), "check-3")
    assert not agrees(drawn(checked_at(2)), "check-1")


def described_lines(strokes: list[Stroke]) -> list[bytes]:
    return sorted(s.line.round(6).tobytes() for s in strokes)


def described(scene: Scene) -> Any:
    strokes = [(s.ink, s.width, s.line.round(6).tobytes()) for s in scene.strokes]
    return strokes, scene.tabs, scene.windows


def test_two_nudges_with_the_same_depth_1_have_the_same_picture_at_depth_1() -> None:
    """What depth 1 draws can't depend on what only deeper depths hold."""
    one = Told1(DigitFocus(7, (3, 50)))
    deep = Told4(DigitFocus(7, (3, 50)), **REASON, places=((17, 6),))
    shallow = Told1(**{f.name: getattr(deep, f.name) for f in dataclasses.fields(Told1)})
    assert described(nudge_scene(one)) == described(nudge_scene(shallow))
    assert described(nudge_scene(one)) != described(nudge_scene(deep))


@pytest.mark.parametrize(
    "givens",
    [PUZZLE, "8..9...2...6......57......8.618.4.3...82.67...9.3.128.7......12......8...1...7..5"],
)
def test_along_a_whole_solve_depths_1_and_2_draw_the_focus_alone(givens: str) -> None:
    """At depth 3 nothing is drawn into the cells to be written but rings around other things."""
    steps = walk(Position.of(givens)).steps
    assert steps
    for step in steps:
        scenes = [nudge_scene(step.nudge.at(depth)) for depth in (1, 2, 3, 4)]
        focus = step.nudge.focus
        if focus.house is not None:
            box = tuple(map(float, house_box(focus.house)))
            assert [tuple(map(float, w)) for w in scenes[0].windows] == [box]
        else:
            cells = {(c % 9, c // 9) for c in focus.cells} or {(0, 0)}
            assert {(x, y) for x, y, _, _ in scenes[0].windows} == cells
        assert described(scenes[0]) == described(scenes[1])
        assert len(scenes[2].strokes) < len(scenes[3].strokes)
        thick = [s for s in scenes[2].strokes if s.width == THICK]
        assert thick == []  # handwritten digits to write are the only thick strokes
        written = [s for s in scenes[3].strokes if s.width == THICK]
        cell, digit = step.nudge.line.places[0]
        assert described_lines(written) == described_lines(
            [
                Stroke(line)
                for line in ink.digit(digit, cell % 9 + 0.5, cell // 9 + 0.5 - 0.03, 0.62)
            ]
        )


def test_a_walk_draws_its_order_where_it_writes_and_nowhere_else() -> None:
    sheet = choose(open_page(Source(None, PUZZLE, EMPTY)), None)
    scene = answer_scene(walk_answer(sheet, 4, HintWishes()))
    marked = {(int(slip.x), int(slip.y)) for slip in scene.slips}
    assert marked == {(c % 9, c // 9) for c in range(81) if PUZZLE[c] == "."}
    assert "Write" not in scene.caption


@pytest.mark.parametrize("depth", [1, 2, 3])
def test_a_walk_short_of_depth_4_draws_its_first_step_at_that_depth(depth: int) -> None:
    sheet = choose(open_page(Source(None, PUZZLE, EMPTY)), None)
    scene = answer_scene(walk_answer(sheet, depth, HintWishes()))
    nudge = next_nudge(sheet.position)
    assert nudge is not None
    assert scene.slips == []
    assert described(scene) == described(nudge_scene(nudge.at(depth)))


@pytest.mark.slow
def test_the_numbers_of_a_walk_are_light_on_dark_and_its_path_is_seen_on_white() -> None:
    """So that no number reads as a digit written in pencil, and the way can be followed."""
    sheet = choose(open_page(Source(None, PUZZLE, EMPTY)), None)
    scene = answer_scene(walk_answer(sheet, 4, HintWishes(route=True)))
    assert scene.slips[0].text == "1"
    page = np.full((600, 600, 3), 255, np.uint8)
    at = np.arange(10, dtype=np.float64) * 60 + 30
    crossings = np.stack(np.meshgrid(at, at), axis=2)
    drawn_on = sketch(page, 0, [Placed(scene, crossings)], 600, "", close=False)
    for slip in scene.slips:
        x, y = round(slip.x * 60 + 30), round(slip.y * 60 + 30)
        around = drawn_on[y - 12 : y + 12, x - 8 : x + 8].mean(axis=2)
        assert np.median(around) < 140
        assert around.max() > 215
    for stroke in scene.strokes:
        x, y = (stroke.line[len(stroke.line) // 2] * 60 + 30).round().astype(int)
        assert drawn_on[y - 2 : y + 3, x - 2 : x + 3].mean(axis=2).min() < 170


def inside_a_cell(line: np.ndarray) -> bool:
    low, high = line.min(axis=0), line.max(axis=0)
    return bool((np.floor(low) == np.floor(high - 1e-9)).all())


def test_drawn_digits_stay_inside_their_cells(grid_says: Any, puzzle: str) -> None:
    """In nudges, checks, misprints and readings alike: every line that a digit is drawn with."""
    from unittest.mock import patch

    lines: list[np.ndarray] = []
    usual = ink.digit

    def kept(*place: Any) -> Any:
        drawn_lines = usual(*place)
        lines.extend(drawn_lines)
        return drawn_lines

    noted = CellReading(CellKind.BLANK, None, 1.0, notes=frozenset(range(1, 10)))
    with patch.object(ink, "digit", kept):
        for depth in (3, 4):
            nudge_scene(TOLD[depth])
            checked_at(depth)
            checked_scene(check(Position.of(PUZZLE[:8] + "3" + PUZZLE[9:])).at(depth))
        for gone in range(1, 10):
            step = ToldStep("naked pair", (2,), (), ((25, tuple(range(1, gone + 1))),))
            nudge_scene(dataclasses.replace(TOLD[3], line=(step,)))
        read_scene(grid_says(puzzle, "2" + "." * 80, changed={4: noted}), None)
    assert len(lines) > 100
    assert all(map(inside_a_cell, lines))


def test_a_witness_is_tied_to_what_it_blocks_and_no_other_digit_of_its_kind_is_ringed() -> None:
    """Each ring is a witness, each cross a blank that it sees."""
    steps = [step.nudge.at(3) for step in walk(Position.of(PUZZLE)).steps]
    told = next(
        told
        for told in steps
        if isinstance(told, Told3)
        and isinstance(told.focus, DigitFocus)
        and not told.line
        and told.pattern.by_role("filled")
        and set(told.focus.cells) - set(told.evidence)
    )
    scene = nudge_scene(told)
    witnesses = {one.witness for one in told.pattern.barred}
    rings = {
        tuple(np.floor(s.line.mean(axis=0)).astype(int).tolist())
        for s in scene.strokes
        if len(s.line) > 30
    }
    assert {(c % 9, c // 9) for c in witnesses} <= rings
    others = set(told.focus.cells) - set(told.evidence)
    assert not {(c % 9, c // 9) for c in others} & rings
    names = [sign.name for sign in scene.legend]
    assert names[:2] == ["keeps the digit out", "takes up room"]
    assert "blocked" in names


def test_a_depth_adds_strokes_and_takes_none_away() -> None:
    counts = [len(nudge_scene(TOLD[d]).strokes) for d in (1, 2, 3, 4)]
    assert counts == sorted(counts)
    assert counts[0] == counts[1] < counts[2] < counts[3]


def test_depth_1_and_2_of_a_check_draw_no_cell() -> None:
    assert checked_at(1).windows == []
    assert all(max(x1 - x0, y1 - y0) > 1 for x0, y0, x1, y1 in checked_at(2).windows)


def test_inks_differ_for_every_colour_vision_and_signs_differ_in_shape() -> None:
    from papernudge.cli.pictures.sketch import INKS

    # Dichromacy by dropping one cone's share of the difference leaves blue and orange apart.
    blue, orange = np.array(INKS["blue"], float), np.array(INKS["orange"], float)
    to_grey = np.array([0.114, 0.587, 0.299])
    assert abs((blue - orange) @ to_grey) > 40
    assert abs(blue[0] - orange[0]) > 100
    hatch = ink.hatching(0, 0)
    assert len(hatch) > 4
    assert all(len(line) < 40 for line in hatch)


def test_marks_lie_where_the_photo_shows_the_grid(desk: Any, grid_says: Any, mesh_at: Any) -> None:
    """A ring around a cell falls on the cell's own place in a leaning, curled grid."""
    mesh = mesh_at()
    page = np.full((720, 760, 3), 235, np.uint8)
    scene = Scene()
    scene.add(ink.ring(6.5, 3.5), "blue", 0.08)
    whole = sketch(page, 0, [Placed(scene, mesh.crossings)], 760, "", close=False)
    y, x = np.nonzero(np.abs(whole.astype(int) - 235).max(axis=2) > 60)
    centre = mesh.crossings[3:5, 6:8].reshape(-1, 2).mean(axis=0)
    assert abs(x.mean() - centre[0]) < 4
    assert abs(y.mean() - centre[1]) < 4
    assert np.ptp(x) < 75


@pytest.mark.parametrize("turns", [0, 1, 2, 3])
def test_a_turned_photo_is_drawn_upright(mesh_at: Any, turns: int) -> None:
    """The tab of row 1 is at the left, whichever way the raster lies."""
    mesh = mesh_at(60.0, (90.0, 90.0))
    upright = np.full((720, 720, 3), 235, np.uint8)
    raster = np.ascontiguousarray(np.rot90(upright, turns))  # undone by `turns` clockwise
    points = mesh.crossings.reshape(-1, 2)
    for _ in range(turns):  # counter-clockwise: (x, y) becomes (y, 719 - x)
        points = np.stack([points[:, 1], 719 - points[:, 0]], axis=1)
    placed = Placed(nudge_scene(Told1(HouseFocus(0))), points.reshape(10, 10, 2))
    picture = sketch(raster, turns, [placed], 700, "", close=True)
    blue = (picture[..., 0].astype(int) - picture[..., 2]) > 60
    y, x = np.nonzero(blue)
    assert x.mean() < 0.55 * picture.shape[1]
    assert y.mean() < 0.3 * picture.shape[0]


@pytest.mark.parametrize("side", chosen([240, 800, 1600], 800))
def test_no_side_is_longer_than_asked(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str, side: int
) -> None:
    photo = desk.says("breakfast.jpg", grid_says(puzzle))
    out = desk.folder / "out.png"
    for words in (["hint", "--tell", "3"], ["read"], ["check"]):
        ran = papernudge(*words, photo, "--picture", out, "--picture-side", side)
        assert ran.code == 0, ran.err
        picture = cv2.imread(str(out))
        assert picture is not None
        assert max(picture.shape) <= side


def test_pictures_carry_pixels_and_nothing_else(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    from PIL import Image

    photo = desk.says("breakfast.jpg", grid_says(puzzle))
    for name in ("out.png", "out.jpg"):
        papernudge("hint", photo, "--picture", desk.folder / name)
        with Image.open(desk.folder / name) as picture:
            assert not picture.getexif()
            assert not set(picture.info) - {"jfif", "jfif_version", "jfif_density", "jfif_unit"}


def test_the_same_question_draws_the_same_picture(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    photo = desk.says("breakfast.jpg", grid_says(puzzle))
    files = [desk.folder / "one.png", desk.folder / "two.png"]
    for file in files:
        papernudge("hint", photo, "--tell", 3, "--picture", file)
    assert files[0].read_bytes() == files[1].read_bytes()


def test_the_board_as_svg_is_well_formed_and_says_the_sentence(
    papernudge: Run, tmp_path: Path, puzzle: str
) -> None:
    out = tmp_path / "board.svg"
    nudge = next_nudge(Position.of(puzzle))
    assert nudge is not None
    for depth in (1, 2, 3, 4):
        papernudge("hint", "--given-line", puzzle, "--tell", depth, "--picture", out)
        root = ET.fromstring(out.read_text("utf-8"))
        title = root.find("{http://www.w3.org/2000/svg}title")
        assert title is not None
        assert title.text == nudge.at(depth).sentence
        givens = [t for t in root.iter() if t.get("class") == "given"]
        assert len(givens) == sum(c != "." for c in puzzle)
    assert "prefers-color-scheme: dark" in out.read_text("utf-8")
    assert "http" not in out.read_text("utf-8").replace("http://www.w3.org/2000/svg", "")


def test_captions_and_legends_of_an_svg_fit_in_a_wide_typeface_too() -> None:
    """Measured with the typeface inside Pillow, which is about as wide as usual ones, and a tenth
    more.
    """
    from PIL import ImageFont

    from papernudge.cli.pictures.svg import board_svg

    font = ImageFont.load_default(100)
    scene = nudge_scene(TOLD[3])
    words = "With R1C1, R2C2 and R3C3, what MOMMSEN wrote on Wednesday leaves one place in block 5."
    scene.caption = " ".join([words] * 6)
    root = ET.fromstring(board_svg(reading(PUZZLE, ENTRIES), scene))
    wide, high = (float(n) for n in (root.get("viewBox") or "").split()[2:])
    outside = [t for t in root if t.tag.endswith("text")]
    assert " ".join(t.text or "" for t in outside) == scene.caption
    for text in outside:
        size, x, y = (float(text.get(k) or 0) for k in ("font-size", "x", "y"))
        assert x + 1.1 * font.getlength(text.text or "") * size / 100 <= wide
        assert y < high
    board = next(g for g in root if g.tag.endswith("}g"))
    named = [t for t in board if t.tag.endswith("text") and t.get("font-size") == "34"]
    assert [t.text for t in named] == [sign.name for sign in scene.legend]
    for text in named:
        end = float(text.get("x") or 0) + 1.1 * font.getlength(text.text or "") * 0.34
        assert end + 225 <= wide
        below = min(float(t.get("y") or 0) - float(t.get("font-size") or 0) for t in outside)
        assert float(text.get("y") or 0) + 115 < below


def test_tabs_never_lie_over_each_other_on_any_board() -> None:
    """Row, column and block tabs, and the digit's, all at once."""
    import itertools

    from papernudge.cli.pictures.svg import board_svg

    for house in (0, 4, 9, 13, 17, 18, 19, 22, 23, 26):
        scene = nudge_scene(Told1(DigitFocus(7, (3, 50))))
        scene.house(house)
        root = ET.fromstring(board_svg(reading(PUZZLE, ENTRIES), scene))
        boxes = []
        for tab in (p for p in root.iter() if (p.get("class") or "").startswith("tab")):
            numbers = [float(n) for n in (tab.get("d") or "").strip("MZ").split()]
            boxes.append((sorted(numbers[::2]), sorted(numbers[1::2])))
        assert len(boxes) == 2
        for (ax, ay), (bx, by) in itertools.combinations(boxes, 2):
            apart = ax[-2] <= bx[1] or bx[-2] <= ax[1] or ay[-2] <= by[1] or by[-2] <= ay[1]
            assert apart, house


def test_a_reading_is_drawn_with_crossings_kinds_and_doubts(grid_says: Any, puzzle: str) -> None:
    plain = read_scene(grid_says(puzzle), None)
    entries = "2" + "." * 80
    written = read_scene(grid_says(puzzle, entries), None)
    doubted = read_scene(
        grid_says(puzzle, entries, doubts=(Doubt(0, "digit", 2, 0.5, ((7, 0.5),)),)), 2
    )
    assert len(plain.strokes) > 200  # a cross of two strokes at each of 100 crossings
    assert len(plain.strokes) < len(written.strokes) < len(doubted.strokes)
    assert [tab.text for tab in doubted.tabs] == ["grid 2"]


def test_a_grid_that_was_not_read_is_outlined_and_named(
    papernudge: Run, desk: Any, mesh_at: Any
) -> None:
    from papernudge.vision.grid import GridKind, Quality

    corners = mesh_at().corners
    grid = GridReading(GridKind.CUT_OFF, corners, Quality(False, "cut off", "Move back."))
    scene = read_scene(grid, None)
    assert [tab.text for tab in scene.tabs] == ["cut off"]
    out = desk.folder / "out.png"
    assert papernudge("read", desk.says("breakfast.jpg", grid), "--picture", out).code == 3
    picture = cv2.imread(str(out))
    assert picture is not None
    orange = (picture[..., 2].astype(int) - picture[..., 0]) > 100
    scale = picture.shape[1] / 760
    orange[: int(30 * scale)] = False  # the desk tells its photos apart by noise up there
    x = np.nonzero(orange)[1]
    assert abs(x.min() / scale - corners[:, 0].min()) < 12
    assert abs(x.max() / scale - corners[:, 0].max()) < 12


def test_a_question_is_drawn_where_it_stands(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    doubt = Doubt(1, "digit", 3, 0.6, ((8, 0.4),))
    photo = desk.says("breakfast.jpg", grid_says(puzzle, doubts=(doubt,)))
    out = desk.folder / "question.png"
    assert papernudge("hint", photo, "--picture", out).code == 6
    assert cv2.imread(str(out)) is not None


def test_several_grids_get_a_line_each_and_a_table(
    papernudge: Run, desk: Any, grid_says: Any, mesh_at: Any, puzzle: str
) -> None:
    import json

    left, right = mesh_at(30.0, (20.0, 40.0)), mesh_at(30.0, (400.0, 40.0))
    grids = grid_says(puzzle, mesh=left), grid_says(puzzle, "2" + "." * 80, mesh=right)
    photo = desk.says("sheet.jpg", *grids, size=(760, 420))
    ran = papernudge("check", photo)
    assert ran.code == 1
    assert "Grid 1: Right so far" in ran.out
    assert "Grid 2: One digit" in ran.out
    table = [line.split() for line in ran.out.splitlines()[-3:]]
    assert table[0] == ["grid", "right", "wrong", "blank", "state"]
    assert table[2][:5] == ["2", "0", "1", "51", "mistaken"]
    told = json.loads(papernudge("check", photo, "--json").out)
    assert [g["grid"] for g in told["grids"]] == [1, 2]
    assert (told["grid"], told["state"]) == (1, "right so far")
    out = desk.folder / "all.png"
    assert papernudge("check", photo, "--picture", out).code == 1
    picture = cv2.imread(str(out))
    assert picture is not None
    assert max(picture.shape) <= 1600
    only = papernudge("check", photo, "--grid", 2)
    assert only.out == "Grid 2 of 2 on the page. One digit you wrote can't be right.\n"
    hint = papernudge("hint", photo)
    assert hint.out.startswith("Grid 1 of 2 on the page. ")


def test_since_tells_what_was_written_between_two_photos(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    from papernudge.hints import solve

    solution = solve(puzzle) or ""
    blank = [c for c in range(81) if puzzle[c] == "."]
    before = "".join(solution[c] if c in blank[:3] else "." for c in range(81))
    after = list(before)
    after[blank[5]] = solution[blank[5]]
    after[blank[9]] = str(int(solution[blank[9]]) % 9 + 1)
    misread = puzzle.replace("3", "8", 1)  # one printed digit of the earlier photo read wrong
    early = desk.says("early.jpg", grid_says(misread, before))
    late = desk.says("late.jpg", grid_says(puzzle, "".join(after)))
    ran = papernudge("check", late, "--since", early)
    assert ran.code == 1
    assert ran.out == (
        "One digit you wrote can't be right: one of the 2 written since the earlier photo.\n"
    )
    other = desk.says("other.jpg", grid_says(solution))
    ran = papernudge("hint", late, "--since", other)
    assert ran.code == 2
    assert "does not show the same printed digits" in ran.err
