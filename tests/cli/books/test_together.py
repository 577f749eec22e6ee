"""Pages that come back at once from a cluster are written as one."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from papernudge.cli.books.book import Book
from papernudge.cli.books.rows import GridRow, PageDone
from papernudge.cli.books.settle import settle
from papernudge.cli.books.sources import Surveyed

GIVENS = "53..7....6..195....98....6.8...6...34..8.3..17...2...6.6....28....419..5....8..79"
MANY = 12
CORNERS = [[0.0, 0.0], [9.0, 0.0], [9.0, 9.0], [0.0, 9.0]]


def pages() -> list[PageDone]:
    grid = GridRow(1, "puzzle", None, CORNERS, None, GIVENS, "." * 81, chance_all_right=1.0)
    named = [hashlib.sha256(bytes([n])).hexdigest() for n in range(MANY)]
    return [PageDone(n, 1, "r", "read", grids=[grid], puzzles=[settle(grid)]) for n in named]


@pytest.fixture
def book(tmp_path: Path) -> Book:
    opened = Book.to_write(tmp_path / "a.book")
    opened.note_sources([Surveyed(Path(p.hash), p.hash, "photo", 1, 1) for p in pages()])
    return opened


def test_they_wait_for_the_disk_once_and_say_what_they_would_one_by_one(
    book: Book, tmp_path: Path
) -> None:
    commits: list[str] = []
    book.sql.set_trace_callback(lambda said: commits.append(said) if said == "COMMIT" else None)
    with book.together():
        for page in pages():
            book.write(page)
    assert len(commits) == 1
    for page in pages():
        book.write(page)
    assert len(commits) == 1 + MANY
    assert len(list(book.rows("SELECT * FROM puzzle WHERE status = 'clean'"))) == MANY
    book.close()
    with Book.to_read(tmp_path / "a.book") as read:
        assert read.harm is None
        assert len(read.pages_done()) == MANY


def test_where_one_of_them_fails_none_stands_and_those_before_do(
    book: Book, tmp_path: Path
) -> None:
    first, *others = pages()
    book.write(first)

    def fails() -> None:
        with book.together():
            for page in others:
                book.write(page)
            raise ArithmeticError

    with pytest.raises(ArithmeticError):
        fails()
    assert list(book.pages_done()) == [(first.hash, 1)]
    book.write(others[0])
    book.close()
    with Book.to_read(tmp_path / "a.book") as read:
        assert read.harm is None
        assert len(read.pages_done()) == 2
