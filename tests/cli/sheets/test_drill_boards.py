"""Practice sheets of other boards, from our own puzzles and from lines."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from samples import chosen

from papernudge.cli.sheets.code import Task, encode
from papernudge.cli.sheets.sheet import pages_of
from papernudge.hints.drilling import Reason, drilled, find_drills
from papernudge.hints.generate import any_blocks, puzzle
from papernudge.hints.layout import NEWSPAPER
from papernudge.hints.shapes import board_of, in_options, of_options
from papernudge.hints.solver import count_solutions, solve

Run = Callable[..., Any]
HIDDEN = "hidden single in a block"
SIX = board_of("2x3")


def text_of(pdf: Path) -> list[str]:
    """The words of each page, by a reader that is not ours."""
    pypdfium2 = pytest.importorskip("pypdfium2")
    document = pypdfium2.PdfDocument(str(pdf))
    try:
        return [page.get_textpage().get_text_range() for page in document]
    finally:
        document.close()


def test_a_sheet_of_six_by_six_has_its_answers_and_no_code(papernudge: Run, tmp_path: Path) -> None:
    out = tmp_path / "six.pdf"
    words = ("--blocks", "2x3", "--reason", HIDDEN, "--positions", 4, "--out", out)
    ran = papernudge("drill", *words)
    assert ran.code == 0, ran.err
    assert "has no code" in ran.err
    first, last = text_of(out)
    digits = {mark for mark in first.split("Date")[1] if mark.isdigit()}
    assert digits <= set("123456/")
    assert "R" in last
    assert not set("789") & {word.partition("=")[2][:1] for word in last.split()}
    again = tmp_path / "again.pdf"
    papernudge("drill", *words[:-1], again)
    assert again.read_bytes() == out.read_bytes()


def test_no_sheet_code_tells_of_another_board() -> None:
    line = puzzle(1, layout=SIX)
    task = Task(1, line, solve(line, SIX) or "", None, 0, ())
    (page,) = pages_of([task], 4, "a4", layout=SIX)
    with pytest.raises(ValueError, match="no sheet code tells of others"):
        encode(page)


@pytest.mark.parametrize("name", chosen(["6x6", "10x10", "any blocks", "diagonals"], "any blocks"))
def test_positions_of_any_board_are_drilled_as_they_say(name: str) -> None:
    """Each answer is a digit of the solution, and the position is a drill when looked at anew."""
    layout = {
        "6x6": SIX,
        "10x10": board_of("2x5"),
        "any blocks": any_blocks(3, 6),
        "diagonals": board_of("2x3", diagonals=True),
    }[name]
    givens = layout.many // 2 if layout.side > 8 else 0
    reason = Reason.parse("hidden single")
    puzzles = (puzzle(seed, givens, layout=layout) for seed in range(2))
    found = find_drills(puzzles, reason, 1, layout=layout)
    assert len(found) == 1
    for drill in found:
        assert drill.layout is layout
        assert count_solutions(drill.digits, layout=layout) == 1
        assert drill.solution == solve(drill.digits, layout)
        for places in drill.answers:
            for cell, digit in places:
                assert drill.digits[cell] == "."
                assert layout.symbols[digit - 1] == drill.solution[cell]
        if drill.alone:
            assert drilled(drill.digits, reason, layout=layout) is not None


def test_a_file_of_lines_says_its_board_in_a_remark(papernudge: Run, tmp_path: Path) -> None:
    source, out = tmp_path / "children.txt", tmp_path / "sheet.pdf"
    lines = [puzzle(seed, layout=SIX) for seed in range(4)]
    source.write_text("# --blocks 2x3\n" + "\n".join(lines) + "\n", "utf-8")
    ran = papernudge("drill", source, "--scan", 3, "--positions", 4, "--out", out)
    assert ran.code == 0, ran.err
    assert "4 positions" in ran.out
    # Lines without a remark are of the board that is asked for.
    source.write_text("\n".join(lines) + "\n", "utf-8")
    words = ("--scan", 3, "--positions", 4, "--out", out)
    ran = papernudge("drill", source, *words)
    assert ran.code == 5
    assert ran.err == (
        f"{source}, line 1: expected 81 characters, got 36, which would do with --blocks 2x3 or"
        " --blocks 3x2: name the board, or mend or take out that line.\n"
    )
    source.write_text("Sixteen letters!\n", "utf-8")
    assert "mend or take out that line" in papernudge("drill", source, *words).err
    source.write_text("\n".join(lines) + "\n", "utf-8")
    assert papernudge("drill", source, *words, "--blocks", "2x3").code == 0
    mixed = f"{puzzle(1)}\n# --blocks 2x3\n{lines[0]}\n# --blocks 3x3\n{puzzle(2)}\n"
    source.write_text(mixed, "utf-8")
    ran = papernudge("drill", source, "--scan", 3, "--positions", 2, "--out", out)
    assert ran.code == 0
    assert "also holds puzzles of other boards" in ran.err
    source.write_text(f"# --regions ABC\n{lines[0]}\n", "utf-8")
    ran = papernudge("drill", source, *words)
    assert ran.code == 5
    assert "line 1" in ran.err


def test_a_board_without_a_full_grid_is_told(papernudge: Run, tmp_path: Path) -> None:
    """An extra block of three cells of row 1 and one below: that one would have to be the fourth
    digit of row 1, which its block holds already.
    """
    words = ("--blocks", "2x2", "--extra", "AAA...A.........", "--scan", 3)
    ran = papernudge("drill", *words, "--out", tmp_path / "s.pdf")
    assert ran.code == 2
    assert "No filled grid of this board was found" in ran.err


def test_boards_come_back_from_the_words_that_they_are_told_in() -> None:
    extra = ["AA..A.....A....."]
    for layout in (
        NEWSPAPER,
        board_of("3x2"),
        board_of("2x2", diagonals=True, extra=extra),
        any_blocks(5, 9),
    ):
        assert of_options(in_options(layout)) is layout
    for text in ("", "a remark", "--blocks", "--blocks 2x3 --blocks 2x3", "--blocks 2x3 and so on"):
        assert of_options(text) is None
