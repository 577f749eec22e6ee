"""Pages read on a Dask scheduler's workers, on loopback, one of which is killed half-way."""

from __future__ import annotations

import builtins
import contextlib
import importlib.util
import json
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """A scheduler and two workers, each a process, and the scheduler's address."""
    if importlib.util.find_spec("distributed") is None:
        pytest.skip("distributed is absent: pip install 'papernudge[cluster]'")
    told = tmp_path / "scheduler.json"
    quiet: dict[str, Any] = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    dask = [sys.executable, "-m", "dask"]
    words = ["scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard"]
    words += ["--scheduler-file", str(told)]
    scheduler = subprocess.Popen([*dask, *words], **quiet)
    workers: list[subprocess.Popen[bytes]] = []
    try:
        address = str(_waited(told)["address"])
        for _ in range(2):
            words = ["worker", address, "--nthreads", "1", "--no-nanny", "--no-dashboard"]
            words += ["--local-directory", str(tmp_path)]
            workers.append(subprocess.Popen([*dask, *words], **quiet))
        yield address, workers
    finally:
        for process in (*workers, scheduler):
            process.kill()
            process.wait()


def _waited(path: Path) -> Any:
    for _ in range(300):
        with contextlib.suppress(OSError, ValueError):
            return json.loads(path.read_text("utf-8"))
        time.sleep(0.1)
    raise AssertionError("the scheduler did not start within half a minute")


def test_without_the_extra_the_sentence_says_what_to_install(
    papernudge: Run, shelf: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    true = builtins.__import__

    def without(name: str, *rest: Any, **named: Any) -> Any:
        if name.split(".")[0] == "distributed":
            raise ImportError(name)
        return true(name, *rest, **named)

    monkeypatch.setattr(builtins, "__import__", without)
    words = (
        "digitise",
        shelf.photos[0],
        "--book",
        tmp_path / "b",
        "--cluster",
        "tcp://127.0.0.1:1",
    )
    ran = papernudge(*words)
    assert ran.code == 2
    assert "pip install 'papernudge[cluster]'" in ran.err


def test_where_no_scheduler_answers_or_it_has_no_worker_the_sentence_says_so(
    papernudge: Run, shelf: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("distributed")
    from papernudge.cli.books import cluster

    monkeypatch.setattr(cluster, "_PATIENCE", 1.0)
    for address in ("tcp://127.0.0.1:1", "nonsense"):
        words = ("digitise", shelf.photos[0], "--book", tmp_path / "b", "--cluster", address)
        ran = papernudge(*words)
        assert ran.code == 5
        assert f"No Dask scheduler answers at {address}: expected one there" in ran.err
        assert ran.err.count("\n") == 1


def test_the_help_says_that_photos_travel(papernudge: Run) -> None:
    said = " ".join(papernudge("digitise", "--help").out.split())
    assert "your photos travel to that address" in said
    assert "A book's content may be protected: you answer for the right to copy it." in said


def test_a_worker_killed_half_way_changes_nothing(
    cluster: Any, started: Run, papernudge: Run, shelf: Any, export_bytes: Run, tmp_path: Path
) -> None:
    address, workers = cluster
    desk = tmp_path / "desk"
    desk.mkdir()
    for copy in range(2):  # each a file of its own
        for photo in shelf.photos:
            target = desk / f"{copy}-{photo.name}"
            shutil.copy(photo, target)
            with target.open("ab") as file:
                file.write(bytes([copy]))
    here, there = tmp_path / "here.book", tmp_path / "there.book"
    assert papernudge("digitise", desk, "--book", here, "--workers", 1).code == 0
    run = started("digitise", desk, "--book", there, "--cluster", address)
    while not _some_pages(there) and run.poll() is None:
        time.sleep(0.02)
    workers[0].kill()
    out, err = run.communicate(timeout=120)
    assert run.returncode == 0, err
    assert "This run read 12 pages" in out
    assert export_bytes(there) == export_bytes(here)


def _some_pages(book: Path) -> bool:
    from papernudge.cli.books.book import Book
    from papernudge.cli.exits import Stop

    try:
        with Book.to_read(book) as opened:
            return bool(opened.pages_done())
    except Stop:
        return False
