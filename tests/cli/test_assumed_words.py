"""Corrections and assumptions of any length and from any file end in a sentence."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from papernudge.cli.base.exits import Exit, code_of
from papernudge.cli.base.trouble import Trouble
from papernudge.cli.books.corrections import MOST_TEXT, parse_correction, read_corrections
from papernudge.cli.session.assume import parse_assumption

Run = Callable[..., Any]
ID = "0123456789abcdef"
MANY = "9" * 5000


@pytest.mark.parametrize(
    "text",
    [
        MANY,
        f"R1C1={MANY}",
        f"{MANY}:R1C1=1",
        f"{'9' * 20}:R1C1=1",
        f"R{MANY}C1=1",
        f"R1C1=notes:{MANY}",
    ],
)
def test_numbers_of_any_length_are_words_that_are_off(
    papernudge: Run, puzzle: str, text: str
) -> None:
    with pytest.raises(Trouble) as stopped:
        parse_assumption(text)
    assert code_of(stopped.value) == Exit.WORDS
    assert len(stopped.value.sentence) < 400
    for words in (
        ["hint", "--given-line", puzzle, "--assume", text],
        ["mark", "x.jpg", "--assume", text],
        ["digitise", "x.jpg", "--book", "b", "--assume", text],
    ):
        assert papernudge(*words).code == Exit.WORDS


@pytest.mark.parametrize(
    "text",
    [
        f"{ID}-{'9' * 20}-1 ok",
        f"{ID}-1-{'9' * 20} left out",
        f"{ID}-{'9' * 20}-1 R1C1=1",
        f"{ID}-1-{MANY} R1C1=1",
        f"{ID}-1-1 R1C1={MANY}",
        f"{ID}-1-1 {MANY}",
        f"{ID * 400}-1-1 ok",
    ],
)
def test_a_page_or_grid_of_twenty_digits_is_none(
    papernudge: Run, tmp_path: Path, text: str
) -> None:
    with pytest.raises(Trouble) as stopped:
        parse_correction(text)
    assert code_of(stopped.value) == Exit.WORDS
    assert len(stopped.value.sentence) < 400
    file = tmp_path / "c.txt"
    file.write_text(f"{text}\n")
    ran = papernudge("digitise", "--book", tmp_path / "b", "--corrections", file)
    assert ran.code == Exit.WORDS
    assert "line 1" in ran.err or "looks like" in ran.err
    assert not (tmp_path / "b").exists()


def test_the_highest_page_that_can_be_named_is_only_not_there(
    papernudge: Run, shelf_book: Path
) -> None:
    ran = papernudge("digitise", "--book", shelf_book, "--assume", f"{ID}-999999999-1 ok")
    assert ran.code == Exit.WORDS
    assert "holds no grid" in ran.err


@pytest.fixture
def shelf_book(tmp_path: Path) -> Path:
    from papernudge.cli.books.book import Book

    Book.to_write(tmp_path / "b").close()
    return tmp_path / "b"


@pytest.mark.skipif(sys.platform == "win32", reason="pipes are unlike here")
def test_corrections_come_from_a_file_of_text(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "loop").symlink_to("loop")
    (tmp_path / "bytes").write_bytes(b"\xff\xfe\xfd")
    with (tmp_path / "huge").open("wb") as huge:
        huge.truncate(MOST_TEXT + 1)
    for path in (
        *(tmp_path / name for name in ("pipe", "loop", "bytes", "huge", "gone", ".", "x" * 300)),
        Path("/dev/zero"),
    ):
        with pytest.raises(Trouble, match="can't be read") as stopped:
            read_corrections(path)
        assert code_of(stopped.value) == Exit.FILE


def test_an_endless_file_is_no_source_of_puzzles(papernudge: Run, tmp_path: Path) -> None:
    """One line of 300 MB: never held whole, and told at its first thousands of characters."""
    with (tmp_path / "huge").open("wb") as huge:
        huge.truncate(300_000_000)
    for source in (tmp_path / "huge", "/dev/zero"):
        ran = papernudge("drill", source, "--scan", 1, "--out", tmp_path / "o.pdf")
        assert ran.code == Exit.FILE
        assert ran.err.count("\n") == 1
