"""The conversation at a terminal: a little more each time, only when asked."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from papernudge.hints import Position, next_nudge, solve
from papernudge.vision.reading import CellKind, CellReading, Doubt

Run = Callable[..., Any]


@pytest.fixture
def told(puzzle: str) -> list[str]:
    nudge = next_nudge(Position.of(puzzle))
    assert nudge is not None
    return [nudge.at(depth).sentence for depth in (1, 2, 3, 4)]


def test_without_a_reply_only_depth_1_is_said(
    at_terminal: Run, puzzle: str, told: list[str]
) -> None:
    ran = at_terminal("", "hint", "--given-line", puzzle)
    assert ran.code == 0
    assert told[0] in ran.out
    assert not any(deeper in ran.out for deeper in told[1:])


def test_enter_goes_one_deeper_each_time(at_terminal: Run, puzzle: str, told: list[str]) -> None:
    ran = at_terminal("\n\ns\n", "hint", "--given-line", puzzle)
    assert [sentence in ran.out for sentence in told] == [True, True, True, False]
    ran = at_terminal("\n\n\n\n", "hint", "--given-line", puzzle)
    assert all(sentence in ran.out for sentence in told)


def test_questions_go_to_standard_error_and_answers_to_standard_output(
    at_terminal: Run, puzzle: str
) -> None:
    ran = at_terminal("s\n", "hint", "--given-line", puzzle)
    assert "Enter: more" in ran.err
    assert "Enter" not in ran.out


def test_a_pipe_gets_the_sentence_and_nothing_else(
    papernudge: Run, puzzle: str, told: list[str]
) -> None:
    ran = papernudge("hint", "--given-line", puzzle)
    assert (ran.out, ran.err) == (told[0] + "\n", "")


def test_n_takes_the_digit_as_written_and_goes_on_at_depth_1(
    at_terminal: Run, puzzle: str, told: list[str]
) -> None:
    ran = at_terminal("n\ns\n", "hint", "--given-line", puzzle, "--tell", "4")
    nudge = next_nudge(Position.of(puzzle))
    assert nudge is not None
    position = Position.of(puzzle)
    position = position.with_digit(*nudge.line.places[0])
    after = next_nudge(position)
    assert after is not None
    assert ran.out.index(told[3]) < ran.out.rindex(after.at(1).sentence)


def test_a_board_that_has_not_changed_is_not_drawn_again(at_terminal: Run, puzzle: str) -> None:
    ran = at_terminal("\ns\n", "hint", "--given-line", puzzle)
    assert ran.out.count("1  2  3") == 1
    ran = at_terminal("\n\ns\n", "hint", "--given-line", puzzle)
    assert ran.out.count("1  2  3") == 2


def test_an_unknown_reply_is_explained(at_terminal: Run, puzzle: str) -> None:
    ran = at_terminal("louder\ns\n", "hint", "--given-line", puzzle)
    assert "Press Enter, or type n, p, c or s." in ran.err


def test_a_cell_can_be_corrected_and_the_answer_follows(at_terminal: Run, puzzle: str) -> None:
    ran = at_terminal("c\nR1C1=2\ns\n", "check", "--given-line", puzzle)
    assert ran.out.count("Right so far") == 1
    assert "One digit you wrote can't be right." in ran.out
    assert ran.code == 1
    ran = at_terminal("c\nnonsense\ns\n", "check", "--given-line", puzzle)
    assert "An assumption looks like" in ran.err


def test_p_draws_the_picture_and_says_where_it_is(
    at_terminal: Run, puzzle: str, tmp_path: Path
) -> None:
    out = tmp_path / "nudge.png"
    ran = at_terminal("p\ns\n", "hint", "--given-line", puzzle, "--picture", out)
    assert f"The picture is {out}" in ran.err
    assert out.read_bytes()[:4] == b"\x89PNG"


@pytest.fixture
def temporary(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of its own for temporary files."""
    folder = tmp_path / "temporary"
    folder.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(folder))
    return folder


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="xdg-open is Linux's own")
@pytest.mark.parametrize("ends_with", [0, 3])
def test_p_opens_the_systems_viewer_and_leaves_nothing_behind(
    at_terminal: Run,
    puzzle: str,
    tmp_path: Path,
    temporary: Path,
    monkeypatch: pytest.MonkeyPatch,
    ends_with: int,
) -> None:
    viewer = tmp_path / "bin" / "xdg-open"
    viewer.parent.mkdir()
    viewer.write_text(f'#!/bin/sh\ncp "$1" "{tmp_path}/seen.png"\necho loud\nexit {ends_with}\n')
    viewer.chmod(0o755)
    monkeypatch.setenv("PATH", f"{viewer.parent}{os.pathsep}{os.environ['PATH']}")
    monkeypatch.setenv("DISPLAY", ":0")
    ran = at_terminal("p\ns\n", "hint", "--given-line", puzzle)
    assert (tmp_path / "seen.png").read_bytes()[:4] == b"\x89PNG"
    assert ("no viewer" in ran.err) == (ends_with == 3)
    assert "loud" not in ran.out + ran.err
    assert list(temporary.iterdir()) == []


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="elsewhere there is one")
def test_without_a_screen_p_says_how_else_to_get_a_picture(
    at_terminal: Run, puzzle: str, temporary: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    ran = at_terminal("p\ns\n", "hint", "--given-line", puzzle)
    assert "There is no viewer for pictures here: --picture OUT.png" in ran.err
    assert list(temporary.iterdir()) == []


def test_what_was_filled_is_counted_among_the_blanks(papernudge: Run, puzzle: str) -> None:
    solution = solve(puzzle)
    assert solution is not None
    entries = "".join(
        s if g == "." and n < 40 else "."
        for n, (g, s) in enumerate(zip(puzzle, solution, strict=True))
    )
    done, blanks = 81 - entries.count("."), puzzle.count(".")
    ran = papernudge("check", "--given-line", puzzle, "--entry-line", entries)
    assert ran.out == f"Right so far: you've filled {done} of {blanks} and nothing is wrong.\n"


def test_of_several_photos_each_sentence_names_its_own(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    doubt = Doubt(1, "digit", 3, 0.6, ((8, 0.4),))
    first = desk.says("first.jpg", grid_says(puzzle, doubts=(doubt,)))
    second = desk.says("second.jpg", grid_says("." * 81))
    torn = desk.folder / "torn.jpg"
    torn.write_text("Dear Lantern")
    ran = papernudge("check", first, second, torn)
    lines = ran.err.splitlines()
    assert len(lines) == 3
    assert all(name in line for name, line in zip(("first", "second", "torn"), lines, strict=True))
    ran = papernudge("check", first, second, "--grid", 2)
    assert (ran.code, str(first) in ran.err) == (2, True)


def test_a_conversation_about_several_photos_says_which_it_is_about(
    at_terminal: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    photos = [desk.says(name, grid_says(puzzle)) for name in ("first.jpg", "second.jpg")]
    ran = at_terminal("s\ns\n", "check", *photos)
    first, second = ran.out.index("first.jpg:"), ran.out.index("second.jpg:")
    assert first < ran.out.index("Right so far") < second < ran.out.rindex("Right so far")


def test_a_picture_that_was_asked_for_follows_the_conversation(
    at_terminal: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    doubt = Doubt(1, "digit", 3, 0.6, ((8, 0.4),))
    photo = desk.says("breakfast.jpg", grid_says(puzzle, doubts=(doubt,)))
    out = desk.folder / "nudge.png"
    assert at_terminal("s\n", "hint", photo, "--picture", out).code == 6
    asked = out.read_bytes()
    at_terminal("3\ns\n", "hint", photo, "--picture", out)
    first = out.read_bytes()
    ran = at_terminal("3\n\n\ns\n", "hint", photo, "--picture", out)
    assert len({asked, first, out.read_bytes()}) == 3
    assert ran.err.count(f"The picture is {out}") == 4


def test_boards_mark_by_signs_and_can_be_left_out(
    at_terminal: Run, puzzle: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = ["check", "--given-line", puzzle, "--entry-line", "2" + "." * 80, "--tell", "3"]
    monkeypatch.setenv("NO_COLOR", "1")
    ran = at_terminal("s\n", *lines)
    assert "2!" in ran.out
    assert "! can't stay" in ran.out
    assert "\x1b" not in ran.out
    ran = at_terminal("s\n", *lines, "--sentences")
    assert "│" not in ran.out
    assert "The 2 in R1C1 repeats the 2 in R1C4" in ran.out


def doubtful(grid_says: Any, puzzle: str, *doubts: Doubt, **options: Any) -> Any:
    return grid_says(puzzle, doubts=doubts, **options)


def test_doubts_are_asked_one_at_a_time_with_a_close_up(
    at_terminal: Run, desk: Any, grid_says: Any, puzzle: str, told: list[str]
) -> None:
    doubts = Doubt(1, "digit", 3, 0.6, ((8, 0.4),)), Doubt(3, "digit", 2, 0.7, ((7, 0.3),))
    photo = desk.says("breakfast.jpg", doubtful(grid_says, puzzle, *doubts))
    ran = at_terminal("\n\ns\n", "hint", photo)
    first = ran.err.index("Is the digit in R1C2 a 3 or an 8?")
    assert ran.err.index("Is the digit in R1C4 a 2 or a 7?") > first
    assert told[0] in ran.out
    assert ran.code == 0
    stopped = at_terminal("s\n", "hint", photo)
    assert stopped.code == 6
    assert "R1C4" not in stopped.err
    assert told[0] not in stopped.out


def test_a_wrong_answer_to_a_doubt_is_asked_again(
    at_terminal: Run, desk: Any, grid_says: Any, puzzle: str, told: list[str]
) -> None:
    doubt = Doubt(1, "digit", 3, 0.6, ((8, 0.4),))
    photo = desk.says("breakfast.jpg", doubtful(grid_says, puzzle, doubt))
    ran = at_terminal("seven\n3\ns\n", "hint", photo)
    assert "That is none of the answers." in ran.err
    assert ran.err.count("Is the digit in R1C2") == 2
    assert told[0] in ran.out


def test_a_doubt_about_the_hand_is_answered_with_a_letter(
    at_terminal: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    doubt = Doubt(1, "hand", 3, 0.6)
    photo = desk.says("breakfast.jpg", doubtful(grid_says, puzzle, doubt))
    ran = at_terminal("g\ns\n", "hint", photo)
    assert "printed, or was it written by hand?" in ran.err
    assert ran.code == 0


def test_a_doubt_that_changes_nothing_is_not_asked(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    """Notes don't bear on how many digits are wrong."""
    blank = next(c for c in range(81) if puzzle[c] == ".")
    noted = CellReading(CellKind.BLANK, None, 1.0, notes=frozenset({1, 2}), notes_chance=0.5)
    doubt = Doubt(blank, "notes", None, 0.5)
    grid = doubtful(grid_says, puzzle, doubt, changed={blank: noted})
    ran = papernudge("check", desk.says("breakfast.jpg", grid))
    assert (ran.code, ran.err) == (0, "")


def test_a_mistake_that_may_be_a_misreading_is_asked_about_and_not_blamed(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    from papernudge.hints import solve

    blank = next(c for c in range(81) if puzzle[c] == ".")
    right = int((solve(puzzle) or "")[blank])
    wrong = right % 9 + 1

    def read_as(chance_of_right: float) -> Any:
        chances = [0.0] * 10
        chances[wrong], chances[right] = 1 - chance_of_right, chance_of_right
        cell = CellReading(CellKind.ENTRY, wrong, 1 - chance_of_right, tuple(chances))
        entries = "." * blank + str(wrong) + "." * (80 - blank)
        return grid_says(puzzle, entries, changed={blank: cell})

    asked = papernudge("check", desk.says("breakfast.jpg", read_as(0.1)))
    assert asked.code == 6
    assert asked.out == ""
    assert "Is the digit in R1C1" in asked.err
    blamed = papernudge("check", desk.says("lunch.jpg", read_as(0.0001)))
    assert blamed.code == 1
    assert blamed.out == "One digit you wrote can't be right.\n"


def test_a_picture_without_a_folder_to_lie_in_is_told_and_the_talk_goes_on(
    at_terminal: Run, puzzle: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none(*_: Any, **__: Any) -> str:
        raise FileNotFoundError(2, "No usable temporary directory found")

    monkeypatch.setattr("tempfile.mkdtemp", none)
    ran = at_terminal("p\ns\n", "hint", "--given-line", puzzle)
    assert ran.code == 0
    assert "There is no folder for a picture" in ran.err
    assert ran.err.count("Enter: more") == 2


# ---------------------------------------------------------------- n, u and what they lead into


def first_places(puzzle: str) -> tuple[str, int, int]:
    """Name, cell and digit of the first step."""
    nudge = next_nudge(Position.of(puzzle))
    assert nudge is not None
    cell, digit = nudge.line.places[0]
    return f"R{cell // 9 + 1}C{cell % 9 + 1}", cell, digit


def after_first(puzzle: str) -> str:
    _, cell, digit = first_places(puzzle)
    after = next_nudge(Position.of(puzzle).with_digit(cell, digit), last=[cell])
    assert after is not None
    return after.at(1).sentence


@pytest.mark.parametrize("depth", ["1", "2", "3", "4"])
@pytest.mark.parametrize("typed", ["n", "n {digit}", "n {cell}={digit}", "N {digit} in {lower}"])
def test_what_was_written_can_be_said_at_every_depth(
    at_terminal: Run, puzzle: str, depth: str, typed: str
) -> None:
    name, _, digit = first_places(puzzle)
    reply = typed.format(cell=name, digit=digit, lower=name.lower())
    lines = ["hint", "--given-line", puzzle, "--tell", depth, "--sentences"]
    ran = at_terminal(f"{reply}\ns\n", *lines)
    said = ran.out.splitlines()
    assert said[-1] == after_first(puzzle)
    assert ran.code == 0


def test_a_wrong_digit_is_told_gently_and_can_be_taken_back(
    at_terminal: Run, puzzle: str, told: list[str]
) -> None:
    """First that something can't be right, then a depth of check with each Enter."""
    name, cell, digit = first_places(puzzle)
    free = [d for d in range(1, 10) if d != digit and Position.of(puzzle).candidates[d] >> cell & 1]
    wrong = f"n {name}={free[0]}"
    lines = ["hint", "--given-line", puzzle, "--sentences"]
    ran = at_terminal(f"{wrong}\ns\n", *lines)
    assert ran.out.splitlines()[-1].startswith("Something written here can't be right")
    assert name not in ran.out
    assert "[Enter: check, u: take back" in ran.err
    ran = at_terminal(f"{wrong}\n\n\n\ns\n", *lines)
    said = ran.out.splitlines()
    assert said[-3] == "One digit you wrote can't be right."
    assert "Look again at" in said[-2]
    assert name not in said[-2]
    assert f"{free[0]} in {name}" in said[-1]
    assert "Right would be" not in said[-1]
    assert ran.code == 1
    ran = at_terminal(f"{wrong}\n\nu\ns\n", *lines)
    assert ran.out.splitlines()[-1] == told[0]
    assert ran.code == 0


def test_a_hint_on_mistaken_paper_leads_into_check_and_back(at_terminal: Run, puzzle: str) -> None:
    lines = ["hint", "--given-line", puzzle, "--entry-line", "2" + "." * 80, "--sentences"]
    ran = at_terminal("\ns\n", *lines)
    assert ran.out.splitlines() == [
        "Something written here can't be right, so a hint would lead astray.",
        "One digit you wrote can't be right.",
    ]
    assert ran.code == 1
    ran = at_terminal("\nc\nR1C1=.\ns\n", *lines)
    nudge = next_nudge(Position.of(puzzle))
    assert nudge is not None
    assert ran.out.splitlines()[-1] == nudge.at(1).sentence


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("n R1C2=4", "R1C2 is printed"),
        ("n 17", "Type what you wrote after the n"),
        ("n R9C9", "Say which digit"),
    ],
)
def test_what_cant_be_taken_as_written_is_explained(
    at_terminal: Run, puzzle: str, typed: str, said: str
) -> None:
    ran = at_terminal(f"{typed}\ns\n", "hint", "--given-line", puzzle)
    assert said in ran.err


def test_a_digit_that_the_step_does_not_give_needs_its_cell(at_terminal: Run, puzzle: str) -> None:
    _, _, digit = first_places(puzzle)
    ran = at_terminal(f"n {digit % 9 + 1}\ns\n", "hint", "--given-line", puzzle)
    assert "Say in which cell, as in n R4C7=3." in ran.err


def test_u_takes_back_one_thing_after_the_other(
    at_terminal: Run, puzzle: str, told: list[str]
) -> None:
    lines = ["hint", "--given-line", puzzle, "--sentences"]
    said = at_terminal("n\nn\nu\nu\ns\n", *lines).out.splitlines()
    assert len(said) == 5
    assert said[0] == said[4] == told[0]
    assert said[1] == said[3]
    assert "u: take back" not in at_terminal("s\n", *lines).err


def test_both_commands_ask_the_same_questions(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    """Also where a doubt changes just how many digits are wrong, or just how many are written."""
    from papernudge.hints import solve

    right = int((solve(puzzle) or "")[0])
    wrong, other = [d for d in (1, 2, 4, 6) if d != right][:2]
    both_wrong = Doubt(0, "digit", wrong, 0.6, ((other, 0.4),))
    maybe_blank = Doubt(0, "digit", right, 0.6, ((None, 0.4),))
    for digit, doubt in ((wrong, both_wrong), (right, maybe_blank)):
        grid = grid_says(puzzle, f"{digit}{'.' * 80}", doubts=(doubt,))
        photo = desk.says(f"breakfast{digit}.jpg", grid)
        for depth in ("1", "4"):
            hinted = papernudge("hint", photo, "--tell", depth)
            checked = papernudge("check", photo, "--tell", depth)
            assert hinted.err == checked.err != ""
            assert hinted.code == checked.code == 6


def test_a_doubt_about_notes_offers_what_the_paper_shows(
    at_terminal: Run, papernudge: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    """Right notes that are in doubt: a check of notes hangs on them, and so it asks."""
    import json

    noted = CellReading(CellKind.BLANK, None, 1.0, notes=frozenset({1, 2}), notes_chance=0.5)
    doubt = Doubt(0, "notes", None, 0.5, ((8, 0.4),))
    photo = desk.says("notes.jpg", grid_says(puzzle, doubts=(doubt,), changed={0: noted}))
    ran = papernudge("check", photo, "--tell", "3")
    assert ran.code == 6
    assert "Are the small notes in R1C1 1 and 2 or 1, 2 and 8?" in ran.err
    assert "R1C1=notes:12, R1C1=notes:128 or R1C1=notes:. for none." in ran.err
    told = json.loads(papernudge("read", photo, "--json").out)["grids"][0]["doubts"][0]
    assert (told["notes"], told["instead"]) == ([1, 2], [{"digit": 8, "chance": 0.4}])
    talked = at_terminal("\ns\n", "check", photo, "--tell", "3")
    assert "[Enter: 12, 128, or type them, or . for none, s: stop]" in talked.err
    assert "The small notes in R1C1 have lost the right digit." in talked.out


@pytest.mark.parametrize("columns", ["20", "33", "47", "80"])
def test_text_breaks_between_words_at_any_width(
    at_terminal: Run, puzzle: str, monkeypatch: pytest.MonkeyPatch, columns: str
) -> None:
    lines = ["hint", "--given-line", puzzle, "--tell", "3", "--sentences"]
    whole = at_terminal("s\n", *lines).out
    monkeypatch.setenv("COLUMNS", columns)
    narrow = at_terminal("s\n", *lines).out
    assert narrow.split() == whole.split()
    assert max(map(len, narrow.splitlines())) <= int(columns)
    asked = at_terminal("s\n", *lines).err
    assert max(map(len, asked.splitlines())) <= int(columns) + 1
    assert "c: correct a cell" in " ".join(asked.split())


def test_a_misprint_is_looked_into_from_a_hint(at_terminal: Run, puzzle: str) -> None:
    """Depth 1 of the check has been said already: Enter goes to where it shows."""
    clash = puzzle[:7] + "39" + puzzle[9:]  # R1C2 and R2C7 hold a 3
    ran = at_terminal("\n\n\ns\n", "hint", "--given-line", clash, "--sentences")
    said = ran.out.splitlines()
    assert len(said) == 4
    assert "3 printed digits repeat one another" in said[0]
    assert "Look at row 1 and block 3." in said[1]
    assert "The 3s in R1C2, R1C8 and R2C7 can't all stand." in said[2]
    assert "With a" in said[3] or ran.err.count("Enter: done") == 1
    assert ran.code == 4
