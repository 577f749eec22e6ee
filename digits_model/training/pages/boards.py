"""Boards other than the newspaper's on a page: what each is and how it is printed."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache

from papernudge.digits_model.training.pages.spec import Colour
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.shapes import as_data, from_data

FIGURES, LETTERS = "figures", "letters"
"""How 10 and more are printed: as numbers of two figures, or as A, B, C."""
MARKS = ("cages", "arrows", "dots", "signs")
"""What else may stand in a grid that makes it a puzzle of another kind: cages with sums, arrows,
dots between cells, signs of less and more between cells."""
MORE_MARKS = (
    *("lined cages", "tinted cages", "letters", "bars"),
    *("thermometers", "lines", "shapes", "corners", "one diagonal"),
)
"""Marks that are drawn for training alone: cages in whole lines and in tints, letters and bars
between cells; and what is told as something else: bulbs with a stem, lines through cells, discs and
squares in cells, numbers in rings where cells meet, a line along one diagonal only."""
DIAGONALS = ("lines", "dashes", "tint", "both")


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """A grid of the page. Lengths are in sides of its own cells, but ``unit``: such a side in the
    page's cells.

    ``symbols``: FIGURES or LETTERS. ``narrow`` and ``figure_high``: width and height of numbers of
    two figures beside those that the typeface gives them. ``diagonal``: one of DIAGONALS, in
    ``diagonal_ink``; ``both`` are lines on a tint. ``tints``: of the extra blocks, one after
    another and of the diagonals. ``regions``: the tints of the blocks, no two that touch alike;
    none where they are white. ``marks``: one of MARKS or MORE_MARKS, or nothing. ``pieces``: cells
    that are tinted together like an extra block and that the puzzle takes no notice of.
    """

    layout: Layout = NEWSPAPER
    unit: float = 1.0
    symbols: str = FIGURES
    narrow: float = 1.0
    figure_high: float = 1.0
    diagonal: str = "lines"
    diagonal_ink: Colour = (150, 150, 150)
    diagonal_weight: float = 0.03
    tints: tuple[Colour, ...] = ((205, 205, 205),)
    regions: tuple[Colour, ...] = ()
    marks: str = ""
    pieces: tuple[tuple[int, ...], ...] = ()

    @property
    def side(self) -> float:
        """The side of the whole board in the page's cells."""
        return self.layout.side * self.unit

    @property
    def tints_diagonals(self) -> bool:
        """Whether the cells of the diagonals are tinted."""
        return self.layout.plan.diagonals and self.diagonal in {"tint", "both"}

    @property
    def tinted(self) -> bool:
        """Whether a tint says something about the rules."""
        return bool(self.layout.plan.extra or self.regions or self.tints_diagonals or self.pieces)

    @property
    def by_hand(self) -> int:
        """The largest digit that a hand writes: there are no handwritten letters to draw from."""
        side = self.layout.side
        return min(9, side) if self.symbols == LETTERS else side

    def words(self) -> str:
        """The board as one line of JSON, which :func:`board_from` reads."""
        fields = {name: getattr(self, name) for name in Board.__slots__}
        if not self.pieces:  # boards without them keep their words
            del fields["pieces"]
        return json.dumps({**fields, "layout": as_data(self.layout)}, separators=(",", ":"))


@lru_cache(maxsize=1024)
def board_from(words: str) -> Board | None:
    """The board of these words; None, the newspaper's, where there are none."""
    if not words:
        return None
    told = json.loads(words)
    told["layout"] = from_data(told["layout"])
    told["diagonal_ink"] = tuple(told["diagonal_ink"])
    for name in ("tints", "regions", "pieces"):
        told[name] = tuple(tuple(part) for part in told.get(name, ()))
    return Board(**told)
