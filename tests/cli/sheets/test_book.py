"""From photos of a book to a practice sheet: digitise, then drill, clean rows only."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from papernudge.hints.drilling import Reason, drilled

sys.path.insert(0, str(Path(__file__).parent))
from test_drill import code_on, rendered

Run = Callable[..., Any]
FIXTURES = Path(__file__).resolve().parents[3] / "fixtures"
HIDDEN = "hidden single"


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six grids of a photo in a book."""
    path = tmp_path_factory.mktemp("shelf") / "lantern.book"
    words = ["digitise", FIXTURES / "six-grids.jpg", "--book", path]
    ran = subprocess.run([sys.executable, "-m", "papernudge.cli", *map(str, words)], check=False)
    assert ran.returncode == 0
    return path


def rows_of(papernudge: Run, book: Path, tmp_path: Path) -> list[dict[str, Any]]:
    out = tmp_path / "rows.jsonl"
    assert papernudge("export", book, "--to", out).code == 0
    return [json.loads(line) for line in out.read_text("utf-8").splitlines()]


def drilled_tasks(papernudge: Run, book: Path, out: Path, positions: int) -> list[Any]:
    ran = papernudge("drill", book, "--out", out, "--reason", HIDDEN, "--positions", positions)
    assert ran.code == 0, ran.err
    page = code_on(rendered(out, 1), "a4", 100, 0)
    assert page is not None
    return list(page.tasks)


@pytest.mark.slow
def test_positions_of_a_photographed_book_belong_to_its_clean_puzzles(
    papernudge: Run, book: Path, tmp_path: Path
) -> None:
    rows = rows_of(papernudge, book, tmp_path)
    clean = {row["solution"]: row["givens"] for row in rows if row["status"] == "clean"}
    assert len(clean) >= 4
    tasks = drilled_tasks(papernudge, book, tmp_path / "sheet.pdf", 4)
    assert len(tasks) == 4
    assert len({task.solution for task in tasks}) == 4
    for task in tasks:
        givens = clean[task.solution]
        assert all(given in (".", digit) for given, digit in zip(givens, task.digits, strict=True))
        again = drilled(task.digits, Reason.parse(HIDDEN))
        assert again is not None
        assert (again.looks, again.answers) == (task.looks, task.answers)


def put_to_review(book: Path, but: str | None) -> None:
    """As a reader less sure would have left the book; ``but``: the givens that stay clean."""
    from papernudge.cli.books.book import Book
    from papernudge.cli.books.seals import put

    with Book.to_write(book) as held:
        rows = [row for row in held.rows("SELECT * FROM puzzle") if row["givens"] != but]
        with held.changes() as sql:
            for row in rows:
                row.pop("seal")
                put(sql, "puzzle", {**row, "status": "review"})


@pytest.mark.slow
def test_what_waits_for_review_is_not_drilled(papernudge: Run, book: Path, tmp_path: Path) -> None:
    kept = tmp_path / "kept.book"
    kept.write_bytes(book.read_bytes())
    rows = [row for row in rows_of(papernudge, kept, tmp_path) if row["status"] == "clean"]
    put_to_review(kept, but=rows[0]["givens"])
    out = tmp_path / "one.pdf"
    tasks = drilled_tasks(papernudge, kept, out, 4)
    assert [task.solution for task in tasks] == [rows[0]["solution"]]
    put_to_review(kept, but=None)
    ran = papernudge("drill", kept, "--out", tmp_path / "none.pdf", "--reason", HIDDEN)
    assert ran.code == 2
    assert "No position asks for hidden single" in ran.err
    assert not (tmp_path / "none.pdf").exists()
