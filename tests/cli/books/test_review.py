"""What a person must look at, what the person says, and that it is never lost."""

from __future__ import annotations

import base64
import csv
import html
import re
import shutil
import sqlite3
import struct
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from papernudge.cli.base.exits import code_of
from papernudge.cli.base.trouble import Trouble
from papernudge.cli.books import seals
from papernudge.cli.books.book import Book
from papernudge.cli.books.corrections import parse_correction
from papernudge.cli.books.rows import GridRow
from papernudge.cli.books.settle import Words, settle
from papernudge.vision.typeface import Page

Run = Callable[..., Any]
ID = "0123456789abcdef-1-1"
PUZZLE = ".3.2..5.9.79..438..........3.27....5..8.3.4..4....26.7..........245..76.9.7..6.5."
BLANK = "." * 81


def grid(givens: str | None = PUZZLE, entries: str | None = BLANK, **fields: Any) -> GridRow:
    told: dict[str, Any] = {"chance_all_right": 0.999, **fields}
    kind = told.pop("kind", "puzzle")
    return GridRow(
        1, kind, told.pop("quality", None), [[0, 0], [9, 0], [9, 9], [0, 9]],
        givens=givens, entries=entries, **told,
    )  # fmt: skip


def doubt(cell: str, about: str = "digit", read: int | None = 3) -> dict[str, Any]:
    return {
        "cell": cell,
        "about": about,
        "read": read,
        "chance": 0.6,
        "instead": [{"digit": 8, "chance": 0.4}],
    }


# ---------------------------------------------------------------- what a grid comes to


def test_a_sure_grid_with_one_solution_is_clean_and_graded() -> None:
    row = settle(grid())
    assert (row.status, row.reason, row.solutions) == ("clean", None, "one")
    assert row.minutes
    assert row.canonical


@pytest.mark.parametrize(
    ("read", "reason"),
    [
        (grid(None, None, kind="cut off", quality="cut off"), "cut off"),
        (grid(None, None, kind="other"), "other"),
        (grid(BLANK, BLANK, kind="full"), "a printed solution"),
    ],
)
def test_what_is_no_puzzle_is_left_out_with_its_reason(read: GridRow, reason: str) -> None:
    row = settle(read)
    assert (row.status, row.reason, row.canonical) == ("left out", reason, None)


@pytest.mark.parametrize(
    ("read", "reason"),
    [
        (grid(doubts=[doubt("R1C1", "digit", None)]), "doubts"),
        (grid("33" + PUZZLE[2:]), "no solution"),
        (grid("." * 81), "several solutions"),
        (grid(chance_all_right=0.5), "not sure enough"),
    ],
)
def test_what_may_be_wrong_waits_for_a_person(read: GridRow, reason: str) -> None:
    row = settle(read)
    assert (row.status, row.reason) == ("review", reason)


def test_a_doubt_about_a_given_is_decided_where_only_it_makes_one_solution() -> None:
    from papernudge.hints.solver import count_solutions

    needed = next(
        c
        for c in range(81)
        if PUZZLE[c] != "." and count_solutions(PUZZLE[:c] + "." + PUZZLE[c + 1 :]) == 2
    )
    name = f"R{needed // 9 + 1}C{needed % 9 + 1}"
    row = settle(grid(doubts=[doubt(name, "hand", int(PUZZLE[needed]))]))
    assert (row.status, row.decided, row.doubts) == ("clean", [name], [])


def test_a_given_without_which_there_is_one_solution_too_stays_in_doubt() -> None:
    from papernudge.hints.solver import solve

    solution = solve(PUZZLE) or ""
    more = solution[0] + PUZZLE[1:]
    row = settle(grid(more, doubts=[doubt("R1C1", "hand", int(solution[0]))]))
    assert (row.status, row.decided) == ("review", [])


def test_a_doubt_about_a_written_digit_is_never_decided() -> None:
    row = settle(grid(entries="8" + BLANK[1:], doubts=[doubt("R1C1", "digit", 8)]))
    assert (row.status, row.decided) == ("review", [])


def chances(puzzle: str, entries: str, **odd: tuple[float, float]) -> bytes:
    """As a reader that is sure would say, but for ``odd`` cells: chance of blank, of printed."""
    rows = b""
    for cell, (given, entry) in enumerate(zip(puzzle, entries, strict=True)):
        mark = given if given != "." else entry
        digits = [0.0] * 10
        digits[0 if mark == "." else int(mark)] = 1.0
        printed = float(given != ".")
        name = f"R{cell // 9 + 1}C{cell % 9 + 1}"
        if name in odd:
            digits[0], printed = odd[name]
        rows += struct.pack("<11e", *digits, printed)
    return rows


def written_in(**odd: tuple[float, float]) -> GridRow:
    entries = "8" + BLANK[1:]
    return grid(
        entries=entries,
        chances=chances(PUZZLE, entries, **odd),
        doubts=[doubt("R1C1", "digit", 8)],
        chance_all_right=0.6,
    )


def test_a_doubt_about_handwriting_alone_keeps_no_puzzle_waiting_and_stays_told() -> None:
    row = settle(written_in())
    assert (row.status, row.givens, row.decided) == ("clean", PUZZLE, [])
    assert [one["cell"] for one in row.doubts] == ["R1C1"]


@pytest.mark.parametrize(
    ("odd", "why"),
    [
        ({"R1C1": (0.0, 0.05)}, "the mark in doubt may be printed"),
        ({"R1C3": (0.9, 0.5)}, "another given may be there"),
        ({"R1C2": (0.0, 0.9)}, "one of the givens may be none"),
    ],
)
def test_where_a_given_may_be_other_than_read_a_doubtful_entry_keeps_waiting(
    odd: dict[str, tuple[float, float]], why: str
) -> None:
    assert settle(written_in(**odd)).reason == "doubts", why


def test_a_doubtful_entry_beside_another_doubt_or_in_no_puzzle_keeps_waiting() -> None:
    one = written_in()
    hand = replace(one, doubts=[*one.doubts, doubt("R1C4", "hand", 2)])
    assert settle(hand).status == "review"
    hidden = replace(one, doubts=[*one.doubts, doubt("R9C9", "seen", None)])
    assert settle(hidden).status == "review"
    several = replace(one, givens=BLANK, chances=chances(BLANK, one.entries or ""))
    assert settle(several).reason == "several solutions"


def test_on_a_page_without_handwriting_a_digit_that_looks_written_is_print() -> None:
    from papernudge.hints.solver import solve

    more = (solve(PUZZLE) or "")[0] + PUZZLE[1:]
    odd = grid(more, doubts=[doubt("R1C1", "hand", int(more[0]))])
    begun = grid(entries="4" + BLANK[1:])
    assert settle(odd).status == "review"
    assert settle(odd, page=Page([odd])).status == "clean"
    assert settle(odd, page=Page([odd, begun])).status == "review"
    many = grid(more, doubts=[doubt(f"R{r}C1", "hand", 4) for r in range(1, 6)])
    assert settle(many, page=Page([many])).status == "review"


def test_doubts_about_small_notes_keep_no_puzzle_waiting() -> None:
    assert settle(grid(doubts=[doubt("R1C1", "notes", None)])).status == "clean"


def test_corrections_answer_doubts_and_change_the_puzzle() -> None:
    read = grid("8" + PUZZLE[1:], doubts=[doubt("R1C1", "digit", 8)])
    row = settle(read, Words({"R1C1": "."}))
    assert (row.status, row.givens, row.doubts, row.corrected) == ("clean", PUZZLE, [], 1)
    row = settle(grid(), Words({"R1C1": "entry:4", "R1C2": "entry:3"}))
    assert (row.entries or "")[:2] == "43"
    assert (row.givens or "")[:2] == ".."


def test_a_word_on_the_whole_grid_has_the_last_say() -> None:
    misprinted = grid("33" + PUZZLE[2:])
    assert settle(misprinted, Words({}, "ok")).status == "clean"
    assert settle(grid(), Words({}, "left out")).reason == "by hand"


# ---------------------------------------------------------------- the words of a correction


@pytest.mark.parametrize(
    "text",
    ["", "R4C7=7", ID, f"{ID} R0C7=7", f"{ID} R4C7=given:.", f"{ID} maybe", f"{ID} 2:R4C7=7",
     f"{ID} R4C7=notes:12", f"{ID[:-3]}0-1 R4C7=1"],
)  # fmt: skip
def test_a_correction_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(Trouble) as stopped:
        parse_correction(text)
    assert code_of(stopped.value) == 2


def test_a_correction_reads_with_a_colon_or_a_blank() -> None:
    for text in (f"{ID} R4C7=given:7 R5C5=.", f"{ID}:R4C7=given:7 R5C5=."):
        first, second = parse_correction(text)
        assert (first.row, first.cell, first.says) == (ID, "R4C7", "given:7")
        assert (second.cell, second.says) == ("R5C5", ".")
    (whole,) = parse_correction(f"{ID}  left  out")
    assert (whole.cell, whole.says) == (None, "left out")


def test_a_file_of_corrections_names_the_line_that_is_off(
    papernudge: Run, tmp_path: Path, shelf: Any
) -> None:
    said = tmp_path / "said.txt"
    said.write_text(f"# remarks are fine\n\n{ID} R4C7=1\nnonsense\n{ID} R4C7=17\n", "utf-8")
    ran = papernudge("digitise", shelf.photos[0], "--book", tmp_path / "b", "--corrections", said)
    assert ran.code == 2
    assert "said.txt, line 4: A correction looks like" in ran.err
    assert "said.txt, line 5: A correction looks like" in ran.err
    assert (tmp_path / "b").exists()  # the rest is done


# ---------------------------------------------------------------- on a real book


@pytest.fixture(scope="module")
def made(shelf: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two puzzles, one of them with a digit smeared so that the reader asks."""
    import cv2
    import numpy as np

    from papernudge.cli.app import run

    folder = tmp_path_factory.mktemp("smeared")
    shutil.copy(shelf.photos[1], folder / "good.jpg")
    image = cv2.imread(str(shelf.photos[0]))
    line = shelf.truth["lantern-1.jpg"]
    cell = next(c for c in range(40, 81) if line[c] != ".")
    # Where the puzzle lies is known to the reader best.
    path = folder.parent / "probe.book"
    assert run(["digitise", str(shelf.photos[0]), "--book", str(path)]) == 0
    with sqlite3.connect(path) as sql:
        raw = sql.execute("SELECT crossings FROM grid").fetchone()[0]
    sql.close()
    points = np.frombuffer(raw, "<f4").reshape(10, 10, 2)
    r, c = divmod(cell, 9)
    x0, y0 = points[r, c]
    x1, y1 = points[r + 1, c + 1]
    inside = image[int(y0) + 6 : int(y1) - 6, int(x0) + 6 : int(x1) - 6]
    inside[:] = cv2.GaussianBlur(inside, (0, 0), 5)
    inside[::3] = 30
    cv2.imwrite(str(folder / "smeared.png"), image)
    book = folder.parent / "made.book"
    assert run(["digitise", str(folder), "--book", str(book)]) == 0
    return book


@pytest.fixture
def book(made: Path, tmp_path: Path) -> Path:
    copy = tmp_path / "b.book"
    shutil.copy(made, copy)
    return copy


def waiting(found: list[Any]) -> Any:
    return next(row for row in found if row["status"] == "review")


def test_the_sheet_shows_doubtful_cells_only_and_needs_nothing_else(
    papernudge: Run, book: Path, rows: Run, tmp_path: Path
) -> None:
    row = waiting(rows(book))
    sheet = tmp_path / "sheet.html"
    assert papernudge("digitise", "--book", book, "--review", sheet).code == 0
    text = sheet.read_text("utf-8")
    assert "<h1>1 to review</h1>" in text
    assert row["id"] in text
    assert "good.jpg" not in text
    assert not re.search(r"https?://|src=\"(?!data:)|@import|url\(", text)
    cells = {doubt["cell"] for doubt in row["doubts"]} or {row["id"]}
    images = re.findall(r'alt="([^"]+)" src="data:image/jpeg;base64,([^"]+)"', text)
    assert {alt for alt, _ in images} == cells
    assert all(base64.b64decode(data).startswith(b"\xff\xd8") for _, data in images)


def test_the_sheet_offers_to_leave_a_grid_out_and_marks_a_digit_that_stands_twice(
    papernudge: Run, rows: Run, tmp_path: Path
) -> None:
    misprint = Path(__file__).resolve().parents[3] / "fixtures" / "misprint.jpg"
    sheet, book = tmp_path / "sheet.html", tmp_path / "b.book"
    papernudge("digitise", misprint, "--book", book, "--review", sheet)
    (row,) = rows(book)
    text = sheet.read_text("utf-8")
    marked = re.findall("<mark>(.)</mark>", text)
    assert len(marked) >= 2
    assert len(set(marked)) == 1
    lines = [html.unescape(v) for v in re.findall(r'type=radio name="[^"]*" value="([^"]*)"', text)]
    assert [line for line in lines if line.startswith(row["id"])] == lines
    assert f"{row['id']} left out" in lines
    for line in lines:
        assert parse_correction(line)
    started = re.findall(r'data-start="([^"]*)"', text)
    assert started == [f"{row['id']} ", f"{row['id']} label "]
    assert parse_correction(started[1] + "Lantern 12")
    assert parse_correction(started[0] + "R4C7=given:7")


def test_an_empty_sheet_says_that_nobody_is_needed(
    papernudge: Run, shelf: Any, tmp_path: Path
) -> None:
    sheet = tmp_path / "sheet.html"
    words = ("digitise", shelf.photos[1], "--book", tmp_path / "n.book", "--review", sheet)
    assert papernudge(*words).code == 0
    assert "Nothing is waiting for a person." in sheet.read_text("utf-8")


def test_corrections_make_the_row_right_and_leave_the_reading_alone(
    papernudge: Run, book: Path, shelf: Any, rows: Run, tmp_path: Path
) -> None:
    row = waiting(rows(book))
    with sqlite3.connect(book) as sql:
        before = sql.execute("SELECT * FROM grid").fetchall()
    sql.close()
    said = tmp_path / "said.txt"
    said.write_text(corrections(row, shelf.truth["lantern-1.jpg"]), "utf-8")
    ran = papernudge("digitise", "--book", book, "--corrections", said)
    assert ran.code == 0
    assert "Corrections changed 1 puzzle." in ran.out
    after = next(r for r in rows(book) if r["id"] == row["id"])
    assert (after["status"], after["givens"]) == ("clean", shelf.truth["lantern-1.jpg"])
    with sqlite3.connect(book) as sql:
        assert sql.execute("SELECT * FROM grid").fetchall() == before
    sql.close()


def corrections(row: Any, truth: str) -> str:
    lines = []
    asked = {doubt["cell"] for doubt in row["doubts"]}
    for cell in range(81):
        name = f"R{cell // 9 + 1}C{cell % 9 + 1}"
        if name in asked or row["givens"][cell] != truth[cell] or row["entries"][cell] != ".":
            says = "." if truth[cell] == "." else f"given:{truth[cell]}"
            lines.append(f"{row['id']} {name}={says}  # seen on paper\n")
    return "".join(lines) or f"{row['id']} ok\n"


def test_corrections_survive_a_better_reader_that_numbers_the_grids_anew(
    papernudge: Run, book: Path, shelf: Any, rows: Run, tmp_path: Path
) -> None:
    from papernudge.cli.books import work
    from papernudge.cli.books.digitise import take
    from papernudge.cli.books.rows import PageDone

    row = waiting(rows(book))
    for line in corrections(row, shelf.truth["lantern-1.jpg"]).splitlines():
        ran = papernudge("digitise", "--book", book, "--assume", line.partition("#")[0])
        assert ran.code == 0, ran.err
    with Book.to_write(book) as opened:
        hash_ = next(opened.rows("SELECT hash FROM source WHERE hash GLOB ?", row["id"][:16] + "*"))
        old = opened.grid(hash_["hash"], 1, 1)
        assert old is not None
        # The better reader finds a cut-off grid above, so this one is the second now; it is
        # just as unsure of the cell.
        other = GridRow(1, "cut off", "cut off", [[0, -50], [50, -50], [50, -9], [0, -9]])
        grids = [other, replace(old, number=2)]
        done = PageDone(
            hash_["hash"], 1, "better", "read", grids=grids, puzzles=[settle(g) for g in grids]
        )
        take(opened, done)
    after = rows(book)
    mine = next(r for r in after if r["id"] == row["id"][:-1] + "2")
    assert (mine["status"], mine["givens"]) == ("clean", shelf.truth["lantern-1.jpg"])
    assert work.reader() != "better"
    ran = papernudge("digitise", "--book", book, "--review", tmp_path / "s.html")
    assert "1 page read by another version: --again reads them anew." in ran.out


def test_the_last_word_on_a_cell_counts(papernudge: Run, book: Path, rows: Run) -> None:
    row = next(r for r in rows(book) if r["status"] == "clean")
    at = row["givens"].index(".")
    name = f"R{at // 9 + 1}C{at % 9 + 1}"
    for says in ("given:1", "given:2", row["solution"][at]):
        papernudge("digitise", "--book", book, "--assume", f"{row['id']}:{name}={says}")
    with sqlite3.connect(book) as sql:
        assert len(sql.execute("SELECT * FROM correction").fetchall()) == 1
    sql.close()
    after = next(r for r in rows(book) if r["id"] == row["id"])
    assert after["entries"][at] == row["solution"][at]
    assert after["givens"] == row["givens"]


def test_corrections_that_do_not_fit_are_told_one_by_one_and_the_others_go_in(
    papernudge: Run, book: Path, rows: Run, tmp_path: Path
) -> None:
    row = waiting(rows(book))
    said = tmp_path / "said.txt"
    said.write_text(f"{ID} R4C7=1\nrubbish\n{row['id']} left out\n{ID} R4C77=1\n", "utf-8")
    ran = papernudge("digitise", "--book", book, "--corrections", said)
    assert ran.code == 2
    assert "Corrections changed 1 puzzle." in ran.out
    second, fourth, unknown = ran.err.splitlines()
    assert "line 2: A correction looks like" in second
    assert "line 4: " in fourth
    assert f"holds no grid {ID} that was read" in unknown
    changed = next(one for one in rows(book) if one["id"] == row["id"])
    assert (changed["status"], changed["reason"]) == ("left out", "by hand")


# ---------------------------------------------------------------- what puzzles are called


def labels_in(found: list[Any]) -> dict[str, Any]:
    return {row["source"]: row["label"] for row in found}


def test_rows_are_called_after_their_file_or_page_unless_somebody_called_them_something(
    papernudge: Run, book: Path, made: Path, rows: Run
) -> None:
    assert set(labels_in(rows(book)).values()) == {None}
    row = next(one for one in rows(book) if one["source"] == "good.jpg")
    said = f"{row['id']} label Lantern, no. #12"
    assert papernudge("digitise", "--book", book, "--assume", said).code == 0
    folder = made.parent / "smeared0"
    ran = papernudge("digitise", folder, "--book", book, "--label-from", "page")
    assert ran.code == 0, ran.err
    assert labels_in(rows(book)) == {
        "good.jpg": "Lantern, no. #12",
        "smeared.png": "smeared, page 1",
    }
    papernudge("digitise", folder, "--book", book, "--label-from", "file")  # stays as it is
    assert labels_in(rows(book))["smeared.png"] == "smeared, page 1"
    papernudge("digitise", "--book", book, "--assume", f"{row['id']} label")
    papernudge("digitise", folder, "--book", book, "--label-from", "file")
    assert labels_in(rows(book))["good.jpg"] == "good"


def test_without_a_source_all_of_the_book_is_called_after_its_files(
    papernudge: Run, book: Path, rows: Run
) -> None:
    ran = papernudge("digitise", "--book", book, "--label-from", "file")
    assert ran.code == 0, ran.err
    assert labels_in(rows(book)) == {"good.jpg": "good", "smeared.png": "smeared"}


@pytest.mark.slow
def test_a_label_stays_beside_other_words_and_a_page_that_is_read_again(
    papernudge: Run, book: Path, made: Path, rows: Run, tmp_path: Path
) -> None:
    row = waiting(rows(book))
    said = tmp_path / "said.txt"
    said.write_text(f"{row['id']} label Lantern #7 # of May\n{row['id']} ok\n", "utf-8")
    assert papernudge("digitise", "--book", book, "--corrections", said).code == 0
    with Book.to_write(book) as opened, opened.changes() as sql:
        sql.execute("DELETE FROM page")
    papernudge("digitise", made.parent / "smeared0", "--book", book)
    after = next(one for one in rows(book) if one["id"] == row["id"])
    assert (after["label"], after["status"]) == ("Lantern #7 # of May", "clean")


def test_an_export_finds_rows_by_their_label(
    papernudge: Run, book: Path, rows: Run, tmp_path: Path
) -> None:
    row = next(one for one in rows(book) if one["source"] == "good.jpg")
    papernudge("digitise", "--book", book, "--assume", f"{row['id']} label Lantern 12 May")
    out = tmp_path / "out.csv"
    assert papernudge("export", book, "--to", out, "--label", "lantern*may").code == 0
    (told,) = list(csv.DictReader(out.read_text("utf-8").splitlines()))
    assert (told["source"], told["label"]) == ("good.jpg", "Lantern 12 May")
    assert papernudge("export", book, "--to", tmp_path / "no.csv", "--label", "x").code == 0
    none = papernudge("export", book, "--to", out, "--label", "x", "--force")
    assert "No puzzle fits" in none.err


@pytest.mark.parametrize("words", ["label " + "x" * 201, "label a\x07b"])
def test_a_label_that_is_none_is_refused(papernudge: Run, book: Path, words: str) -> None:
    ran = papernudge("digitise", "--book", book, "--assume", f"{ID} {words}")
    assert (ran.code, "a label is up to 200 characters" in ran.err) == (2, True)
    assert papernudge("digitise", "--book", book, "--label-from", "x").code == 2


@pytest.mark.slow
def test_reading_anew_with_the_same_model_does_nothing_and_with_another_does(
    papernudge: Run, book: Path, made: Path, rows: Run
) -> None:
    folder = made.parent / "smeared0"
    if not folder.is_dir():
        folder = next(p for p in made.parent.iterdir() if (p / "good.jpg").exists())
    before = rows(book)
    ran = papernudge("digitise", folder, "--book", book, "--again")
    assert "This run read 0 pages" in ran.out
    with Book.to_write(book) as opened, opened.changes() as sql:
        for row in list(seals.rows_in(sql, "page")):
            seals.put(sql, "page", {**row, "reader": "older"})
    ran = papernudge("digitise", folder, "--book", book, "--again")
    assert "This run read 2 pages" in ran.out
    assert rows(book) == before
