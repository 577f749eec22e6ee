"""The child that opens files: what it may take, how it ends, and that nothing of it stays."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from samples import chosen

from papernudge.cli.base import limited
from papernudge.cli.base.limited import Child, Ended
from papernudge.vision.photo import Photo, open_photo

Run = Callable[..., Any]
FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
LINUX = pytest.mark.skipif(sys.platform != "linux", reason="memory is limited on Linux only")


@pytest.fixture(scope="module")
def children() -> Iterator[list[Child]]:
    """Those that are still at work: one serves until a test ends it."""
    some: list[Child] = []
    yield some
    for one in some:
        one.close()


@pytest.fixture
def child(children: list[Child]) -> Iterator[Child]:
    one = children.pop() if children else Child()
    yield one
    try:
        ready = asked(one, len, b"123") == 3
    except (Ended, OSError):
        ready = False
    if ready:
        children.append(one)
    else:
        one.close()


def asked(child: Child, work: Callable[..., Any], *args: Any, seconds: float = 3.0) -> Any:
    child.send(work, *args, seconds=seconds)
    return child.receive()


def test_pixels_come_back_as_they_were_decoded(child: Child) -> None:
    path = FIXTURES / "kitchen-table.jpg"
    there, here = asked(child, open_photo, path, "k.jpg"), open_photo(path, "k.jpg")
    assert isinstance(there, Photo)
    assert isinstance(here, Photo)
    assert np.array_equal(there.pixels, here.pixels)
    assert (there.tag, there.name) == (here.tag, here.name)
    there.pixels[0, 0] = 7  # it is ours now
    assert asked(child, len, b"123") == 3


def test_two_photos_do_not_share_their_memory(child: Child) -> None:
    one = asked(child, open_photo, FIXTURES / "clean.jpg")
    before = one.pixels.copy()
    two = asked(child, open_photo, FIXTURES / "solved.jpg")
    assert not np.array_equal(two.pixels, before)
    assert np.array_equal(one.pixels, before)


def test_a_failure_comes_back_as_it_is(child: Child, tmp_path: Path) -> None:
    told = asked(child, open_photo, tmp_path / "gone.jpg")
    assert (told.stage, told.reason) == ("open", "missing")


def test_what_takes_too_much_work_ends_with_the_child(child: Child) -> None:
    with pytest.raises(Ended) as end:
        asked(child, sum, range(10**12), seconds=0.2)
    assert end.value.why == "time"


def test_what_waits_for_ever_is_ended_by_the_clock(
    child: Child, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(limited, "WALL", 0.3)
    with pytest.raises(Ended) as end:
        asked(child, time.sleep, 100)
    assert end.value.why == "clock"


@LINUX
def test_what_takes_too_much_memory_is_refused_it(child: Child) -> None:
    assert asked(child, np.ones, limited.MEMORY // 2, np.uint8).all()
    with pytest.raises(MemoryError):
        asked(child, np.ones, 2 * limited.MEMORY, np.uint8)
    with pytest.raises(MemoryError):  # it is there, but can't be sent
        asked(child, bytes, limited.MEMORY * 7 // 10)
    assert asked(child, len, b"123") == 3


def test_a_crash_is_told_from_a_lack_of_time(child: Child) -> None:
    with pytest.raises(Ended) as end:
        asked(child, os.abort)
    assert end.value.why == "broken"


def test_a_fault_of_ours_comes_back_as_one(child: Child) -> None:
    with pytest.raises(RuntimeError, match="ValueError: "):
        asked(child, int, "seven")


@pytest.mark.slow
def test_after_an_end_the_next_file_has_a_fresh_child() -> None:
    with pytest.raises(Ended):
        limited.ask(os.abort)
    assert limited.ask(len, b"123") == 3


@LINUX
def test_a_killed_parent_takes_its_busy_children_along() -> None:
    program = (
        "import time\nfrom papernudge.cli.base.limited import Child\n"
        "for fork in (True, False):\n"
        "    child = Child(fork)\n"
        "    child.send(len, b'')\n    child.receive()\n"
        "    child.send(sum, range(10**12), seconds=60.0)\n    print(child.pid, flush=True)\n"
        "time.sleep(60)\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", program], stdout=subprocess.PIPE, text=True
    ) as run:
        assert run.stdout is not None
        children = [int(run.stdout.readline()) for _ in range(2)]
        assert all(Path(f"/proc/{one}").exists() for one in children)
        run.kill()
    late = time.monotonic() + 5
    while any(alive(one) for one in children) and time.monotonic() < late:
        time.sleep(0.02)
    assert not any(alive(one) for one in children)


def alive(process: int) -> bool:
    try:
        stat = Path(f"/proc/{process}/stat").read_text("ascii")
    except OSError:
        return False
    return stat.rpartition(")")[2].split()[0] != "Z"


def test_nothing_is_imported_from_the_folder_that_the_photos_lie_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "pickle.py").write_text("raise SystemExit(9)")
    monkeypatch.chdir(tmp_path)
    child = Child()
    try:
        assert asked(child, len, b"123") == 3
    finally:
        child.close()


def test_a_page_beyond_its_time_is_told_and_the_rest_goes_on(
    papernudge: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from papernudge.cli.books import pool, sources

    spent = limited.PAGE_SECONDS
    send = Child.send

    def hurried(self: Child, work: Any, *args: Any, seconds: float = spent) -> None:
        slow = work is pool.read_page and args[0].name == "slow.jpg"
        send(self, *((sum, range(10**12)) if slow else (work, *args)), seconds=0.3 if slow else 20)

    monkeypatch.setattr(Child, "send", hurried)
    for name in ("slow.jpg", "z.jpg"):
        data = (FIXTURES / "clean.jpg").read_bytes() + name.encode()
        (tmp_path / name).write_bytes(data)
    assert sources.MAX_PAGES == 5_000
    ran = papernudge("digitise", tmp_path, "--book", tmp_path / "b.book", "--workers", 1)
    assert ran.code == 5
    assert "slow.jpg, page 1, takes more than 3 s of work to open or 20 s to read" in ran.err
    assert "1 clean puzzle" in ran.out
    assert papernudge("digitise", tmp_path, "--book", tmp_path / "b.book").code == 5  # told again
    monkeypatch.undo()
    again = papernudge("digitise", tmp_path, "--book", tmp_path / "b.book")
    assert "2 were done before" in again.out


def test_limits_are_said_in_the_help(papernudge: Run) -> None:
    said = " ".join(papernudge("digitise", "--help").out.split())
    assert f"{limited.SECONDS:g} s" in said
    assert f"{limited.MEMORY // 1_000_000} MB" in said
    assert "5,000 pages" in said
    for command in ("read", "hint", "check", "mark"):
        said = " ".join(papernudge(command, "--help").out.split())
        assert f"{limited.SECONDS:g} s" in said
        assert f"{limited.MEMORY // 1_000_000} MB" in said


def heard() -> None:
    """A shell starts what runs in its background deaf to Ctrl-C, the tests among it: not this."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


ENDS = [(signal.SIGINT, 130), (signal.SIGTERM, 143)]


@pytest.mark.parametrize(("number", "code"), chosen(ENDS, ENDS[0]))
def test_a_signal_ends_a_run_at_once_with_nothing_left(
    tmp_path: Path, number: signal.Signals, code: int
) -> None:
    for name in ("a.jpg", "b.jpg", "c.jpg"):
        data = (FIXTURES / "two-grids.jpg").read_bytes() + name.encode()
        (tmp_path / name).write_bytes(data)
    book = tmp_path / "b.book"
    run = subprocess.Popen(
        [*(sys.executable, "-m", "papernudge.cli", "digitise", str(tmp_path)),
         *("--book", str(book), "--workers", "2")],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, process_group=0,
        preexec_fn=heard,
    )  # fmt: skip
    while not book.with_name("b.book-lock").exists() and run.poll() is None:
        time.sleep(0.01)
    time.sleep(0.3)
    os.killpg(run.pid, number)
    _, err = run.communicate(timeout=30)  # its pipes end with the last of its children
    assert run.returncode == code, err
    assert "Traceback" not in err
    # The book stays only if a page was read into it.
    assert {path.name for path in tmp_path.glob("b.book*")} <= {"b.book"}


@pytest.mark.slow
def test_a_signal_that_an_import_swallows_ends_the_run_all_the_same(tmp_path: Path) -> None:
    program = (
        "import os, signal, sys\nfrom papernudge.cli import main\nfrom papernudge.cli import app\n"
        "def swallowing(words):\n"
        "    try:\n        os.kill(os.getpid(), signal.SIGINT)\n"
        "    except BaseException:\n        pass\n"
        "    while True: pass\n"
        "app.run = swallowing\nmain()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program],
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
        preexec_fn=heard,
    )
    assert (done.returncode, done.stderr) == (130, "")


@pytest.mark.slow
def test_a_closed_pipe_never_ends_in_a_mistakes_code(puzzle: str) -> None:
    line = (
        f"{sys.executable} -m papernudge.cli check --given-line {puzzle} --entry-line"
        f" 2{'.' * 80} | true; echo ${{PIPESTATUS[0]}}"
    )
    done = subprocess.run(["bash", "-c", line], capture_output=True, text=True, check=False)
    assert (done.stdout, done.stderr) == ("141\n", "")


@pytest.mark.slow
def test_onnxruntime_is_told_to_keep_to_itself_whatever_the_program_had_set() -> None:
    program = (
        "import os\nos.environ['ORT_DISABLE_TELEMETRY'] = '0'\n"
        "{0}\nprint(os.environ['ORT_DISABLE_TELEMETRY'])"
    )
    for road in ("import papernudge.digits_model.scores",
                 "from papernudge.vision.crossings import _session; _session()"):  # fmt: skip
        done = subprocess.run(
            [sys.executable, "-c", program.format(road)], capture_output=True, text=True, check=True
        )
        assert done.stdout.split() == ["1"], road
