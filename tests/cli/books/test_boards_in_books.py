"""Rows of other boards: kept, settled, told apart, exported, chosen, corrected, reviewed."""

from __future__ import annotations

import csv
import io
import json
import shutil
import sqlite3
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

from papernudge.cli.base.exits import Stop
from papernudge.cli.books.book import Book
from papernudge.cli.books.corrections import apply, parse_correction
from papernudge.cli.books.review import write_sheet
from papernudge.cli.books.rows import GridRow, PageDone, layout_data, row_id
from papernudge.cli.books.settle import settle
from papernudge.cli.books.sources import Surveyed
from papernudge.cli.books.work import grid_row
from papernudge.cli.session.pages import page_of_lines
from papernudge.hints.canonical import turns_of
from papernudge.hints.generate import any_blocks, puzzle
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.shapes import board_of, in_options
from papernudge.hints.solver import solve

Run = Callable[..., Any]
HASH = "ab" * 32
SIX, SIXTEEN, JIGSAW = board_of("2x3"), board_of("4x4"), any_blocks(5, 9)
DIAGONAL = board_of("2x3", diagonals=True)
CORNERS = [[10.0, 10.0], [370.0, 10.0], [370.0, 370.0], [10.0, 370.0]]


def turned(line: str, layout: Layout) -> str:
    """Upside down and relabelled."""
    cells = turns_of(layout)[-1]
    names = dict(zip(layout.symbols, layout.symbols[::-1], strict=True)) | {".": "."}
    return "".join(names[line[cell]] for cell in cells)


LINES = [
    (puzzle(1, 30), NEWSPAPER),
    (puzzle(1, layout=SIX), SIX),
    (puzzle(2, 14, layout=DIAGONAL), DIAGONAL),
    (turned(puzzle(2, 14, layout=DIAGONAL), DIAGONAL), DIAGONAL),
    (puzzle(3, 160, layout=SIXTEEN), SIXTEEN),
    (puzzle(4, 40, layout=JIGSAW), JIGSAW),
]


def grid_of(number: int, line: str, layout: Layout, **more: Any) -> GridRow:
    """As a page's worker would hand it over, read beyond doubt."""
    at = np.linspace(10, 370, layout.side + 1)
    crossings = np.stack(np.meshgrid(at, at), axis=2).astype("<f4").tobytes()
    chances = np.zeros((layout.many, layout.side + 2))
    for cell, mark in enumerate(line):
        digit = 0 if mark == "." else layout.symbols.index(mark) + 1
        chances[cell, digit], chances[cell, -1] = 1, mark != "."
    whole = {
        "givens": line,
        "entries": layout.blank,
        "chances": chances.astype("<f2").tobytes(),
        "chance_all_right": 1.0,
        "layout": layout_data(layout),
    }
    return GridRow(number, "puzzle", None, CORNERS, crossings, **(whole | more))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    grids = [grid_of(n, *one) for n, one in enumerate(LINES, 1)]
    return made_book(tmp_path_factory.mktemp("made") / "mixed.book", grids)


@pytest.fixture
def book(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(made, tmp_path))


def made_book(path: Path, grids: list[GridRow]) -> Path:
    with Book.to_write(path) as book:
        book.note_sources([Surveyed(path.with_name("weekend.jpg"), HASH, "photo", 1, 9)])
        puzzles = [settle(grid) for grid in grids]
        book.write(PageDone(HASH, 1, "test", "read", None, None, 380, 380, 0, grids, puzzles))
    return path


def rows_in(papernudge: Run, book: Path, out: Path, *words: str) -> list[Any]:
    ran = papernudge("export", book, "--to", out, "--force", *words)
    assert ran.code == 0, ran.err
    schema = json.loads((files("papernudge.cli") / "schema-export.json").read_text("utf-8"))
    validator = jsonschema.Draft202012Validator(schema)
    rows = [json.loads(line) for line in out.read_text("utf-8").splitlines()]
    for row in rows:
        validator.validate(row)
    return rows


def test_each_row_says_its_board_and_has_its_solution_and_looks(
    papernudge: Run, book: Path, tmp_path: Path
) -> None:
    rows = rows_in(papernudge, book, tmp_path / "out.jsonl")
    assert len(rows) == len(LINES)
    for row, (line, layout) in zip(rows, LINES, strict=True):
        assert row["givens"] == line
        assert row["solution"] == solve(line, layout)
        assert row["status"] == "clean"
        assert row["grade"]["looks"] > 0
        assert ("minutes" in row["grade"]) == (layout is NEWSPAPER)
        assert ("layout" in row) == (layout is not NEWSPAPER)
    assert rows[1]["layout"]["block"] == [2, 3]
    assert rows[5]["layout"]["regions"][0] == "A"


def test_a_turned_twin_is_linked_and_left_out_once(
    papernudge: Run, book: Path, tmp_path: Path
) -> None:
    rows = rows_in(papernudge, book, tmp_path / "out.jsonl")
    assert [row["same_as"] for row in rows] == [None, None, None, rows[2]["id"], None, None]
    assert len(rows_in(papernudge, book, tmp_path / "out.jsonl", "--once")) == 5


def test_the_same_line_on_two_boards_is_two_puzzles(papernudge: Run, tmp_path: Path) -> None:
    line = next(
        line
        for seed in range(40)
        if solve(line := puzzle(seed, 14, layout=board_of("2x3", diagonals=True)), SIX)
    )
    grids = [grid_of(1, line, SIX), grid_of(2, line, DIAGONAL)]
    path = made_book(tmp_path / "two.book", grids)
    rows = rows_in(papernudge, path, tmp_path / "out.jsonl")
    assert [row["same_as"] for row in rows] == [None, None]


def test_rows_are_chosen_by_their_board(papernudge: Run, book: Path, tmp_path: Path) -> None:
    out = tmp_path / "out.jsonl"
    assert len(rows_in(papernudge, book, out, "--blocks", "2x3")) == 1
    assert len(rows_in(papernudge, book, out, "--blocks", "2x3", "--diagonals")) == 2
    assert len(rows_in(papernudge, book, out, "--blocks", "3x3")) == 1
    assert len(rows_in(papernudge, book, out, "--givens", "160")) == 1
    assert len(rows_in(papernudge, book, out, "--minutes", "0-")) == 1
    assert papernudge("export", book, "--to", out, "--force", "--blocks", "1x3").code == 2
    ran = papernudge("export", book, "--to", out, "--force", "--hardest", "nonsense")
    held = ran.err.partition("the book holds: ")[2].rstrip(".\n").split(", ")
    assert sum(int(one.split()[0]) for one in held) == len(LINES)  # those without minutes too


@pytest.mark.slow
def test_plain_lines_say_their_board_in_a_remark_and_are_drilled_from(
    papernudge: Run, book: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out.txt"
    assert papernudge("export", book, "--to", out).code == 0
    lines = out.read_text("ascii").splitlines()
    told = [in_options(layout) for _, layout in LINES]
    assert [line for line in lines if line.startswith("#")] == [
        f"# {told[0]}", f"# {told[1]}", f"# {told[2]}", f"# {told[4]}", f"# {told[5]}"
    ]  # fmt: skip
    assert [line for line in lines if not line.startswith("#")] == [line for line, _ in LINES]
    sheet = ("--scan", 5, "--out", tmp_path / "sheet.pdf")
    for source in (out, book):
        assert papernudge("drill", source, "--blocks", "2x3", *sheet).code == 0
        assert papernudge("drill", source, *sheet).code == 0


def test_a_table_has_a_column_more_only_where_there_are_other_boards(
    papernudge: Run, book: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out.csv"
    papernudge("export", book, "--to", out)
    found = list(csv.DictReader(io.StringIO(out.read_text("utf-8"))))
    assert [row["layout"] for row in found][:2] == ["blocks 3x3", "blocks 2x3"]
    papernudge("export", book, "--to", out, "--force", "--blocks", "3x3")
    assert "layout" not in out.read_text("utf-8").splitlines()[0]


def test_a_printed_book_draws_each_board(papernudge: Run, book: Path, tmp_path: Path) -> None:
    pypdfium2 = pytest.importorskip("pypdfium2")
    out = tmp_path / "out.pdf"
    assert papernudge("export", book, "--to", out, "--each", 6).code == 0
    document = pypdfium2.PdfDocument(str(out))
    first = document[0].get_textpage().get_text_range()
    document.close()
    assert "16" in first.split()
    assert "A" not in first.split()


def test_a_reading_of_another_board_is_kept_with_it() -> None:
    """What the page's worker makes of a grid that was read."""
    line = LINES[4][0]
    grid = page_of_lines(line, SIXTEEN.blank, SIXTEEN).grids[0]
    row = grid_row(1, grid, np.full((40, 40, 3), 250, np.uint8))
    assert row.board is SIXTEEN
    assert row.givens == line
    assert row.chances is not None
    assert len(row.chances) == 2 * 256 * 18


def test_a_correction_of_a_cell_of_the_largest_board(book: Path) -> None:
    line = LINES[4][0]
    cell = max(c for c, mark in enumerate(line) if mark == "." and c % 16 > 8)
    name, digit = SIXTEEN.name(cell), (solve(line, SIXTEEN) or "")[cell]
    row = row_id(HASH, 1, 5)
    with Book.to_write(book) as opened:
        assert apply(opened, parse_correction(f"{row} {name}=given:{digit}")) == (1, [])
        (after,) = opened.rows("SELECT givens FROM puzzle WHERE number = 5")
        assert after["givens"] == line[:cell] + digit + line[cell + 1 :]
        many, off = apply(opened, parse_correction(f"{row_id(HASH, 1, 2)} {name}=given:{digit}"))
        assert many == 0
        assert "correction looks like" in off[0]
        assert not apply(opened, parse_correction(f"{row_id(HASH, 1, 2)} R1C1=7"))[0]
    with Book.to_read(book) as opened:
        assert opened.harm is None
    with pytest.raises(Stop, match="correction looks like"):
        parse_correction(f"{row} R17C1=3")


def test_a_doubt_about_where_lines_run_waits_for_a_person() -> None:
    line = LINES[1][0]
    doubt = {"cell": "R2C2", "about": "layout", "read": None, "chance": 0.6, "instead": []}
    grid = grid_of(1, line, SIX, doubts=[doubt])
    assert settle(grid).reason == "doubts"
    digit = {
        "about": "digit",
        "read": 3,
        "chance": 0.6,
        "instead": [{"digit": None, "chance": 0.4}],
    }
    printed = next(c for c, mark in enumerate(line) if mark == "3")
    both = [doubt, {"cell": SIX.name(printed), **digit}]
    assert doubt in settle(grid_of(1, line, SIX, doubts=both)).doubts


def test_the_review_sheet_shows_cells_and_grids_of_other_boards(tmp_path: Path) -> None:
    import cv2

    from papernudge.vision.crop import crop

    page = np.full((380, 380, 3), 240, np.uint8)
    cv2.putText(page, "7", (300, 300), 0, 1, (0, 0, 0), 2)
    picture = crop(page, np.array(CORNERS))
    doubt = {"cell": "R16C16", "about": "digit", "read": 16, "chance": 0.5}
    doubt["instead"] = [{"digit": 10, "chance": 0.5}]
    line = LINES[4][0]
    grids = [grid_of(1, line, SIXTEEN, doubts=[doubt], crop=picture)]
    grids.append(grid_of(2, SIX.blank, SIX, crop=picture))
    path = made_book(tmp_path / "r.book", grids)
    with Book.to_read(path) as book:
        assert book.harm is None
        assert write_sheet(book, tmp_path / "sheet.html") == 2
    page_text = (tmp_path / "sheet.html").read_text("utf-8")
    assert "R16C16=" in page_text
    assert "......\n......" in page_text
    assert "R(1[0-6]|[1-9])" in page_text


def test_a_doubt_between_two_blocks_is_kept_exported_and_shown_with_the_grid(
    papernudge: Run, tmp_path: Path
) -> None:
    """It is answered for the whole grid: no digit answers it, and none is offered."""
    line, layout = LINES[5]
    name = layout.name(0)
    regions = [[name], [layout.name(80)]]
    doubt = {"cell": name, "about": "layout", "read": None, "chance": 0.6, "instead": []}
    hidden = {"cell": "R9C9", "about": "seen", "read": None, "chance": 0.5, "instead": []}
    doubts = [doubt | {"regions": regions}, hidden | {"why": "covered"}]
    path = made_book(tmp_path / "d.book", [grid_of(1, line, layout, doubts=doubts)])
    (row,) = rows_in(papernudge, path, tmp_path / "out.jsonl")
    assert row["doubts"][0]["regions"] == regions
    with Book.to_write(path) as book:
        assert book.harm is None
        write_sheet(book, tmp_path / "sheet.html")
        sheet = (tmp_path / "sheet.html").read_text("utf-8")
        assert f"{row['id']} {name}=." not in sheet
        assert "AAA" in sheet
        with pytest.raises(Stop):
            parse_correction(f"{row['id']} {name}=block:R1C2")
        assert apply(book, parse_correction(f"{row['id']} ok")) == (1, [])
    (after,) = rows_in(papernudge, path, tmp_path / "out.jsonl")
    assert after["status"] == "clean"


@pytest.mark.slow
def test_a_large_board_that_takes_too_long_waits_for_a_person(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from papernudge.cli.books import settle as settling

    monkeypatch.setattr(settling, "_patience", lambda layout: 0)
    line = puzzle(3, 100, layout=board_of("4x4"))
    row = settle(grid_of(1, line, SIXTEEN))
    assert (row.solutions, row.solution, row.status) == (None, None, "review")


@pytest.mark.parametrize(
    "wrong",
    [
        "layout = '{}'",
        "layout = 'null'",
        'layout = \'{"rows":6,"columns":6,"block":[3,2],"diagonals":true,"extra":7}\'',
        'layout = \'{"rows":9,"columns":9,"block":[3,3],"diagonals":false,"extra":[]}\'',
        "layout = NULL",
        "givens = replace(givens, '1', '7')",
    ],
)
def test_a_row_whose_board_is_none_or_not_its_own_is_no_sound_row(book: Path, wrong: str) -> None:
    from papernudge.cli.books.sound import is_sound

    with sqlite3.connect(book) as sql:
        sql.row_factory = sqlite3.Row
        for table in ("grid", "puzzle"):
            before = dict(sql.execute(f"SELECT * FROM {table} WHERE number = 2").fetchone())
            assert is_sound(table, before)
            sql.execute(f"UPDATE {table} SET {wrong} WHERE number = 2")
            after = dict(sql.execute(f"SELECT * FROM {table} WHERE number = 2").fetchone())
            assert not is_sound(table, after), wrong
    sql.close()
