"""Where the eye rests for a step of reasoning, and the shortest way past all that it looks at.

Distances are in cells. A witness is looked at on its cell; a glance rests in the middle of its
block or of its third of a line. One rest covers about a block (``papernudge.hints.looks``): what
lies in view of a stop, a cell away at most, needs no other. Within a step the stops may be taken in
any order, and of several sets of witnesses as small as each other any may be used.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise
from math import hypot, inf

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction
from papernudge.hints.layout import Layout
from papernudge.hints.looks import Read, Scan, least_covers, parts_read, sight_glances
from papernudge.hints.masks import Cell, Cells, House, members

Point = tuple[float, float]
"""Column and row of a centre, in cells from the middle of the first cell."""
Stops = tuple[Point, ...]

IN_SIGHT = 1
"""So many cells from where the eye rests, each way, are in view: one rest covers a block."""
_COVERS = 6


def length(stops: Sequence[Point]) -> float:
    """The sum of the distances between successive points."""
    return sum(_distance(a, b) for a, b in pairwise(stops))


def _distance(a: Point, b: Point) -> float:
    return hypot(a[0] - b[0], a[1] - b[1])


def _cell_point(layout: Layout, cell: Cell) -> Point:
    row, column = layout.place(cell)
    return float(column), float(row)


@lru_cache(maxsize=1 << 10)
def _middle(layout: Layout, cells: Cells) -> Point:
    """The middle one of a block or of a third of a line."""
    every = list(members(cells))
    return _cell_point(layout, every[len(every) // 2])


def _glances(board: Board, house: House) -> Stops:
    """Where the eye rests to read a house: see ``papernudge.hints.looks``."""
    layout = board.layout
    blank = layout.masks[house] & board.blank
    return tuple(_middle(layout, part) for part in parts_read(layout, blank, house))


# ------------------------------------------------------------ what a step looks at


def fixed(start: Point | None, points: Stops) -> Stops:
    """The stops of a way through these points: what lies in view of a stop needs none."""
    here, stops = start, list[Point]()
    for point in points:
        if here is None or max(abs(point[0] - here[0]), abs(point[1] - here[1])) > IN_SIGHT:
            stops.append(point)
            here = point
    return tuple(stops)


def way_from(start: Point | None, stops: Stops) -> float:
    """How long a way through these stops is."""
    return length(stops if start is None else (start, *stops))


@lru_cache(maxsize=1 << 16)
def _tour(start: Point | None, points: Stops) -> tuple[float, Stops]:
    """A short way past all points: the shortest of up to four, else always to the nearest."""
    if not points:
        return 0.0, ()
    if len(points) <= 4:
        return _shortest(start, points, 0.0, (), _NO_WAY)
    left, way, here = list(points), list[Point](), start
    while left:
        x, y = here or left[0]
        after = min([((p[0] - x) ** 2 + (p[1] - y) ** 2, p) for p in left])[1]
        left.remove(after)
        way += fixed(here, (after,))
        here = way[-1] if way else here
    return way_from(start, tuple(way)), tuple(way)


_NO_WAY: tuple[float, Stops] = (inf, ())


def _shortest(
    here: Point | None, left: Stops, cost: float, way: Stops, best: tuple[float, Stops]
) -> tuple[float, Stops]:
    """The shortest way past the points left, one at least, whatever their order, if it beats the
    best so far.
    """
    last = len(left) == 1
    for k, point in enumerate(left):
        further, on, after = cost, way, point
        if here is None:
            on = (*way, point)
        else:
            x, y = point[0] - here[0], point[1] - here[1]
            if -IN_SIGHT <= x <= IN_SIGHT and -IN_SIGHT <= y <= IN_SIGHT:
                after = here
            else:
                further = cost + hypot(x, y)
                if further > best[0]:
                    continue
                on = (*way, point)
        if last:
            return min(best, (further, on))
        best = _shortest(after, left[:k] + left[k + 1 :], further, on, best)
    return best


class Seen:
    """Sets of points that a deduction can be seen from, and the shortest way past one of them from
    wherever the eye comes.
    """

    __slots__ = ("_sets", "choices", "found")

    def __init__(self, choices: tuple[Stops, ...]) -> None:
        self.choices = choices
        self._sets = tuple(dict.fromkeys(tuple(sorted(set(choice))) for choice in choices))
        self.found: dict[Point | None, tuple[float, Stops]] = {}

    def shortest(self, start: Point | None) -> tuple[float, Stops]:
        """Its length and its stops; of several the first in order."""
        known = self.found.get(start)
        if known is None:
            known = self.found[start] = min(_tour(start, some) for some in self._sets)
        return known


@lru_cache(maxsize=1 << 16)
def _seen(choices: tuple[Stops, ...]) -> Seen:
    return Seen(choices)


def seen_from(board: Board, deduction: Deduction) -> Seen:
    """What a deduction can be seen from."""
    return _seen(_choices(board, deduction))


def _choices(board: Board, deduction: Deduction) -> tuple[Stops, ...]:
    """Sets of points that a deduction can be seen from."""
    held = tuple(_cell_point(board.layout, cell) for cell in members(deduction.held))
    choices: list[Stops] = [held]
    if not held and len(deduction.reads) == 1:
        return _read_from(board, deduction.reads[0], True)
    # A house that is finished at one go is read once.
    again = len(deduction.places) > 1
    for number, read in enumerate(deduction.reads):
        ways = _read_from(board, read, not (again and number))
        choices = [(*choice, *way) for choice in choices for way in ways][:_COVERS]
    return tuple(choices)


def _read_from(board: Board, read: Read, reads_house: bool) -> tuple[Stops, ...]:
    layout = board.layout
    if isinstance(read, Scan):
        need = layout.masks[read.house] & board.blank & ~read.places & ~board.premises[read.digit]
        glances = _glances(board, read.house) if reads_house else ()
        return _scan_points(layout, need, board.placed[read.digit], glances)
    places = sight_glances(board, read.cell, read.digits)
    return (tuple(_middle(layout, place) for place in places),)


@lru_cache(maxsize=1 << 16)
def _scan_points(layout: Layout, need: Cells, written: Cells, glances: Stops) -> tuple[Stops, ...]:
    covers = least_covers(layout, need, written) if need else (0,)
    return tuple(
        (*glances, *(_cell_point(layout, cell) for cell in members(cover)))
        for cover in covers[:_COVERS]
    )
