"""Boards from words: ``2x3``, a line of regions, lines of extra blocks; and back as plain data."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from papernudge.hints.catalogue import Either, message
from papernudge.hints.layout import EXTRA, LARGEST, SMALLEST, Layout, pieces
from papernudge.hints.masks import cells_mask
from papernudge.hints.words import ENGLISH

SIDES = {side * side: side for side in range(SMALLEST, LARGEST + 1)}
"""Which side a board of so many cells has."""
_BLOCKS = re.compile(r"\s*([1-9][0-9]?)\s*[x×X*]\s*([1-9][0-9]?)\s*", re.ASCII)
_LETTERS = "ABCDEFGHIJKLMNOP"


class ShapeError(ValueError):
    """Words that make no board. ``says``: why, and what would do."""

    def __init__(self, code: str, /, **data: Any) -> None:
        self.says = message(code, **data)
        super().__init__(ENGLISH.tell(self.says))


def board_of(
    blocks: str | None = None,
    regions: str | None = None,
    diagonals: bool = False,
    extra: Sequence[str] = (),
) -> Layout:
    """The board that these words describe; the newspaper's where they say nothing.

    ``blocks``: rows and columns of a block, ``2x3``. ``regions``: in its place a letter for each
    cell, row by row, the same for cells of one block. ``diagonals``: both hold each digit once.
    ``extra``: lines like that of ``regions`` in which ``.`` stands for cells of no extra block.
    Raises ShapeError for anything else.
    """
    if blocks is not None and regions is not None:
        raise ShapeError("blocks or regions")
    if regions is not None:
        parts = _regions(regions)
        return Layout.of_regions(parts, diagonals, _extra(extra, len(parts)))
    high, wide = (3, 3) if blocks is None else _size(blocks)
    return Layout.of_blocks(high, wide, diagonals, _extra(extra, high * wide))


def _size(blocks: str) -> tuple[int, int]:
    found = _BLOCKS.fullmatch(blocks)
    high, wide = (int(found[1]), int(found[2])) if found else (0, 0)
    if high < 2 or wide < 2 or not SMALLEST <= high * wide <= LARGEST:
        raise ShapeError("blocks look like", most=LARGEST, got=blocks[:40])
    return high, wide


def _regions(text: str) -> list[list[int]]:
    line = "".join(text.split())
    side = SIDES.get(len(line))
    if side is None:
        raise ShapeError("regions are as long as", lengths=Either(SIDES), got=len(line))
    parts = _parted(line, "regions hold letters")
    if len(parts) != side:
        raise ShapeError("regions are as many as", side=side, got=len(parts))
    for letter, cells in parts.items():
        if len(cells) != side:
            raise ShapeError("region of another size", letter=letter, side=side, got=len(cells))
    for letter, cells in parts.items():
        many = pieces(side, cells)
        if many > 1:
            raise ShapeError("region in pieces", letter=letter, pieces=many)
    return list(parts.values())


def _extra(lines: Sequence[str], side: int) -> list[list[int]]:
    blocks = list[list[int]]()
    for text in lines:
        line = "".join(text.split())
        if len(line) != side * side:
            raise ShapeError("extra is as long as", length=side * side, got=len(line))
        parts = _parted(line, "extra holds letters", nothing=".")
        if not parts:
            raise ShapeError("extra names none", side=side)
        for letter, cells in parts.items():
            if len(cells) != side:
                raise ShapeError(
                    "extra block of another size", letter=letter, side=side, got=len(cells)
                )
        blocks += parts.values()
    return blocks


def _parted(line: str, code: str, nothing: str = "") -> dict[str, list[int]]:
    """The cells of each letter, in order."""
    parts: dict[str, list[int]] = {}
    for cell, letter in enumerate(line):
        if letter != nothing:
            if not (letter.isascii() and letter.isalnum()):
                raise ShapeError(code, got=repr(letter))
            parts.setdefault(letter, []).append(cell)
    return parts


def blocks_for(length: int) -> list[str]:
    """The words for even blocks of boards of so many cells, ``2x3`` and ``3x2``; none where there
    is no such board.
    """
    side = SIDES.get(length, 0)
    return [f"{high}x{side // high}" for high in range(2, side // 2 + 1) if side % high == 0]


# ---------------------------------------------------------------- as plain data


def as_data(layout: Layout) -> dict[str, Any]:
    """``rows``, ``columns``, ``block`` (rows, columns) or ``regions`` (a line), ``diagonals``,
    ``extra`` (lines): those that :func:`board_of` takes.
    """
    even = layout.even
    lines = _extra_lines(layout)
    form = {"regions": _line(layout.plan.blocks, layout.many)} if even is None else {}
    return {
        "rows": layout.high,
        "columns": layout.wide,
        **(form if even is None else {"block": list(even)}),
        "diagonals": layout.plan.diagonals,
        "extra": lines,
    }


def from_data(data: Mapping[str, Any]) -> Layout:
    """The board that was told as plain data. Raises ShapeError, KeyError or TypeError where it is
    none.
    """
    block = data.get("block")
    blocks = None if block is None else f"{block[0]}x{block[1]}"
    return board_of(blocks, data.get("regions"), bool(data["diagonals"]), data["extra"])


def _line(blocks: Sequence[Sequence[int]], many: int) -> str:
    marks = ["."] * many
    for letter, cells in zip(_LETTERS, blocks, strict=False):
        for cell in cells:
            marks[cell] = letter
    return "".join(marks)


def _extra_lines(layout: Layout) -> list[str]:
    """Extra blocks in as few lines as keep those apart that share a cell."""
    groups: list[list[tuple[int, ...]]] = []
    for house in layout.houses:
        if house.kind == EXTRA:
            mine = cells_mask(house.cells)
            for group in groups:
                apart = not any(cells_mask(cells) & mine for cells in group)
                if apart and len(group) < len(_LETTERS):
                    group.append(house.cells)
                    break
            else:
                groups.append([house.cells])
    return [_line(group, layout.many) for group in groups]


# ---------------------------------------------------------------- as words


def in_options(layout: Layout) -> str:
    """The board in the words of the command line, on one line.

    >>> in_options(board_of("2x3", diagonals=True))
    '--blocks 2x3 --diagonals'
    """
    told = as_data(layout)
    words = []
    if "block" in told:
        words += ["--blocks", "x".join(map(str, told["block"]))]
    else:
        words += ["--regions", told["regions"]]
    words += ["--diagonals"] if told["diagonals"] else []
    for line in told["extra"]:
        words += ["--extra", line]
    return " ".join(words)


def of_options(text: str) -> Layout | None:
    """The board that such words describe; None for other text. Raises ShapeError where they are
    such words and describe none.
    """
    words = text.split()
    if not words or not words[0].startswith("--"):
        return None
    said: dict[str, list[str]] = {"--blocks": [], "--regions": [], "--extra": []}
    diagonals, place = False, 0
    while place < len(words):
        if words[place] == "--diagonals":
            diagonals, place = True, place + 1
        elif words[place] in said and place + 1 < len(words):
            said[words[place]].append(words[place + 1])
            place += 2
        else:
            return None
    blocks, regions = said["--blocks"], said["--regions"]
    if len(blocks) > 1 or len(regions) > 1:
        return None
    return board_of(next(iter(blocks), None), next(iter(regions), None), diagonals, said["--extra"])
