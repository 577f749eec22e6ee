"""Pictures of other boards: their lines, their numbers, their houses."""

from __future__ import annotations

import dataclasses
import re
import xml.etree.ElementTree as ET
from itertools import combinations

import numpy as np
import pytest

import papernudge
from papernudge.cli.pictures import ink
from papernudge.cli.pictures.form import notes_at, outline, ruled
from papernudge.cli.pictures.pictures import read_scene
from papernudge.cli.pictures.printed import board_raster
from papernudge.cli.pictures.scene import answer_scene, nudge_scene
from papernudge.cli.pictures.signs import Scene
from papernudge.cli.pictures.sketch import Placed, sketch
from papernudge.cli.pictures.svg import board_svg
from papernudge.cli.session.pages import page_of_lines
from papernudge.hints.layout import BLOCK, DIAGONAL, EXTRA, Layout
from papernudge.hints.nudge import HouseFocus, Told1
from papernudge.hints.shapes import board_of
from papernudge.vision.mesh import Mesh
from papernudge.vision.reading import CellKind, GridReading

SIX = "5.1....23......2..63...1.5.6......53"
JIGSAW = "ABBBBBCCDAABCCBCEDABBFCCCEDAAGFFFCEDAGGFFFFEDAHGGGFEEDAHGHGGEEDHHHHHHIEDIIIIIIIID"
WINDOWS = "........." + ".AAA.BBB." * 3 + "........." + ".CCC.DDD." * 3 + "........."
BOARDS = {
    "4x4": board_of("2x2"),
    "6x6": board_of("2x3"),
    "16x16": board_of("4x4"),
    "irregular": board_of(regions=JIGSAW, diagonals=True),
    "windows": board_of(diagonals=True, extra=[WINDOWS]),
}


def blank(layout: Layout, givens: str = "") -> GridReading:
    return page_of_lines(givens or layout.blank, layout.blank, layout).grids[0]


@pytest.mark.parametrize("layout", BOARDS.values(), ids=BOARDS)
def test_a_line_is_heavy_where_two_blocks_meet_and_nowhere_else(layout: Layout) -> None:
    """Measured in the picture, at the middle of each edge between two cells."""
    page = board_raster(blank(layout), Scene(layout=layout), 1600)
    grey = page.mean(axis=2)
    rim = np.flatnonzero(grey[grey.shape[0] // 2] < 110)  # the outer lines are heavy
    cell = (rim[-1] - rim[0] - 2) / layout.wide
    left = rim[0] + 1
    top = np.flatnonzero(grey[:, round(left + 0.5 * cell)] < 110)[0] + 1
    reach = round(0.12 * cell)
    for one in layout.cells:
        row, column = layout.place(one)
        y, x = round(top + (row + 0.28) * cell), round(left + (column + 1) * cell)
        if column + 1 < layout.wide:
            dark = (grey[y, x - reach : x + reach] < 90).sum()
            meets = layout.blocks[one] != layout.blocks[one + 1]
            assert (dark >= 0.03 * cell) == meets, (layout.name(one), dark)


@pytest.mark.parametrize("layout", BOARDS.values(), ids=BOARDS)
def test_an_outline_goes_around_a_house_as_often_as_it_has_edges(layout: Layout) -> None:
    for house in layout.houses:
        if house.kind == DIAGONAL:
            continue
        inside = {*house.cells}
        edges = 0
        for cell in inside:
            row, column = layout.place(cell)
            near = ((row - 1, column), (row + 1, column), (row, column - 1), (row, column + 1))
            for r, c in near:
                on = 0 <= r < layout.high and 0 <= c < layout.wide
                edges += not (on and layout.at(r, c) in inside)
        runs = outline(layout, house.cells)
        assert sum(abs(x1 - x0) + abs(y1 - y0) for x0, y0, x1, y1 in runs) == edges


def test_the_lines_of_even_blocks_are_heavy_all_along() -> None:
    lines = ruled(board_of("2x3"))
    assert len(lines) == 14
    assert [run for run, heavy in lines if heavy and run[0] == 0 and run[2] == 6] == [
        (0, 0, 6, 0),
        (0, 2, 6, 2),
        (0, 4, 6, 4),
        (0, 6, 6, 6),
    ]


@pytest.mark.parametrize("side", range(4, 17))
def test_small_notes_of_any_board_lie_inside_their_cell_and_clear_of_each_other(
    side: int,
) -> None:
    boxes = []
    for value, x, y, high in notes_at(range(1, side + 1), 0.2, 0.2, side):
        points = np.vstack(ink.digit(value, x, y, high))
        boxes.append((*points.min(axis=0), *points.max(axis=0)))
        assert min(boxes[-1]) > 0
        assert max(boxes[-1]) < 1
    assert len(boxes) == side
    for a, b in combinations(boxes, 2):
        assert a[2] < b[0] or b[2] < a[0] or a[3] < b[1] or b[3] < a[1]


def test_numbers_of_two_figures_are_drawn_as_they_are_said() -> None:
    layout = board_of("4x4")
    grid = blank(layout, "G9A" + "." * 253)
    root = ET.fromstring(board_svg(grid, Scene(layout=layout)))
    assert [t.text for t in root.iter() if t.get("class") == "given"] == ["16", "9", "10"]
    written = dataclasses.replace(grid.cells[0], kind=CellKind.ENTRY)
    entry = dataclasses.replace(grid, cells=(written, *grid.cells[1:]))
    assert not np.array_equal(
        board_raster(grid, Scene(layout=layout), 800),
        board_raster(entry, Scene(layout=layout), 800),
    )


@pytest.mark.parametrize("ending", [".png", ".svg"])
@pytest.mark.parametrize("depth", [1, 2, 3, 4])
def test_every_depth_of_a_nudge_and_a_check_is_drawn(ending: str, depth: int) -> None:
    """What is drawn for a cell lies in its place on a board of six: the digit to write."""
    sheet = papernudge.read_lines(SIX, blocks="2x3").sheet()
    for answer in (papernudge.nudge(sheet, depth=depth), papernudge.check(sheet, depth=depth)):
        drawn = papernudge.picture(answer, ending)
        assert drawn.startswith(b"\x89PNG" if ending == ".png" else b"<svg")
    scene = answer_scene(papernudge.nudge(sheet, depth=depth))
    thick = [stroke.line for stroke in scene.strokes if stroke.width == 0.08]
    assert bool(thick) == (depth == 4)
    for line in thick:  # 6 in R1C2
        assert (np.floor(line) == [1, 0]).all()


def test_a_house_of_any_kind_is_framed_and_its_own_cells_left_clear() -> None:
    for layout in BOARDS.values():
        for number, house in enumerate(layout.houses):
            scene = nudge_scene(Told1(HouseFocus(number, layout=layout), layout=layout))
            clear = {
                layout.at(r, c)
                for x0, y0, x1, y1 in scene.windows
                for r in range(int(y0), int(y1))
                for c in range(int(x0), int(x1))
            }
            assert clear == set(house.cells), (house.name, layout.plan)
            assert len(scene.tabs) == 1
            assert scene.strokes


@pytest.mark.parametrize("name", ["irregular", "windows"])
def test_tabs_with_long_names_lie_over_no_other(name: str) -> None:
    """Three at once: more than there is room for above a board."""
    layout = BOARDS[name]
    long = [n for n, house in enumerate(layout.houses) if house.kind in (DIAGONAL, EXTRA)]
    if not layout.even:
        long += [n for n, house in enumerate(layout.houses) if house.kind == BLOCK]
    for some in combinations(long, 3):
        scene = Scene(layout=layout)
        for house in some:
            scene.house(house)
        root = ET.fromstring(board_svg(blank(layout), scene))
        boxes = []
        for tab in (p for p in root.iter() if (p.get("class") or "").startswith("tab")):
            numbers = [float(n) for n in (tab.get("d") or "").strip("MZ").split()]
            boxes.append((sorted(numbers[::2]), sorted(numbers[1::2])))
        assert len(boxes) == 3
        for (ax, ay), (bx, by) in combinations(boxes, 2):
            apart = ax[-2] <= bx[1] or bx[-2] <= ax[1] or ay[-2] <= by[1] or by[-2] <= ay[1]
            assert apart, [tab.text for tab in scene.tabs]


def test_extra_blocks_are_tinted_and_diagonals_ruled() -> None:
    layout = BOARDS["windows"]
    svg = board_svg(blank(layout), Scene(layout=layout))
    tinted = re.findall(r'<rect class="text" [^>]*x="(\d+)" y="(\d+)"', svg)
    cells = {layout.at(int(y) // 100, int(x) // 100) for x, y in tinted}
    extra = [house for house in layout.houses if house.kind not in (BLOCK, DIAGONAL)][18:]
    assert cells == {cell for house in extra for cell in house.cells}
    assert svg.count('stroke-opacity="0.5"') == 2
    plain = board_svg(blank(board_of()), Scene())
    assert "opacity" not in plain


def test_a_board_on_a_photo_is_drawn_on_its_own_crossings() -> None:
    """Six rows: seven lines each way, and room beside them."""
    layout = board_of("2x3")
    at = np.arange(7, dtype=np.float64) * 50 + 60
    mesh = Mesh(np.stack(np.meshgrid(at, at), axis=2), np.ones((7, 7), bool))
    grid = dataclasses.replace(blank(layout, SIX), mesh=mesh)
    scene = read_scene(grid, 2)
    assert scene.tabs[0].x == 3
    photo = np.full((420, 420, 3), 235, np.uint8)
    scene = Scene(layout=layout)
    scene.add(ink.ring(*scene.middle(35)))
    drawn = sketch(photo, 0, [Placed(scene, mesh.crossings)], 420, "", close=False)
    y, x = np.nonzero(np.abs(drawn.astype(int) - 235).max(axis=2) > 60)
    assert abs(x.mean() - (60 + 5.5 * 50)) < 4
    assert abs(y.mean() - (60 + 5.5 * 50)) < 4
    close = sketch(photo, 0, [Placed(scene, mesh.crossings)], 1600, "", close=True)
    wide = close.shape[1] / close.shape[0]
    assert abs(wide - (6 + 1.85 + 1.85) / (6 + 1.35 + 1.2)) < 0.02


def test_numbers_of_two_figures_stay_inside_their_cells_and_apart(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """In reasons with any number of digits, in checks and in readings."""
    from papernudge.cli.pictures.scene import checked_scene
    from papernudge.hints import Position
    from papernudge.hints.checking import check
    from papernudge.hints.nudge import DigitFocus, Told3, ToldStep

    layout = BOARDS["16x16"]
    drawn: list[list[np.ndarray]] = []
    usual = ink.digit

    def kept(*place: float) -> list[np.ndarray]:
        lines = usual(*place)
        drawn.append(lines)
        return lines

    monkeypatch.setattr(ink, "digit", kept)
    for gone in range(1, 15):
        struck = ((37, tuple(range(16 - gone + 1, 17))),)
        step = ToldStep("naked pair", (2,), (), struck, layout=layout)
        drawn.clear()
        told = Told3(DigitFocus(1, ()), "naked pair", "hidden single", (), (), 1, (step,))
        nudge_scene(dataclasses.replace(told, layout=layout))
        boxes = [(*np.vstack(one).min(axis=0), *np.vstack(one).max(axis=0)) for one in drawn]
        assert len(boxes) == gone
        for a, b in combinations(boxes, 2):
            assert a[2] < b[0] or b[2] < a[0] or a[3] < b[1] or b[3] < a[1], gone
        assert all(a[0] > 5 and a[2] < 6 and a[1] > 2 and a[3] < 3 for a in boxes)
    drawn.clear()
    starts = [4 * (row % 4) + row // 4 for row in range(layout.side)]  # each row is moved on
    full = "".join(layout.symbols[s:] + layout.symbols[:s] for s in starts)
    sixteen = full.index("G")
    givens = "".join("." if mark == "G" else mark for mark in full)
    wrong = "." * sixteen + "1" + "." * (255 - sixteen)
    checked_scene(check(Position.of(givens, wrong, layout=layout)).at(4))
    read_scene(blank(layout, full), None)
    assert len(drawn) > 256
    for one in drawn:
        points = np.vstack(one)
        low, high = points.min(axis=0), points.max(axis=0)
        assert (np.floor(low) == np.floor(high - 1e-9)).all()
