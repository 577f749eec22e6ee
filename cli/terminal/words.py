"""What ``read`` prints, and the table of several grids."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from papernudge.cli.base.breaking import columns, padded
from papernudge.cli.said import in_words, spoken
from papernudge.cli.session.doubting import questions
from papernudge.cli.terminal.board import board, rows_in_words
from papernudge.hints.catalogue import All, Message, counted
from papernudge.hints.masks import SYMBOLS
from papernudge.hints.words import named_cell

if TYPE_CHECKING:
    from papernudge.cli.session.answers import Answer
    from papernudge.cli.session.pages import Page
    from papernudge.vision.reading import GridReading


def page_words(page: Page, only: int | None, sentences: bool) -> str:
    """Every grid of a page (or ``only`` one): a sentence, a board, the doubts."""
    many = len(page.grids)
    parts = []
    for number, grid in enumerate(page.grids, start=1):
        if only in (None, number):
            parts.append(_grid_words(grid, number, many, sentences))
    return "\n\n".join(parts)


def _grid_words(grid: GridReading, number: int, many: int, sentences: bool) -> str:
    of_many = " of many" if many > 1 else ""
    if not grid.cells:
        said = in_words(f"kind{of_many}, {grid.kind}", number=number, many=many)
        advice = grid.quality.says
        return spoken().paragraph([said, spoken().tell(advice) if advice else ""])
    held = All(_counted(grid))
    lines = [
        in_words(f"read{of_many}, {grid.kind}", number=number, many=many, held=held),
        rows_in_words(grid) if sentences else board(grid),
    ]
    lines += _notes_and_strikes(grid)
    asked = questions(grid, grid.doubts, spoken())
    lines += [in_words("in doubt", question=question) for question, _ in asked]
    if grid.restored:
        lines.append(in_words("decided by the rules", cells=_listed(grid, grid.restored)))
    return "\n".join(lines)


def _listed(grid: GridReading, cells: Sequence[int]) -> str:
    words = spoken().on(grid.layout)
    return words.chained("listed", [named_cell(cell, words) for cell in cells])


def _counted(grid: GridReading) -> list[Message]:
    """What a grid holds, by kind, where it holds some."""
    given = sum(cell.kind == "given" for cell in grid.cells)
    written = sum(cell.kind == "entry" for cell in grid.cells)
    noted = sum(bool(cell.notes) for cell in grid.cells)
    held = [counted("printed digits", given)]
    held += [counted("written ones", written)] if written else []
    return held + ([counted("noted cells", noted)] if noted else [])


def _notes_and_strikes(grid: GridReading) -> list[str]:
    noted = [c for c, cell in enumerate(grid.cells) if cell.notes]
    struck = [c for c, cell in enumerate(grid.cells) if cell.struck]
    lines = []
    if noted:
        told = [
            in_words(
                "notes of a cell",
                cell=named_cell(c, spoken().on(grid.layout)),
                digits="".join(SYMBOLS[d - 1] for d in sorted(grid.cells[c].notes)),
            )
            for c in noted
        ]
        lines.append(in_words("small notes", cells=spoken().chained("listed", told)))
    if struck:
        lines.append(in_words("struck out", cells=_listed(grid, struck)))
    return lines


def grids_table(answers: Sequence[Answer]) -> str:
    """Right, wrong and blank for each grid: what a marker of contest sheets wants to see. Printed
    digits count as none of them.
    """
    heads = ("grid", "right", "wrong", "blank", "state")
    rows = [tuple(in_words(f"head, {head}") for head in heads)]
    for answer in answers:
        wrong = answer.fields.get("wrong")
        filled = int(answer.fields.get("filled", 0))
        many = answer.sheet.grid.layout.many
        written = filled - (many - answer.sheet.grid.givens.count("."))
        known = wrong is not None and answer.state != "not one solution"
        right = str(written - int(wrong or 0)) if known else "-"
        said = str(wrong) if known else "-"
        rows.append(
            (
                str(answer.sheet.number),
                right,
                said,
                str(many - filled),
                in_words(f"state, {answer.state}"),
            )
        )
    widths = [max(columns(row[k]) for row in rows) for k in range(4)]
    return "\n".join(
        "  ".join(padded(cell, w, right=True) for cell, w in zip(row, widths, strict=False))
        + f"  {row[4]}"
        for row in rows
    )
