"""An order of deductions that keeps the eye's travel short: a route through the whole solve.

Travel is measured in cells: the sum of the distances between the centres of successive looks. A
look at a written digit lies on its cell, a look over a house in the middle of the house. Within a
step the looks may be taken in any order, and of several sets of witnesses as small as each other
any may be used: here as everywhere in this module the shortest way from where the eye is.

The method is beam search over what has been written, bucket by bucket of filled cells (B. T.
Lowerre, *The HARPY speech recognition system*, 1976), by looks plus a price for travel. A route
may take a line that is a look dearer than the cheapest if that lies near; over the whole solve
it never takes more looks than reading order does.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice, pairwise, permutations
from math import hypot

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction
from papernudge.hints.geometry import DIGITS_IN, HOUSE_CELLS, HOUSES, Cell, Digit, House, members
from papernudge.hints.line import Line, Step
from papernudge.hints.looks import Read, Scan, Sight, least_covers, sight_houses
from papernudge.hints.notes import board_of
from papernudge.hints.position import Position
from papernudge.hints.search import cheapest_lines
from papernudge.hints.techniques.singles import (
    finished_house,
    hidden_singles,
    last_blanks,
    naked_singles,
)
from papernudge.hints.walk import Walk, Walked, walked

Point = tuple[float, float]
"""Column and row of a centre, in cells from the middle of the first cell."""
Stops = tuple[Point, ...]

WIDTH = 24
"""How many ways to have written so many digits are followed."""
WEIGHTS = (2.0, 0.5)
"""Looks that a cell of travel is worth, one search each: the shortest route that takes no more
looks than reading order is the answer."""
DEARER = 2
"""So many looks above the cheapest single a line near by may cost."""
_COVERS = 6


@dataclass(frozen=True, slots=True)
class Route:
    """A solve and the eye's way through it.

    ``walk``: the lines in order. ``stops``: for each line the centres of its looks, in the order
    in which the eye takes them; x is columns, y rows, both counted from the middle of R1C1.
    """

    walk: Walk
    stops: tuple[Stops, ...]

    @property
    def looks(self) -> int:
        """All looks."""
        return self.walk.looks

    @property
    def travel(self) -> float:
        """The eye's way, cells."""
        return length([stop for stops in self.stops for stop in stops])


def length(stops: Sequence[Point]) -> float:
    """The sum of the distances between successive points."""
    return sum(_distance(a, b) for a, b in pairwise(stops))


def _distance(a: Point, b: Point) -> float:
    return hypot(a[0] - b[0], a[1] - b[1])


def _cell_point(cell: Cell) -> Point:
    return float(cell % 9), float(cell // 9)


def _house_point(house: House) -> Point:
    return _cell_point(HOUSE_CELLS[house][4])


# ------------------------------------------------------------ what a step looks at


@lru_cache(maxsize=1 << 16)
def _tour(start: Point | None, points: Stops) -> tuple[float, Stops]:
    """A short way through all points: the shortest of up to four, else always to the nearest."""
    if len(points) <= 4:
        ways = list(permutations(points))
        costs = [length(way if start is None else (start, *way)) for way in ways]
        best = min(range(len(ways)), key=costs.__getitem__)
        return costs[best], ways[best]
    left, way, travel = list(points), list[Point](), 0.0
    while left:
        here = way[-1] if way else start or left[0]
        after = min(left, key=lambda point: (_distance(here, point), point))
        travel += _distance(here, after)
        left.remove(after)
        way.append(after)
    return travel, tuple(way)


def _through(start: Point | None, line: _Option) -> tuple[float, Stops]:
    """The way through all steps of a line, each step's looks as they lie best."""
    travel, way = 0.0, list[Point]()
    for board, deduction in line.drawn:
        cost, stops = min(_tour(start, choice) for choice in _choices(board, deduction))
        travel += cost
        way += stops
        start = way[-1] if way else start
    return travel, tuple(way)


def _as_told(start: Point | None, line: _Option) -> tuple[float, Stops]:
    """The way with each step's looks as it is told: what is held in mind, then for each question
    the house, then its witnesses in reading order.
    """
    way = tuple(stop for drawn in line.drawn for stop in _choices(*drawn)[0])
    return length(way if start is None else (start, *way)), way


def _choices(board: Board, deduction: Deduction) -> list[Stops]:
    """Sets of points that a deduction can be seen from, all as many as it has looks."""
    held = tuple(_cell_point(cell) for cell in members(deduction.held))
    choices: list[Stops] = [held]
    # A house that is finished at one go is read once.
    again = len(deduction.places) > 1
    for number, read in enumerate(deduction.reads):
        ways = list(islice(_seen_from(board, read, not (again and number)), _COVERS))
        choices = [(*choice, *way) for choice in choices for way in ways][:_COVERS]
    return choices


def _seen_from(board: Board, read: Read, reads_house: bool) -> Iterator[Stops]:
    if isinstance(read, Scan):
        need = HOUSES[read.house] & board.blank & ~read.places & ~board.premises[read.digit]
        house = (_house_point(read.house),) if reads_house else ()
        for cover in least_covers(need, board.placed[read.digit]) if need else (0,):
            yield (*house, *map(_cell_point, members(cover)))
    else:
        yield _sight_points(board, read)


def _sight_points(board: Board, read: Sight) -> Stops:
    entered = sight_houses(board, read.cell, read.digits)
    points = [_house_point(house) for house in entered]
    need = 511 & ~read.digits & ~board.seen[entered[0]]
    for house in entered[1:]:
        for digit in DIGITS_IN[need & board.seen[house]]:
            points += map(_cell_point, members(board.placed[digit] & HOUSES[house]))
        need &= ~board.seen[house]
    return tuple(points)


# ------------------------------------------------------------ what can be taken next


@dataclass(frozen=True, slots=True)
class _Option:
    """A line that can be taken: its steps, each on its board, and what it writes. ``whole``: None
    for a line of one step whose evidence is not yet worked out.
    """

    drawn: tuple[tuple[Board, Deduction], ...]
    price: int
    looks: int
    whole: Line | None = None

    @classmethod
    def of(cls, line: Line) -> _Option:
        drawn = tuple((step.board, step.deduction) for step in line.steps)
        return cls(drawn, line.price, line.looks, line)

    @property
    def places(self) -> tuple[tuple[Cell, Digit], ...]:
        return self.drawn[-1][1].places

    @property
    def line(self) -> Line:
        if self.whole is not None:
            return self.whole.settled()
        return Line(tuple(Step.on(*step) for step in self.drawn), self.price, self.looks)


def _options(position: Position, dearer: int) -> list[_Option]:
    """What can be written next, none more than so many looks dearer than the cheapest."""
    board = board_of(position)
    found = [*last_blanks(board), *hidden_singles(board), *naked_singles(board)]
    if not found:
        return [_Option.of(line) for line in cheapest_lines(board)]
    least = min(single.looks for single in found)
    options = []
    for single in found:
        if single.looks <= least + dearer:
            last = finished_house(board, single) or single
            options.append(_Option(((board, last),), single.looks, last.looks))
    return options


# ------------------------------------------------------------ the search


@dataclass(frozen=True, slots=True)
class _State:
    """So much is written, the eye is here, and this was the way."""

    position: Position
    here: Point | None = None
    looks: int = 0
    travel: float = 0.0
    before: _State | None = None
    option: _Option | None = None
    stops: Stops = ()

    def after(self, option: _Option, told: bool = False) -> _State:
        """One line on; ``told``: its looks in the order in which it is told."""
        travel, stops = (_as_told if told else _through)(self.here, option)
        position = self.position
        for cell, digit in option.places:
            position = position.with_digit(cell, digit)
        here = stops[-1] if stops else self.here
        looks, travel = self.looks + option.looks, self.travel + travel
        return _State(position, here, looks, travel, self, option, stops)

    def back(self) -> list[_State]:
        """All that were reached by a step, first to last."""
        state, way = self, list[_State]()
        while state.before is not None:
            way.append(state)
            state = state.before
        return way[::-1]


def route(position: Position) -> Route:
    """The solve with a short way for the eye, at no more looks than ``reading_order`` takes.

    Stops where that does; empty for a position that has no solution, or many.
    """
    plain = _reading_order(position, told=False)
    found = [plain] if plain else []
    if plain is not None:
        for weight in WEIGHTS:
            end = _searched(position, weight, plain.position.blank)
            if end is not None and end.looks <= plain.looks:
                found.append(end)
    return _route(position, min(found, key=lambda state: state.travel) if found else None)


def reading_order(position: Position, told: bool = True) -> Route:
    """At each step the first of the cheapest lines in reading order.

    ``told``: its looks in the order in which it is told, else as short as they go.
    """
    return _route(position, _reading_order(position, told))


def digit_by_digit(position: Position) -> Route:
    """A greedy scan: of the cheapest lines one that writes the digit that is being looked for,
    else of the next digit that one of them writes, 1 to 9 and round again.
    """
    if position.faults:
        return _route(position, None)
    state, digit = _State(position), 1
    while state.position.blank:
        options = _options(state.position, 0)
        if not options:
            break
        turn = digit

        def order(option: _Option, turn: int = turn) -> tuple[int, object]:
            return (option.places[0][1] - turn) % 9, option.places

        option = min(options, key=order)
        digit, state = option.places[0][1], state.after(option, told=True)
    return _route(position, state)


def _reading_order(position: Position, told: bool) -> _State | None:
    if position.faults:
        return None
    state = _State(position)
    while state.position.blank:
        options = _options(state.position, 0)
        if not options:
            break
        state = state.after(min(options, key=lambda option: sorted(option.places)), told)
    return state


def _searched(position: Position, weight: float, unsolved: int) -> _State | None:
    """The best end of a beam search, None if it leaves more blank than it must."""
    buckets: dict[int, dict[str, _State]] = {position.filled.bit_count(): {"": _State(position)}}

    def cost(state: _State) -> float:
        return state.looks + weight * state.travel

    while True:
        many = min(buckets)
        states = sorted(buckets.pop(many).values(), key=cost)[:WIDTH]
        if many == 81 - unsolved.bit_count():
            return states[0]
        for state in states:
            for option in _options(state.position, DEARER):
                after = state.after(option)
                bucket = buckets.setdefault(after.position.filled.bit_count(), {})
                other = bucket.get(after.position.digits)
                if other is None or cost(after) < cost(other):
                    bucket[after.position.digits] = after
        if not buckets:
            return None


def _route(position: Position, end: _State | None) -> Route:
    solved = (end.position if end else position).blank == 0
    steps: list[Walked] = []
    written = 0
    way = end.back() if end is not None else []
    for state in way:
        assert state.before is not None
        assert state.option is not None
        line = state.option.line
        steps.append(walked(line, state.before.position, steps[-1] if steps else None, written))
        for cell, _ in line.places:
            written |= 1 << cell
    return Route(Walk(tuple(steps), solved), tuple(state.stops for state in way))
