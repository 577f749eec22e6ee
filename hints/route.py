"""An order of deductions that keeps the eye's travel short: a route through the whole solve.

Travel is measured in cells: the sum of the distances between the centres of successive *stops*,
the places where the eye rests. A witness is looked at on its cell; a glance rests in the middle of
its block or of its third of a line. One rest covers about a block (``papernudge.hints.looks``):
what lies in view of a stop, a cell away at most, needs no other. Within a step the stops may be
taken in any order, and of several sets of witnesses as small as each other any may be used: here
as everywhere in this module the shortest way from where the eye is.

The method is beam search over what has been written, bucket by bucket of filled cells (B. T.
Lowerre, *The HARPY speech recognition system*, 1976), by looks plus a price for travel. A route
may take a line that is a look dearer than the cheapest if that lies near; over the whole solve
it never takes more looks than reading order does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise, permutations
from math import hypot

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction
from papernudge.hints.geometry import HOUSES, THIRDS, Cell, Cells, Digit, House, members
from papernudge.hints.line import Line, Step
from papernudge.hints.looks import Read, Scan, least_covers, sight_glances
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
WEIGHTS = (6.0, 0.5)
"""Looks that a cell of travel is worth, one search each: the shortest route that takes no more
looks than reading order is the answer."""
DEARER = 3
"""So many looks above the cheapest single a line near by may cost."""
IN_SIGHT = 1
"""So many cells from where the eye rests, each way, are in view: one rest covers a block."""
BRANCHES = 8
"""Of the lines that can be taken next so many are tried, those that cost least from here."""
_COVERS = 6


@dataclass(frozen=True, slots=True)
class Route:
    """A solve and the eye's way through it.

    ``walk``: the lines in order. ``stops``: for each line where the eye rests, in the order in
    which it does; x is columns, y rows, both counted from the middle of R1C1.
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


@lru_cache(maxsize=1 << 10)
def _middle(cells: Cells) -> Point:
    """The middle one of a block or of a third of a line."""
    every = list(members(cells))
    return _cell_point(every[len(every) // 2])


def _glances(board: Board, house: House) -> Stops:
    """Where the eye rests to read a house: see ``papernudge.hints.looks``."""
    if house >= 18:
        return (_middle(HOUSES[house]),)
    blank = HOUSES[house] & board.blank
    lone = blank & (blank - 1) == 0
    return tuple(_middle(third) for third in THIRDS[house] if lone or third & blank)


# ------------------------------------------------------------ what a step looks at


def _fixed(start: Point | None, points: Stops) -> Stops:
    """The stops of a way through these points: what lies in view of a stop needs none."""
    here, stops = start, list[Point]()
    for point in points:
        if here is None or max(abs(point[0] - here[0]), abs(point[1] - here[1])) > IN_SIGHT:
            stops.append(point)
            here = point
    return tuple(stops)


def _from(start: Point | None, stops: Stops) -> float:
    return length(stops if start is None else (start, *stops))


@lru_cache(maxsize=1 << 16)
def _tour(start: Point | None, points: Stops) -> tuple[float, Stops]:
    """A short way past all points: the shortest of up to four, else always to the nearest."""
    if len(points) <= 4:
        ways = (_fixed(start, way) for way in permutations(points))
        return min((_from(start, way), way) for way in ways)
    left, way, here = list(points), list[Point](), start
    while left:
        now = here or left[0]
        after = min(left, key=lambda point: (_distance(now, point), point))
        left.remove(after)
        way += _fixed(here, (after,))
        here = way[-1] if way else here
    return _from(start, tuple(way)), tuple(way)


class _Seen:
    """Sets of points that a deduction can be seen from, and the shortest way past one of them from
    wherever the eye comes.
    """

    __slots__ = ("_found", "choices")

    def __init__(self, choices: tuple[Stops, ...]) -> None:
        self.choices = choices
        self._found: dict[Point | None, tuple[float, Stops]] = {}

    def shortest(self, start: Point | None) -> tuple[float, Stops]:
        """Its length and its stops; of several the first in order."""
        known = self._found.get(start)
        if known is None:
            known = self._found[start] = min(_tour(start, choice) for choice in self.choices)
        return known


_seen = lru_cache(maxsize=1 << 16)(_Seen)


def _through(start: Point | None, line: _Option) -> tuple[float, Stops]:
    """The way through all steps of a line, each step's looks as they lie best."""
    travel, way = 0.0, list[Point]()
    for seen in line.seen:
        cost, stops = seen.shortest(start)
        travel += cost
        way += stops
        start = way[-1] if way else start
    return travel, tuple(way)


def _as_told(start: Point | None, line: _Option) -> tuple[float, Stops]:
    """The way with each step's looks as it is told: what is held in mind, then for each question
    the house, then its witnesses in reading order.
    """
    way = _fixed(start, tuple(point for seen in line.seen for point in seen.choices[0]))
    return _from(start, way), way


def _choices(board: Board, deduction: Deduction) -> tuple[Stops, ...]:
    """Sets of points that a deduction can be seen from."""
    held = tuple(_cell_point(cell) for cell in members(deduction.held))
    choices: list[Stops] = [held]
    if not held and len(deduction.reads) == 1:
        return _seen_from(board, deduction.reads[0], True)
    # A house that is finished at one go is read once.
    again = len(deduction.places) > 1
    for number, read in enumerate(deduction.reads):
        ways = _seen_from(board, read, not (again and number))
        choices = [(*choice, *way) for choice in choices for way in ways][:_COVERS]
    return tuple(choices)


def _seen_from(board: Board, read: Read, reads_house: bool) -> tuple[Stops, ...]:
    if isinstance(read, Scan):
        need = HOUSES[read.house] & board.blank & ~read.places & ~board.premises[read.digit]
        glances = _glances(board, read.house) if reads_house else ()
        return _scan_points(need, board.placed[read.digit], glances)
    return (tuple(_middle(place) for place in sight_glances(board, read.cell, read.digits)),)


@lru_cache(maxsize=1 << 16)
def _scan_points(need: Cells, written: Cells, glances: Stops) -> tuple[Stops, ...]:
    covers = least_covers(need, written) if need else (0,)
    return tuple((*glances, *map(_cell_point, members(cover))) for cover in covers[:_COVERS])


# ------------------------------------------------------------ what can be taken next


@dataclass(slots=True, eq=False)
class _Option:
    """A line that can be taken: its steps, each on its board, and what it writes. ``whole``: None
    for a line of one step whose evidence is not yet worked out. ``seen_from``: what each step
    can be seen from, once asked for.
    """

    drawn: tuple[tuple[Board, Deduction], ...]
    price: int
    looks: int
    whole: Line | None = None
    seen_from: tuple[_Seen, ...] = ()

    @property
    def seen(self) -> tuple[_Seen, ...]:
        if not self.seen_from:
            self.seen_from = tuple(_seen(_choices(*drawn)) for drawn in self.drawn)
        return self.seen_from

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


@dataclass(slots=True, eq=False)
class _State:
    """So much is written, the eye is here, and this was the way."""

    digits: str
    blanks: int
    here: Point | None = None
    looks: int = 0
    travel: float = 0.0
    before: _State | None = None
    option: _Option | None = None
    stops: Stops = ()
    known: Position | None = None

    @classmethod
    def at(cls, position: Position) -> _State:
        """Where a solve begins."""
        return cls(position.digits, position.blank.bit_count(), known=position)

    @property
    def position(self) -> Position:
        """The position, worked out when the state is gone on from: most never are."""
        if self.known is None:
            assert self.before is not None
            assert self.option is not None
            self.known = self.before.position
            for cell, digit in self.option.places:
                self.known = self.known.with_digit(cell, digit)
        return self.known

    def after(self, option: _Option, told: bool = False) -> _State:
        """One line on; ``told``: its looks in the order in which it is told."""
        travel, stops = (_as_told if told else _through)(self.here, option)
        digits = self.digits
        for cell, digit in option.places:
            digits = f"{digits[:cell]}{digit}{digits[cell + 1 :]}"
        here = stops[-1] if stops else self.here
        looks, travel = self.looks + option.looks, self.travel + travel
        blanks = self.blanks - len(option.places)
        return _State(digits, blanks, here, looks, travel, self, option, stops)

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
    known: dict[str, list[_Option]] = {}
    if plain is not None:
        for weight in WEIGHTS:
            end = _searched(position, weight, plain.position.blank, known)
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
    state, digit = _State.at(position), 1
    while state.blanks:
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
    state = _State.at(position)
    while state.blanks:
        options = _options(state.position, 0)
        if not options:
            break
        state = state.after(min(options, key=lambda option: sorted(option.places)), told)
    return state


def _searched(
    position: Position, weight: float, unsolved: int, known: dict[str, list[_Option]]
) -> _State | None:
    """The best end of a beam search, None if it leaves more blank than it must. ``known``: what can
    be written next, by what is written.
    """
    start = _State.at(position)
    buckets: dict[int, dict[str, _State]] = {start.blanks: {"": start}}

    def cost(state: _State) -> float:
        return state.looks + weight * state.travel

    while True:
        many = max(buckets)
        states = sorted(buckets.pop(many).values(), key=cost)[:WIDTH]
        if many == unsolved.bit_count():
            return states[0]
        for state in states:
            options = known.get(state.digits)
            if options is None:
                options = known[state.digits] = _options(state.position, DEARER)
            for after in sorted(map(state.after, options), key=cost)[:BRANCHES]:
                bucket = buckets.setdefault(after.blanks, {})
                other = bucket.get(after.digits)
                if other is None or cost(after) < cost(other):
                    bucket[after.digits] = after
        if not buckets:
            return None


def _route(position: Position, end: _State | None) -> Route:
    solved = (end.position if end else position).blank == 0 and not position.faults
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
