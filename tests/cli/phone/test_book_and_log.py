"""The collector's and the teacher's road: pages into a book, sheets into a log."""

from __future__ import annotations

import json
import re
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from samples import chosen
from shared_phone import FIXTURES, Home, Phone, Reply, killed, running

from papernudge.cli.app import run
from papernudge.cli.phone.shelf import WAITING, Shelf


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return tmp_path / "shelf.book"


@pytest.fixture
def library(book: Path, tmp_path: Path) -> Iterator[Home]:
    with running(book=book, log=tmp_path / "practice.log") as home:
        yield home


def into_book(phone: Phone, *names: str) -> Reply:
    kind = {"Content-Type": "application/octet-stream"}
    for name in names:
        phone.ask("/book/photo", "POST", (FIXTURES / name).read_bytes(), kind)
    until = time.monotonic() + 60
    while "data-again" in (page := phone.ask("/book")).text and time.monotonic() < until:
        time.sleep(0.1)
    return page


def exported(book: Path, folder: Path) -> list[dict[str, object]]:
    out = folder / "out.jsonl"
    out.unlink(missing_ok=True)
    assert run(["export", str(book), "--to", str(out)]) == 0
    return [json.loads(line) for line in out.read_text("utf-8").splitlines()]


@pytest.mark.slow
def test_pages_snapped_by_two_phones_stand_in_the_book_as_digitise_would_have_put_them(
    library: Home, book: Path, tmp_path: Path
) -> None:
    into_book(library.phone(), "six-grids.jpg")
    page = into_book(library.phone(), "kitchen-table.jpg", "six-grids.jpg")
    assert "2 pages, 6 puzzles clean, 1 to review" in page.text
    assert "was in the book already" in page.text
    library.stop()
    other = tmp_path / "other.book"
    photos = [str(FIXTURES / name) for name in ("six-grids.jpg", "kitchen-table.jpg")]
    assert run(["digitise", *photos, "--book", str(other), "--workers", "1"]) == 0
    here, there = exported(book, tmp_path), exported(other, tmp_path)
    for row in (*here, *there):
        row.pop("source")
    assert here == there


@pytest.mark.slow
def test_a_puzzle_that_is_there_already_is_told(library: Home) -> None:
    page = into_book(library.phone(), "kitchen-table.jpg", "kitchen-table-later.jpg")
    assert "1 in the book before" in page.text
    assert "1 there twice" in page.text


@pytest.mark.slow
def test_more_pages_than_may_wait_are_turned_away_and_no_other_is_lost(
    library: Home, book: Path
) -> None:
    phone = library.phone()
    photo = (FIXTURES / "clean.png").read_bytes()
    kind = {"Content-Type": "application/octet-stream"}
    statuses = [
        phone.ask("/book/photo", "POST", photo + bytes([n]), kind).status
        for n in range(WAITING + 6)
    ]
    assert 503 in statuses
    page = into_book(phone)
    assert f"{statuses.count(200)} pages" in page.text


@pytest.mark.slow
def test_a_page_without_a_grid_gets_its_sentence(library: Home) -> None:
    page = into_book(library.phone(), "no-grid.jpg")
    assert "No 9×9 grid" in page.text or "no grid" in page.text.lower()


def test_while_the_page_is_open_the_book_is_nobody_elses(library: Home, book: Path) -> None:
    assert run(["digitise", str(FIXTURES / "clean.jpg"), "--book", str(book)]) == 5


def doubted(book: Path) -> tuple[str, str, int]:
    """Makes the book's puzzle doubtful, as a reader less sure would have; its row, cell, digit."""
    from papernudge.cli.books.book import Book
    from papernudge.cli.books.rows import row_id
    from papernudge.cli.books.settle import settle

    with Book.to_write(book) as held:
        query = "SELECT hash, page, number FROM puzzle WHERE status = 'clean'"
        (key,) = [(row["hash"], row["page"], row["number"]) for row in held.rows(query)]
        grid = held.grid(*key)
        assert grid is not None
        assert grid.givens is not None
        at = next(c for c, given in enumerate(grid.givens) if given != ".")
        read, cell = int(grid.givens[at]), f"R{at // 9 + 1}C{at % 9 + 1}"
        other = {"digit": read % 9 + 1, "chance": 0.45}
        doubt = {"cell": cell, "about": "digit", "read": read, "chance": 0.5, "instead": [other]}
        row = replace(settle(grid), status="review", reason="doubts", doubts=[doubt])
        held.put_puzzle(key, row)
    return row_id(*key), cell, read


def test_a_doubt_is_asked_on_the_phone_and_the_first_answer_settles_it(
    book: Path, tmp_path: Path
) -> None:
    with running(book=book) as home:
        into_book(home.phone(), "kitchen-table.jpg")
    row, cell, read = doubted(book)
    tell = Reply(200, {}, b"", "/book/tell")
    with running(book=book) as home:
        first, second = home.phone(), home.phone()
        assert f"What stands in {cell}" in first.ask("/book").text
        assert first.ask(f"/book/crop/{row}/{cell}.jpg").status == 200
        settled = first.press(tell, row=row, cell=cell, answer=f"given:{read}")
        assert f"What stands in {cell}" not in settled.text
        late = second.press(tell, row=row, cell=cell, answer=f"given:{read % 9 + 1}")
        assert "answered that already" in late.text
    (told,) = [one for one in exported(book, tmp_path) if one["id"] == row]
    assert told["status"] == "clean"
    assert told["givens"] == truth("kitchen-table.jpg")["givens"]


def truth(name: str) -> dict[str, str]:
    page = json.loads((FIXTURES / f"{name}.json").read_text("utf-8"))
    return dict(next(grid for grid in page["grids"] if grid["kind"] == "puzzle"))


@pytest.mark.parametrize(
    "words",
    [
        {"row": "x", "cell": "R1C1", "answer": "1"},
        {"row": "0123456789abcdef-1-1", "cell": "R0C1", "answer": "1"},
        {"row": "0123456789abcdef-1-1", "cell": "R1C1", "answer": "<b>"},
        {"row": "0123456789abcdef-99999999999999999999-1", "cell": "R1C1", "answer": "1"},
    ],
)
def test_odd_answers_change_no_book(library: Home, words: dict[str, str]) -> None:
    reply = library.phone().press(Reply(200, {}, b"", "/book/tell"), **words)
    assert reply.status == 400


def test_a_book_that_is_none_is_told_before_the_server_starts(tmp_path: Path) -> None:
    strange = tmp_path / "strange.book"
    strange.write_bytes(b"not a book at all" * 100)
    words = ["phone", "--host", "127.0.0.1", "--port", "0", "--book", str(strange)]
    assert run(words) == 5


@pytest.mark.slow
def test_a_server_killed_in_the_middle_loses_nothing_that_was_shown_as_done(
    book: Path, tmp_path: Path
) -> None:
    """Once here; the benchmark kills it twenty times."""
    shown = killed(book, after=0.5)
    rows = exported(book, tmp_path)
    assert shown
    sql = sqlite3.connect(book)
    names = {name for (name,) in sql.execute("SELECT name FROM place JOIN page USING (hash)")}
    sql.close()
    assert shown <= names
    assert len({row["id"] for row in rows}) == len(rows)


# ---------------------------------------------------------------- practice


def test_a_sheet_is_marked_on_the_photo_and_kept(
    library: Home, sheet: bytes, tmp_path: Path
) -> None:
    phone = library.phone()
    kind = {"Content-Type": "application/octet-stream"}
    assert "Nothing is in" in phone.ask("/sheet").text
    reply = phone.ask("/sheet/photo", "POST", sheet, kind)
    assert reply.sentence.startswith("Sheet ")
    assert phone.ask(f"{reply.url}/marked.jpg").status == 200
    assert "Number 1: blank" in reply.text
    again = phone.ask("/sheet")
    assert "Progress" in again.text
    assert "week of" in again.text
    assert phone.ask("/progress.svg").status == 404  # nothing was answered: nothing to plot
    with sqlite3.connect(tmp_path / "practice.log") as sql:
        assert sql.execute("SELECT count(*) FROM answer").fetchone()[0] == 4
    assert library.phone().ask(reply.url).status == 404


def named(phone: Phone, **form: str) -> Reply:
    return phone.press(Reply(200, {}, b"", "/sheet/pupil"), **form)


def logged(log: Path) -> list[tuple[str, str]]:
    with sqlite3.connect(log) as sql:
        found = sql.execute("SELECT DISTINCT pupil, sheet FROM answer ORDER BY 1").fetchall()
    sql.close()
    return found


@pytest.mark.slow
def test_a_sheet_is_kept_under_the_name_that_was_chosen(
    library: Home, sheet: bytes, tmp_path: Path
) -> None:
    kind = {"Content-Type": "application/octet-stream"}
    teacher, other = library.phone(), library.phone()
    assert "Mark a sheet of Ada" in named(teacher, pupil="Ada").text
    marked = teacher.ask("/sheet/photo", "POST", sheet, kind)
    assert "as Ada's" in marked.text
    assert "Mark a sheet of Zoë" in named(teacher, pupil=" Zoe\u0308 ").text
    assert "Nothing of Zoë is in practice.log yet" in teacher.ask("/sheet").text
    teacher.ask("/sheet/photo", "POST", sheet, kind)
    assert "Mark a practice sheet" in other.ask("/sheet").text  # each phone has its own name
    other.ask("/sheet/photo", "POST", sheet, kind)
    assert [pupil for pupil, _ in logged(tmp_path / "practice.log")] == ["", "Ada", "Zoë"]
    offered = other.ask("/sheet/pupils").text
    assert re.findall(r'name="pupil" value="([^"]*)"', offered) == ["Ada", "Zoë"]
    assert "Ada, hidden single" in other.ask("/sheet").text
    assert "Ada" not in teacher.ask("/sheet").text
    assert "Mark a practice sheet" in named(teacher, nobody="1").text


ODD = ["", " ", "a\x1b[2Jb", "a\u202eb", "x" * 61, "\x00"]


@pytest.mark.parametrize("name", chosen(ODD, *ODD[1:3]))
def test_a_name_that_is_none_is_not_taken(library: Home, name: str) -> None:
    phone = library.phone()
    reply = named(phone, pupil=name)
    assert reply.status == 400
    assert "name is one line" in reply.sentence
    assert "Mark a practice sheet" in phone.ask("/sheet").text


@pytest.mark.slow
def test_html_in_a_name_is_shown_as_it_is_written(
    library: Home, sheet: bytes, tmp_path: Path
) -> None:
    name = "<img src=x onerror=alert(1)>\"'&"
    phone = library.phone()
    kind = {"Content-Type": "application/octet-stream"}
    said = [named(phone, pupil=name).text]
    said.append(phone.ask("/sheet/photo", "POST", sheet, kind).text)
    said += [phone.ask(path).text for path in ("/sheet", "/sheet/pupils")]
    assert all("<img src=x" not in page for page in said)
    assert "&lt;img src=x onerror=alert(1)&gt;&#34;&#39;&amp;" in said[0]
    assert [pupil for pupil, _ in logged(tmp_path / "practice.log")] == [name]


def test_a_strange_name_that_a_log_holds_is_written_out_and_not_offered(tmp_path: Path) -> None:
    from papernudge.cli.sheets.log import Row, append

    log = tmp_path / "practice.log"
    names = ("Ada", "a\x1b[2J<b>")
    append(log, [Row("2026-05-04", "A-1", 1, "X-wing", 6, "right", 1, 9.0, one) for one in names])
    with running(log=log) as home:
        phone = home.phone()
        pages = [phone.ask(path).text for path in ("/sheet", "/sheet/pupils", "/progress.svg")]
    assert all("\x1b" not in page and "<b>" not in page for page in pages)
    assert r"a\x1b[2J&lt;b&gt;, X-wing, week of 2026-05-04: 1 of 1 right, 9 s each" in pages[0]
    assert re.findall(r'name="pupil" value="([^"]*)"', pages[1]) == ["Ada"]
    assert r">A  a\x1b[2J&lt;b&gt;<" in pages[2]
    assert ">B  Ada<" in pages[2]


def test_a_name_is_forgotten_after_an_hour_and_a_clock_after_a_day() -> None:
    from papernudge.cli.phone.memory import FORGOTTEN, LONGEST_CLOCK, Memory

    now = [0.0]
    memory = Memory(lambda: now[0])
    visitor = memory.visitor()
    memory.name_pupil(visitor, "Ada")
    memory.start_clock(visitor)
    now[0] = FORGOTTEN - 1
    assert memory.pupil(visitor) == "Ada"
    now[0] += FORGOTTEN - 1
    assert memory.pupil(visitor) == "Ada"
    now[0] += FORGOTTEN + 1
    assert memory.pupil(visitor) == ""
    assert memory.clock(visitor) == now[0]
    now[0] = LONGEST_CLOCK
    assert memory.clock(visitor) is None


@pytest.mark.slow
def test_a_photo_that_is_no_sheet_gets_a_sentence(library: Home) -> None:
    kind = {"Content-Type": "application/octet-stream"}
    photo = (FIXTURES / "clean.jpg").read_bytes()
    reply = library.phone().ask("/sheet/photo", "POST", photo, kind)
    assert "code" in reply.sentence


@pytest.mark.slow
def test_a_solve_against_the_clock_is_checked_timed_and_kept(library: Home, tmp_path: Path) -> None:
    phone = library.phone()
    named(phone, pupil="Ada")
    assert "The clock runs" in phone.ask("/clock", "POST", b"").text
    kind = {"Content-Type": "application/octet-stream"}
    photo = (FIXTURES / "solved.jpg").read_bytes()
    time.sleep(1.1)
    page = phone.ask("/clock/photo", "POST", photo, kind)
    assert "Solved" in page.sentence
    assert re.search(r"You took 0 min \d+ s\. Four of five people take between \d+ and", page.text)
    assert "The clock runs" not in phone.ask("/").text
    phone.ask(page.url)
    with sqlite3.connect(tmp_path / "practice.log") as sql:
        ((reason, seconds, pupil),) = sql.execute("SELECT reason, seconds, pupil FROM answer")
    assert (reason, pupil) == ("whole puzzle", "Ada")
    assert 1 <= seconds < 60


def test_without_a_log_a_time_is_shown_and_kept_nowhere(phone: Phone, tmp_path: Path) -> None:
    phone.ask("/clock", "POST", b"")
    kind = {"Content-Type": "application/octet-stream"}
    photo = (FIXTURES / "one-mistake.jpg").read_bytes()
    page = phone.ask("/clock/photo", "POST", photo, kind)
    assert "You took" in page.text
    assert "olved" not in page.sentence


# ---------------------------------------------------------------- the command


def test_the_command_tells_its_address_and_stops_on_ctrl_c(tmp_path: Path) -> None:
    process = subprocess.Popen(
        [sys.executable, "-m", "papernudge.cli", "phone", "--host", "127.0.0.1", "--port", "0"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=tmp_path,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )  # fmt: skip
    assert process.stdout is not None
    while "http" not in (line := process.stdout.readline()):
        assert process.poll() is None
    assert "/in/" in line
    time.sleep(0.5)
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=20)
    assert process.returncode in (0, 130)
    assert "Traceback" not in err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--host", "nowhere.invalid"], "can't be listened on"),
        (["--host", "203.0.113.7"], "can't be listened on"),
        (["--host", "127.0.0.1", "--certificate", "a.pem"], "HTTPS needs both"),
        (["--host", "127.0.0.1", "--certificate", __file__, "--key", __file__], "for HTTPS"),
        (["--host", "127.0.0.1", "--book", "a.book", "--log", "a.book"], "would write over"),
        (["--host", "127.0.0.1", "--log", __file__], "log"),
        (["--host", "127.0.0.1", "--book", ""], "--book has no name"),
    ],
)
def test_words_that_lead_nowhere_get_a_sentence(
    words: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["phone", "--port", "0", *words]) in (2, 5)
    assert says in capsys.readouterr().err


def test_a_shelf_says_what_digitise_would_of_a_file_that_is_no_book(tmp_path: Path) -> None:
    from papernudge.cli.base.exits import Stop

    strange = tmp_path / "a.book"
    strange.write_bytes(b"x" * 5000)
    with pytest.raises(Stop):
        Shelf(strange)
