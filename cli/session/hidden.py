"""Cells that can't be seen, told by region: where they are and what keeps them from being seen."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from papernudge.cli.said import ENGLISH
from papernudge.hints.catalogue import Words
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.words import named_cell

if TYPE_CHECKING:
    from papernudge.vision.reading import Doubt

Box = tuple[int, int, int, int]
"""First row, first column, last row, last column, from 0."""

_MOST_BOXES = 3
"""Parts that a region is named by; one of more is named by its outermost rows and columns."""


def hidden_in(doubts: Iterable[Doubt]) -> tuple[Doubt, ...]:
    """The doubts about cells that can't be seen."""
    return tuple(doubt for doubt in doubts if doubt.about == "seen")


def regions(doubts: Sequence[Doubt], layout: Layout = NEWSPAPER) -> list[tuple[Doubt, ...]]:
    """Such doubts put together where cells of the board touch and the same keeps them from being
    seen.
    """
    left = {doubt.cell: doubt for doubt in doubts}
    out = []
    while left:
        todo = [min(left)]
        region = []
        while todo:
            doubt = left.pop(todo.pop(), None)
            if doubt is not None:
                region.append(doubt)
                todo += [
                    c for c in layout.around(doubt.cell) if c in left and left[c].why == doubt.why
                ]
        out.append(tuple(sorted(region, key=lambda d: d.cell)))
    return out


def boxes(cells: Iterable[int], layout: Layout = NEWSPAPER) -> list[Box]:
    """The cells of a board as few rectangles: runs in a row, put together with equal ones below."""
    held = set(cells)
    done: list[Box] = []
    for row in range(layout.high):
        column = 0
        while column < layout.wide:
            first = column
            while column < layout.wide and layout.at(row, column) in held:
                column += 1
            if column > first:
                done = _with_run(done, row, first, column - 1)
            column += 1
    return done


def _with_run(done: list[Box], row: int, first: int, last: int) -> list[Box]:
    for n, (top, left, bottom, right) in enumerate(done):
        if (bottom, left, right) == (row - 1, first, last):
            return [*done[:n], (top, left, row, right), *done[n + 1 :]]
    return [*done, (row, first, row, last)]


def where(cells: Sequence[int], words: Words = ENGLISH) -> str:
    """``R4C7``, ``R4C7 to R5C8``, or several of these with ``and``."""
    parts = boxes(cells, words.layout)
    if len(parts) > _MOST_BOXES:
        rows, columns = zip(*map(words.layout.place, cells), strict=True)
        area = _box((min(rows), min(columns), max(rows), max(columns)), words)
        return words.say("cells between", count=len(cells), area=area)
    return words.all_of([_box(part, words) for part in parts])


def _box(box: Box, words: Words) -> str:
    top, left, bottom, right = box
    first = named_cell(words.layout.at(top, left), words)
    last = named_cell(words.layout.at(bottom, right), words)
    return first if first == last else words.say("from to", first=first, last=last)


def cannot_be_seen(region: Sequence[Doubt], words: Words = ENGLISH) -> str:
    """``R4C7 to R5C8 can't be seen: something covers them``, with no full stop."""
    place = where([doubt.cell for doubt in region], words)
    why = region[0].why
    if why is None:
        return words.say("can't be seen", where=place)
    return words.counted(f"can't be seen, {why}", len(region), where=place)


def how_to_tell(region: Sequence[Doubt], words: Words = ENGLISH) -> str:
    """How to answer on the command line, or with the camera."""
    first = where([region[0].cell], words)
    return words.counted("say what it holds", len(region), first=first)
