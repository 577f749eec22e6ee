"""What the command says of itself, completes, and takes from the user's own defaults."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pytest
import typer.main
from samples import chosen

from papernudge.cli.app import app
from papernudge.cli.base.exits import Exit
from papernudge.cli.books.digitise import Ran

Run = Callable[..., Any]
COMMANDS = sorted(typer.main.get_command(app).commands)  # type: ignore[attr-defined]


def test_it_says_its_version(papernudge: Run) -> None:
    ran = papernudge("--version")
    assert (ran.code, ran.out, ran.err) == (0, f"papernudge {version('papernudge')}\n", "")


@pytest.mark.parametrize("command", [None, *COMMANDS])
def test_no_help_is_cut_short_or_tells_how_it_is_made(papernudge: Run, command: str | None) -> None:
    ran = papernudge(*([command] if command else []), "--help")
    assert ran.code == 0
    assert not re.search(r"<\w+|list\[|str\b|\d<=|<=\d|x>=|[a-z,]\.\.\.|…", ran.out)


def test_a_range_and_a_default_are_said_in_words(papernudge: Run) -> None:
    said = " ".join(papernudge("read", "--help").out.split())
    assert "Longest side of the picture, pixels. (1600 if unsaid; 200 to 20000)" in said


COMPLETED = {  # what each shell's script hands over, as typer's scripts for them do
    "bash": {"COMP_WORDS": "papernudge di", "COMP_CWORD": "1"},
    "zsh": {"_TYPER_COMPLETE_ARGS": "papernudge di"},
    "fish": {"_TYPER_COMPLETE_ARGS": "papernudge di", "_TYPER_COMPLETE_FISH_ACTION": "get-args"},
}


@pytest.mark.parametrize("shell", chosen([*COMPLETED], "bash"))
def test_each_shell_completes_a_command(shell: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "papernudge.cli"],
        env=os.environ | COMPLETED[shell] | {"_PAPERNUDGE_COMPLETE": f"complete_{shell}"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "digitise" in done.stdout
    assert "drill" not in done.stdout


# ---------------------------------------------------------------- the user's own defaults


@pytest.fixture
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where the settings are looked for; a home of its own."""
    import platformdirs

    folder = tmp_path / "settings"
    folder.mkdir()
    monkeypatch.setattr(platformdirs, "user_config_dir", lambda *_, **__: str(folder))
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.delenv("PAPERNUDGE_BOOK", raising=False)
    monkeypatch.delenv("PAPERNUDGE_LOG", raising=False)
    return folder / "settings.toml"


@pytest.fixture
def asked_book(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """The books that digitise is asked to write."""
    asked: list[Path] = []

    def digitised(wishes: Any, tell: Any) -> Any:
        asked.append(wishes.book)
        return Ran({}, (), (), Exit.DONE)

    monkeypatch.setattr("papernudge.cli.books.digitise.run_digitise", digitised)
    return asked


def test_a_book_left_out_is_named_by_the_variable_else_by_the_file(
    papernudge: Run,
    settings: Path,
    asked_book: list[Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert papernudge("digitise", "x.jpg").code == 2
    settings.write_text('book = "~/shelf.book"\n')
    assert papernudge("digitise", "x.jpg").code == 0
    monkeypatch.setenv("PAPERNUDGE_BOOK", "other.book")
    assert papernudge("digitise", "x.jpg").code == 0
    assert papernudge("digitise", "x.jpg", "--book", "third.book").code == 0
    assert asked_book == [tmp_path / "shelf.book", Path("other.book"), Path("third.book")]
    monkeypatch.setenv("PAPERNUDGE_BOOK", "")  # says: none
    assert papernudge("digitise", "x.jpg").code == 2


def test_the_log_is_found_by_mark_and_by_progress(
    papernudge: Run, settings: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.write_text('log = "~/practice.log"\n')
    asked: list[Any] = []
    monkeypatch.setattr(
        "papernudge.cli.terminal.marking.run_mark", lambda _, wishes: asked.append(wishes.log) or 0
    )
    monkeypatch.setattr(
        "papernudge.cli.terminal.progress.run_progress", lambda log, *_: asked.append(log) or 0
    )
    assert papernudge("mark", "x.jpg").code == papernudge("progress").code == 0
    assert asked == [tmp_path / "practice.log"] * 2


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"book =", "can't be followed"),
        (b"\xff", "it is not UTF-8"),
        (b'look = "~/x"', "it says 'look'"),
        (b'book = "x.book"', "book is no file named from the root or from ~"),
        (b"book = 7", "book is no file named from the root or from ~"),
    ],
)
def test_settings_that_cannot_be_followed_are_told_in_a_sentence(
    papernudge: Run, settings: Path, asked_book: list[Path], text: bytes, said: str
) -> None:
    settings.write_bytes(text)
    ran = papernudge("digitise", "x.jpg")
    assert (ran.code, ran.out) == (2, "")
    assert said in ran.err
    assert ran.err.count("\n") == 1
    assert asked_book == []
    assert papernudge("digitise", "--help").code == 0
    assert papernudge("read", "--given-line", "12").err.startswith("--given-line")


def test_help_says_where_a_default_is_looked_for(papernudge: Run, settings: Path) -> None:
    for command, names in (
        ("digitise", ("BOOK",)), ("export", ("BOOK",)), ("mark", ("LOG",)), ("progress", ("LOG",)),
        ("phone", ("BOOK", "LOG")),
    ):  # fmt: skip
        said = "".join(papernudge(command, "--help").out.split())
        assert str(settings) in said
        assert all(f"PAPERNUDGE_{name}" in said for name in names)
    assert "PAPERNUDGE" not in papernudge("read", "--help").out
