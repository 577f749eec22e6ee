"""Pages into a book: what is broken is told, what is good is done, and once is enough."""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

Run = Callable[..., Any]


def test_without_a_source_or_a_book_the_words_are_off(papernudge: Run, tmp_path: Path) -> None:
    assert papernudge("digitise", "--book", tmp_path / "b.book").code == 2
    ran = papernudge("digitise", tmp_path)
    assert (ran.code, "--book FILE" in ran.err) == (2, True)
    assert not list(tmp_path.iterdir())


def test_an_empty_folder_is_said_to_hold_nothing(papernudge: Run, tmp_path: Path) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    ran = papernudge("digitise", empty, "--book", tmp_path / "b.book")
    assert ran.code == 5
    assert "holds nothing to read: expected photos, PDFs or TIFFs" in ran.err
    assert ran.out == ""


def test_a_missing_source_is_told_and_the_rest_is_done(
    papernudge: Run, shelf: Any, rows: Run, tmp_path: Path
) -> None:
    book = tmp_path / "b.book"
    ran = papernudge("digitise", tmp_path / "gone.jpg", shelf.photos[0], "--book", book)
    assert ran.code == 5
    assert "There is no file" in ran.err
    assert "gone.jpg" not in ran.out
    assert len(rows(book)) == 1


def test_a_corrupt_page_among_good_ones_is_reported_and_the_rest_done(
    papernudge: Run, shelf: Any, rows: Run, tmp_path: Path
) -> None:
    whole = shelf.photos[0].read_bytes()
    (tmp_path / "torn.jpg").write_bytes(whole[: len(whole) // 2])
    book = tmp_path / "b.book"
    for _ in range(2):  # told again by the next run, which does not read it again
        ran = papernudge("digitise", tmp_path, *shelf.photos[1:3], "--book", book)
        assert ran.code == 5
        assert "torn.jpg is cut off" in ran.err
        assert len(rows(book)) == 2
    assert "This run read 0 pages; 3 were done before." in ran.out


@pytest.fixture(scope="session")
def shelved(shelf: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The shelf as a book, made by two workers."""
    from papernudge.cli.app import run

    book = tmp_path_factory.mktemp("book") / "shelf.book"
    assert run(["digitise", str(shelf.folder), "--book", str(book), "--workers", "2"]) == 0
    return book


def test_every_puzzle_comes_out_as_it_was_drawn(shelf: Any, shelved: Path, rows: Run) -> None:
    found = rows(shelved)
    assert len(found) == len(shelf.truth)
    for row in found:
        assert row["status"] in ("clean", "review")
        if row["status"] == "clean":  # a claim
            assert row["givens"] == shelf.truth[row["source"]]
            assert row["solutions"] == "one"
            assert all(g in (".", s) for g, s in zip(row["givens"], row["solution"], strict=True))
    assert sum(row["status"] == "clean" for row in found) >= len(found) - 1


def test_an_exported_line_holds_the_promised_fields(shelved: Path, rows: Run) -> None:
    promised = (
        "format id source page grid givens entries solutions solution status doubts grade same_as"
    )
    for row in rows(shelved):
        assert set(promised.split()) <= set(row)
        assert {"minutes", "looks", "hardest", "steps"} <= set(row["grade"])
        assert (row["page"], row["grid"]) == (1, 1)


def test_every_exported_line_fits_the_schema_that_ships(
    papernudge: Run, shelf: Any, published: Path, rows: Run, tmp_path: Path
) -> None:
    book = tmp_path / "b.book"
    names = ("misprint.jpg", "two-grids.jpg", "cut-off.jpg", "kitchen-table.jpg")
    papernudge("digitise", *(published / name for name in names), "--book", book)
    text = resources.files("papernudge.cli").joinpath("schema-export.json").read_text("utf-8")
    Draft202012Validator.check_schema(json.loads(text))
    found = rows(book)
    assert {row["solutions"] for row in found} >= {"one", "none"}
    for row in found:
        Draft202012Validator(json.loads(text)).validate(row)


def test_json_tells_what_the_summary_tells_and_nothing_else_is_printed(
    papernudge: Run, shelf: Any, published: Path, rows: Run, tmp_path: Path
) -> None:
    torn = tmp_path / "torn.jpg"
    torn.write_bytes(shelf.photos[0].read_bytes()[:5000])
    book = tmp_path / "b.book"
    names = (published / "misprint.jpg", published / "cut-off.jpg", shelf.photos[1], torn)
    ran = papernudge("digitise", *names, tmp_path / "gone.pdf", "--book", book, "--json")
    assert ran.code == 5
    told = json.loads(ran.out)
    text = resources.files("papernudge.cli").joinpath("schema.json").read_text("utf-8")
    Draft202012Validator(json.loads(text)).validate(told)
    found = rows(book)
    for status, name in (("clean", "clean"), ("review", "review"), ("left out", "left_out")):
        assert told["puzzles"][name] == sum(row["status"] == status for row in found)
    assert sum(told["left_out"].values()) == told["puzzles"]["left_out"]
    keys = ("id", "source", "page", "grid", "reason")
    waiting = [{k: row[k] for k in keys} for row in found if row["status"] == "review"]
    assert told["review"] == waiting
    left = [{k: row[k] for k in keys} for row in found if row["status"] == "left out"]
    assert told["left_out_rows"] == left
    assert [row["source"] for row in waiting] == ["misprint.jpg"]
    assert told["pages"]["all"] == told["pages"]["read"] == 4
    failed = {one["source"]: (one["page"], one["error"]["reason"]) for one in told["failures"]}
    assert failed == {"gone.pdf": (None, "missing"), "torn.jpg": (1, "cut off")}


def test_one_worker_and_two_make_the_same_export(
    papernudge: Run, shelf: Any, shelved: Path, export_bytes: Run, tmp_path: Path
) -> None:
    alone = tmp_path / "alone.book"
    backwards = list(reversed(shelf.photos))
    assert papernudge("digitise", *backwards, "--book", alone, "--workers", 1).code == 0
    assert export_bytes(alone) == export_bytes(shelved)


def test_a_second_run_reads_nothing_and_changes_nothing(
    papernudge: Run, shelf: Any, shelved: Path, export_bytes: Run, tmp_path: Path
) -> None:
    book = tmp_path / "b.book"
    shutil.copy(shelved, book)
    before = export_bytes(book)
    ran = papernudge("digitise", shelf.folder, "--book", book)
    assert "This run read 0 pages; 6 were done before." in ran.out
    assert export_bytes(book) == before


def test_only_what_is_new_or_changed_is_read_and_what_was_replaced_goes(
    papernudge: Run, shelf: Any, rows: Run, tmp_path: Path
) -> None:
    desk, book = tmp_path / "desk", tmp_path / "b.book"
    desk.mkdir()
    for photo in shelf.photos[:2]:
        shutil.copy(photo, desk)
    papernudge("digitise", desk, "--book", book)
    shutil.copy(shelf.photos[2], desk / "lantern-1.jpg")
    ran = papernudge("digitise", desk, "--book", book)
    assert "This run read 1 page; 1 were done before." in ran.out
    givens = {row["source"]: row["givens"] for row in rows(book)}
    assert set(givens) == {"lantern-1.jpg", "lantern-2.jpg"}
    assert givens["lantern-1.jpg"] == shelf.truth["lantern-3.jpg"]


def test_the_same_file_twice_is_one_source_and_a_turned_copy_is_linked(
    papernudge: Run, shelf: Any, rows: Run, tmp_path: Path
) -> None:
    import cv2

    desk, book = tmp_path / "desk", tmp_path / "b.book"
    desk.mkdir()
    shutil.copy(shelf.photos[0], desk / "b.jpg")
    shutil.copy(shelf.photos[0], desk / "a.jpg")
    mirrored = cv2.rotate(cv2.imread(str(shelf.photos[0])), cv2.ROTATE_180)
    cv2.imwrite(str(desk / "c.png"), mirrored)
    papernudge("digitise", desk, "--book", book)
    first, second = rows(book)
    assert {first["source"], second["source"]} == {"a.jpg", "c.png"}
    assert (first["same_as"], second["same_as"]) == (None, first["id"])


def test_a_page_without_a_grid_is_counted_and_no_failure(papernudge: Run, tmp_path: Path) -> None:
    import cv2
    import numpy as np

    cv2.imwrite(str(tmp_path / "cover.png"), np.full((400, 300, 3), 220, np.uint8))
    ran = papernudge("digitise", tmp_path / "cover.png", "--book", tmp_path / "b.book")
    assert ran.code == 0
    assert "1 page without a grid: cover.png." in ran.out


def test_what_is_left_out_is_named_by_its_page(
    papernudge: Run, shelf: Any, published: Path, tmp_path: Path
) -> None:
    photos = (published / "cut-off.jpg", shelf.photos[1])
    ran = papernudge("digitise", *photos, "--book", tmp_path / "b.book")
    lines = ran.out.splitlines()
    assert lines[lines.index("Left out:") + 1] == "  1 cut off: cut-off.jpg, grid 1."


def test_two_files_of_one_name_are_not_taken_for_one_page(
    papernudge: Run, published: Path, tmp_path: Path
) -> None:
    cut_off = (published / "cut-off.jpg").read_bytes()
    for number in range(2):
        (tmp_path / str(number)).mkdir()
        (tmp_path / str(number) / "a.jpg").write_bytes(cut_off + bytes([number]))
    ran = papernudge("digitise", tmp_path, "--book", tmp_path / "b.book")
    assert "  2 cut off: a.jpg, grid 1; a.jpg, grid 1." in ran.out.splitlines()


@pytest.mark.parametrize("what", ["a missing one", "a letter", "a torn photo", "no words"])
def test_a_run_that_could_read_nothing_leaves_no_book(
    papernudge: Run, shelf: Any, tmp_path: Path, what: str
) -> None:
    source = tmp_path / "desk" / "letter.jpg"
    source.parent.mkdir()
    if what == "a letter":
        source.write_text("Dear Lantern,\n")
    elif what == "a torn photo":
        source.write_bytes(shelf.photos[0].read_bytes()[:5000])
    words = ["--assume", "0123456789abcdef-1-1 ok"] if what == "no words" else [source]
    ran = papernudge("digitise", *words, "--book", tmp_path / "b.book")
    assert (ran.code, ran.out) == (2 if what == "no words" else 5, "")
    assert what == "no words" or "b.book was not made" in ran.err
    assert [path.name for path in tmp_path.iterdir()] == ["desk"]


def test_a_book_that_was_there_stays_whatever_becomes_of_a_run(
    papernudge: Run, shelved: Path, export_bytes: Run, tmp_path: Path
) -> None:
    book = tmp_path / "b.book"
    shutil.copy(shelved, book)
    before = export_bytes(book)
    assert papernudge("digitise", tmp_path / "gone.jpg", "--book", book).code == 5
    assert export_bytes(book) == before


def test_progress_and_summary_go_to_their_own_streams(
    papernudge: Run, shelf: Any, tmp_path: Path
) -> None:
    ran = papernudge("digitise", shelf.photos[0], "--book", tmp_path / "b.book")
    assert ran.err == ""  # no terminal
    assert "1 page, 1 clean puzzle (1 distinct), 0 to review, 0 left out." in ran.out


def test_a_book_tells_no_folder(shelf: Any, shelved: Path) -> None:
    assert str(shelf.folder).encode() not in shelved.read_bytes()


# ---------------------------------------------------------------- cut short


@pytest.mark.slow
def test_killed_at_random_times_it_ends_with_the_same_export(
    started: Run, papernudge: Run, shelf: Any, shelved: Path, export_bytes: Run, tmp_path: Path
) -> None:
    book = tmp_path / "b.book"
    chance = random.Random(8)
    for _ in range(3):
        run = started("digitise", shelf.folder, "--book", book, "--workers", 2)
        time.sleep(chance.uniform(0.2, 2.5))
        run.send_signal(signal.SIGKILL)
        run.communicate()
    assert papernudge("digitise", shelf.folder, "--book", book, "--workers", 2).code == 0
    assert export_bytes(book) == export_bytes(shelved)
    assert sorted(p.name for p in tmp_path.glob("b.book*")) == ["b.book"]


def test_stopped_by_the_user_it_ends_quietly_and_its_workers_too(
    started: Run, shelf: Any, tmp_path: Path
) -> None:
    from papernudge.cli.books.book import Book

    book = tmp_path / "b.book"
    run = started("digitise", shelf.folder, "--book", book, "--workers", 2)
    while not book.exists() and run.poll() is None:
        time.sleep(0.02)
    time.sleep(0.3)
    run.send_signal(signal.SIGINT)
    _, err = run.communicate(timeout=60)  # the pipe closes when the last worker has gone
    assert run.returncode in (130, 0), err  # 0 where it was done just before
    assert "Traceback" not in err
    with Book.to_write(book):  # let go of
        pass


def test_a_worker_that_dies_costs_nothing_but_time(
    shelf: Any, shelved: Path, export_bytes: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from papernudge.cli.app import run
    from papernudge.cli.books import pool

    hand = pool._Pool._hand
    killed: list[int] = []

    def handed(self: Any, worker: Any, task: Any) -> None:
        hand(self, worker, task)
        if len(killed) < 2:
            killed.append(worker.process.pid)
            worker.process.kill()

    monkeypatch.setattr(pool._Pool, "_hand", handed)
    book = tmp_path / "b.book"
    assert run(["digitise", str(shelf.folder), "--book", str(book), "--workers", "2"]) == 0
    assert len(killed) == 2
    assert export_bytes(book) == export_bytes(shelved)


@pytest.mark.slow
def test_a_page_that_kills_every_worker_is_given_up_and_tried_by_the_next_run(
    papernudge: Run, shelf: Any, rows: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from papernudge.cli.books import pool

    hand = pool._Pool._hand

    def handed(self: Any, worker: Any, task: Any) -> None:
        hand(self, worker, task)
        if task.name == "lantern-1.jpg":
            worker.process.kill()

    book = tmp_path / "b.book"
    words = ("digitise", *shelf.photos[:3], "--book", book, "--workers", 2)
    with monkeypatch.context() as patch:
        patch.setattr(pool._Pool, "_hand", handed)
        ran = papernudge(*words)
    assert ran.code == 5
    assert "lantern-1.jpg, page 1: its reader ended 3 times without an answer" in ran.err
    assert len(rows(book)) == 2
    assert papernudge(*words).code == 0
    assert len(rows(book)) == 3


@pytest.mark.slow
def test_a_page_that_breaks_its_reader_is_tried_once_and_the_others_go_on(
    papernudge: Run, shelf: Any, rows: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from papernudge.cli.base import limited
    from papernudge.cli.books import pool

    # A fresh Python: what is forked from pytest says at length what it dies of.
    monkeypatch.setattr(limited, "_threads", lambda: 2)
    begun, hand = [], pool._Pool._hand

    def handed(self: Any, worker: Any, task: Any) -> None:
        hand(self, worker, task)
        if task.name == "lantern-1.jpg":
            begun.append(task)
            os.kill(worker.process.pid, signal.SIGSEGV)

    monkeypatch.setattr(pool._Pool, "_hand", handed)
    book = tmp_path / "b.book"
    ran = papernudge("digitise", *shelf.photos[:3], "--book", book, "--workers", 2)
    assert ran.code == 5
    assert "lantern-1.jpg, page 1: what reads it broke down on it" in ran.err
    assert len(begun) == 1
    assert len(rows(book)) == 2


# ---------------------------------------------------------------- the file's own troubles


def one_sentence(text: str) -> bool:
    return text.endswith(".\n") and text.count("\n") == 1


def test_a_second_run_at_once_refuses_clearly_and_a_reader_is_let_in(
    papernudge: Run, shelf: Any, shelved: Path, tmp_path: Path
) -> None:
    from papernudge.cli.books.book import Book

    book = tmp_path / "b.book"
    shutil.copy(shelved, book)
    with Book.to_write(book):
        ran = papernudge("digitise", shelf.photos[0], "--book", book)
        assert ran.code == 5
        assert one_sentence(ran.err)
        assert "b.book is being written by another run (process " in ran.err
        assert papernudge("export", book, "--to", tmp_path / "out.txt").code == 0
    assert papernudge("digitise", shelf.photos[0], "--book", book).code == 0


def test_a_book_of_a_newer_version_is_refused_and_left_as_it_is(
    papernudge: Run, shelf: Any, shelved: Path, tmp_path: Path
) -> None:
    book = tmp_path / "b.book"
    shutil.copy(shelved, book)
    with sqlite3.connect(book) as sql:
        sql.execute("PRAGMA user_version = 99")
    sql.close()
    before = book.read_bytes()
    for words in (
        ("digitise", shelf.photos[0], "--book", book),
        ("export", book, "--to", tmp_path / "x.txt"),
    ):
        ran = papernudge(*words)
        assert ran.code == 5
        assert one_sentence(ran.err)
        assert "was written by a newer papernudge (book version 99; this one knows 4)" in ran.err
    assert book.read_bytes() == before


def test_a_file_that_is_no_book_is_never_written_to(
    papernudge: Run, shelf: Any, tmp_path: Path
) -> None:
    letter, other = tmp_path / "letter.txt", tmp_path / "other.db"
    letter.write_text("Dear editor, the puzzle of last week was too kind." * 50, "utf-8")
    with sqlite3.connect(other) as sql:
        sql.execute("CREATE TABLE recipes (name)")
    sql.close()
    for file in (letter, other):
        before = file.read_bytes()
        for words in (
            ("digitise", shelf.photos[0], "--book", file),
            ("export", file, "--to", tmp_path / "x.txt"),
        ):
            ran = papernudge(*words)
            assert ran.code == 5
            assert one_sentence(ran.err)
            assert "expected a" in ran.err
        assert file.read_bytes() == before


def test_a_folder_that_cannot_be_written_to_is_told(papernudge: Run, shelf: Any) -> None:
    # /proc takes no new file from anybody, root or not.
    if not Path("/proc/self").is_dir():
        pytest.skip("there is no /proc here: a folder that nobody can write to")
    ran = papernudge("digitise", shelf.photos[0], "--book", "/proc/b.book")
    assert ran.code == 5
    assert one_sentence(ran.err)
    assert "No book can be written in /proc" in ran.err


def test_a_missing_book_is_told_by_export(papernudge: Run, tmp_path: Path) -> None:
    ran = papernudge("export", tmp_path / "none.book", "--to", tmp_path / "x.txt")
    assert ran.code == 5
    assert "papernudge digitise makes one" in ran.err


@pytest.mark.slow
def test_a_full_disk_is_told_and_every_page_before_stands(
    papernudge: Run,
    shelf: Any,
    shelved: Path,
    rows: Run,
    export_bytes: Run,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from papernudge.cli.books.book import Book

    book = tmp_path / "b.book"
    taken = Book.write
    written: list[int] = []

    def tight(self: Any, done: Any) -> None:
        # No page beyond those the file has: SQLite then says what it says on a full disk.
        written.append(1)
        if len(written) == 4:
            self.sql.execute("PRAGMA max_page_count = 1")
        taken(self, done)

    with monkeypatch.context() as patch:
        patch.setattr(Book, "write", tight)
        ran = papernudge("digitise", shelf.folder, "--book", book, "--workers", 1)
    assert ran.code == 5
    assert "is full; every page before stands: make room and run again." in ran.err
    assert 0 < len(rows(book)) < 6
    assert papernudge("digitise", shelf.folder, "--book", book, "--workers", 1).code == 0
    assert export_bytes(book) == export_bytes(shelved)


@pytest.mark.slow
def test_a_small_disk_that_fills_up_leaves_the_book_whole(
    papernudge: Run, shelf: Any, rows: Run, tmp_path: Path
) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=320k", "tmpfs", str(disk)]
    if (
        not sys.platform.startswith("linux")
        or subprocess.run(mount, capture_output=True, check=False).returncode
    ):
        pytest.skip("a small disk can be mounted by root on Linux only")
    try:
        ran = papernudge("digitise", shelf.folder, "--book", disk / "b.book", "--workers", 1)
        assert ran.code == 5
        assert "is full" in ran.err
        with sqlite3.connect(disk / "b.book") as sql:
            assert sql.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        sql.close()
        subprocess.run(["mount", "-o", "remount,size=8m", str(disk)], check=True)
        assert papernudge("digitise", shelf.folder, "--book", disk / "b.book").code == 0
        assert len(rows(disk / "b.book")) == 6
    finally:
        subprocess.run(["umount", str(disk)], check=False)


def test_the_crop_shows_the_grid_flat_with_each_digit_in_its_cell(
    shelf: Any, shelved: Path
) -> None:
    import cv2
    import numpy as np

    from papernudge.cli.books.book import Book
    from papernudge.vision.crop import CELL, CROP, MARGIN

    with Book.to_read(shelved) as book:
        rows = list(
            book.rows("SELECT crop, place.name FROM grid JOIN place ON place.hash = grid.hash")
        )
    assert len(rows) == len(shelf.truth)
    for row in rows:
        grey = cv2.imdecode(np.frombuffer(row["crop"], np.uint8), cv2.IMREAD_GRAYSCALE)
        assert grey.shape == (CROP, CROP)
        cells = grey[MARGIN:-MARGIN, MARGIN:-MARGIN].reshape(9, CELL, 9, CELL).swapaxes(1, 2)
        inside = cells.reshape(81, CELL, CELL)[:, 7:-7, 7:-7].astype(int)
        contrast = np.median(inside, axis=(1, 2)) - inside.min(axis=(1, 2))
        printed = np.array([mark != "." for mark in shelf.truth[row["name"]]])
        assert contrast[printed].min() > contrast[~printed].max()
        lines = grey[MARGIN - 2 : MARGIN + 3, MARGIN:-MARGIN].min(axis=0)
        assert np.median(lines) < np.median(inside) - 30
