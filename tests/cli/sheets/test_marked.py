"""``papernudge mark --picture``: the result on the photo, in signs and words.

The golden pictures lie in ``tests/cli/golden``; ``PAPERNUDGE_GOLDEN=write`` draws them anew.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from papernudge.cli.pictures.printed import board_raster
from papernudge.cli.sheets.code import Task
from papernudge.cli.sheets.mark import Marked, MarkedPage, result_of
from papernudge.cli.sheets.marked import marked_picture, marked_scene
from papernudge.cli.sheets.sheet import pages_of
from papernudge.cli.terminal.sources import Source, open_page
from papernudge.hints.drilling import Reason
from papernudge.hints.solver import solve
from papernudge.vision.reading import Doubt

sys.path.insert(0, str(Path(__file__).parents[1]))
from test_pictures import agrees

Run = Callable[..., Any]
DIGITS = "53..7....6..195....98....6.8...6...34..8.3..17...2...6.6....28....419..5....8..79"
SOLUTION = solve(DIGITS) or ""
ASKED, OTHER = (69, int(SOLUTION[69])), (40, int(SOLUTION[40]))
WRONG = (69, ASKED[1] % 9 + 1)
TASK = Task(3, DIGITS, SOLUTION, Reason.parse("hidden single in a block"), 4, ((ASKED,),))
WRITTEN = {"right": (ASKED,), "wrong": (OTHER, WRONG), "also valid": (OTHER,), "blank": ()}


def answer_of(result: str) -> Marked:
    if result == "unsure":
        doubt = Doubt(69, "digit", ASKED[1], 0.8, ((WRONG[1], 0.2),))
        return Marked(TASK, (OTHER, ASKED), "unsure", (doubt,))
    assert result_of(TASK, WRITTEN[result]) == result
    return Marked(TASK, WRITTEN[result], result)


RESULTS = ("right", "wrong", "also valid", "blank", "unsure")


@pytest.mark.parametrize("result", RESULTS)
def test_the_golden_picture_of_each_result(result: str) -> None:
    answer = answer_of(result)
    entries = ["."] * 81
    for cell, digit in answer.written:
        entries[cell] = str(digit)
    grid = open_page(Source(None, DIGITS, "".join(entries))).grids[0]
    picture = board_raster(grid, marked_scene(answer), 420)
    assert agrees(picture, f"marked-{result.replace(' ', '-')}")


def test_results_differ_in_their_signs_not_only_in_their_ink() -> None:
    shapes = [
        [stroke.line.round(4).tobytes() for stroke in marked_scene(answer_of(result)).strokes]
        for result in RESULTS
    ]
    assert len({tuple(shape) for shape in shapes}) == len(RESULTS)
    words = [marked_scene(answer_of(result)).tabs[0].text for result in RESULTS]
    assert words == [f"3  {result}" for result in RESULTS]


def test_the_right_digit_is_not_given_away() -> None:
    """What is drawn for a wrong digit is the same whatever the right one is."""
    wrong = answer_of("wrong")
    scenes = []
    for right in (ASKED[1], WRONG[1] % 9 + 1):
        solution = SOLUTION[:69] + str(right) + SOLUTION[70:]
        task = Task(3, DIGITS, solution, TASK.reason, 4, (((69, right),),))
        scene = marked_scene(Marked(task, wrong.written, "wrong"))
        scenes.append([stroke.line.round(4).tobytes() for stroke in scene.strokes])
    assert scenes[0] == scenes[1]


def test_a_position_that_was_not_found_is_named_below() -> None:
    (page,) = pages_of([TASK], 1, "a4")
    pixels = np.full((300, 240, 3), 230, np.uint8)
    marked = MarkedPage("table.jpg", page, (Marked(TASK, (), "unsure"),), pixels)
    data = marked_picture(marked, 400, ".png")
    assert data.startswith(b"\x89PNG")
    import papernudge.cli.sheets.marked as drawing

    assert drawing.summed(marked).endswith("1 unsure. Number 3 can't be read here.")


def test_signs_lie_on_the_photo_where_the_digit_is(mesh_at: Any) -> None:
    """On a leaning, curled grid the hatching of R8C7 covers that cell and no other."""
    import cv2

    mesh = mesh_at()
    (page,) = pages_of([TASK], 1, "a4")
    pixels = np.full((720, 760, 3), 235, np.uint8)
    answer = Marked(TASK, (WRONG,), "wrong", crossings=mesh.crossings)
    data = marked_picture(MarkedPage("desk.jpg", page, (answer,), pixels), 2000, ".png")
    picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    assert picture is not None
    scale = picture.shape[1] / pixels.shape[1]
    inside = mesh.crossings[7:9, 6:8].reshape(-1, 2) * scale
    orange = picture[..., 2].astype(int) - picture[..., 0] > 80
    top, left = inside.min(axis=0)[::-1].astype(int), inside.max(axis=0)[::-1].astype(int)
    here = orange[top[0] : left[0], top[1] : left[1]]
    assert here.mean() > 0.1
    above = mesh.crossings[1, :].max(axis=0)[1] * scale  # below the tab at the grid's upper rim
    elsewhere = orange[int(above) : int(760 * scale)].sum() - here.sum()
    assert elsewhere < 0.35 * here.sum()


def test_words_that_are_off_are_named(papernudge: Run) -> None:
    for said, words in (
        ("ends in .png", ["a.jpg", "--picture", "out.svg"]),
        ("draws one photo", ["a.jpg", "b.jpg", "--picture", "out.png"]),
        ("over the photo itself", ["a.png", "--picture", "a.png"]),
    ):
        ran = papernudge("mark", *words)
        assert ran.code == 2
        assert said in ran.err
