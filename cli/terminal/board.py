"""The grid drawn with characters, and the same in sentences for a screen reader.

Marks stand behind a digit, so that nothing hangs on colour: ``'`` written by hand, ``?`` in
doubt, ``!`` can't stay, ``*`` to look at, ``+`` to be written. Blank cells of the house in question
are shaded.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from papernudge.cli.said import in_words, spoken
from papernudge.hints.layout import EXTRA, Layout
from papernudge.hints.words import named_cell

if TYPE_CHECKING:
    from papernudge.cli.session.answers import Answer
    from papernudge.vision.reading import GridReading

_SHADE = "░"

_SIGNS = {
    "'": "written",
    "?": "in doubt",
    "!": "can't stay",
    "*": "to look at",
    "+": "to be written",
}
"""What the legend explains, in its order, by the names of its sentences."""


@dataclass(frozen=True, slots=True)
class Marks:
    """What a depth shows on the board, by cells."""

    signs: Mapping[int, str] = field(default_factory=dict)
    digits: Mapping[int, int] = field(default_factory=dict)
    shaded: Collection[int] = ()


def marks_of(answer: Answer) -> Marks:
    """The marks of an answer, from its depth's own type and nothing else."""
    signs: dict[int, str] = {doubt.cell: "?" for doubt in answer.doubts}
    digits: dict[int, int] = {}
    told = answer.told
    if told is None:
        return Marks(signs)
    shaded: set[int] = set()
    if answer.command == "check":
        for house in getattr(told, "houses", ()):
            shaded.update(answer.sheet.grid.layout.house_cells[house])
        signs.update({m.cell: "!" for m in getattr(told, "mistakes", ())})
        signs.update(dict.fromkeys(getattr(told, "misprinted_cells", ()), "!"))
        return Marks(signs, digits, shaded)
    focus = told.focus  # type: ignore[union-attr]
    if focus.digit is None:
        shaded.update(focus.cells)
    elif not hasattr(told, "evidence"):
        signs.update(dict.fromkeys(focus.cells, "*"))
    signs.update(dict.fromkeys(getattr(told, "evidence", ()), "*"))
    for cell, digit in getattr(told, "places", ()):
        signs[cell], digits[cell] = "+", digit
    return Marks(signs, digits, shaded)


def board(grid: GridReading, marks: Marks | None = None) -> str:
    """The board in lines, parted between blocks, and a legend of the marks that occur."""
    marks = marks or Marks(dict.fromkeys((d.cell for d in grid.doubts), "?"))
    plain = not _can_print("│─┼·░")
    layout, used = grid.layout, set[str]()
    cells = [_cell(grid, marks, cell, plain, used) for cell in layout.cells]
    drawn = _even(layout, cells, plain) if layout.even else _odd(layout, cells, plain)
    lines = [*drawn, *_further_houses(layout)]
    legend = [in_words(f"sign, {name}") for sign, name in _SIGNS.items() if sign in used]
    if _SHADE in used:
        legend.append(in_words("sign, where to look", sign="#" if plain else _SHADE))
    if legend:
        lines.append("    " + spoken().chained("listed", legend))
    return "\n".join(lines)


def _even(layout: Layout, cells: list[str], plain: bool) -> list[str]:
    """The lines of a board of even blocks, with bars between these."""
    assert layout.even is not None
    bar, dash, cross = ("|", "-", "+") if plain else ("│", "─", "┼")
    high, wide = layout.even
    side, each = layout.side, _width(layout)
    groups = [range(k, k + wide) for k in range(0, side, wide)]
    heads = ["".join(str(c + 1).rjust(each - 1) + " " for c in group) for group in groups]
    lines = [(" " * 3 + "  ".join(heads)).rstrip()]
    for row in range(side):
        if row and row % high == 0:
            rule = dash * (each * wide + 1)
            lines.append(" " * 3 + cross.join(rule for _ in groups))
        parts = ["".join(cells[layout.at(row, c)] for c in group) for group in groups]
        lines.append(f"{row + 1:2d}  " + f"{bar} ".join(parts).rstrip())
    return lines


def _odd(layout: Layout, cells: list[str], plain: bool) -> list[str]:
    """The lines of a board of blocks of any form, with bars wherever one ends."""
    bar, dash, cross = ("|", "-", "+") if plain else ("│", "─", "┼")
    side, each, block = layout.side, _width(layout), layout.blocks
    heads = "".join(str(c + 1).rjust(each - 1) + "  " for c in range(side))
    lines = [(" " * 3 + heads).rstrip()]
    for row in range(side):
        ends = [
            row > 0 and block[layout.at(row, c)] != block[layout.at(row - 1, c)]
            for c in range(side)
        ]
        if any(ends):
            rule = ((dash * each if end else " " * each) for end in ends)
            lines.append((" " * 4 + (cross if all(ends) else " ").join(rule)).rstrip())
        line = ""
        for column in range(side):
            cell = layout.at(row, column)
            last = column + 1 == side
            ends_here = not last and block[cell] != block[layout.at(row, column + 1)]
            line += cells[cell] + (bar if ends_here else "" if last else " ")
        lines.append(f"{row + 1:2d}  {line}".rstrip())
    return lines


def _width(layout: Layout) -> int:
    """Characters of a cell: a space, its digit, its mark."""
    return 2 + len(str(layout.side))


def _further_houses(layout: Layout) -> list[str]:
    """What the lines don't show: diagonals and extra blocks, by their cells."""
    words = spoken().on(layout)
    told = []
    if layout.plan.diagonals:
        told.append(words.say("board has diagonals"))
    for house in layout.houses:
        if house.kind == EXTRA:
            cells = words.chained("listed", [named_cell(c, words) for c in house.cells])
            told.append(words.say("board has an extra block", cells=cells))
    return [f"    {one}" for one in told]


def _cell(grid: GridReading, marks: Marks, at: int, plain: bool, used: set[str]) -> str:
    cell, wide = grid.cells[at], _width(grid.layout) - 1
    digit = marks.digits.get(at, cell.digit)
    sign = marks.signs.get(at, "'" if cell.kind == "entry" else " ")
    if digit is None:
        blank = ("#" if plain else _SHADE) if at in marks.shaded else ("." if plain else "·")
        used.add(_SHADE if at in marks.shaded else "")
        sign = "?" if not cell.seen or sign == "?" else " "
        return f"{blank:>{wide}}{_noted(sign, used)}"
    text = f"{digit:>{wide}}{_noted(sign, used)}"
    return f"\x1b[1m{text}\x1b[0m" if cell.kind == "given" and _styled() else text


def _noted(sign: str, used: set[str]) -> str:
    used.add(sign)
    return sign


def _styled() -> bool:
    """Bold print, where a terminal shows it and nobody asked for plain text."""
    plain = os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb"
    return sys.stdout.isatty() and not plain


def _can_print(text: str) -> bool:
    try:
        text.encode(sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def rows_in_words(grid: GridReading) -> str:
    """A sentence for each row."""
    lines, layout = [], grid.layout
    for row in range(layout.high):
        said = []
        for cell in (grid.cells[layout.at(row, c)] for c in range(layout.wide)):
            if cell.digit is None:
                said.append(in_words("a blank" if cell.seen else "not seen"))
            else:
                by = "a printed digit" if cell.kind == "given" else "a written digit"
                said.append(in_words(by, digit=cell.digit))
        cells = spoken().chained("listed", said)
        lines.append(in_words("row holds", row=row + 1, cells=cells))
    return "\n".join(lines)
