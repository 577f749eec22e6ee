"""How far a run has come, at a terminal and when piped; and what starting costs."""

from __future__ import annotations

import contextlib
import io
import os
import re
import struct
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from papernudge.cli.books.progress import Progress, span


def test_a_run_of_no_page_says_nothing() -> None:
    out = io.StringIO()
    with Progress(out, 0):
        pass
    assert out.getvalue() == ""


def test_where_no_terminal_is_it_says_nothing_and_brings_in_nothing_to_draw_with() -> None:
    program = (
        "import sys\nfrom papernudge.cli.books.progress import Progress\n"
        "with Progress(sys.stderr, 250) as progress:\n"
        "    for _ in range(250): progress.add(6, 1)\n"
        "print('rich' in sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert (done.stdout, done.stderr) == ("False\n", "")


DRAWN = """
import sys
from papernudge.cli.books.progress import Progress
with Progress(sys.stderr, 12345) as progress:
    for _ in range(20):
        progress.add(600, 100)
"""


LOOKED = """
import sys
from papernudge.cli.books.progress import Looking
what = "several cells in a row with 3 blanks"
with Looking(sys.stderr, "looking for, at most", what=what, most=560) as looking:
    for _ in range(20):
        looking.add()
"""


def drawn_at(columns: int, program: str = DRAWN) -> list[str]:
    """What a real terminal of so many columns is sent: one text for each time the line is drawn."""
    pty = pytest.importorskip("pty", reason="no terminals of this kind on this system")
    fcntl, termios = pytest.importorskip("fcntl"), pytest.importorskip("termios")
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 25, columns, 0, 0))
    env = {k: v for k, v in os.environ.items() if k not in ("COLUMNS", "LINES")}
    run = subprocess.Popen(
        [sys.executable, "-c", program],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        env=env | {"TERM": "xterm"},
    )
    os.close(theirs)
    said = b""
    with contextlib.suppress(OSError):  # how the end of a terminal is told
        while piece := os.read(ours, 65536):
            said += piece
    os.close(ours)
    assert run.wait() == 0
    return re.split(r"\r", re.sub(r"\x1b\[[?0-9;]*[A-Za-z]", "", said.decode()))


@pytest.mark.parametrize("columns", [24, 40, 80, 200])
def test_at_a_terminal_of_any_width_it_stays_on_one_line_and_says_the_time_left(
    columns: int,
) -> None:
    """At 80 columns it once wrapped, and each update took a line of its own."""
    draws = drawn_at(columns)
    assert len(draws) > 20
    assert max(map(len, draws)) <= columns
    assert "".join(draws).count("\n") == 1
    assert draws[5].startswith("5 of 12345 pages")
    if columns >= 40:
        assert re.search(r"\d (s|min) left", draws[5])
    if columns >= 80:
        assert "3000 puzzles, 500 doubts" in draws[5]
        assert "━" in draws[5]


def test_what_is_looked_through_stays_on_one_line_too_and_goes_at_the_end() -> None:
    draws = drawn_at(40, LOOKED)
    assert max(map(len, draws)) <= 40
    assert draws[5].startswith("several cells in a row with 3 blanks: p")
    assert draws[-1] == ""


@pytest.mark.parametrize(
    ("seconds", "words"), [(0, "0 s"), (89, "89 s"), (600, "10 min"), (9000, "2 h 30 min")]
)
def test_time_left_is_said_as_people_do(seconds: float, words: str) -> None:
    assert span(seconds) == words


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
