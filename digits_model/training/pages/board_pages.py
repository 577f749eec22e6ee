"""Pages with boards of any layout: named boards, and how chance prints them.

``board_page("newspaper", 7, named("2x3", 7))`` is a page of the preset with that board in its
middle; ``draw`` draws it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np

from papernudge.digits_model.training.pages.board_puzzles import has_puzzles
from papernudge.digits_model.training.pages.boards import (
    DIAGONALS,
    FIGURES,
    LETTERS,
    MARKS,
    Board,
)
from papernudge.digits_model.training.pages.chance import stream
from papernudge.digits_model.training.pages.presets import preset, printing_ink
from papernudge.digits_model.training.pages.spec import Colour, PageSpec
from papernudge.hints.generate import any_blocks
from papernudge.hints.layout import NEWSPAPER, Layout, beside
from papernudge.hints.shapes import board_of

_POOL = 48
"""Boards of any blocks of each size, of which a page takes one by its seed."""
EVEN = ("2x2", "2x3", "3x2", "2x4", "4x2", "3x3", "2x5", "5x2", "3x4", "4x3", "4x4")
"""Blocks, rows by columns, of boards that are printed."""
NAMES = (
    *EVEN,
    *(f"any {side}" for side in range(5, 10)),
    *("2x2 diagonals", "2x3 diagonals", "3x3 diagonals", "any 9 diagonals"),
    *("2x3 extra", "2x4 extra", "3x3 extra", "3x3 diagonals extra", "any 9 extra"),
)
"""Words for boards, see :func:`named`."""


def named(words: str, seed: int) -> Layout:
    """The board of words such as ``2x3``, ``any 7`` (blocks of any form, one of many by the seed),
    with ``diagonals`` and ``extra`` after them; ``any`` alone takes one of NAMES by the seed.

    ValueError for other words.
    """
    if words == "any":
        words = NAMES[int(stream(seed, "which board").integers(len(NAMES)))]
    head, *rest = words.split()
    side = int(rest.pop(0)) if head == "any" and rest and rest[0].isdecimal() else 0
    if set(rest) - {"diagonals", "extra"} or (head == "any" and not side):
        raise ValueError(f"expected a board such as {', '.join(NAMES[:12])}; got {words!r}")
    diagonals, extra = "diagonals" in rest, "extra" in rest
    if head != "any":
        base = board_of(head)
        return Layout.of_blocks(*(base.even or (3, 3)), diagonals, windows(base) if extra else ())
    return _irregular(side, seed % _POOL, diagonals, extra)


@lru_cache(maxsize=512)
def _irregular(side: int, number: int, diagonals: bool, extra: bool) -> Layout:
    """A board of any blocks for which a puzzle is found: with further houses most have none, and
    two extra blocks are as many as leave some.
    """
    for turn in range(200):
        base = any_blocks(10_000 + number + _POOL * turn, side)
        if not (diagonals or extra):
            return base
        more = windows(base)[:2] if extra else ()
        found = Layout.of_regions(base.plan.blocks, diagonals, more)
        if has_puzzles(found):
            return found
    raise ValueError(f"expected a board of {side} rows with such houses, found none")


def windows(layout: Layout) -> list[list[int]]:
    """Extra blocks: a rectangle a cell away from the rim, and its mirror images beside it."""
    side = layout.side
    high, wide = layout.even or next(
        (h, side // h) for h in range(round(side**0.5), 0, -1) if side % h == 0
    )
    found: list[list[int]] = []
    for top in (1, side - 1 - high):
        for left in (1, side - 1 - wide):
            box = [layout.at(top + r, left + c) for r in range(high) for c in range(wide)]
            if all(not set(box) & set(other) for other in found):
                found.append(box)
    return found


# ---------------------------------------------------------------- how they are printed


def styled(layout: Layout, seed: int, number: int = 0, **overrides: Any) -> Board:
    """A board as chance prints it; ``overrides`` fix fields of Board."""

    def chance(field: str) -> np.random.Generator:
        return stream(seed, "board", number, field)

    low, high = (1.0, 1.6) if layout.side <= 6 else (0.9, 1.15) if layout.side <= 9 else (0.7, 1.0)
    narrow, smaller = chance("narrow"), chance("figure_high")
    irregular = layout.even is None and chance("regions").random() < 0.25
    fields: dict[str, Any] = {
        "layout": layout,
        "unit": round(float(chance("unit").uniform(low, high)), 3),
        "symbols": LETTERS if chance("symbols").random() < 0.35 else FIGURES,
        "narrow": float(narrow.uniform(0.6, 0.9)) if narrow.random() < 0.6 else 1.0,
        "figure_high": float(smaller.uniform(0.72, 0.95)) if smaller.random() < 0.5 else 1.0,
        "diagonal": str(chance("diagonal").choice(DIAGONALS, p=[0.45, 0.15, 0.28, 0.12])),
        "diagonal_ink": _line_ink(chance("diagonal_ink")),
        "diagonal_weight": float(chance("diagonal_weight").uniform(0.02, 0.055)),
        "tints": _tints(chance("tints"), len(layout.plan.extra) + 1, _touching(layout)),
        "regions": _pastels(chance("pastels")) if irregular and not layout.plan.extra else (),
    }
    if layout.side < 10:
        fields["symbols"] = FIGURES
    if layout.plan.extra:  # tints of two kinds could not be told apart
        fields["diagonal"] = "dashes" if fields["diagonal"] == "dashes" else "lines"
    fields.update(overrides)
    board = Board(**fields)
    if board.regions and (board.tints_diagonals or layout.plan.extra):
        board = replace(board, regions=())  # one tint says one thing
    return board


def _line_ink(chance: np.random.Generator) -> Colour:
    if chance.random() < 0.2:
        return printing_ink(chance)
    level = int(chance.integers(70, 180))
    return level, level, level


def _touching(layout: Layout) -> bool:
    """Whether two extra blocks touch: then only their tints tell them apart."""
    blocks = [set(block) for block in layout.plan.extra]
    return any(
        one is not two and any(set(beside(layout.side, cell)) & two for cell in one)
        for one in blocks
        for two in blocks
    )


def _tints(chance: np.random.Generator, many: int, apart: bool) -> tuple[Colour, ...]:
    """Of one grey or colour, or of several; well apart where they must be."""
    coloured = chance.random() < 0.25
    lows = chance.integers(170, 228, many) if chance.random() < 0.4 else [chance.integers(170, 228)]
    if apart:
        lows = chance.permutation(np.linspace(165, 232, many))
    out: list[Colour] = []
    for low in lows:
        level = int(low)
        lift = chance.permutation([0, 20, 27]).tolist() if coloured else [0, 0, 0]
        blue, green, red = (min(252, level + int(by)) for by in lift)
        out.append((blue, green, red))
    return tuple(out)


def _pastels(chance: np.random.Generator) -> tuple[Colour, ...]:
    """Five light tints, of greys or of colours; the first is white paper in half of the cases."""
    if chance.random() < 0.5:
        levels = chance.permutation([255, 236, 218, 200, 184]).tolist()
        return tuple((int(v), int(v), int(v)) for v in levels)
    bases = [(210, 240, 255), (255, 232, 215), (222, 250, 222), (238, 220, 250), (250, 250, 214)]
    order = chance.permutation(5).tolist()
    return tuple(bases[k] for k in order)


def board_page(
    name: str,
    seed: int,
    layouts: Layout | Sequence[Layout | None],
    *,
    style: dict[str, Any] | None = None,
    **overrides: Any,
) -> PageSpec:
    """A page of the preset ``name`` whose puzzles are of these layouts, in reading order; None for
    the newspaper's grid as its own pages show it.

    ``style``: fields of Board that are fixed for all of them, such as ``symbols`` or ``marks``;
    ``overrides``: fields of PageSpec, as for ``preset``. The newspaper's layout in ``layouts`` is
    drawn as the other boards are, with marks where ``style`` names some.
    """
    wanted = [layouts] if isinstance(layouts, Layout) or layouts is None else list(layouts)
    boards = [
        "" if layout is None else styled(layout, seed, k, **(style or {})).words()
        for k, layout in enumerate(wanted)
    ]
    fields: dict[str, Any] = {"grids": len(wanted), "boards": tuple(boards)}
    if len(wanted) > 1:
        fields["focus"] = "page"
    if not all(layout is None for layout in wanted):
        fields |= _lines(seed, name)
    return preset(name, seed, **{**fields, **overrides})


def _lines(seed: int, name: str) -> dict[str, Any]:
    """Weights and inks of lines that tell blocks which are not known beforehand."""
    chance = stream(seed, "board lines")
    thin = float(np.exp(chance.uniform(np.log(0.008), np.log(0.028))))
    least = 2.0 if name in {"easy", "newspaper"} else 1.6
    thick = thin * float(np.exp(chance.uniform(np.log(least), np.log(6.0))))
    fields: dict[str, Any] = {
        "thin": thin,
        "thick": min(max(thick, 0.024), 0.11),
        "double": bool(chance.random() < 0.05),
    }
    if chance.random() < 0.1:
        fields["thick_ink"] = printing_ink(chance)
    return fields


def mixed(seed: int, layout: Layout) -> list[Layout | None]:
    """A board among others: alone, or with a newspaper's grid before or after it."""
    chance = stream(seed, "mixed")
    draw = float(chance.random())
    if draw < 0.6:
        return [layout]
    return [None, layout] if draw < 0.8 else [layout, None]


def other_page(name: str, seed: int, marks: str, **overrides: Any) -> PageSpec:
    """A page whose puzzle is of another kind: one of MARKS on a grid of 9×9 or 6×6."""
    if marks not in MARKS:
        raise ValueError(f"expected one of {', '.join(MARKS)}, got {marks!r}")
    chance = stream(seed, "other page")
    layout = NEWSPAPER if chance.random() < 0.7 else board_of("2x3")
    return board_page(name, seed, layout, style={"marks": marks}, **overrides)
