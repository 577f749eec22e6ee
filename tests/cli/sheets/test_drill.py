"""``papernudge drill``: positions on paper."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from samples import chosen

from papernudge.cli.app import run
from papernudge.cli.pictures.paper import PAPERS
from papernudge.cli.sheets.code import SheetPage, Task, decode
from papernudge.cli.sheets.form import code_boxes, grid_boxes
from papernudge.cli.sheets.sheet import drawn, pages_of
from papernudge.hints.canonical import canonical
from papernudge.hints.drilling import Reason, drilled
from papernudge.hints.generate import puzzle
from papernudge.hints.solver import solve

Run = Callable[..., Any]
HIDDEN = "hidden single in a block"


def rendered(pdf: Path, page: int, dpi: int = 100) -> Any:
    """A page as grey pixels, by a reader that is not ours."""
    import cv2

    if shutil.which("pdftoppm") is None:
        pytest.skip("pdftoppm is absent here: install poppler-utils")
    out = pdf.with_name(f"page{page}")
    told = ["-r", str(dpi), "-f", str(page), "-l", str(page), "-singlefile", "-gray", "-png"]
    subprocess.run(["pdftoppm", *told, str(pdf), str(out)], check=True, timeout=60)
    return cv2.imread(str(out.with_suffix(".png")), cv2.IMREAD_GRAYSCALE)


def code_on(raster: Any, paper: str, dpi: int, which: int) -> SheetPage | None:
    import cv2

    box, scale = code_boxes(PAPERS[paper])[which], dpi / 72
    top = PAPERS[paper][1] - box.y - box.side
    y, x, side = (round(v * scale) for v in (top, box.x, box.side))
    crop = cv2.resize(raster[y : y + side, x : x + side], (600, 600))
    return decode(cv2.QRCodeDetector().detectAndDecode(crop)[0])


@pytest.fixture(scope="module")
def lines(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Puzzles of the Tidewick Lantern, a line each."""
    path = tmp_path_factory.mktemp("lines") / "lantern.txt"
    path.write_text("".join(f"{puzzle(seed)}\n\n" for seed in range(12)), "utf-8")
    return path


def words_of(ran: Any) -> str:
    assert "Traceback" not in ran.err
    return str(ran.err)


def test_what_is_missing_or_odd_in_the_words_is_named(papernudge: Run, tmp_path: Path) -> None:
    out = tmp_path / "sheet.pdf"
    for said, words in (
        ("--out SHEET.pdf", []),
        ("Say what to practise", ["--out", out]),
        ("got 'golden hammer'", ["--out", out, "--reason", "golden hammer"]),
        ("ends in .pdf", ["--out", tmp_path / "a.txt", "--reason", HIDDEN]),
        ("a4 or letter", ["--out", out, "--reason", HIDDEN, "--paper", "a5"]),
        ("leave --reason out", ["--out", out, "--reason", HIDDEN, "--scan", 5]),
    ):
        ran = papernudge("drill", *words)
        assert ran.code == 2
        assert said in words_of(ran)
    assert not out.exists()


def test_a_source_that_cant_be_read_is_named(papernudge: Run, tmp_path: Path) -> None:
    out = tmp_path / "sheet.pdf"
    short, odd = tmp_path / "short.txt", tmp_path / "odd.txt"
    short.write_text("123\n", "utf-8")
    odd.write_bytes(b"\xff\xfe\x00\x80")
    other = tmp_path / "other.db"
    with sqlite3.connect(other) as sql:
        sql.execute("CREATE TABLE recipe (flour TEXT)")
    sql.close()
    for source, said in (
        (tmp_path / "missing.txt", "can't be read"),
        (tmp_path, "can't be read"),
        (short, "short.txt, line 1: expected 81 characters"),
        (odd, "neither a book nor text"),
        (other, "not a book"),
    ):
        ran = papernudge("drill", source, "--out", out, "--reason", HIDDEN)
        assert ran.code == 5
        assert said in words_of(ran)
    assert not out.exists()


def test_puzzles_without_one_solution_are_not_drilled(papernudge: Run, tmp_path: Path) -> None:
    source = tmp_path / "many.txt"
    source.write_text("." * 81, "utf-8")
    ran = papernudge("drill", source, "--out", tmp_path / "s.pdf", "--reason", HIDDEN)
    assert ran.code == 4
    assert "none with exactly one solution" in words_of(ran)


def test_a_reason_that_no_puzzle_asks_for_is_said(papernudge: Run, tmp_path: Path) -> None:
    source = tmp_path / "one.txt"
    source.write_text(puzzle(0), "utf-8")
    ran = papernudge("drill", source, "--out", tmp_path / "s.pdf", "--reason", "jellyfish")
    assert ran.code == 2
    assert "No position asks for jellyfish" in words_of(ran)


@pytest.fixture(scope="module")
def one(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sheet of one position."""
    out = tmp_path_factory.mktemp("one") / "sheet.pdf"
    assert run(["drill", "--out", str(out), "--reason", HIDDEN, "--positions", "1"]) == 0
    return out


@pytest.mark.parametrize("paper", chosen(["a4", "letter"], "a4"))
def test_a_sheet_carries_its_positions_twice_in_its_code(
    papernudge: Run, lines: Path, tmp_path: Path, paper: str
) -> None:
    out = tmp_path / "sheet.pdf"
    ran = papernudge(
        "drill", lines, "--out", out, "--reason", HIDDEN, "--positions", 5, "--paper", paper
    )
    assert ran.code == 0, ran.err
    seen: list[Task] = []
    for number in (1, 2):
        raster = rendered(out, number)
        pages = [code_on(raster, paper, 100, which) for which in (0, 1)]
        assert pages[0] is not None
        assert pages[0] == pages[1]
        assert pages[0].name.split("-")[0] in ran.out
        assert (pages[0].paper, pages[0].each, pages[0].page) == (paper, 4, number)
        seen += pages[0].tasks
    assert [task.number for task in seen] == [1, 2, 3, 4, 5]
    assert len({canonical(task.digits) for task in seen}) == 5
    for task in seen:
        drill = drilled(task.digits, Reason.parse(HIDDEN))
        assert drill is not None
        assert (drill.answers, drill.looks, drill.solution) == (
            task.answers,
            task.looks,
            task.solution,
        )


def test_the_grids_stand_where_the_layout_says(tmp_path: Path) -> None:
    out = tmp_path / "sheet.pdf"
    drill = next(d for d in map(_first_drill, range(20)) if d is not None)
    out.write_bytes(drawn(pages_of([drill] * 6, 6, "a4"), "Practice"))
    raster = rendered(out, 1, 144)
    high = PAPERS["a4"][1]
    for box in grid_boxes(6, PAPERS["a4"]):
        for k in range(10):
            y = round(2 * (high - box.y - k * box.side / 9))
            x = round(2 * (box.x + box.side * 0.03))
            assert raster[y - 2 : y + 3, x : x + 8].min(axis=0).max() < 128
        beside = raster[round(2 * (high - box.y - box.side / 2)), round(2 * (box.x - 6))]
        assert beside == 255


@pytest.mark.slow
def test_two_reasons_are_asked_of_different_puzzles_of_our_own(
    papernudge: Run, tmp_path: Path
) -> None:
    out = tmp_path / "sheet.pdf"
    words = ("--reason", "naked single", "--reason", "hidden single", "--positions", 2)
    assert papernudge("drill", "--out", out, *words).code == 0
    page = code_on(rendered(out, 1), "a4", 100, 0)
    assert page is not None
    assert [str(task.reason) for task in page.tasks] == ["naked single"] * 2 + ["hidden single"] * 2
    assert len({task.solution for task in page.tasks}) == 4


def test_a_scan_sheet_asks_for_all_it_can_in_its_minutes(papernudge: Run, tmp_path: Path) -> None:
    out = tmp_path / "scan.pdf"
    assert papernudge("drill", "--out", out, "--scan", 3).code == 0
    page = code_on(rendered(out, 1), "a4", 100, 0)
    assert page is not None
    assert (page.minutes, page.each, len(page.tasks)) == (3, 1, 1)
    assert page.tasks[0].reason is None
    answers = rendered(out, 2)
    box = grid_boxes(6, PAPERS["a4"])[0]
    scale, step = 100 / 72, box.side / 9
    for cell in (0, 40, 80):  # a solved grid stands behind: every cell holds a digit
        x = round(scale * (box.x + (cell % 9 + 0.5) * step))
        y = round(scale * (PAPERS["a4"][1] - box.y + 20 - box.side + (cell // 9 + 0.5) * step))
        assert answers[y - 5 : y + 6, x - 5 : x + 6].min() < 190


def test_every_typeface_in_the_file_is_embedded(one: Path) -> None:
    data = one.read_bytes()
    assert data.count(b"/Type /Font\n") + data.count(b"/Subtype /TrueType") >= 1
    assert b"Helvetica" not in data
    assert b"/FontFile2" in data
    assert b"/Subtype /Image" not in data


@pytest.mark.slow
def test_the_same_seed_draws_the_same_file_and_another_another(
    papernudge: Run, one: Path, tmp_path: Path
) -> None:
    made = [one.read_bytes()]  # seed 0, where none is said
    for name, seed in (("b", 0), ("c", 1)):
        out = tmp_path / f"{name}.pdf"
        papernudge("drill", "--out", out, "--reason", HIDDEN, "--positions", 1, "--seed", seed)
        made.append(out.read_bytes())
    assert made[0] == made[1] != made[2]


@pytest.mark.slow
def test_forty_pages_are_forty_pages_and_their_answers() -> None:
    """How long they take is measured by bench_sheets.py."""
    import pypdfium2

    drill = next(d for d in map(_first_drill, range(20)) if d is not None)
    pages = pages_of([drill] * 160, 4, "a4")
    assert len(pages) == 40
    assert len(pypdfium2.PdfDocument(drawn(pages, "Practice"))) > 40


def _first_drill(seed: int) -> Task | None:
    from papernudge.hints.drilling import drills_in

    for drill in drills_in(puzzle(seed), [Reason.parse(HIDDEN)]):
        return Task(1, drill.digits, drill.solution, drill.reason, drill.looks, drill.answers)
    return None


def text_of(pdf: Any) -> list[str]:
    """What each page says, by a reader that is not ours."""
    import pypdfium2

    document = pypdfium2.PdfDocument(pdf)
    said = [page.get_textpage().get_text_range() for page in document]
    document.close()
    return said


def test_the_answers_name_the_digits_and_the_cells_of_the_pattern(
    papernudge: Run, lines: Path, tmp_path: Path
) -> None:
    """Each as a hint on the same position tells it."""
    from papernudge.hints import Position
    from papernudge.hints.nudge import Told3, next_nudge

    out = tmp_path / "sheet.pdf"
    words = ("--reason", HIDDEN, "--positions", 3, "--out", out)
    assert papernudge("drill", lines, *words).code == 0
    *sheets, answers = text_of(str(out))
    said = " ".join(answers.split())
    page = code_on(rendered(out, 1, 150), "a4", 150, 0)
    assert page is not None
    for task in page.tasks:
        nudge = next_nudge(Position.of(task.digits))
        assert nudge is not None
        told = nudge.at(3)
        assert isinstance(told, Told3)
        assert told.said() in said
    assert not any("because" in one or "seconds" in one for one in sheets)


def test_long_answers_are_broken_over_lines_and_pages() -> None:
    import pypdfium2

    grid = puzzle(1)
    why = ("The 7s at R5C5 and R9C8 leave one place in block 6. " * 8,) * 6
    full = solve(grid) or ""
    blanks = [cell for cell in range(81) if grid[cell] == "."][:6]
    answers = tuple(((cell, int(full[cell])),) for cell in blanks)
    tasks = [Task(n, grid, full, Reason.parse(HIDDEN), 2, answers, why) for n in range(1, 13)]
    pdf = drawn(pages_of(tasks, 4, "a4"), "Practice")
    said = text_of(pdf)[3:]
    assert len(said) > 2
    assert " ".join(" ".join(said).split()).count("leave one place") == 12 * 6 * 8
    document = pypdfium2.PdfDocument(pdf)
    wide, high = document[0].get_size()
    for number in range(3, len(document)):
        page = document[number].get_textpage()
        for rect in range(page.count_rects()):
            left, bottom, right, top = page.get_rect(rect)
            assert 0 < left < right < wide
            assert 0 < bottom < top < high
    document.close()


@pytest.mark.slow
def test_a_reason_that_never_comes_first_is_told_at_once_with_those_that_do(
    papernudge: Run, lines: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It searched for 41 seconds and found nothing."""

    def searched(*_: Any) -> None:
        raise AssertionError("nothing is to be searched")

    out = tmp_path / "sheet.pdf"
    with monkeypatch.context() as patch:
        patch.setattr("papernudge.hints.generate.puzzle", searched)
        ran = papernudge("drill", "--reason", "colouring", "--out", out)
    assert ran.code == 2
    assert "colouring hardly ever comes first" in ran.err
    assert "turbot fish" in ran.err
    assert "hidden quad" not in ran.err
    ran = papernudge("drill", lines, "--reason", "colouring", "--out", out)
    assert "of 12 positions found in" in ran.err  # a source is searched, whatever we know of ours


def test_positions_where_another_step_is_as_easy_are_told(papernudge: Run, tmp_path: Path) -> None:
    source, out = tmp_path / "lines.txt", tmp_path / "sheet.pdf"
    source.write_text(puzzle(5001) + "\n", "utf-8")
    words = ("--reason", "skyscraper", "--positions", 1, "--seed", 5000, "--out", out)
    ran = papernudge("drill", source, *words)
    assert ran.code == 0, ran.err
    assert "skyscraper: in 1 of 1 positions another step is as easy" in ran.err
