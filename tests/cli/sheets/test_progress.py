"""The practice log and ``papernudge progress``."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from samples import chosen

from papernudge.cli.base.exits import Stop
from papernudge.cli.sheets.log import Row, append, pupil_named, read
from papernudge.cli.sheets.plot import LEFT, PLOT, TOP, WIDE, plotted
from papernudge.cli.sheets.weeks import curves_of, weeks_of

Run = Callable[..., Any]


def row(day: str, number: int, result: str, reason: str = "X-wing", seconds: float = 30) -> Row:
    return Row(day, "LANTRN-1", number, reason, 6, result, 1, seconds)


ROWS = [
    row("2026-05-04", 1, "right"),
    row("2026-05-05", 2, "wrong", seconds=50),
    row("2026-05-10", 3, "blank"),
    row("2026-05-11", 4, "right"),
    row("2026-05-11", 5, "unsure", "naked single"),
]


def test_a_log_that_is_missing_or_another_file_is_named(papernudge: Run, tmp_path: Path) -> None:
    text, other = tmp_path / "a.txt", tmp_path / "recipes.db"
    text.write_text("flour, eggs, milk\n" * 40, "utf-8")
    with sqlite3.connect(other) as sql:
        sql.execute("CREATE TABLE recipe (flour TEXT)")
    sql.close()
    for path, said in (
        (tmp_path / "missing", "There is no log"),
        (text, "can't be used as a log"),
        (other, "is not a log"),
    ):
        ran = papernudge("progress", path)
        assert ran.code == 5
        assert said in ran.err
    with pytest.raises(Stop, match="is not a log"):
        append(other, ROWS)
    sql = sqlite3.connect(other)
    assert sql.execute("SELECT count(*) FROM sqlite_schema").fetchone() == (1,)
    sql.close()


def test_a_picture_of_an_odd_kind_is_refused(papernudge: Run, tmp_path: Path) -> None:
    append(tmp_path / "log", ROWS)
    ran = papernudge("progress", tmp_path / "log", "--picture", tmp_path / "a.gif")
    assert ran.code == 2
    assert "ends in .svg or .png" in ran.err


def test_an_empty_log_says_so(papernudge: Run, tmp_path: Path) -> None:
    append(tmp_path / "log", [])
    assert "Nothing is in this log yet" in papernudge("progress", tmp_path / "log").out
    assert papernudge("progress", tmp_path / "log", "--picture", tmp_path / "a.svg").code == 0


def test_rows_come_back_and_a_second_photo_of_a_page_counts_once(tmp_path: Path) -> None:
    append(tmp_path / "log", ROWS)
    append(tmp_path / "log", [row("2026-05-05", 2, "right")])
    rows = read(tmp_path / "log")
    assert len(rows) == len(ROWS)
    assert rows[1] == row("2026-05-05", 2, "right")


def test_weeks_start_on_monday_and_blanks_are_not_answers() -> None:
    first, second, third = weeks_of(ROWS)
    assert (first.monday, first.positions, first.answered, first.right) == ("2026-05-04", 3, 2, 1)
    assert first.share == 0.5
    assert first.seconds == pytest.approx(110 / 3)
    assert (second.monday, second.share) == ("2026-05-11", 1.0)
    assert (third.reason, third.answered, third.share) == ("naked single", 0, None)


def test_what_is_also_valid_is_counted_apart_and_is_no_mistake(
    papernudge: Run, tmp_path: Path
) -> None:
    rows = [row("2026-05-04", n, "also valid") for n in range(3)]
    rows += [row("2026-05-04", 3, "right"), row("2026-05-04", 4, "wrong")]
    (week,) = weeks_of(rows)
    assert (week.right, week.also_valid, week.wrong, week.share) == (1, 3, 1, 0.5)
    assert weeks_of(rows[:3])[0].share is None
    append(tmp_path / "log", rows)
    head, line = papernudge("progress", tmp_path / "log").out.splitlines()
    assert " also valid " in head
    assert line.split()[-6:-2] == ["1", "3", "1", "50%"]
    (told,) = json.loads(papernudge("progress", tmp_path / "log", "--json").out)["weeks"]
    assert told["also_valid"] == 3


def test_points_stand_where_their_numbers_say() -> None:
    letters = [m for m in plotted(weeks_of(ROWS)).marks if m.text == "A"]
    (x0, half), (x1, full) = (mark.points[0] for mark in letters[:2])
    assert LEFT < x0 < x1 < WIDE
    assert half == pytest.approx(TOP + PLOT / 2)
    assert full == pytest.approx(TOP)


def test_both_kinds_of_picture_open(papernudge: Run, tmp_path: Path) -> None:
    from PIL import Image

    append(tmp_path / "log", ROWS)
    svg, png = tmp_path / "a.svg", tmp_path / "a.png"
    for out in (svg, png):
        ran = papernudge("progress", tmp_path / "log", "--picture", out)
        assert ran.code == 0, ran.err
    assert "50%" in ran.out
    texts = [t.text for t in ElementTree.parse(svg).iter() if t.tag.endswith("text")]
    assert "A  X-wing" in texts
    with Image.open(png) as image:
        assert image.size[0] == 2 * WIDE
        assert len(image.getcolors(1 << 20) or []) > 3


SOUND = ("2026-05-04", "LANTRN-2", 9, "X-wing", 6, "right", 1, 30.0, "")
DAMAGE = [
    *(
        (0, day)
        for day in ("", "2026-13-04", "20260504", "2026-W19-1", b"2026-05-04", 5, "x" * 500)
    ),
    *((1, sheet) for sheet in ("", b"\xff", "x" * 500)),
    *((2, number) for number in (-1, "one", 1.5, 1 << 40)),
    *((3, reason) for reason in ("", b"X-wing", "x" * 500)),
    *((4, looks) for looks in (-1, "many", 1 << 40)),
    *((5, result) for result in ("rigth", "", 1)),
    *((6, digits) for digits in (-1, 82, "few")),
    *((7, seconds) for seconds in (-1.0, 1e300, float("inf"), "long")),
    *((8, pupil) for pupil in (b"Ada", "x" * 500)),
]


@pytest.mark.parametrize(("column", "value"), chosen(DAMAGE, *DAMAGE[::4]))
def test_a_damaged_row_is_left_out_and_told(
    papernudge: Run, tmp_path: Path, column: int, value: object
) -> None:
    log = tmp_path / "log"
    append(log, ROWS)
    whole = papernudge("progress", log)
    row = tuple(value if at == column else sound for at, sound in enumerate(SOUND))
    sql = sqlite3.connect(log)
    columns = "day, sheet, number, reason, looks, result, digits, seconds, pupil"
    sql.execute(f"INSERT INTO answer ({columns}) VALUES ({', '.join('?' * 9)})", row)
    sql.commit()
    sql.close()
    for words in ([], ["--picture", tmp_path / "a.svg"]):
        ran = papernudge("progress", log, *words)
        assert ran.code == 5
        assert ran.out == whole.out
        assert ran.err.startswith("1 row is damaged in ")
        assert ran.err.count("\n") == 1


def test_bytes_that_are_no_text_damage_their_row_alone(papernudge: Run, tmp_path: Path) -> None:
    log = tmp_path / "log"
    append(log, ROWS)
    sql = sqlite3.connect(log)
    sql.execute("UPDATE answer SET reason = CAST(x'582dff' AS TEXT) WHERE number = 1")
    sql.commit()
    sql.close()
    assert papernudge("progress", log).code == 5
    assert len(read(log)) == len(ROWS) - 1


@pytest.mark.parametrize("seed", range(12))
def test_a_log_with_flipped_bits_never_makes_a_fault(
    papernudge: Run, tmp_path: Path, seed: int
) -> None:
    import random

    log = tmp_path / "log"
    append(log, ROWS * 3)
    data = bytearray(log.read_bytes())
    chance = random.Random(seed)
    for _ in range(1 + seed):
        data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
    log.write_bytes(data)
    ran = papernudge("progress", log, "--picture", tmp_path / "a.svg")
    assert ran.code in (0, 5), ran.err
    assert "Traceback" not in ran.err


def test_what_a_log_calls_a_reason_is_shown_on_the_terminal_and_in_the_plot(
    papernudge: Run, tmp_path: Path
) -> None:
    append(tmp_path / "log", [row("2026-05-04", 1, "right", "\x1b[2J\u202e\n")])
    ran = papernudge("progress", tmp_path / "log", "--picture", tmp_path / "a.svg")
    assert ran.code == 0
    assert ran.out.replace("\n", "").isprintable()
    ElementTree.parse(tmp_path / "a.svg")


@pytest.mark.parametrize("content", [b"", b"Dear Lantern"])
def test_a_file_of_the_users_beside_a_log_stays(tmp_path: Path, content: bytes) -> None:
    """SQLite deletes what lies where its journal would."""
    (tmp_path / "log-journal").write_bytes(content or b"\0Dear Lantern")
    with pytest.raises(Stop, match="move it away"):
        append(tmp_path / "log", ROWS)
    assert (tmp_path / "log-journal").read_bytes().endswith(b"Dear Lantern")


# ---------------------------------------------------------------- pupils

CLASS = [replace(one, pupil=pupil) for pupil in ("Ada", "Zoë") for one in ROWS]
STRANGE = "<b onload=x>&\"'</b>\x1b[2J\u202e\n"


def test_two_pupils_results_on_the_same_sheet_stand_side_by_side(tmp_path: Path) -> None:
    append(tmp_path / "log", CLASS)
    append(tmp_path / "log", [replace(CLASS[1], result="right")])
    rows = read(tmp_path / "log")
    assert len(rows) == len(CLASS)
    second = {row.pupil: row.result for row in rows if row.number == 2}
    assert second == {"Ada": "right", "Zoë": "wrong"}


def test_each_pupil_has_lines_and_a_curve_and_one_alone_a_curve_a_reason(
    papernudge: Run, tmp_path: Path
) -> None:
    log, svg = tmp_path / "log", tmp_path / "a.svg"
    append(log, [*CLASS, replace(ROWS[0], sheet="LANTRN-2")])
    ran = papernudge("progress", log, "--picture", svg)
    assert ran.code == 0, ran.err
    starts = [line.split()[0] for line in ran.out.splitlines()]
    assert starts == ["pupil", "-", "Ada", "Ada", "Ada", "Zoë", "Zoë", "Zoë"]
    assert drawn_names(svg) == {"A  (nobody named)", "B  Ada", "C  Zoë"}
    ran = papernudge("progress", log, "--pupil", " Zoe\u0308", "--picture", svg)
    assert ran.code == 0, ran.err
    assert [line.split()[0] for line in ran.out.splitlines()[1:]] == ["Zoë"] * 3
    assert drawn_names(svg) == {"A  X-wing", "B  naked single"}


def drawn_names(svg: Path) -> set[str]:
    texts = [t.text or "" for t in ElementTree.parse(svg).iter() if t.tag.endswith("text")]
    return {text for text in texts if text[1:3] == "  "}


def test_a_pupils_curve_sums_up_all_reasons(tmp_path: Path) -> None:
    first, second, *_ = curves_of(CLASS)
    assert (first.pupil, first.monday, first.positions, first.answered) == (
        "Ada",
        "2026-05-04",
        3,
        2,
    )
    assert (second.monday, second.positions, second.answered) == ("2026-05-11", 2, 1)


def test_a_pupil_nobody_logged_is_told_with_those_there_are(
    papernudge: Run, tmp_path: Path
) -> None:
    append(tmp_path / "log", CLASS)
    ran = papernudge("progress", tmp_path / "log", "--pupil", "Ida")
    assert ran.code == 2
    assert "'Ida'" in ran.err
    assert "it names 'Ada', 'Zoë';" in ran.err


@pytest.mark.parametrize("name", ["", " ", "x" * 61, "a\x1b[2Jb", "a\u202eb", "\udcff"])
def test_a_name_that_can_not_be_shown_is_refused(
    papernudge: Run, tmp_path: Path, name: str
) -> None:
    append(tmp_path / "log", CLASS)
    ran = papernudge("progress", tmp_path / "log", "--pupil", name)
    assert ran.code == 2
    assert "pupil's name" in ran.err
    assert ran.err.replace("\n", "").isprintable()
    with pytest.raises(Stop, match="name"):
        pupil_named(name)


def test_a_strange_name_in_a_log_is_shown_and_never_obeyed(papernudge: Run, tmp_path: Path) -> None:
    append(tmp_path / "log", [*CLASS, replace(ROWS[0], pupil=STRANGE)])
    ran = papernudge("progress", tmp_path / "log", "--picture", tmp_path / "a.svg")
    assert ran.code == 0, ran.err
    assert ran.out.replace("\n", "").isprintable()
    (root,) = [ElementTree.parse(tmp_path / "a.svg").getroot()]
    assert {one.tag.split("}")[1] for one in root.iter()} <= {
        "svg", "title", "rect", "text", "polyline"
    }  # fmt: skip
    assert "<b onload=x>&\"'</b>\\x1b[2J\\u202e\\n" in "".join(root.itertext())


# ---------------------------------------------------------------- logs of version 1

FIRST = """
CREATE TABLE answer (
  day TEXT NOT NULL, sheet TEXT NOT NULL, number INTEGER NOT NULL, reason TEXT NOT NULL,
  looks INTEGER NOT NULL, result TEXT NOT NULL, digits INTEGER NOT NULL, seconds REAL,
  PRIMARY KEY (day, sheet, number)
) WITHOUT ROWID
"""


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """A log as it was written before pupils had names."""
    path = tmp_path / "old.log"
    with sqlite3.connect(path) as sql:
        sql.execute(FIRST)
        rows = [(r.day, r.sheet, r.number, r.reason, r.looks, r.result, r.digits, r.seconds)
                for r in ROWS]  # fmt: skip
        sql.executemany("INSERT INTO answer VALUES (?, ?, ?, ?, ?, ?, ?, ?)", rows)
        sql.execute(f"PRAGMA application_id = {0x504E6C67}")
        sql.execute("PRAGMA user_version = 1")
    sql.close()
    return path


def version(path: Path) -> int:
    sql = sqlite3.connect(path)
    found = int(sql.execute("PRAGMA user_version").fetchone()[0])
    sql.close()
    return found


def test_an_old_log_is_read_as_it_lies(papernudge: Run, old: Path) -> None:
    before = old.read_bytes()
    assert read(old) == ROWS
    assert papernudge("progress", old).code == 0
    assert old.read_bytes() == before


def test_an_old_log_that_is_added_to_keeps_its_rows_and_learns_names(old: Path) -> None:
    more = replace(ROWS[0], pupil="Ada")
    append(old, [more])
    assert version(old) == 2
    assert read(old) == [ROWS[0], more, *ROWS[1:]]
    with sqlite3.connect(old) as sql:
        assert sql.execute("SELECT name FROM sqlite_schema").fetchall() == [("answer",)]
        assert sql.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    sql.close()


def test_an_old_log_stays_as_it_was_where_adding_fails(old: Path) -> None:
    broken = replace(ROWS[0], pupil="Ada", seconds=object())  # type: ignore[arg-type]
    with pytest.raises(Stop, match="can't be used as a log"):
        append(old, [broken])
    assert version(old) == 1
    assert read(old) == ROWS


def test_a_damaged_row_of_an_old_log_is_carried_over_and_still_told(
    papernudge: Run, old: Path
) -> None:
    with sqlite3.connect(old) as sql:
        sql.execute("UPDATE answer SET result = 'rigth' WHERE number = 1")
    sql.close()
    append(old, [replace(ROWS[1], pupil="Ada")])
    ran = papernudge("progress", old)
    assert ran.code == 5
    assert ran.err.startswith("1 row is damaged in ")


def test_a_log_of_a_later_version_is_left_alone(papernudge: Run, tmp_path: Path) -> None:
    append(tmp_path / "log", CLASS)
    with sqlite3.connect(tmp_path / "log") as sql:
        sql.execute("PRAGMA user_version = 3")
    sql.close()
    before = (tmp_path / "log").read_bytes()
    with pytest.raises(Stop, match="newer papernudge"):
        append(tmp_path / "log", ROWS)
    assert (tmp_path / "log").read_bytes() == before
