"""``papernudge mark``: photographed sheets marked, logged and drawn over weeks."""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

from papernudge.cli.sheets.code import SheetPage, Task
from papernudge.cli.sheets.mark import judged, result_of
from papernudge.cli.sheets.sheet import drawn, pages_of
from papernudge.hints.drilling import Reason, drills_in
from papernudge.hints.generate import puzzle

sys.path.insert(0, str(Path(__file__).parent))
from photos import photographed, printed, sheet_spec

Run = Callable[..., Any]
SCHEMA = json.loads(
    (Path(__file__).resolve().parents[3] / "cli" / "schema.json").read_text("utf-8")
)


def _task(seed: int, number: int) -> Task:
    for drill in drills_in(puzzle(seed), [Reason.parse("hidden single")]):
        if len(drill.answers) <= 3 and drill.digits.count(".") > 20:
            return Task(
                number, drill.digits, drill.solution, drill.reason, drill.looks, drill.answers
            )
    raise AssertionError(f"puzzle {seed} asks for no hidden single")


TASKS = tuple(_task(seed, seed + 1) for seed in range(4))


def other_right(task: Task) -> tuple[int, int]:
    """A digit that is right, but not the one asked for."""
    asked = {place for places in task.answers for place in places}
    free = ((c, int(task.solution[c])) for c, mark in enumerate(task.digits) if mark == ".")
    return next(place for place in free if place not in asked)


def chances_of(task: Task, written: dict[int, int]) -> Any:
    chances = np.zeros((81, 10))
    for cell, mark in enumerate(task.digits):
        chances[cell, int(mark) if mark != "." else written.get(cell, 0)] = 1.0
    return chances


# ------------------------------------------------------------ what an answer comes to


def test_nothing_written_is_blank() -> None:
    assert result_of(TASKS[0], ()) == "blank"


def test_right_wrong_and_also_valid_are_told_apart() -> None:
    task = TASKS[0]
    cell, digit = task.answers[0][0]
    assert result_of(task, ((cell, digit),)) == "right"
    assert result_of(task, ((cell, digit % 9 + 1),)) == "wrong"
    assert result_of(task, (other_right(task),)) == "also valid"
    assert result_of(task, ((cell, digit), other_right(task))) == "right"
    away, value = other_right(task)
    assert result_of(task, ((cell, digit), (away, value % 9 + 1))) == "wrong"


def test_a_line_of_several_cells_is_right_only_when_whole() -> None:
    one = TASKS[0]
    places = (one.answers[0][0], other_right(one))
    task = Task(1, one.digits, one.solution, one.reason, 3, (places,))
    assert result_of(task, places) == "right"
    assert result_of(task, places[:1]) == "also valid"


def test_ink_that_could_be_right_or_wrong_is_unsure_and_asked_about() -> None:
    task = TASKS[0]
    cell, digit = task.answers[0][0]
    chances = chances_of(task, {cell: digit})
    chances[cell, digit], chances[cell, digit % 9 + 1] = 0.9, 0.1
    found = judged(task, chances)
    assert found.result == "unsure"
    (doubt,) = found.doubts
    assert (doubt.cell, doubt.read) == (cell, digit)
    assert doubt.instead == ((digit % 9 + 1, pytest.approx(0.1)),)


def test_ink_that_is_wrong_either_way_is_wrong() -> None:
    task = TASKS[0]
    cell, digit = task.answers[0][0]
    chances = chances_of(task, {cell: digit % 9 + 1})
    chances[cell] = 0.0
    chances[cell, digit % 9 + 1] = chances[cell, (digit + 1) % 9 + 1] = 0.5
    assert judged(task, chances).result == "wrong"


def test_a_smudge_beside_a_right_answer_matters_only_as_far_as_its_chance() -> None:
    task = TASKS[0]
    cell, digit = task.answers[0][0]
    away, value = other_right(task)
    chances = chances_of(task, {cell: digit})
    chances[away, 0], chances[away, value % 9 + 1] = 0.99, 0.01
    assert judged(task, chances).result == "right"
    chances[away, 0], chances[away, value % 9 + 1] = 0.8, 0.2
    assert judged(task, chances).result == "unsure"


# ------------------------------------------------------------ photos


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> tuple[SheetPage, Any, Path]:
    """A page with four positions, as it comes out of the printer."""
    if shutil.which("pdftoppm") is None:
        pytest.skip("pdftoppm is absent here: install poppler-utils")
    folder = tmp_path_factory.mktemp("kitchen-table")
    (page,) = pages_of(TASKS, 4, "a4")
    pdf = folder / "sheet.pdf"
    pdf.write_bytes(drawn([page], "Practice: hidden single"))
    return page, printed(pdf, 1), folder


@pytest.fixture(scope="module")
def filled(sheet: tuple[SheetPage, Any, Path]) -> Path:
    """Right, wrong, also valid and blank, in a hand of our own."""
    import cv2

    from papernudge.digits_model.training.pages.own import OwnSupplies

    page, raster, folder = sheet
    right, wrong = TASKS[0].answers[0][0], TASKS[1].answers[0][0]
    written = {
        1: {right[0]: right[1]},
        2: {wrong[0]: wrong[1] % 9 + 1},
        3: dict([other_right(TASKS[2])]),
        4: {},
    }
    spec = sheet_spec("easy", 3, "test", 2000)
    photo = folder / "breakfast.png"
    cv2.imwrite(str(photo), photographed(page, raster, written, spec, OwnSupplies()))
    return photo


def test_words_that_are_off_are_named(papernudge: Run) -> None:
    for said, words in (
        ("Name a photo", []),
        ("only once", ["-", "-"]),
        ("--day looks like", ["a.jpg", "--day", "yesterday"]),
        ("name one PHOTO", ["a.jpg", "b.jpg", "--seconds", 60]),
        ("as 3:R4C7=1", ["a.jpg", "--assume", "R4C7=1"]),
        ("not both", ["a.jpg", "--json", "--json-lines"]),
    ):
        ran = papernudge("mark", *words)
        assert ran.code == 2
        assert said in ran.err


def test_a_photo_without_a_sheet_says_what_is_missing(papernudge: Run, tmp_path: Path) -> None:
    assert papernudge("mark", tmp_path / "missing.jpg").code == 5
    page = Path(__file__).resolve().parents[3] / "fixtures" / "clean.png"
    ran = papernudge("mark", page, "--json", "--log", tmp_path / "log")
    assert ran.code == 3
    assert "no sheet code" in ran.err
    told = json.loads(ran.out)
    jsonschema.validate(told, SCHEMA)
    assert told["error"]["reason"] == "no code"
    assert not (tmp_path / "log").exists()


@pytest.mark.slow
def test_a_code_of_something_else_is_told_apart_from_none(papernudge: Run, tmp_path: Path) -> None:
    import cv2

    page = cv2.imread(str(Path(__file__).resolve().parents[3] / "fixtures" / "clean.png"))
    symbol = cv2.QRCodeEncoder.create().encode("https://example.org/lantern")
    code = cv2.resize(symbol, (240, 240), interpolation=cv2.INTER_NEAREST)
    foot = np.full((300, page.shape[1], 3), 240, np.uint8)
    foot[30:270, 30:270] = code[..., None]
    cv2.imwrite(str(tmp_path / "other.png"), np.concatenate([page, foot]))
    ran = papernudge("mark", tmp_path / "other.png")
    assert ran.code == 3
    assert "shows a square code, but of something else than papernudge drill" in ran.err


def test_grids_that_are_none_of_the_codes_positions_are_another_sheets() -> None:
    from types import SimpleNamespace

    from papernudge.cli.sheets.mark import _is_elsewhere

    def shown(task: Task) -> Any:
        return SimpleNamespace(chances=chances_of(task, {}))

    grids = [shown(task) for task in TASKS[2:]]
    assert _is_elsewhere(TASKS[:2], grids)
    assert not _is_elsewhere(TASKS[:2], [*grids, shown(TASKS[1])])
    assert not _is_elsewhere(TASKS[:2], [])


def test_a_photographed_sheet_is_marked_and_kept(
    papernudge: Run, filled: Path, tmp_path: Path
) -> None:
    log = tmp_path / "practice.log"
    ran = papernudge(
        "mark", filled, "--json", "--log", log, "--seconds", 100, "--day", "2026-05-01"
    )
    assert ran.code == 0, ran.err
    told = json.loads(ran.out)
    jsonschema.validate(told, SCHEMA)
    results = {answer["number"]: answer["result"] for answer in told["answers"]}
    assert results == {1: "right", 2: "wrong", 3: "also valid", 4: "blank"}
    cell, digit = TASKS[0].answers[0][0]
    name = f"R{cell // 9 + 1}C{cell % 9 + 1}"
    assert told["answers"][0]["written"] == [{"cell": name, "digit": digit}]

    seen = json.loads(papernudge("progress", log, "--json").out)
    jsonschema.validate(seen, SCHEMA)
    (week,) = seen["weeks"]
    assert (week["reason"], week["monday"]) == ("hidden single", "2026-04-27")
    assert (week["positions"], week["answered"], week["right"], week["wrong"]) == (4, 3, 1, 1)
    assert week["seconds"] == 25


def test_a_fault_in_one_photo_leaves_the_others_marked(
    papernudge: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    import papernudge.cli.terminal.marking as marking
    from papernudge.cli.sheets.mark import Marked, MarkedPage

    def faulty(called: str, _: object) -> MarkedPage:
        if called == "torn.jpg":
            raise ZeroDivisionError("a corner is missing")
        page = pages_of(TASKS[:1], 4, "a4")[0]
        raster = np.zeros((1, 1, 3), np.uint8)
        return MarkedPage(called, page, (Marked(TASKS[0], (), "blank"),), raster)

    monkeypatch.setattr(marking, "mark_photo", faulty)
    ran = papernudge("mark", "torn.jpg", "whole.jpg", "--json-lines")
    assert ran.code == 70
    torn, whole = map(json.loads, ran.out.splitlines())
    assert torn["error"]["reason"] == "fault"
    assert whole["answers"][0]["result"] == "blank"


def test_what_the_user_says_of_a_cell_counts_and_is_drawn(
    papernudge: Run, filled: Path, tmp_path: Path
) -> None:
    import cv2

    cell, digit = TASKS[3].answers[0][0]
    name = f"R{cell // 9 + 1}C{cell % 9 + 1}"
    out = tmp_path / "marked.jpg"
    ran = papernudge("mark", filled, "--assume", f"4:{name}={digit}", "--picture", out)
    assert ran.code == 0, ran.err
    assert f"   4  right       {name}={digit}" in ran.out
    picture = cv2.imread(str(out))
    assert picture is not None
    assert 1400 < max(picture.shape) <= 1600


@pytest.mark.slow
def test_the_other_code_is_enough_when_one_is_covered(
    papernudge: Run, filled: Path, sheet: tuple[SheetPage, Any, Path]
) -> None:
    import cv2

    photo = cv2.imread(str(filled))
    high, wide = photo.shape[:2]
    photo[: high // 4, wide // 2 :] = cv2.blur(photo[: high // 4, wide // 2 :], (99, 99))
    other = filled.with_name("thumb.png")
    cv2.imwrite(str(other), photo)
    ran = papernudge("mark", other)
    assert sheet[0].name in ran.out
    photo[3 * high // 4 :] = 200
    cv2.imwrite(str(other), photo)
    assert papernudge("mark", other).code == 3


def test_a_sheet_that_prints_no_digit_can_not_be_recognised_and_is_unsure() -> None:
    """No drill makes one, but a code may say so: there is nothing to know its grid by."""
    from papernudge.cli.sheets.code import decode, encode
    from papernudge.cli.sheets.mark import marked

    class Grid:
        chances = np.ones((81, 10)) / 10

    task = Task(1, "." * 81, TASKS[0].solution, None, 0, ())
    page = SheetPage(1, 1, "a4", 4, 0, (task,))
    assert decode(encode(page)) == page
    (answer,) = marked([task], [Grid()], {})  # type: ignore[list-item]
    assert answer.result == "unsure"


@pytest.mark.parametrize("seconds", ["1e300", "inf", "nan", "-inf", "0", "86401", "-1", "9" * 400])
def test_a_time_that_no_page_takes_is_refused(
    papernudge: Run, tmp_path: Path, seconds: str
) -> None:
    ran = papernudge("mark", "x.jpg", "--log", tmp_path / "log", f"--seconds={seconds}")
    assert ran.code == 2
    assert ran.err.count("\n") == 1
    assert not (tmp_path / "log").exists()
