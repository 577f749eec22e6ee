"""Folders as they lie about: no entry of one stops the others."""

from __future__ import annotations

import json
import os
import shutil
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from papernudge.cli.base.exits import Exit
from papernudge.cli.books.rows import PageDone
from papernudge.cli.books.sources import Surveyed, files, survey

Run = Callable[..., Any]
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="other names and kinds of file")


@pytest.fixture
def digitised(
    papernudge: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Callable[..., Any]:
    """Digitises a folder whose pages are blank; the document."""

    def blank(todo: Any, wishes: Any) -> Iterator[tuple[PageDone]]:
        for task in todo:
            yield (PageDone(task.hash, task.number, "test", "no grid"),)

    monkeypatch.setattr("papernudge.cli.books.digitise._reading", blank)

    def run(*sources: object, code: int = Exit.FILE) -> Any:
        ran = papernudge("digitise", *sources, "--book", tmp_path / "b", "--json")
        assert ran.code == code, ran.err
        return json.loads(ran.out)

    return run


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two photos with an entry's place between them."""
    path = tmp_path / "shelf"
    path.mkdir()
    (path / "a.jpg").write_bytes(b"first")
    (path / "z.jpg").write_bytes(b"last")
    return path


def failures(document: Any) -> list[str]:
    return [one["error"]["sentence"] for one in document["failures"]]


def test_names_that_are_not_utf_8_are_read_and_told_apart(digitised: Run, folder: Path) -> None:
    for number, name in enumerate((b"\xff.jpg", b"\xfe.jpg", b"caf\xe9.jpg")):
        Path(os.fsdecode(os.fsencode(folder) + b"/" + name)).write_bytes(bytes([number]))
    again = digitised(folder, code=0)
    assert again["pages"]["all"] == 5
    assert digitised(folder, code=0)["pages"] == {**again["pages"], "read": 0, "before": 5}


def test_a_name_that_is_not_utf_8_is_written_out_in_the_book(
    digitised: Run, folder: Path, tmp_path: Path
) -> None:
    import sqlite3

    Path(os.fsdecode(os.fsencode(folder) + b"/caf\xe9.jpg")).write_bytes(b"x")
    digitised(folder, code=0)
    sql = sqlite3.connect(tmp_path / "b")
    assert ("caf\\xe9.jpg",) in sql.execute("SELECT name FROM place").fetchall()
    sql.close()


def test_links_in_a_circle_are_not_followed(digitised: Run, folder: Path) -> None:
    (folder / "m.jpg").symlink_to("n.jpg")
    (folder / "n.jpg").symlink_to("m.jpg")
    (folder / "self.jpg").symlink_to("self.jpg")
    (folder / "round").symlink_to(".")
    (folder / "inner").mkdir()
    (folder / "inner" / "up").symlink_to("..")
    found = digitised(folder)
    assert found["pages"]["all"] == 2
    assert len(failures(found)) == 3
    assert all("symbolic links" in said for said in failures(found))


@pytest.mark.parametrize(
    "kind", ["pipe", "socket", "device", "link to nothing", "link to /dev/zero"]
)
def test_what_is_no_file_is_told_and_the_rest_is_read(
    digitised: Run, folder: Path, kind: str
) -> None:
    import socket
    import stat

    path = folder / "m.jpg"
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "socket":
        with socket.socket(socket.AF_UNIX) as listening:
            listening.bind(str(path))
    elif kind == "device":
        try:
            os.mknod(path, stat.S_IFCHR | 0o666, os.makedev(1, 5))
        except PermissionError:
            pytest.skip("only an administrator makes devices")
    else:
        path.symlink_to("gone" if kind == "link to nothing" else "/dev/zero")
    found = digitised(folder)
    assert found["pages"]["all"] == 2
    (said,) = failures(found)
    assert "m.jpg" in said


def test_a_folder_1200_deep_is_read_to_its_ground(digitised: Run, folder: Path) -> None:
    """Deeper than Python's stack; a path of 2,400 characters is within what the system takes."""
    here = os.open(folder, os.O_RDONLY)
    for _ in range(1200):
        os.mkdir("d", dir_fd=here)
        deeper = os.open("d", os.O_RDONLY, dir_fd=here)
        os.close(here)
        here = deeper
    with os.fdopen(os.open("deep.jpg", os.O_WRONLY | os.O_CREAT, dir_fd=here), "wb") as file:
        file.write(b"deep")
    os.close(here)
    try:
        assert digitised(folder, code=0)["pages"]["all"] == 3
    finally:
        _taken_away(folder / "d")


def test_a_folder_whose_path_is_longer_than_the_system_takes_is_told(
    digitised: Run, folder: Path
) -> None:
    """4,096 bytes on Linux (PATH_MAX, limits.h)."""
    here = os.open(folder, os.O_RDONLY)
    for _ in range(25):
        os.mkdir("d" * 200, dir_fd=here)
        deeper = os.open("d" * 200, os.O_RDONLY, dir_fd=here)
        os.close(here)
        here = deeper
    os.close(here)
    try:
        found = digitised(folder)
    finally:
        _taken_away(folder / ("d" * 200))
    assert found["pages"]["all"] == 2
    (said,) = failures(found)
    assert "too long" in said


def _taken_away(folder: Path) -> None:
    """Without recursion, from within: first all folders are brought up, then emptied."""
    aside = folder.parent / "aside"
    number = 0
    while folder.exists():
        number += 1
        for path in list(folder.iterdir()):
            path.rename(folder.parent / f"aside-{number}" if path.is_dir() else aside)
        folder.rmdir()
        folder = folder.parent / f"aside-{number}"
    aside.unlink(missing_ok=True)


def test_a_folder_that_may_not_be_entered_is_told(
    digitised: Run, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An administrator enters every folder: the system's answer is given here."""
    (folder / "closed").mkdir()
    (folder / "closed" / "x.jpg").write_bytes(b"x")
    listed = os.listdir

    def denied(path: Any) -> list[str]:
        if Path(path).name == "closed":
            raise PermissionError(13, "Permission denied", str(path))
        return listed(path)

    monkeypatch.setattr(os, "listdir", denied)
    found = digitised(folder)
    assert found["pages"]["all"] == 2
    (said,) = failures(found)
    assert "closed can't be read (permission denied)" in said
    monkeypatch.undo()


def test_the_book_itself_among_the_photos_is_no_page(
    papernudge: Run, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("papernudge.cli.books.digitise._reading", lambda *_: (page for page in ()))
    for _ in range(2):
        assert papernudge("digitise", folder, "--book", folder / "book.png").code == 0


def test_a_file_that_grows_while_it_is_read_is_left_for_another_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(bytes(1000))
    assert isinstance(survey(path), Surveyed)
    real = os.fstat

    def before(handle: int) -> os.stat_result:
        told = list(real(handle))
        told[6] -= 1  # st_size: a moment ago it was shorter
        return os.stat_result(told)

    monkeypatch.setattr("papernudge.cli.books.sources.os.fstat", before)
    found = survey(path)
    assert not found
    assert "grows while it is read" in found.sentence


def test_a_source_without_a_name_is_not_the_current_folder(papernudge: Run, tmp_path: Path) -> None:
    ran = papernudge("digitise", "", "--book", tmp_path / "b")
    assert ran.code == Exit.WORDS
    assert not (tmp_path / "b").exists()


def test_entries_come_in_the_natural_order_of_their_names(tmp_path: Path) -> None:
    for name in ("b/2.jpg", "b/10.jpg", "a.jpg", "c.jpg", "b.jpg", ".hidden/x.jpg", "b/x.txt"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    found = [str(path.relative_to(tmp_path)) for path in files([str(tmp_path)])]
    assert found == ["a.jpg", "b/2.jpg", "b/10.jpg", "b.jpg", "c.jpg"]
    shutil.rmtree(tmp_path / "b")
