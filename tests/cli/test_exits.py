"""Every way to go wrong ends in one sentence and the right exit code."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from samples import chosen

from papernudge.cli.base.exits import Exit
from papernudge.vision.failure import Failure
from papernudge.vision.grid import GridKind, Quality
from papernudge.vision.reading import Doubt, GridReading

Run = Callable[..., Any]


def one_sentence(text: str) -> bool:
    return text.endswith((".\n", "?\n")) and text.count("\n") == 1


@pytest.mark.parametrize(
    "words",
    [
        ["hint"],
        ["read"],
        ["hint", "--given-line", "12"],
        ["hint", "--given-line", "x" * 81],
        ["hint", "--entry-line", "." * 81],
        ["hint", "photo.jpg", "--given-line", "." * 81],
        ["hint", "photo.jpg", "--tell", "5"],
        ["hint", "photo.jpg", "--grid", "0"],
        ["hint", "photo.jpg", "--json", "--json-lines"],
        ["hint", "photo.jpg", "--picture", "out.gif"],
        ["hint", "photo.jpg", "--picture", "photo.jpg"],
        ["hint", "one.jpg", "two.jpg"],
        ["read", "one.jpg", "two.jpg", "--picture", "out.png"],
        ["check", "one.jpg", "two.jpg", "--since", "three.jpg"],
        ["read", "-", "-"],
        ["nudge"],
        ["hint", "--louder"],
        *(
            ["hint", "photo.jpg", "--assume", text]
            for text in ("", "R4C7", "R0C1=1", "R4C7=0", "R4C7=17", "R4C7=given:.", "0:R4C7=1")
        ),
    ],
)
def test_words_that_are_off_end_in_2(papernudge: Run, words: list[str]) -> None:
    ran = papernudge(*words)
    assert ran.code == Exit.WORDS
    assert ran.out == ""
    assert one_sentence(ran.err), ran.err
    assert "Traceback" not in ran.err


def test_no_words_at_all_show_the_help(papernudge: Run) -> None:
    ran = papernudge()
    assert ran.code == Exit.WORDS
    assert "Usage: papernudge" in ran.err


@pytest.mark.parametrize("command", ["read", "hint", "check"])
def test_files_that_cannot_be_read_end_in_5(papernudge: Run, tmp_path: Path, command: str) -> None:
    (tmp_path / "empty.jpg").touch()
    (tmp_path / "letter.jpg").write_text("Dear Lantern")
    for photo in (tmp_path, tmp_path / "none.jpg", tmp_path / "empty.jpg", tmp_path / "letter.jpg"):
        ran = papernudge(command, photo)
        assert ran.code == Exit.FILE
        assert ran.out == ""
        assert one_sentence(ran.err), ran.err
        assert str(photo) in ran.err


def test_an_unwritable_picture_ends_in_5_and_leaves_nothing(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    photo = desk.says("breakfast.jpg", grid_says(puzzle))
    for out in (desk.folder / "none" / "out.png", desk.folder / "folder.png"):
        if out.name == "folder.png":
            out.mkdir()
        ran = papernudge("hint", photo, "--picture", out)
        assert ran.code == Exit.FILE
        assert ran.out == ""
        assert one_sentence(ran.err), ran.err
    assert not list(desk.folder.rglob(".papernudge*"))


def test_a_photo_without_a_grid_ends_in_3(papernudge: Run, desk: Any) -> None:
    photo = desk.says("cat.jpg", Failure("find", "no grid", "No 9×9 grid was found in the photo."))
    ran = papernudge("hint", photo)
    assert ran.code == Exit.NO_GRID
    assert one_sentence(ran.err)


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        (GridKind.CUT_OFF, "all four corners in view"),
        (GridKind.TOO_POOR, "Hold the phone closer"),
        (GridKind.OTHER, "expected 4 to 16 rows and as many columns"),
    ],
)
@pytest.mark.parametrize("command", ["read", "hint", "check"])
def test_a_grid_that_cannot_be_read_ends_in_3_with_advice(
    papernudge: Run, desk: Any, mesh_at: Any, kind: GridKind, words: str, command: str
) -> None:
    poor = Quality(False, "blurred", "Hold the phone closer and steady.")
    grid = GridReading(kind, mesh_at().corners, poor)
    ran = papernudge(command, desk.says("breakfast.jpg", grid))
    assert ran.code == Exit.NO_GRID
    assert words in ran.err


def test_of_several_unreadable_grids_the_one_worth_a_second_photo_is_talked_about(
    papernudge: Run, desk: Any, mesh_at: Any
) -> None:
    poor = Quality(False, "blurred", "Hold the phone closer and steady.")
    corners = mesh_at().corners
    grids = [GridReading(k, corners, poor) for k in (GridKind.OTHER, GridKind.CUT_OFF)]
    ran = papernudge("hint", desk.says("page.jpg", *grids))
    assert ran.code == Exit.NO_GRID
    assert "Grid 2" in ran.err
    assert "all four corners in view" in ran.err


def test_a_grid_number_that_is_not_there_ends_in_2(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    photo = desk.says("breakfast.jpg", grid_says(puzzle))
    for words in (["--grid", 2], ["--assume", "2:R1C1=1"]):
        ran = papernudge("hint", photo, *words)
        assert ran.code == Exit.WORDS
        assert one_sentence(ran.err), ran.err
        assert "1 grid" in ran.err


def test_givens_without_one_solution_end_in_4(papernudge: Run) -> None:
    for command in ("hint", "check"):
        ran = papernudge(command, "--given-line", "." * 81)
        assert ran.code == Exit.NOT_ONE_SOLUTION
        assert "more than one solution" in ran.err
        ran = papernudge(command, "--given-line", "11" + "." * 79, "--json")
        assert ran.code == Exit.NOT_ONE_SOLUTION
        assert json.loads(ran.out)["state"] == "not one solution"


def test_a_mistake_ends_in_1_for_check_and_in_0_for_hint(papernudge: Run, puzzle: str) -> None:
    lines = ["--given-line", puzzle, "--entry-line", "2" + "." * 80]
    assert papernudge("check", *lines).code == Exit.MISTAKE
    hint = papernudge("hint", *lines)
    assert hint.code == Exit.DONE
    assert "papernudge check" in hint.out
    assert "R1C1" not in hint.out


def test_a_doubt_that_matters_ends_in_6_and_is_asked(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    doubt = Doubt(1, "digit", 3, 0.6, ((8, 0.4),))
    photo = desk.says("breakfast.jpg", grid_says(puzzle, doubts=(doubt,)))
    ran = papernudge("hint", photo)
    assert ran.code == Exit.UNSURE
    assert ran.out == ""
    assert "Is the digit in R1C2 a 3 or an 8?" in ran.err
    assert "--assume R1C2=3 or R1C2=8" in ran.err
    assert papernudge("hint", photo, "--assume", "R1C2=3").code == Exit.DONE
    assert papernudge("read", photo).code == Exit.DONE


def test_a_fault_of_ours_ends_in_70_with_a_sentence(
    papernudge: Run, monkeypatch: pytest.MonkeyPatch, puzzle: str
) -> None:
    def broken(*_: Any, **__: Any) -> None:
        raise ZeroDivisionError("of our own making")

    monkeypatch.setattr("papernudge.cli.terminal.commands.open_page", broken)
    ran = papernudge("read", "--given-line", puzzle, "--json")
    assert ran.code == Exit.FAULT
    assert one_sentence(ran.err)
    assert "fault of papernudge" in ran.err
    assert json.loads(ran.out)["error"]["reason"] == "fault"
    monkeypatch.setenv("PAPERNUDGE_DEBUG", "1")
    with pytest.raises(ZeroDivisionError):
        papernudge("read", "--given-line", puzzle)


def test_stopping_by_keyboard_ends_in_130(
    papernudge: Run, monkeypatch: pytest.MonkeyPatch, puzzle: str
) -> None:
    def stopped(*_: Any, **__: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("papernudge.cli.terminal.commands.open_page", stopped)
    assert papernudge("read", "--given-line", puzzle).code == Exit.STOPPED


def test_several_photos_give_an_array_with_failures_in_place_and_the_worst_code(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    good = desk.says("breakfast.jpg", grid_says(puzzle))
    bad = desk.folder / "none.jpg"
    for command in ("read", "check"):
        ran = papernudge(command, bad, good, "--json")
        documents = json.loads(ran.out)
        assert ran.code == Exit.FILE
        assert [d["photo"] for d in documents] == [str(bad), str(good)]
        assert set(documents[0]["error"]) == {"stage", "reason", "sentence"}
        assert "error" not in documents[1]
        ran = papernudge(command, bad, good, "--json-lines")
        assert [json.loads(line)["photo"] for line in ran.out.splitlines()] == [str(bad), str(good)]


def test_a_photo_comes_from_standard_input(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    photo = desk.says("breakfast.jpg", grid_says(puzzle))
    with photo.open("rb") as file:

        class Piped:
            buffer = file

            def isatty(self) -> bool:
                return False

        monkeypatch.setattr(sys, "stdin", Piped())
        ran = papernudge("read", "-", "--json")
    assert ran.code == Exit.DONE
    assert json.loads(ran.out)["photo"] == "-"
    assert json.loads(ran.out)["grids"][0]["givens"] == puzzle


OUTS = [(">/dev/full", 5), (">&-", 0), ("| head -c 1", 0)]


@pytest.mark.parametrize(("out", "code"), chosen(OUTS, OUTS[2]))
def test_an_output_that_takes_nothing_more_makes_no_traceback(
    puzzle: str, out: str, code: int
) -> None:
    line = f"{sys.executable} -m papernudge.cli hint --walk --given-line {puzzle} {out}"
    done = subprocess.run(["bash", "-c", line], capture_output=True, text=True, check=False)
    assert done.returncode == code
    assert "Traceback" not in done.stderr
    assert "Exception" not in done.stderr
    assert done.stderr.count("\n") <= 1


CLOSED = [
    ("hint --given-line {puzzle}", 0),
    ("hint --given-line {puzzle} --since -", 5),
    ("read -", 5),
    ("mark -", 5),
    ("read - --picture o.png", 5),
]


@pytest.mark.parametrize(("words", "code"), chosen(CLOSED, CLOSED[2]))
def test_a_closed_standard_input_is_an_empty_one(puzzle: str, words: str, code: int) -> None:
    line = f"{sys.executable} -m papernudge.cli {words.format(puzzle=puzzle)} <&-"
    done = subprocess.run(["bash", "-c", line], capture_output=True, text=True, check=False)
    assert done.returncode == code, done.stderr
    assert code == 0 or "standard input is empty" in done.stderr
