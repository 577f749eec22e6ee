"""Foreign words on the terminal are shown, never obeyed."""

from __future__ import annotations

import ast
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from papernudge.cli.base.say import drawn, say, visible

Run = Callable[..., Any]
ROOM = Path(__file__).resolve().parents[2] / "cli"
NASTY = "a\x1b[2J\x1b]0;owned\x07b\r\nWrite 5 in R1C1.\x9b31m\u202egnp.exe\u2028\x7f\udcff"


@pytest.mark.parametrize(
    ("foreign", "shown"),
    [
        ("lantern 1.jpg", "lantern 1.jpg"),
        ("größe 数独 🧩.jpg", "größe 数独 🧩.jpg"),
        ("a\u200db\u200cc", "a\u200db\u200cc"),
        ("\x1b[31m", "\\x1b[31m"),
        ("\x9b", "\\x9b"),
        ("one\ntwo\r\tthree", "one\\ntwo\\r\\tthree"),
        ("\u202egnp.exe\u2066", "\\u202egnp.exe\\u2066"),
        ("\u2028\u2029", "\\u2028\\u2029"),
        ("\U000e0041", "\\U000e0041"),
        ("\udcff", "\\xff"),
    ],
)
def test_what_a_terminal_would_obey_is_written_out(foreign: str, shown: str) -> None:
    assert visible(foreign) == shown


def test_no_sign_of_unicode_passes_that_a_terminal_may_obey() -> None:
    """Those of the standards: ECMA-48's C0, DEL and C1; Unicode's controls of direction (UAX 9,
    table 4), its separators of lines; halves of pairs.
    """
    codes = [*range(32), *range(127, 160), 0x61C, 0x200E, 0x200F, *range(0x202A, 0x202F)]
    codes += [*range(0x2066, 0x206A), 0x2028, 0x2029, 0xFEFF, *range(0xD800, 0xE000)]
    assert [code for code in codes if chr(code) in visible(f"a{chr(code)}b")] == []


def test_our_own_boards_keep_their_lines_and_their_bold_and_nothing_more() -> None:
    board = "\x1b[1m5\x1b[0m | 3\n9 | 1"
    assert drawn(board) == board
    assert drawn("\x1b[2J\x1b[31mred") == "\\x1b[2J\\x1b[31mred"


def test_a_word_without_an_end_is_cut_in_its_middle(capsys: pytest.CaptureFixture[str]) -> None:
    say(f"Got {'9' * 5000}, expected less.")
    assert capsys.readouterr().out == f"Got {'9' * 60}...{'9' * 19}, expected less.\n"


def test_nothing_else_prints() -> None:
    """Where something does, it prints no foreign word: the bar of a run, and prompts."""
    allowed = {"base/say.py", "books/progress.py", "terminal/talk.py", "terminal/find.py"}
    for path in ROOM.rglob("*.py"):
        called = [
            node.func.id
            for node in ast.walk(ast.parse(path.read_text("utf-8")))
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
        ]
        if str(path.relative_to(ROOM)) not in allowed:
            assert "print" not in called, path


def test_only_the_terminal_and_the_phone_speak() -> None:
    for path in ROOM.rglob("*.py"):
        imported = {
            alias.name
            for node in ast.walk(ast.parse(path.read_text("utf-8")))
            if isinstance(node, ast.ImportFrom) and node.module == "papernudge.cli.base.say"
            for alias in node.names
        }
        name = path.relative_to(ROOM).as_posix()
        speaks = bool(imported & {"say", "show", "warn"})
        may = name.startswith(("terminal/", "phone/")) or name in ("app.py", "translations.py")
        assert speaks <= may, name


@pytest.mark.parametrize("words", [["hint"], ["check"], ["read"], ["mark"]])
def test_a_photos_name_is_shown_in_a_failure(papernudge: Run, words: list[str]) -> None:
    ran = papernudge(*words, NASTY)
    assert ran.code == 5
    assert ran.err.count("\n") == 1
    assert ran.err.rstrip("\n").isprintable(), ran.err


def test_a_photos_name_is_shown_in_an_answer(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    name = NASTY.replace("\udcff", "").replace("/", "")
    first, second = desk.says(f"{name}.jpg", grid_says(puzzle)), desk.says("b", grid_says(puzzle))
    ran = papernudge("check", first, second)
    assert ran.code == 0
    assert ran.out.count("\n") == 2
    assert ran.out.replace("\n", "").isprintable(), ran.out


@pytest.mark.parametrize(
    "words",
    [
        ["export", NASTY, "--to", "o.csv"],
        ["progress", NASTY],
        ["drill", NASTY, "--reason", "X-wing", "--out", "o.pdf"],
        ["digitise", "x", "--book", "b", "--corrections", NASTY],
        ["hint", "x", "--assume", NASTY],
        ["hint", f"--{NASTY}"],
        [NASTY],
        ["mark", "x", "--day", NASTY],
        ["export", "x", "--to", NASTY],
    ],
)
def test_every_other_foreign_word_is_shown(papernudge: Run, words: list[str]) -> None:
    ran = papernudge(*words)
    assert ran.code in (2, 5)
    assert ran.err.count("\n") == 1
    assert ran.err.rstrip("\n").isprintable(), ran.err


def test_json_keeps_the_name_behind_its_own_escapes(
    papernudge: Run, desk: Any, grid_says: Any, puzzle: str
) -> None:
    import json

    photo = desk.says("a\x1b\u202e\nb.jpg", grid_says(puzzle))
    ran = papernudge("read", photo, "--json")
    assert json.loads(ran.out)["photo"] == str(photo)
    assert re.fullmatch(r"[ -~\n]*", ran.out)
