"""A book that has been damaged, that is older than this program, or that somebody made up."""

from __future__ import annotations

import csv
import html.parser
import io
import json
import os
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from papernudge.cli.books import seals
from papernudge.cli.books.book import Book, Lock
from papernudge.cli.books.export import _cell
from papernudge.cli.books.log import state_of
from papernudge.cli.books.schema import VERSION

Run = Callable[..., Any]


@pytest.fixture(scope="module")
def made(shelf: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    from papernudge.cli.app import run

    path = tmp_path_factory.mktemp("made") / "b.book"
    assert run(["digitise", *map(str, shelf.photos[:3]), "--book", str(path)]) == 0
    return path


@pytest.fixture
def book(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(made, tmp_path / "b.book"))


def changed(book: Path, query: str, *values: object) -> None:
    """As a flipped byte would, without a seal for it."""
    with sqlite3.connect(book) as sql:
        sql.execute(query, values)
    sql.close()


def one_sentence(text: str) -> bool:
    return text.count("\n") == 1 and text.endswith(".\n")


def test_one_changed_digit_leaves_its_row_settled_anew_and_nothing_wrong(
    papernudge: Run, book: Path, export_bytes: Run, tmp_path: Path
) -> None:
    before = export_bytes(book)
    for column in ("givens", "solution", "canonical"):
        changed(book, f"UPDATE puzzle SET {column} = substr({column}, 2) || substr({column}, 1, 1)")
    ran = papernudge("export", book, "--to", tmp_path / "out.jsonl")
    assert ran.code == 0
    assert "nothing that it holds is lost: the next run of digitise mends it" in ran.err
    assert (tmp_path / "out.jsonl").read_bytes() == before


def test_a_damaged_reading_is_named_left_out_and_read_again_where_its_page_is_there(
    papernudge: Run, shelf: Any, book: Path, export_bytes: Run, tmp_path: Path
) -> None:
    before = export_bytes(book)
    query = (
        "UPDATE {} SET givens = substr(givens, 2) || substr(givens, 1, 1) WHERE hash ="
        " (SELECT hash FROM place WHERE name = 'lantern-2.jpg')"
    )
    for table in ("grid", "puzzle"):
        changed(book, query.format(table))
    ran = papernudge("export", book, "--to", tmp_path / "out.jsonl")
    assert ran.code == 5
    assert "b.book is damaged in page 1 of lantern-2.jpg, and what can't be trusted" in ran.err
    left = (tmp_path / "out.jsonl").read_bytes().splitlines()
    assert len(left) == 2
    assert set(left) < set(before.splitlines())

    ran = papernudge("digitise", shelf.photos[0], "--book", book)  # another page
    assert ran.code == 5
    assert "Page 1 of lantern-2.jpg is damaged in the book: name its file" in ran.err
    assert "lies beside it as b.book-damaged" in ran.err
    assert papernudge("export", book, "--to", tmp_path / "out.jsonl").code == 5

    ran = papernudge("digitise", *shelf.photos[:3], "--book", book)
    assert ran.code == 0
    assert "1 page of it had been damaged in the book." in ran.out
    assert export_bytes(book) == before


@pytest.mark.slow
def test_a_changed_crop_costs_no_row(
    papernudge: Run, shelf: Any, book: Path, export_bytes: Run, tmp_path: Path
) -> None:
    before = export_bytes(book)
    changed(book, "UPDATE grid SET crop = substr(crop, 1, 5000) || x'00' || substr(crop, 5002)")
    ran = papernudge("export", book, "--to", tmp_path / "out.jsonl")
    assert ran.code == 5
    assert (tmp_path / "out.jsonl").read_bytes() == before
    assert papernudge("digitise", *shelf.photos[:3], "--book", book).code == 0
    assert export_bytes(book) == before


@pytest.mark.parametrize("table", ["source", "place", "page", "grid", "puzzle", "tally"])
def test_a_row_that_is_gone_is_missed(
    papernudge: Run, shelf: Any, book: Path, export_bytes: Run, tmp_path: Path, table: str
) -> None:
    before = export_bytes(book)
    changed(book, f"DELETE FROM {table}")  # foreign keys are off: without its followers
    ran = papernudge("export", book, "--to", tmp_path / "out.jsonl")
    assert "is damaged" in ran.err
    after = (tmp_path / "out.jsonl").read_bytes()
    assert ran.code == 5 or after == before
    if table in ("place", "page"):
        papernudge("digitise", *shelf.photos[:3], "--book", book)
        assert export_bytes(book) == before


def test_a_row_of_another_book_is_noticed(papernudge: Run, book: Path, tmp_path: Path) -> None:
    with sqlite3.connect(book) as sql:
        names = [row[1] for row in sql.execute("PRAGMA table_info(puzzle)")]
        row = dict(zip(names, sql.execute("SELECT * FROM puzzle").fetchone(), strict=True))
        row = seals.sealed("puzzle", {**row, "number": 2})
        sql.execute(f"INSERT INTO puzzle VALUES ({', '.join('?' * len(row))})", (*row.values(),))
    sql.close()
    ran = papernudge("export", book, "--to", tmp_path / "out.jsonl")
    assert ran.code == 5
    assert "is damaged" in ran.err


@pytest.mark.slow
def test_corrections_survive_damage_to_what_they_are_about_and_lost_ones_are_told(
    papernudge: Run, shelf: Any, book: Path, rows: Run, tmp_path: Path
) -> None:
    row = rows(book)[0]
    at = row["givens"].index(".")
    cell = f"R{at // 9 + 1}C{at % 9 + 1}"
    papernudge("digitise", "--book", book, "--assume", f"{row['id']}:{cell}={row['solution'][at]}")
    said = rows(book)[0]
    assert said["entries"][at] == row["solution"][at]
    changed(book, "UPDATE grid SET givens = substr(givens, 2) || substr(givens, 1, 1)")
    assert papernudge("digitise", *shelf.photos[:3], "--book", book).code == 0
    assert rows(book)[0] == said
    changed(book, "UPDATE correction SET says = 'entry:9'")
    ran = papernudge("export", book, "--to", tmp_path / "out.jsonl")
    assert ran.code == 5
    assert f"what was said of page 1 of {row['source']}" in ran.err
    ran = papernudge("digitise", *shelf.photos[:3], "--book", book)
    assert ran.code == 5
    assert "is damaged in b.book: look at that page and say it again." in ran.err


def test_a_torn_file_and_a_strange_table_are_one_sentence(
    papernudge: Run, shelf: Any, book: Path, tmp_path: Path
) -> None:
    whole = book.read_bytes()
    book.write_bytes(whole[:4096])
    for words in (("export", book, "--to", tmp_path / "o.txt"), ("digitise", "--book", book)):
        ran = papernudge(*words, *((shelf.photos[0],) if words[0] == "digitise" else ()))
        assert ran.code == 5
        assert one_sentence(ran.err), ran.err
    book.write_bytes(whole)
    changed(book, "CREATE VIEW stranger AS SELECT 1")
    ran = papernudge("export", book, "--to", tmp_path / "o.txt")
    assert ran.code == 5
    assert "does not hold a book's tables" in ran.err


# ---------------------------------------------------------------- its log


@pytest.fixture
def cut_short(book: Path, shelf: Any, tmp_path: Path) -> Path:
    """A book whose last run was killed: a page lies in the log."""
    from papernudge.cli.books.rows import PageDone

    desk = tmp_path / "killed"
    desk.mkdir()
    with Book.to_write(book) as opened:
        (hash_,) = {key[0] for key in list(opened.pages_done())[:1]}
        opened.write(PageDone(hash_, 1, "other", "no grid", "none", "No grid."))
        for ending in ("", "-wal"):
            shutil.copy(f"{book}{ending}", desk)
    return desk / "b.book"


def test_a_log_that_is_whole_counts_and_one_with_a_changed_byte_is_told(
    papernudge: Run, cut_short: Path, tmp_path: Path
) -> None:
    log = Path(f"{cut_short}-wal")
    before = log.read_bytes()
    assert state_of(log) == "whole"
    for at in (10, 32 + 9, 32 + 24 + 1000, len(before) - 100):
        assert at < len(before)
        log.write_bytes(before[:at] + bytes([before[at] ^ 1]) + before[at + 1 :])
        assert state_of(log) == "damaged", at
        one = tmp_path / "one.book"
        shutil.copy(cut_short, one)
        shutil.copy(log, f"{one}-wal")
        ran = papernudge("export", one, "--to", tmp_path / "o.jsonl", "--force")
        assert ran.code == 5
        assert "what the last run did last" in ran.err


def test_a_log_whose_end_was_never_written_is_torn_not_damaged(cut_short: Path) -> None:
    log = Path(f"{cut_short}-wal")
    whole = log.read_bytes()
    log.write_bytes(whole[:-100])
    assert state_of(log) == "torn"
    log.write_bytes(whole + whole[32 : 32 + 24 + 4096])  # a frame that doesn't go on with the sums
    assert state_of(log) in ("torn", "damaged")
    log.write_bytes(b"")
    assert state_of(log) == "absent"


# ---------------------------------------------------------------- version 1

FIRST = """
CREATE TABLE source (hash TEXT PRIMARY KEY, kind TEXT NOT NULL, pages INTEGER NOT NULL,
  bytes INTEGER NOT NULL) WITHOUT ROWID;
CREATE TABLE place (path TEXT PRIMARY KEY, name TEXT NOT NULL,
  hash TEXT NOT NULL REFERENCES source (hash) ON DELETE CASCADE) WITHOUT ROWID;
CREATE TABLE page (hash TEXT NOT NULL REFERENCES source (hash) ON DELETE CASCADE,
  number INTEGER NOT NULL, width INTEGER, height INTEGER, turns INTEGER, state TEXT NOT NULL,
  reason TEXT, sentence TEXT, reader TEXT NOT NULL, PRIMARY KEY (hash, number)) WITHOUT ROWID;
CREATE TABLE grid (hash TEXT NOT NULL, page INTEGER NOT NULL, number INTEGER NOT NULL,
  kind TEXT NOT NULL, quality TEXT, corners TEXT NOT NULL, crossings BLOB, givens TEXT,
  entries TEXT, notes TEXT, struck TEXT, restored TEXT, doubts TEXT, chances BLOB,
  chance_all_right REAL, crop BLOB, PRIMARY KEY (hash, page, number),
  FOREIGN KEY (hash, page) REFERENCES page (hash, number) ON DELETE CASCADE) WITHOUT ROWID;
CREATE TABLE correction (hash TEXT NOT NULL, page INTEGER NOT NULL, x REAL NOT NULL,
  y REAL NOT NULL, cell TEXT NOT NULL, says TEXT NOT NULL,
  PRIMARY KEY (hash, page, x, y, cell)) WITHOUT ROWID;
CREATE TABLE puzzle (hash TEXT NOT NULL, page INTEGER NOT NULL, number INTEGER NOT NULL,
  status TEXT NOT NULL, reason TEXT, givens TEXT, entries TEXT, doubts TEXT NOT NULL,
  decided TEXT NOT NULL, corrected INTEGER NOT NULL, solutions TEXT, solution TEXT, minutes REAL,
  minutes_low REAL, minutes_high REAL, looks INTEGER, hardest TEXT, steps INTEGER, canonical TEXT,
  PRIMARY KEY (hash, page, number),
  FOREIGN KEY (hash, page, number) REFERENCES grid (hash, page, number) ON DELETE CASCADE)
  WITHOUT ROWID;
CREATE INDEX puzzle_canonical ON puzzle (canonical, hash, page, number);
"""
"""What the first version of this program made, comments aside."""


@pytest.fixture
def first(made: Path, tmp_path: Path) -> Path:
    """A book of version 1 that holds the same."""
    path = tmp_path / "first.book"
    with sqlite3.connect(path) as sql:
        sql.executescript(f"PRAGMA application_id = {0x504E626B}; PRAGMA user_version = 1; {FIRST}")
        sql.execute("ATTACH ? AS now", (str(made),))
        for table in ("source", "place", "page", "grid", "correction", "puzzle"):
            names = ", ".join(row[1] for row in sql.execute(f"PRAGMA main.table_info({table})"))
            sql.execute(f"INSERT INTO main.{table} SELECT {names} FROM now.{table}")
        sql.execute("PRAGMA journal_mode = WAL")
    sql.close()
    return path


@pytest.fixture
def second(made: Path, tmp_path: Path) -> Path:
    """A book of version 2: its rows don't say which reasons they need, and their seals not either.

    What such a seal covers is written out here as version 2 had it.
    """
    path = tmp_path / "second.book"
    shutil.copy(made, path)
    with sqlite3.connect(path) as sql:
        _forget_boards(sql)
        sql.execute("UPDATE puzzle SET needs = NULL")
        names = [row[1] for row in sql.execute("PRAGMA table_info(puzzle)")]
        total = 0
        for values in sql.execute("SELECT * FROM puzzle").fetchall():
            row = dict(zip(names, values, strict=True))
            parts = [b"puzzle"]
            for name in names:
                if name not in ("seal", "needs"):
                    parts += [name.encode(), seals._bytes(row[name])]
            seal = seals.digest(*parts)
            total ^= int.from_bytes(seal, "big")
            key = (seal, row["hash"], row["page"], row["number"])
            sql.execute(
                "UPDATE puzzle SET seal = ? WHERE hash = ? AND page = ? AND number = ?", key
            )
        held = {"name": "puzzle", "rows": 3, "seals": total.to_bytes(16, "big")}
        seals.put(sql, "tally", held)
        sql.execute("ALTER TABLE puzzle DROP COLUMN needs")
        sql.execute("PRAGMA user_version = 2")
    sql.close()
    return path


def _forget_boards(sql: sqlite3.Connection) -> None:
    """Version 3 knew no other board than the newspaper's, and no seal told of one."""
    for table in ("grid", "puzzle"):
        sql.execute(f"ALTER TABLE {table} DROP COLUMN layout")


@pytest.fixture
def third(made: Path, tmp_path: Path) -> Path:
    """A book of version 3."""
    path = tmp_path / "third.book"
    shutil.copy(made, path)
    with sqlite3.connect(path) as sql:
        _forget_boards(sql)
        sql.execute("PRAGMA user_version = 3")
    sql.close()
    return path


@pytest.mark.parametrize("version", ["second", "third"])
def test_a_book_of_an_earlier_version_is_read_as_it_lies_and_lists_its_reasons_too(
    papernudge: Run,
    made: Path,
    version: str,
    request: pytest.FixtureRequest,
    export_bytes: Run,
    tmp_path: Path,
) -> None:
    book = request.getfixturevalue(version)
    before = book.read_bytes()
    ran = papernudge("export", book, "--to", tmp_path / "out.jsonl")
    assert (ran.code, ran.err.count("\n")) == (0, 1)  # nothing but how many
    assert (tmp_path / "out.jsonl").read_bytes() == export_bytes(made)
    assert book.read_bytes() == before


@pytest.mark.parametrize("version", ["second", "third"])
def test_the_next_run_brings_an_earlier_version_up_to_date(
    papernudge: Run,
    shelf: Any,
    made: Path,
    version: str,
    request: pytest.FixtureRequest,
    export_bytes: Run,
    tmp_path: Path,
) -> None:
    book = request.getfixturevalue(version)
    ran = papernudge("digitise", *shelf.photos[:3], "--book", book)
    assert ran.code == 0
    assert "This run read 0 pages; 3 were done before." in ran.out
    assert export_bytes(book) == export_bytes(made)
    with sqlite3.connect(book) as sql:
        assert sql.execute("PRAGMA user_version").fetchone() == (VERSION,)
        assert sql.execute("SELECT DISTINCT layout FROM puzzle").fetchall() == [(None,)]
    sql.close()
    changed(book, "UPDATE puzzle SET looks = looks + 1")
    assert "is damaged" in papernudge("export", book, "--to", tmp_path / "out.txt").err


def test_an_upgrade_of_the_third_version_that_fails_leaves_the_book_as_it_was(
    third: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from papernudge.cli.base.exits import Stop
    from papernudge.cli.books import salvage

    before = third.read_bytes()
    with monkeypatch.context() as patch:
        steps = {3: salvage.UPGRADES[3] + "ALTER TABLE nothing ADD COLUMN layout TEXT;"}
        patch.setattr(salvage, "UPGRADES", steps)
        with pytest.raises(Stop), Book.to_write(third):
            pass
    assert third.read_bytes() == before
    with Book.to_read(third) as book:
        assert (book.version, book.harm) == (3, None)


def test_a_changed_list_of_reasons_is_noticed(papernudge: Run, made: Path, tmp_path: Path) -> None:
    for number, wrong in enumerate(("'[\"net\"]'", "NULL")):
        book = tmp_path / f"{number}.book"
        shutil.copy(made, book)
        changed(book, f"UPDATE puzzle SET needs = {wrong}")
        ran = papernudge("export", book, "--to", tmp_path / "out.txt", "--force")
        assert "is damaged" in ran.err


def test_a_book_of_the_first_version_is_read_as_it_lies(
    papernudge: Run, made: Path, first: Path, export_bytes: Run, tmp_path: Path
) -> None:
    before = first.read_bytes()
    ran = papernudge("export", first, "--to", tmp_path / "out.jsonl")
    assert ran.code == 0
    assert "is of an older kind that can't tell when it is damaged" in ran.err
    assert (tmp_path / "out.jsonl").read_bytes() == export_bytes(made)
    assert first.read_bytes() == before


def test_a_book_of_the_first_version_in_a_folder_that_is_closed_is_read_too(
    papernudge: Run, made: Path, first: Path, export_bytes: Run, tmp_path: Path
) -> None:
    desk = tmp_path / "closed"
    desk.mkdir()
    shutil.copy(first, desk)
    (desk / "first.book").chmod(0o444)
    desk.chmod(0o555)
    try:
        ran = papernudge("export", desk / "first.book", "--to", tmp_path / "out.jsonl")
    finally:
        desk.chmod(0o755)
    assert ran.code == 0
    assert (tmp_path / "out.jsonl").read_bytes() == export_bytes(made)


def test_the_next_run_brings_it_up_to_date_and_reads_nothing_anew(
    papernudge: Run, shelf: Any, made: Path, first: Path, export_bytes: Run, tmp_path: Path
) -> None:
    ran = papernudge("digitise", *shelf.photos[:3], "--book", first)
    assert ran.code == 0
    assert "This run read 0 pages; 3 were done before." in ran.out
    assert export_bytes(first) == export_bytes(made)
    with sqlite3.connect(first) as sql:
        assert sql.execute("PRAGMA user_version").fetchone() == (VERSION,)
    sql.close()
    assert papernudge("export", first, "--to", tmp_path / "out.txt").err.count("\n") == 1
    changed(first, "UPDATE page SET width = width + 1")
    assert papernudge("export", first, "--to", tmp_path / "out.txt").code == 5


def test_an_upgrade_that_is_cut_short_leaves_the_book_as_it_was(
    first: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from papernudge.cli.books import salvage

    def full(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(salvage, "_tally", full)
        with pytest.raises(KeyboardInterrupt), Book.to_write(first):
            pass
    with Book.to_read(first) as book:
        assert (book.version, book.harm) == (1, None)


def test_a_row_of_the_first_version_that_can_be_no_row_is_left_out(
    papernudge: Run, first: Path, tmp_path: Path
) -> None:
    changed(first, "UPDATE grid SET givens = 'x' || substr(givens, 2), doubts = '{}'")
    changed(first, "UPDATE puzzle SET givens = 'x' || substr(givens, 2)")
    ran = papernudge("export", first, "--to", tmp_path / "out.jsonl")
    assert ran.code == 5
    assert (tmp_path / "out.jsonl").read_bytes() == b""


# ---------------------------------------------------------------- its place


def test_a_book_behind_a_link_is_locked_as_the_same_book(book: Path, tmp_path: Path) -> None:
    from papernudge.cli.base.exits import Stop

    other = tmp_path / "other"
    other.mkdir()
    link = other / "link.book"
    link.symlink_to(book)
    with Book.to_write(link), pytest.raises(Stop, match="being written by another run"):
        Book.to_write(book)
    assert [path.name for path in other.iterdir()] == ["link.book"]
    with Book.to_write(book):
        assert Lock(book).path.exists()
        with Book.to_read(link) as shown:
            assert shown.harm is None


@pytest.mark.slow
def test_a_file_that_changes_while_it_is_read_is_left_for_the_next_run(
    papernudge: Run, shelf: Any, rows: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from papernudge.cli.books.pool import _Pool

    photo, book = tmp_path / "a.jpg", tmp_path / "b.book"
    shutil.copy(shelf.photos[0], photo)
    true = _Pool._hand

    def swapped(pool: Any, worker: Any, task: Any) -> None:
        other = tmp_path / "new.jpg"
        shutil.copy(shelf.photos[1], other)
        os.utime(other, ns=(photo.stat().st_atime_ns, photo.stat().st_mtime_ns))
        other.replace(photo)
        true(pool, worker, task)

    with monkeypatch.context() as patch:
        patch.setattr(_Pool, "_hand", swapped)
        ran = papernudge("digitise", photo, "--book", book, "--workers", 1)
    assert ran.code == 5
    assert "Page 1 of a.jpg changed while it was being read" in ran.err
    assert not book.exists()  # nothing was read into it
    assert papernudge("digitise", photo, "--book", book).code == 0
    assert [row["givens"] for row in rows(book)] == [shelf.truth["lantern-2.jpg"]]


# ---------------------------------------------------------------- made up by somebody


class _Tags(html.parser.HTMLParser):
    """The elements of a page and what their attributes are."""

    def __init__(self) -> None:
        super().__init__()
        self.seen: set[str] = set()
        self.policy = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen |= {tag, *(f"{tag}.{name}" for name, _ in attrs)}
        if ("http-equiv", "Content-Security-Policy") in attrs:
            self.policy = dict(attrs)["content"] or ""


EVIL = "<img src=x onerror=alert(1)>\"' onfocus=alert(2) x='"


def test_what_a_made_up_book_says_is_text_in_the_sheet_or_is_left_out(
    papernudge: Run, book: Path, tmp_path: Path
) -> None:
    from papernudge.cli.books.review import _block

    with Book.to_write(book) as opened, opened.changes() as sql:
        row = next(iter(seals.rows_in(sql, "puzzle")))
        review = {"status": "review", "reason": EVIL}
        seals.put(sql, "puzzle", {**row, **review})
        place = next(iter(seals.rows_in(sql, "place")))
        seals.put(sql, "place", {**place, "name": EVIL})
    sheet = tmp_path / "s.html"
    assert papernudge("digitise", "--book", book, "--review", sheet).code == 0
    text = sheet.read_text("utf-8")
    tags = _Tags()
    tags.feed(text)
    assert "alert(1)" in text
    assert not {"img.onerror", "img.onfocus", "input.onfocus"} & tags.seen
    assert "unsafe" not in tags.policy
    doubt = {"cell": EVIL, "about": EVIL, "read": 1, "chance": 0.5, "instead": []}
    tags = _Tags()
    row |= {"id": EVIL, "source": EVIL, "givens": EVIL + "." * 81, "doubts": []}
    tags.feed(_block({**row, **review}, None))
    assert not {"img", "img.onerror", "code.onfocus", "input.onfocus"} & tags.seen
    with Book.to_write(book) as opened, opened.changes() as sql:
        row = next(iter(seals.rows_in(sql, "puzzle")))
        seals.put(sql, "puzzle", {**row, "doubts": json.dumps([doubt])})
    papernudge("export", book, "--to", tmp_path / "o.jsonl")
    told = [json.loads(line) for line in (tmp_path / "o.jsonl").read_text("utf-8").splitlines()]
    assert [row["doubts"] for row in told] == [[], [], []]  # settled anew from the reading


def test_the_policy_of_the_sheet_names_the_script_it_holds(
    papernudge: Run, book: Path, tmp_path: Path
) -> None:
    import base64
    import hashlib
    import re

    papernudge("digitise", "--book", book, "--review", tmp_path / "s.html")
    text = (tmp_path / "s.html").read_text("utf-8")
    tags = _Tags()
    tags.feed(text)
    for kind in ("script", "style"):
        (inside,) = re.findall(f"<{kind}>(.*?)</{kind}>", text, re.DOTALL)
        digest = base64.b64encode(hashlib.sha256(inside.encode()).digest()).decode()
        assert f"{kind}-src 'sha256-{digest}'" in tags.policy


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "'", "＝"])
def test_a_cell_that_a_spreadsheet_would_run_is_defused_and_comes_back(start: str) -> None:
    text = f"{start}cmd|' /C calc'!A0"
    out = io.StringIO()
    csv.writer(out).writerow([_cell(text), _cell("page.jpg"), _cell(None), _cell(-3)])
    (row,) = csv.reader(io.StringIO(out.getvalue(), newline=""))
    assert row == [f"'{text}", "page.jpg", "", "-3"]
    assert [cell.removeprefix("'") for cell in row[:2]] == [text, "page.jpg"]


def test_every_column_of_the_table_is_defused(papernudge: Run, book: Path, tmp_path: Path) -> None:
    with Book.to_write(book) as opened, opened.changes() as sql:
        row = next(iter(seals.rows_in(sql, "puzzle")))
        seals.put(sql, "puzzle", {**row, "hardest": "=1+1", "reason": "@SUM(A1)"})
    papernudge("export", book, "--to", tmp_path / "o.csv")
    text = (tmp_path / "o.csv").read_bytes().decode("utf-8")
    found = [r for r in csv.DictReader(io.StringIO(text)) if r["hardest"] == "'=1+1"]
    assert [r["reason"] for r in found] == ["'@SUM(A1)"]
