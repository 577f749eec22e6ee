"""Boards of every kind, for tests and benchmarks."""

from __future__ import annotations

from functools import cache

from papernudge.hints.generate import any_blocks
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.shapes import board_of

WINDOWS = "........." + ".AAA.BBB." * 3 + "........." + ".CCC.DDD." * 3 + "........."
"""Four extra blocks of nine, each a 3×3 window a cell away from the rim."""

JIGSAW = "ABBBBBCCDAABCCBCEDABBFCCCEDAAGFFFCEDAGGFFFFEDAHGGGFEEDAHGHGGEEDHHHHHHIEDIIIIIIIID"
"""Blocks of any form on which there is a full grid with diagonals."""

SMALL = {
    "4x4": "2x2",
    "6x6, 2x3": "2x3",
    "6x6, 3x2": "3x2",
    "8x8, 2x4": "2x4",
    "8x8, 4x2": "4x2",
    "10x10, 2x5": "2x5",
    "10x10, 5x2": "5x2",
    "12x12, 3x4": "3x4",
    "12x12, 4x3": "4x3",
    "16x16": "4x4",
}
"""Boards of even blocks alone, by the words for their blocks."""


@cache
def boards() -> dict[str, Layout]:
    """By name: every size of even blocks, diagonals, extra blocks, blocks of any form, and some of
    these together.
    """
    return {
        "9x9": NEWSPAPER,
        **{name: board_of(blocks) for name, blocks in SMALL.items()},
        "4x4 with diagonals": board_of("2x2", diagonals=True),
        "6x6 with diagonals": board_of("2x3", diagonals=True),
        "9x9 with diagonals": board_of(diagonals=True),
        "9x9 with windows": board_of(extra=[WINDOWS]),
        "9x9 with diagonals and windows": board_of(diagonals=True, extra=[WINDOWS]),
        "5x5 of any blocks": any_blocks(1, 5),
        "6x6 of any blocks": any_blocks(2, 6),
        "7x7 of any blocks": any_blocks(3, 7),
        "8x8 of any blocks": any_blocks(4, 8),
        "9x9 of any blocks": any_blocks(5, 9),
        "9x9 of any blocks, diagonals": board_of(regions=JIGSAW, diagonals=True),
    }
