"""What ``read`` prints, and the table of several grids."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from papernudge.cli.session.doubting import questions
from papernudge.cli.terminal.board import board, rows_in_words

if TYPE_CHECKING:
    from papernudge.cli.session.answers import Answer
    from papernudge.cli.session.pages import Page
    from papernudge.vision.reading import GridReading

_KINDS = {
    "puzzle": "a puzzle",
    "full": "a full grid",
    "cut off": "a grid cut off by the edge of the photo",
    "too poor": "a grid too poor to read",
    "other": "something other than a 9×9 sudoku",
}


def page_words(page: Page, only: int | None, sentences: bool) -> str:
    """Every grid of a page (or ``only`` one): a sentence, a board, the doubts."""
    many = len(page.grids)
    parts = []
    for number, grid in enumerate(page.grids, start=1):
        if only in (None, number):
            lead = f"Grid {number} of {many}: " if many > 1 else ""
            parts.append(_grid_words(grid, lead, sentences))
    return "\n\n".join(parts)


def _grid_words(grid: GridReading, lead: str, sentences: bool) -> str:
    kind = _KINDS.get(str(grid.kind), str(grid.kind))
    if not grid.cells:
        advice = f" {grid.quality.sentence}" if grid.quality.sentence else ""
        return f"{_opened(lead + kind)}.{advice}"
    lines = [
        f"{_opened(lead + kind)} with {_counted(grid)}.",
        rows_in_words(grid) if sentences else board(grid),
    ]
    lines += _notes_and_strikes(grid)
    lines += [f"In doubt: {question}" for question, _ in questions(grid, grid.doubts)]
    if grid.restored:
        lines.append(f"Decided by the rules of the grid: {', '.join(_names(grid.restored))}.")
    return "\n".join(lines)


def _opened(text: str) -> str:
    return text[:1].upper() + text[1:]


def _names(cells: Sequence[int]) -> list[str]:
    from papernudge.vision.reading import cell_name

    return [cell_name(cell) for cell in cells]


def _counted(grid: GridReading) -> str:
    given = sum(cell.kind == "given" for cell in grid.cells)
    written = sum(cell.kind == "entry" for cell in grid.cells)
    noted = sum(bool(cell.notes) for cell in grid.cells)
    parts = [_many(given, "printed digit"), _many(written, "written one") if written else ""]
    parts.append(f"small notes in {_many(noted, 'cell')}" if noted else "")
    said = [part for part in parts if part]
    return said[0] if len(said) == 1 else f"{', '.join(said[:-1])} and {said[-1]}"


def _many(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _notes_and_strikes(grid: GridReading) -> list[str]:
    noted = [c for c, cell in enumerate(grid.cells) if cell.notes]
    struck = [c for c, cell in enumerate(grid.cells) if cell.struck]
    lines = []
    if noted:
        pairs = zip(_names(noted), noted, strict=True)
        said = [f"{name} {''.join(map(str, sorted(grid.cells[c].notes)))}" for name, c in pairs]
        lines.append(f"Small notes: {', '.join(said)}.")
    if struck:
        lines.append(f"Struck out: {', '.join(_names(struck))}.")
    return lines


def grids_table(answers: Sequence[Answer]) -> str:
    """Right, wrong and blank for each grid: what a marker of contest sheets wants to see. Printed
    digits count as none of them.
    """
    rows = [("grid", "right", "wrong", "blank", "state")]
    for answer in answers:
        wrong = answer.fields.get("wrong")
        filled = int(answer.fields.get("filled", 0))
        written = filled - (81 - answer.sheet.grid.givens.count("."))
        known = wrong is not None and answer.state != "not one solution"
        right = str(written - int(wrong or 0)) if known else "-"
        said = str(wrong) if known else "-"
        rows.append((str(answer.sheet.number), right, said, str(81 - filled), answer.state))
    widths = [max(len(row[k]) for row in rows) for k in range(4)]
    return "\n".join(
        "  ".join(cell.rjust(w) for cell, w in zip(row, widths, strict=False)) + f"  {row[4]}"
        for row in rows
    )
