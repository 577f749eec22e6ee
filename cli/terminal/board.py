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
from papernudge.hints.layout import NEWSPAPER

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
    """What a depth shows on the board: cells 0–80."""

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
        from papernudge.hints.geometry import HOUSE_CELLS

        for house in getattr(told, "houses", ()):
            shaded.update(HOUSE_CELLS[house])
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
    """Thirteen lines and a legend of the marks that occur."""
    marks = marks or Marks(dict.fromkeys((d.cell for d in grid.doubts), "?"))
    plain = not _can_print("│─┼·░")
    bar, dash, cross = ("|", "-", "+") if plain else ("│", "─", "┼")
    used: set[str] = set()
    lines = ["     " + "    ".join(f"{c}  {c + 1}  {c + 2}" for c in (1, 4, 7))]
    for row in range(NEWSPAPER.high):
        if row in (3, 6):
            lines.append("   " + cross.join(dash * 10 for _ in range(3)))
        cells = [
            _cell(grid, marks, NEWSPAPER.at(row, c), plain, used) for c in range(NEWSPAPER.wide)
        ]
        parts = ["".join(cells[k : k + 3]) for k in (0, 3, 6)]
        lines.append(f" {row + 1}  " + f"{bar} ".join(parts).rstrip())
    legend = [in_words(f"sign, {name}") for sign, name in _SIGNS.items() if sign in used]
    if _SHADE in used:
        legend.append(in_words("sign, where to look", sign="#" if plain else _SHADE))
    if legend:
        lines.append("    " + spoken().chained("listed", legend))
    return "\n".join(lines)


def _cell(grid: GridReading, marks: Marks, at: int, plain: bool, used: set[str]) -> str:
    cell = grid.cells[at]
    digit = marks.digits.get(at, cell.digit)
    sign = marks.signs.get(at, "'" if cell.kind == "entry" else " ")
    if digit is None:
        blank = ("#" if plain else _SHADE) if at in marks.shaded else ("." if plain else "·")
        used.add(_SHADE if at in marks.shaded else "")
        sign = "?" if not cell.seen or sign == "?" else " "
        return f" {blank}{_noted(sign, used)}"
    text = f" {digit}{_noted(sign, used)}"
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
    """Nine sentences, one a row."""
    lines = []
    for row in range(NEWSPAPER.high):
        said = []
        for cell in (grid.cells[NEWSPAPER.at(row, c)] for c in range(NEWSPAPER.wide)):
            if cell.digit is None:
                said.append(in_words("a blank" if cell.seen else "not seen"))
            else:
                by = "a printed digit" if cell.kind == "given" else "a written digit"
                said.append(in_words(by, digit=cell.digit))
        cells = spoken().chained("listed", said)
        lines.append(in_words("row holds", row=row + 1, cells=cells))
    return "\n".join(lines)
