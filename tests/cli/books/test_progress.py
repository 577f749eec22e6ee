"""How far a run has come, at a terminal and when piped; and what starting costs."""

from __future__ import annotations

import io
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from papernudge.cli.books.progress import EVERY, Progress, _span


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_run_of_no_page_says_nothing() -> None:
    out = io.StringIO()
    Progress(out, 0).end()
    assert out.getvalue() == ""


def test_piped_it_says_a_line_every_hundred_pages_and_one_at_the_end() -> None:
    out = io.StringIO()
    progress = Progress(out, 2 * EVERY + 30)
    for _ in range(2 * EVERY + 30):
        progress.add(6, 1)
    lines = out.getvalue().splitlines()
    assert [line.partition(" pages")[0] for line in lines] == [
        "100 of 230",
        "200 of 230",
        "230 of 230",
    ]
    assert "1380 puzzles, 230 doubts" in lines[-1]
    assert "pages a second" in lines[-1]


def test_at_a_terminal_a_bar_grows_on_one_line() -> None:
    out = Terminal()
    progress = Progress(out, 4)
    for _ in range(4):
        progress._drawn = 0.0
        progress.add(1, 0)
    progress.end()
    text = out.getvalue()
    assert text.count("\n") == 1
    assert text.count("\r") == 4
    assert f"[{'=' * 12}{' ' * 12}] 2 of 4 pages" in text
    assert f"[{'=' * 24}] 4 of 4 pages" in text


@pytest.mark.parametrize(
    ("seconds", "words"), [(0, "0 s"), (89, "89 s"), (600, "10 min"), (9000, "2 h 30 min")]
)
def test_time_left_is_said_as_people_do(seconds: float, words: str) -> None:
    assert _span(seconds) == words


def test_export_needs_no_image_library(shelf: Any, tmp_path: Path) -> None:
    from papernudge.cli.app import run

    book = tmp_path / "b.book"
    assert run(["digitise", str(shelf.photos[0]), "--book", str(book)]) == 0
    program = (
        "import sys\nfrom papernudge.cli.app import run\n"
        f"code = run(['export', {str(book)!r}, '--to', {str(tmp_path / 'o.csv')!r}])\n"
        "print(code, [m for m in ('numpy', 'cv2', 'onnxruntime', 'PIL') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "0 []"
