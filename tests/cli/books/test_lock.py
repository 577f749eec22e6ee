"""A book's lock, and the files beside it: only our own are ever cut or taken away."""

from __future__ import annotations

import os
import sqlite3
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from papernudge.cli.base.exits import Exit, Stop
from papernudge.cli.books.book import Book
from papernudge.cli.books.lock import MARK, Lock, is_held

Run = Callable[..., Any]
unix = pytest.mark.skipif(sys.platform == "win32", reason="links and pipes are unlike here")


def make(path: Path) -> None:
    Book.to_write(path).close()


def test_the_lock_is_there_while_a_book_is_written_and_gone_after(tmp_path: Path) -> None:
    lock = tmp_path / "b-lock"
    with Book.to_write(tmp_path / "b"):
        assert lock.read_bytes() == MARK + f"{os.getpid()}\n".encode()
        with pytest.raises(Stop, match=f"another run \\(process {os.getpid()}\\)"):
            Book.to_write(tmp_path / "b")
        assert lock.exists()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["b"]


def test_a_lock_that_a_killed_run_left_is_taken_over(tmp_path: Path) -> None:
    (tmp_path / "b-lock").write_bytes(MARK + b"123456789012\n")
    with Book.to_write(tmp_path / "b"):
        assert (tmp_path / "b-lock").read_bytes() == MARK + f"{os.getpid()}\n".encode()
    assert not (tmp_path / "b-lock").exists()


@pytest.mark.parametrize("content", [b"Dear Lantern", b"4711", bytes(300), b"papernudge"])
def test_a_file_of_the_users_that_has_the_locks_name_stays(
    papernudge: Run, shelf: Any, tmp_path: Path, content: bytes
) -> None:
    mine = tmp_path / "b-lock"
    mine.write_bytes(content)
    ran = papernudge("digitise", shelf.photos[0], "--book", tmp_path / "b")
    assert ran.code == Exit.FILE
    assert "none of ours" in ran.err
    assert ran.err.count("\n") == 1
    assert mine.read_bytes() == content
    assert not (tmp_path / "b").exists()


def test_an_empty_file_with_the_locks_name_is_used_and_left(tmp_path: Path) -> None:
    (tmp_path / "b-lock").touch()
    make(tmp_path / "b")
    assert (tmp_path / "b-lock").read_bytes() == b""


@pytest.mark.slow
def test_of_many_runs_that_come_and_go_only_one_is_ever_at_the_book(tmp_path: Path) -> None:
    """A lock belongs to an open file, so threads stand for processes."""
    inside, turns, faults = [0], [0], list[str]()
    end = time.monotonic() + 1

    def come_and_go() -> None:
        while time.monotonic() < end:
            lock = Lock(tmp_path / "b")
            try:
                lock.take()
            except Stop as stop:
                if stop.reason != "busy":
                    faults.append(stop.sentence)
                continue
            inside[0] += 1
            turns[0] += 1
            if inside[0] != 1:
                faults.append("two at once")
            inside[0] -= 1
            lock.release()

    runs = [threading.Thread(target=come_and_go) for _ in range(4)]
    for run in runs:
        run.start()
    for run in runs:
        run.join()
    assert faults == []
    assert turns[0] > 50
    assert list(tmp_path.iterdir()) == []


def test_whether_a_book_is_being_written_can_be_asked(tmp_path: Path) -> None:
    make(tmp_path / "b")
    assert not is_held(tmp_path / "b")
    with Book.to_write(tmp_path / "b"):
        assert is_held(tmp_path / "b")
    assert not is_held(tmp_path / "b")
    assert [path.name for path in tmp_path.iterdir()] == ["b"]


@unix
@pytest.mark.parametrize("content", [b"Dear Lantern", b"", MARK + b"1\n"])
def test_a_lock_is_never_opened_through_a_link(tmp_path: Path, content: bytes) -> None:
    mine = tmp_path / "letter"
    mine.write_bytes(content)
    (tmp_path / "b-lock").symlink_to(mine)
    with pytest.raises(Stop, match="none of ours"):
        Book.to_write(tmp_path / "b")
    assert mine.read_bytes() == content
    assert (tmp_path / "b-lock").is_symlink()


@unix
def test_a_link_that_leads_nowhere_makes_no_file_there(tmp_path: Path) -> None:
    (tmp_path / "b-lock").symlink_to(tmp_path / "new")
    with pytest.raises(Stop, match="none of ours"):
        Book.to_write(tmp_path / "b")
    assert not (tmp_path / "new").exists()


@unix
@pytest.mark.parametrize("kind", ["pipe", "folder"])
def test_what_is_no_file_is_no_lock(tmp_path: Path, kind: str) -> None:
    lock = tmp_path / "b-lock"
    os.mkfifo(lock) if kind == "pipe" else lock.mkdir()
    with pytest.raises(Stop, match="none of ours"):
        Book.to_write(tmp_path / "b")
    assert lock.exists()


@unix
def test_a_book_behind_a_link_is_locked_as_the_same_book(tmp_path: Path) -> None:
    make(tmp_path / "b")
    (tmp_path / "inner").mkdir()
    (tmp_path / "inner" / "link").symlink_to("../b")
    with Book.to_write(tmp_path / "inner" / "link"), pytest.raises(Stop, match="another run"):
        Book.to_write(tmp_path / "b")
    assert sorted(path.name for path in tmp_path.rglob("*")) == ["b", "inner", "link"]


def test_a_lock_that_somebody_exchanged_is_not_taken_away(tmp_path: Path) -> None:
    lock = Lock(tmp_path / "b")
    lock.take()
    (tmp_path / "b-lock").unlink()
    (tmp_path / "b-lock").write_bytes(b"Dear Lantern")
    lock.release()
    assert (tmp_path / "b-lock").read_bytes() == b"Dear Lantern"


@pytest.mark.parametrize("ending", ["-wal", "-journal", "-shm"])
@pytest.mark.parametrize("book_is_there", [True, False])
def test_a_file_of_the_users_where_the_database_keeps_its_own_stays(
    tmp_path: Path, ending: str, book_is_there: bool
) -> None:
    """SQLite cuts or deletes them without asking."""
    if book_is_there:
        make(tmp_path / "b")
    mine = tmp_path / f"b{ending}"
    mine.write_bytes(b"Dear Lantern")
    with pytest.raises(Stop, match="move it away"):
        Book.to_write(tmp_path / "b")
    assert mine.read_bytes() == b"Dear Lantern"
    assert not (tmp_path / "b-lock").exists()


def test_the_log_of_a_book_that_was_moved_away_is_not_deleted_by_a_new_one(tmp_path: Path) -> None:
    """It holds pages that were read."""
    make(tmp_path / "b")
    sql = sqlite3.connect(tmp_path / "b")
    sql.execute("CREATE TABLE more (page)")
    rest = (tmp_path / "b-wal").read_bytes()
    assert rest
    (tmp_path / "b").rename(tmp_path / "moved")
    sql.close()
    (tmp_path / "b-wal").write_bytes(rest)
    with pytest.raises(Stop, match="move it away"):
        Book.to_write(tmp_path / "b")
    assert (tmp_path / "b-wal").read_bytes() == rest


@pytest.mark.parametrize("name", [":memory:", "file:b?mode=memory", "?", "a%20b#c", "\udcff"])
def test_every_name_is_a_files_name(
    papernudge: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.chdir(tmp_path)
    make(Path(name))
    assert Path(name).stat().st_size > 0
    assert papernudge("export", name, "--to", "out.jsonl").code == 0
