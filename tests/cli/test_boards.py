"""Lines of other boards on the command line: what is said, drawn and printed as JSON."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import pytest

import papernudge
from papernudge.cli.app import run

SIX = "5.1....23......2..63...1.5.6......53"
SIX_SOLUTION = "561324423165145236632541354612216453"
"""By python-sat, see ``tests/hints/sat.py``."""
DIAGONAL = ".2..7...81......3..8.........42..6...............5..........15.....2.4.3..38...6."
CLEAN = str(Path(__file__).resolve().parents[2] / "fixtures/clean.jpg")
JIGSAW = "AABBBAAABBCCDDDCCCDDEEEEE"


def said(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = run(words)
    out, err = capsys.readouterr()
    return code, out, err


def document(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    code, out, _ = said(capsys, *words, "--json")
    assert code == 0
    told = json.loads(out)
    schema = json.loads((files("papernudge.cli") / "schema.json").read_text("utf-8"))
    jsonschema.Draft202012Validator(schema).validate(told)
    return dict(told)


def test_a_children_puzzle_is_read_and_drawn(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = said(capsys, "read", "--given-line", SIX, "--blocks", "2x3")
    assert (code, err) == (0, "")
    assert out.splitlines() == [
        "A puzzle with 12 printed digits.",
        "    1  2  3    4  5  6",
        " 1   5  ·  1 │  ·  ·  ·",
        " 2   ·  2  3 │  ·  ·  ·",
        "   ──────────┼──────────",
        " 3   ·  ·  · │  2  ·  ·",
        " 4   6  3  · │  ·  ·  1",
        "   ──────────┼──────────",
        " 5   ·  5  · │  6  ·  ·",
        " 6   ·  ·  · │  ·  5  3",
    ]


def test_a_nudge_and_a_check_of_it(capsys: pytest.CaptureFixture[str]) -> None:
    words = ("--given-line", SIX, "--blocks", "2x3")
    assert said(capsys, "hint", *words, "--tell", "4") == (
        0,
        "Write 6 in R1C2. R2C1 follows.\n",
        "",
    )
    entries = "".join("." if g != "." else s for g, s in zip(SIX, SIX_SOLUTION, strict=True))
    solved = said(capsys, "check", *words, "--entry-line", entries)
    assert solved == (0, "Solved: all 36 digits are right.\n", "")
    wrong = entries[:1] + "4" + entries[2:]
    code, out, _ = said(capsys, "check", *words, "--entry-line", wrong, "--tell", "4")
    assert code == 1
    assert "Right would be 6 in R1C2." in out
    done = said(capsys, "hint", *words, "--entry-line", entries)
    assert done[1] == "This grid is solved: all 36 digits are right.\n"


@pytest.mark.slow
def test_a_walk_of_it_tells_every_step(capsys: pytest.CaptureFixture[str]) -> None:
    told = document(capsys, "hint", "--given-line", SIX, "--blocks", "2x3", "--walk")
    assert told["walk"]["solved"]
    written = {p["cell"]: p["digit"] for line in told["walk"]["lines"] for p in line["places"]}
    right = {f"R{c // 6 + 1}C{c % 6 + 1}": int(s) for c, s in enumerate(SIX_SOLUTION)}
    blanks = {name for name, given in zip(right, SIX, strict=True) if given == "."}
    assert written == {name: right[name] for name in blanks}
    code, out, _ = said(capsys, "hint", "--given-line", SIX, "--blocks", "2x3", "--walk", "--route")
    assert code == 0
    assert "In comparison, reading order" in out


def test_documents_say_which_board_it_is(capsys: pytest.CaptureFixture[str]) -> None:
    board = {"rows": 6, "columns": 6, "block": [2, 3], "diagonals": False, "extra": []}
    words = ("--given-line", SIX, "--blocks", "2x3")
    assert document(capsys, "read", *words)["grids"][0]["layout"] == board
    for depth in ("1", "2", "3", "4"):
        assert document(capsys, "hint", *words, "--tell", depth)["layout"] == board
        assert document(capsys, "check", *words, "--tell", depth)["layout"] == board
    jigsaw = document(capsys, "read", "--given-line", "." * 25, "--regions", JIGSAW)
    assert jigsaw["grids"][0]["layout"] == {
        "rows": 5,
        "columns": 5,
        "regions": JIGSAW,
        "diagonals": False,
        "extra": [],
    }
    plain = document(capsys, "read", "--given-line", "." * 81)
    assert "layout" not in plain["grids"][0]


def test_diagonals_and_extra_blocks_are_named(capsys: pytest.CaptureFixture[str]) -> None:
    told = document(
        capsys, "hint", "--given-line", DIAGONAL, "--diagonals", "--walk", "--tell", "3"
    )
    assert any("the diagonal from the top" in line["sentence"] for line in told["walk"]["lines"])
    houses = {house for line in told["walk"]["lines"] for house in line["houses"]}
    assert houses & {"diagonal 1", "diagonal 2"}
    extra = "AAAA" + "." * 12
    code, out, _ = said(
        capsys, "read", "--given-line", "." * 16, "--blocks", "2x2", "--diagonals", "--extra", extra
    )
    assert code == 0
    assert "Both diagonals hold each digit once." in out
    assert "An extra block holds each digit once: R1C1, R1C2, R1C3, R1C4." in out


def test_ten_stands_as_a_letter_in_lines_and_is_said_as_a_number(
    capsys: pytest.CaptureFixture[str],
) -> None:
    line = "1234567.9a" + "." * 90
    words = ("--given-line", line, "--blocks", "2x5")
    told = document(capsys, "read", *words)
    assert told["grids"][0]["givens"].startswith("1234567.9A")
    out = said(capsys, "read", *words, "--sentences")[1]
    assert "9 printed, 10 printed" in out
    assert "10 printed" in said(capsys, "read", *words, "--sentences", "--assume", "R2C1=A")[1]
    assumed = said(capsys, "read", *words, "--sentences", "--assume", "R10C10=10")[1]
    assert "Row 10: blank, blank, blank, blank, blank, blank, blank, blank, blank, 10 written" in (
        assumed
    )


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (
            ["--given-line", SIX],
            "--given-line holds 81 characters, row by row; this one has 36, which would do with"
            " --blocks 2x3 or --blocks 3x2.",
        ),
        (
            ["--given-line", SIX[:-1], "--blocks", "2x3"],
            "--given-line holds 36 characters, row by row; this one has 35.",
        ),
        (
            ["--given-line", "7" + SIX[1:], "--blocks", "2x3"],
            "--given-line holds 1 to 6 on this board, and . for nothing; it can't hold '7'.",
        ),
        (
            ["--given-line", "g" + SIX[1:], "--blocks", "2x3"],
            "it can't hold 'g'.",
        ),
        (
            ["--given-line", "ß" + SIX[1:], "--blocks", "2x3"],
            "it can't hold 'ß'.",
        ),
        (
            ["--given-line", "." * 25, "--regions", JIGSAW[:-1] + "D"],
            "Block D of --regions has 6 cells: expected 5, one for each digit.",
        ),
        (
            ["--given-line", SIX, "--blocks", "2x3", "--since", CLEAN],
            "does not show the same printed digits: --since needs an earlier photo of this grid.",
        ),
        (
            ["--given-line", SIX, "--blocks", "2x3", "--assume", "R1C2=7"],
            "'R1C2=7' is beyond this board: its rows, columns and digits go from 1 to 6.",
        ),
        (
            ["--given-line", SIX, "--blocks", "2x3", "--assume", "R7C1=1"],
            "'R7C1=1' is beyond this board: its rows, columns and digits go from 1 to 6.",
        ),
        (
            ["--given-line", "." * 25],
            "this one has 25, which would do with --regions.",
        ),
    ],
)
def test_bad_words_get_a_sentence(
    capsys: pytest.CaptureFixture[str], words: list[str], sentence: str
) -> None:
    code, out, err = said(capsys, "hint", *words)
    assert (code, out) == (2, "")
    assert sentence in err


def test_the_library_takes_the_same_words_and_saves_the_board() -> None:
    page = papernudge.read_lines(SIX, blocks="2x3")
    answer = papernudge.nudge(page.sheet(), depth=4)
    assert answer.sentence == "Write 6 in R1C2. R2C1 follows."
    after = papernudge.load(papernudge.save(papernudge.wrote(answer)))
    assert after.grid.layout is page.grids[0].layout
    assert after.grid.entries[1] == "6"
    assert papernudge.check(after).state == "right so far"
    with pytest.raises(papernudge.WordsError, match="36 digits"):
        papernudge.read_lines("." * 81, blocks="2x3")
    with pytest.raises(papernudge.WordsError, match="100 digits, A for 10, B for 11 and so on"):
        papernudge.read_lines("." * 81, blocks="2x5")
    with pytest.raises(papernudge.WordsError, match="16 cells at most"):
        papernudge.read_lines("." * 81, blocks="9x9")
    assert papernudge.picture(answer, ".svg").startswith(b"<svg")


@pytest.mark.parametrize(
    "other",
    [{"givens": SIX + "."}, {"givens": "7" + SIX[1:]}, {"layout": {"block": [2, 2]}}],
)
def test_a_saved_session_whose_lines_are_of_another_board_is_refused(other: dict[str, Any]) -> None:
    told = json.loads(papernudge.save(papernudge.read_lines(SIX, blocks="2x3").sheet()))
    if "layout" in other:
        other = {"layout": told["layout"] | other["layout"]}
    with pytest.raises(papernudge.SavedError, match="damaged"):
        papernudge.load(json.dumps(told | other).encode())


def test_a_document_whose_lines_are_of_another_board_than_it_says_is_none() -> None:
    schema = json.loads((files("papernudge.cli") / "schema.json").read_text("utf-8"))
    validator = jsonschema.Draft202012Validator(schema)
    page = papernudge.read_lines(SIX, blocks="2x3")
    from papernudge.cli.session.documents import page_document

    told = page_document(page)
    validator.validate(told)
    grid = told["grids"][0]
    for wrong in (
        {"givens": SIX + "."},
        {"givens": "7" + SIX[1:]},
        {"layout": grid["layout"] | {"rows": 8, "columns": 8, "block": [2, 4]}},
        {"layout": grid["layout"] | {"columns": 7}},
        {"layout": grid["layout"] | {"extra": ["A" * 64]}},
    ):
        with pytest.raises(jsonschema.ValidationError):
            validator.validate(told | {"grids": [grid | wrong]})
    alone = {name: value for name, value in grid.items() if name != "layout"}
    with pytest.raises(jsonschema.ValidationError):
        validator.validate(told | {"grids": [alone]})
