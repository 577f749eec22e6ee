"""The practice log and ``papernudge progress``."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from papernudge.cli.base.exits import Stop
from papernudge.cli.sheets.log import Row, append, read
from papernudge.cli.sheets.plot import LEFT, PLOT, TOP, WIDE, plotted
from papernudge.cli.sheets.weeks import weeks_of

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


SOUND = ("2026-05-04", "LANTRN-2", 9, "X-wing", 6, "right", 1, 30.0)
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
]


@pytest.mark.parametrize(("column", "value"), DAMAGE)
def test_a_damaged_row_is_left_out_and_told(
    papernudge: Run, tmp_path: Path, column: int, value: object
) -> None:
    log = tmp_path / "log"
    append(log, ROWS)
    whole = papernudge("progress", log)
    row = tuple(value if at == column else sound for at, sound in enumerate(SOUND))
    sql = sqlite3.connect(log)
    sql.execute(f"INSERT INTO answer VALUES ({', '.join('?' * 8)})", row)
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
