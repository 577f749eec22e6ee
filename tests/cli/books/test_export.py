"""A book as lines, tables and sheets, and the filters that choose from it."""

from __future__ import annotations

import csv
import io
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from papernudge.cli.base.exits import Stop
from papernudge.cli.books.export import _cell, parse_range

Run = Callable[..., Any]


@pytest.fixture(scope="module")
def book(shelf: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    from papernudge.cli.app import run

    path = tmp_path_factory.mktemp("book") / "b.book"
    assert run(["digitise", str(shelf.folder), "--book", str(path)]) == 0
    return path


@pytest.mark.parametrize(
    "words",
    [
        ["--to", "out.docx"],
        [],
        ["--to", "out.csv", "--status", "dirty"],
        ["--to", "out.csv", "--minutes", "soon"],
        ["--to", "out.csv", "--givens", "-"],
        ["--to", "out.pdf", "--paper", "a0"],
        ["--to", "out.pdf", "--each", "0"],
    ],
)
def test_words_that_are_off_are_refused(papernudge: Run, book: Path, words: list[str]) -> None:
    assert papernudge("export", book, *words).code == 2


@pytest.mark.parametrize(
    ("text", "ends"),
    [
        ("8-12", (8, 12)),
        ("8-", (8, None)),
        ("-12", (None, 12)),
        ("10", (9.5, 10.49)),
        (None, (None, None)),
    ],
)
def test_a_range_reads_as_it_is_written(text: str | None, ends: tuple[Any, Any]) -> None:
    assert parse_range(text, "--minutes") == pytest.approx(ends) if text else (None, None)


def test_a_range_that_is_none_says_how_one_looks() -> None:
    with pytest.raises(Stop, match="--minutes looks like 8-12, 8- or -12; got 'x'"):
        parse_range("x", "--minutes")


def test_txt_holds_81_characters_a_line(
    papernudge: Run, book: Path, shelf: Any, tmp_path: Path
) -> None:
    papernudge("export", book, "--to", tmp_path / "out.txt")
    lines = (tmp_path / "out.txt").read_text("ascii").splitlines()
    assert sorted(lines) == sorted(shelf.truth.values())


def test_csv_has_a_head_and_a_row_a_puzzle(papernudge: Run, book: Path, tmp_path: Path) -> None:
    papernudge("export", book, "--to", tmp_path / "out.csv")
    text = (tmp_path / "out.csv").read_bytes().decode("utf-8")
    found = list(csv.DictReader(io.StringIO(text)))
    assert len(found) == 6
    assert all(len(row["givens"]) == 81 and row["hardest"] for row in found)
    assert all(row["hardest"] in row["needs"].split(", ") for row in found)


def test_a_file_name_that_looks_like_a_formula_is_made_harmless() -> None:
    assert _cell("=1+1.jpg") == "'=1+1.jpg"
    assert _cell("page.jpg") == "page.jpg"


def test_filters_choose_what_they_say(
    papernudge: Run, book: Path, rows: Run, tmp_path: Path
) -> None:
    everything = rows(book)

    def chosen(*words: object) -> list[str]:
        ran = papernudge("export", book, "--to", tmp_path / "out.jsonl", "--force", *words)
        assert ran.code == 0
        lines = (tmp_path / "out.jsonl").read_text("utf-8").splitlines()
        return [json.loads(line)["id"] for line in lines]

    def expected(fits: Callable[[Any], bool]) -> list[str]:
        return [row["id"] for row in everything if fits(row)]

    def givens(row: Any) -> int:
        return 81 - row["givens"].count(".")

    middle = sorted(row["grade"]["minutes"] for row in everything)[2]
    hardest = everything[0]["grade"]["hardest"]
    assert chosen("--minutes", f"-{middle}") == expected(lambda r: r["grade"]["minutes"] <= middle)
    assert chosen("--givens", "28-29") == expected(lambda r: 28 <= givens(r) <= 29)
    assert chosen("--hardest", hardest.upper()) == expected(
        lambda r: r["grade"]["hardest"] == hardest
    )
    needed = sorted({name for row in everything for name in row["grade"]["needs"]})
    for name in needed:
        assert chosen("--needs", name.upper()) == expected(
            lambda r, n=name: n in r["grade"]["needs"]
        )
    assert chosen("--needs", needed[0], "--needs", needed[-1]) == expected(
        lambda r: {needed[0], needed[-1]} <= set(r["grade"]["needs"])
    )
    assert chosen("--source", "*-3.jpg", "--source", "LANTERN-4.jpg") == expected(
        lambda r: r["source"] in ("lantern-3.jpg", "lantern-4.jpg")
    )
    assert chosen("--status", "review") == []
    assert chosen("--first", 2) == [row["id"] for row in everything[:2]]


def test_what_a_row_needs_is_what_a_walk_of_it_uses(book: Path, rows: Run) -> None:
    from papernudge.hints import Position, walk

    for row in rows(book):
        lines = walk(Position.of(row["givens"])).lines
        assert set(row["grade"]["needs"]) == {step.technique for one in lines for step in one.steps}


def test_a_reason_that_is_none_is_an_error_with_the_nearest(
    papernudge: Run, book: Path, tmp_path: Path
) -> None:
    ran = papernudge("export", book, "--to", tmp_path / "out.txt", "--needs", "hiden pairs")
    assert ran.code == 2
    assert "--needs takes the name of a reason, the nearest are: hidden pair, " in ran.err
    assert "got 'hiden pairs'" in ran.err
    assert not (tmp_path / "out.txt").exists()


def test_a_filter_that_nothing_passes_tells_what_there_is(
    papernudge: Run, book: Path, tmp_path: Path
) -> None:
    ran = papernudge("export", book, "--to", tmp_path / "out.txt", "--hardest", "Jellyfish")
    assert ran.code == 0
    assert "No puzzle fits. By its hardest reason, the book holds: " in ran.err
    ran = papernudge("export", book, "--to", tmp_path / "out.pdf", "--hardest", "jellyfish")
    assert ran.code == 2
    assert not (tmp_path / "out.pdf").exists()


def test_a_hardest_reason_that_is_none_is_an_error_that_says_what_the_book_holds(
    papernudge: Run, book: Path, tmp_path: Path
) -> None:
    ran = papernudge("export", book, "--to", tmp_path / "out.txt", "--hardest", "X-wng")
    assert ran.code == 2
    assert "--hardest takes the name of a reason; got 'X-wng'. By its hardest" in ran.err
    assert not (tmp_path / "out.txt").exists()


def test_a_reason_with_a_capital_is_found(
    papernudge: Run, book: Path, rows: Run, tmp_path: Path
) -> None:
    from papernudge.cli.books import seals
    from papernudge.cli.books.book import Book

    copy, out = tmp_path / "b.book", tmp_path / "out.jsonl"
    copy.write_bytes(book.read_bytes())
    with Book.to_write(copy) as held, held.changes() as sql:
        row = next(iter(seals.rows_in(sql, "puzzle")))
        seals.put(sql, "puzzle", {**row, "hardest": "X-wing"})
    for name in ("X-wing", "x-WING"):
        ran = papernudge("export", copy, "--to", out, "--hardest", name, "--force")
        assert ran.code == 0
        assert [
            json.loads(line)["grade"]["hardest"] for line in out.read_text("utf-8").splitlines()
        ] == ["X-wing"]


def test_once_keeps_one_of_each_puzzle(
    papernudge: Run, shelf: Any, rows: Run, tmp_path: Path
) -> None:
    import cv2

    desk = tmp_path / "desk"
    desk.mkdir()
    image = cv2.imread(str(shelf.photos[0]))
    cv2.imwrite(str(desk / "a.png"), image)
    cv2.imwrite(str(desk / "b.png"), cv2.rotate(image, cv2.ROTATE_90_CLOCKWISE))
    book = tmp_path / "b.book"
    papernudge("digitise", desk, "--book", book)
    assert len(rows(book)) == 2
    papernudge("export", book, "--to", tmp_path / "out.txt", "--once")
    assert len((tmp_path / "out.txt").read_text("ascii").splitlines()) == 1


def test_the_printed_sheet_is_vector_numbered_and_the_same_each_time(
    papernudge: Run, book: Path, tmp_path: Path
) -> None:
    import pypdfium2

    for name in ("one.pdf", "two.pdf"):
        assert papernudge("export", book, "--to", tmp_path / name, "--each", 4).code == 0
    data = (tmp_path / "one.pdf").read_bytes()
    assert data == (tmp_path / "two.pdf").read_bytes()
    document = pypdfium2.PdfDocument(data)
    texts = []
    for page in document:
        texts.append(page.get_textpage().get_text_range())
        assert {thing.type for thing in page.get_objects()} <= {1, 2}  # text and paths, no picture
    document.close()
    assert len(texts) == 3
    assert "1 / 3" in texts[0]
    assert "lantern-" in texts[0]
    assert "page 1, grid 1" in texts[0]
    assert texts[2].count("solution") == 6
    for told in ("solution", "looks"):  # what a puzzle needs would give it away
        assert told not in texts[0] + texts[1]
        assert told in texts[2]


def test_a_name_in_letters_that_the_typeface_lacks_still_prints(tmp_path: Path) -> None:
    from papernudge.cli.books.printed import Layout, sheets

    row = {"givens": "." * 81, "solution": None, "minutes": 3.0, "page": 1, "number": 1}
    row["hardest"] = None
    assert sheets([{**row, "source": "ランタン" * 40 + ".jpg"}], Layout(1)).startswith(b"%PDF")


@pytest.mark.parametrize("ending", [".jsonl", ".csv", ".txt", ".pdf"])
def test_a_file_that_is_there_is_written_over_only_when_told(
    papernudge: Run, book: Path, tmp_path: Path, ending: str
) -> None:
    out = tmp_path / f"mine{ending}"
    out.write_bytes(b"mine")
    (tmp_path / f"link{ending}").symlink_to(out)
    for name in (out, tmp_path / f"link{ending}"):
        ran = papernudge("export", book, "--to", name)
        assert ran.code == 5
        assert ran.err.count("\n") == 1
        assert "--force" in ran.err
        assert out.read_bytes() == b"mine"
    assert papernudge("export", book, "--to", out, "--force").code == 0
    assert out.read_bytes() != b"mine"


@pytest.mark.parametrize("text", ["nan", "inf", "nan-3", "1-inf", "1e999", "9" * 5000])
def test_a_range_has_ends_that_are_numbers(text: str) -> None:
    with pytest.raises(Stop, match="--givens looks like"):
        parse_range(text, "--givens")


def test_pages_come_in_the_natural_order_of_their_names(
    papernudge: Run, shelf: Any, tmp_path: Path
) -> None:
    """``.jsonl`` alone keeps the order of contents."""
    names = ("page-2.jpg", "page-10.jpg", "Page-1.jpg")
    for name, photo in zip(names, shelf.photos, strict=False):
        shutil.copy(photo, tmp_path / name)
    book, out = tmp_path / "b.book", tmp_path / "out.csv"
    assert papernudge("digitise", tmp_path, "--book", book, "--workers", 1).code == 0
    assert papernudge("export", book, "--to", out).code == 0
    told = [row["source"] for row in csv.DictReader(out.read_text("utf-8").splitlines())]
    assert told == ["Page-1.jpg", "page-2.jpg", "page-10.jpg"]


@pytest.mark.parametrize(
    "names", [["a", "b"], ["p2", "p10"], ["p02", "p3"], ["2 9", "2 10"], ["A1", "a2", "A10"]]
)
def test_names_are_put_in_order_as_people_number_things(names: list[str]) -> None:
    from papernudge.cli.books.rows import natural

    assert sorted({*names}, key=natural) == names
