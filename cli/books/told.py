"""A row of a book in words: where it stands, and why it waits or is left out."""

from __future__ import annotations

from papernudge.cli.books.rows import Row
from papernudge.cli.said import in_words, spoken


def row_said(row: Row) -> str:
    """Where a grid stands: ``shelf.pdf, page 3, grid 2``."""
    return in_words("row of a book", source=row["source"], page=row["page"], grid=row["number"])


def reason_said(reason: str) -> str:
    """A reason that a grid is not clean for; one that the language has no word for as it is."""
    return spoken().said.get(f"reason, {reason}", reason)
