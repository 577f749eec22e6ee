"""An order of deductions that keeps the eye's travel short: a route through the whole solve.

Travel is the sum of the distances between successive *stops*, the places where the eye rests: see
``papernudge.hints.stops``. The method is beam search over what has been written, bucket by bucket
of filled cells (B. T. Lowerre, *The HARPY speech recognition system*, 1976), by looks plus a price
for travel. A route may take a line that is a few looks dearer than the cheapest if that lies near;
over the whole solve it never takes more looks than reading order does. What a cell of travel may
cost in looks, so that the looks just suffice, is found by a few searches (H. Everett, "Generalized
Lagrange multiplier method", Operations Research 11(3), 1963).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from operator import itemgetter

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction
from papernudge.hints.line import Line, Step
from papernudge.hints.looks import SWITCH
from papernudge.hints.masks import DIGITS_IN, Cell, Cells, Digit, cells_mask
from papernudge.hints.notes import board_of
from papernudge.hints.position import Position
from papernudge.hints.search import cheapest_lines
from papernudge.hints.stops import Point, Seen, Stops, fixed, length, seen_from, way_from
from papernudge.hints.techniques.singles import (
    MANY,
    WORTH_FINISHING,
    finished_house,
    naked_singles,
    single_in,
)
from papernudge.hints.walk import Walk, Walked, walked

WIDTHS = (16, 16, 30, 30, 30)
"""How many ways to have written so many digits are followed, search by search."""
WEIGHT = 2.0
"""Looks that a cell of travel is worth in the first search; more or less in those that follow."""
DEARER = 3
"""So many looks above the cheapest single a line near by may cost."""
BRANCHES = 16
"""Of the lines that can be taken next so many are tried, those that cost least from here."""


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


# ------------------------------------------------------------ what can be taken next


@dataclass(slots=True, eq=False)
class _Option:
    """A line that can be taken: what it writes, its looks, the price by which lines are compared.

    ``drawn``: its steps, each on its board; ``line``: None for a line of one step, whose evidence
    is worked out when it is taken. ``ways``: the shortest way through it from each place where the
    eye has come from; ``seen_from``: what each step can be seen from, once asked for.
    """

    places: tuple[tuple[Cell, Digit], ...]
    looks: int
    price: int
    cells: Cells
    drawn: tuple[tuple[Board, Deduction], ...]
    line: Line | None = None
    ways: dict[Point | None, tuple[float, Stops]] = field(default_factory=dict)
    seen_from: tuple[Seen, ...] = ()

    @classmethod
    def of(cls, line: Line) -> _Option:
        """A line of reasoning."""
        cells = cells_mask(cell for cell, _ in line.places)
        drawn = tuple((step.board, step.deduction) for step in line.steps)
        return cls(line.places, line.looks, line.price, cells, drawn, line)

    @classmethod
    def by(cls, board: Board, single: Deduction, price: int) -> _Option:
        """A step that needs no other."""
        cells = cells_mask(cell for cell, _ in single.places)
        return cls(single.places, single.looks, price, cells, ((board, single),))

    @property
    def seen(self) -> tuple[Seen, ...]:
        """What each of its steps can be seen from."""
        if not self.seen_from:
            self.seen_from = tuple(seen_from(*drawn) for drawn in self.drawn)
        return self.seen_from

    def taken(self, board: Board) -> Line:
        """The line, on the board on which it is taken."""
        if self.line is not None:
            return self.line.settled()
        return Line((Step.on(board, self.drawn[0][1]),), self.price, self.looks)

    def through(self, start: Point | None) -> tuple[float, Stops]:
        """The way through all its steps, each step's looks as they lie best."""
        known = self.ways.get(start)
        if known is None:
            here, travel, way = start, 0.0, list[Point]()
            for seen in self.seen:
                cost, stops = seen.shortest(here)
                travel += cost
                way += stops
                here = way[-1] if way else here
            known = self.ways[start] = travel, tuple(way)
        return known

    def as_told(self, start: Point | None) -> tuple[float, Stops]:
        """The way with its looks as it is told: what is held in mind, then for each question the
        house, then its witnesses in reading order.
        """
        way = fixed(start, tuple(point for seen in self.seen for point in seen.choices[0]))
        return way_from(start, way), way


LEAST_BY_CELL = int(SWITCH + 1.5)
"""No digit that a cell alone can take costs fewer looks."""


class _Options:
    """What can be written next, kept by all that it depends on: most of what can be said of a house
    stands from one digit to the next.
    """

    def __init__(self, dearer: int) -> None:
        """``dearer``: no line is to cost more looks than that above the cheapest."""
        self.dearer = dearer
        self.found: dict[Cells, list[_Option]] = {}
        self.from_here: dict[object, list[tuple[int, float, _Option]]] = {}
        self.options: dict[object, _Option] = {}

    def of(self, state: _State) -> list[_Option]:
        """The lines."""
        known = self.found.get(state.filled)
        if known is None:
            board = state.board
            options = list(self._by_houses(board))
            least = min((option.price for option in options), default=MANY)
            if least + self.dearer >= LEAST_BY_CELL:
                options += [_Option.by(board, one, one.looks) for one in naked_singles(board)]
                least = min((option.price for option in options), default=0)
            most = least + self.dearer
            known = [option for option in options if option.price <= most]
            known = known or [_Option.of(line) for line in cheapest_lines(board)]
            self.found[state.filled] = known
        return known

    def ways(self, state: _State) -> list[tuple[int, float, _Option]]:
        """The lines, with the looks and the travel of each from where the eye is."""
        key = state.filled, state.here
        known = self.from_here.get(key)
        if known is None:
            here = state.here
            known = self.from_here[key] = [
                (option.looks, (option.ways.get(here) or option.through(here))[0], option)
                for option in self.of(state)
            ]
        return known

    def _by_houses(self, board: Board) -> Iterator[_Option]:
        """The digits that have one place in a house, each with what follows from it there."""
        cells, placed, seen, kept = board.cells, board.placed, board.seen, self.options
        every = board.layout.all_digits
        for house, all_of_it in enumerate(board.layout.masks):
            blank = all_of_it & board.blank
            if not blank:
                continue
            digits = DIGITS_IN[every & ~seen[house]]
            # What finishes a house depends on all digits that it lacks.
            others = [placed[d] for d in digits] if len(digits) <= WORTH_FINISHING else []
            if board.noted:
                others += [board.premises[d] & all_of_it for d in digits]
            for digit in digits:
                place = cells[digit] & all_of_it
                if place & (place - 1) or not place:
                    continue
                key = (house, digit, blank, placed[digit], *others)
                option = kept.get(key)
                if option is None:
                    single = single_in(board, digit, house)
                    assert single is not None
                    step = finished_house(board, single) or single
                    option = kept[key] = _Option.by(board, step, single.looks)
                yield option


# ------------------------------------------------------------ the search


@dataclass(slots=True, eq=False)
class _State:
    """So much is written, the eye is here, and this was the way. ``noted``: whether there are notes
    on the paper.
    """

    filled: Cells
    blanks: int
    noted: bool
    here: Point | None = None
    looks: int = 0
    travel: float = 0.0
    before: _State | None = None
    option: _Option | None = None
    stops: Stops = ()
    known: Position | None = None
    drawn: Board | None = None

    @classmethod
    def at(cls, position: Position) -> _State:
        """Where a solve begins."""
        blanks = position.blank.bit_count()
        return cls(position.filled, blanks, bool(position.notes), known=position)

    @property
    def position(self) -> Position:
        """The position, worked out when it is asked for."""
        if self.known is None:
            assert self.before is not None
            assert self.option is not None
            self.known = self.before.position
            for cell, digit in self.option.places:
                self.known = self.known.with_digit(cell, digit)
        return self.known

    @property
    def board(self) -> Board:
        """The board, worked out when the state is gone on from: most never are."""
        if self.drawn is None:
            if self.noted or self.before is None:
                self.drawn = board_of(self.position)
            else:
                assert self.option is not None
                self.drawn = self.before.board
                for cell, digit in self.option.places:
                    self.drawn = self.drawn.with_digit(cell, digit)
        return self.drawn

    def after(self, option: _Option, told: bool = False) -> _State:
        """One line on; ``told``: its looks in the order in which it is told."""
        travel, stops = option.as_told(self.here) if told else option.through(self.here)
        here = stops[-1] if stops else self.here
        looks, travel = self.looks + option.looks, self.travel + travel
        filled, blanks = self.filled | option.cells, self.blanks - len(option.places)
        return _State(filled, blanks, self.noted, here, looks, travel, self, option, stops)

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
    if plain is None:
        return _route(position, None)
    options, found, weight = _Options(DEARER), [plain], WEIGHT
    low = high = 0.0
    for width in WIDTHS:
        end = _searched(position, weight, width, plain, options)
        if end is not None and end.looks <= plain.looks:
            found.append(end)
            low = max(low, weight)
        else:
            high = min(high or weight, weight)
        weight = 2 * low if not high else (low * high) ** 0.5 if low else high / 2
    return _route(position, min(found, key=lambda state: state.travel))


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
    state, digit, known = _State.at(position), 1, _Options(0)
    while state.blanks:
        options = known.of(state)
        if not options:
            break
        turn = digit

        def order(option: _Option, turn: int = turn) -> tuple[int, object]:
            return (option.places[0][1] - turn) % position.layout.side, option.places

        option = min(options, key=order)
        digit, state = option.places[0][1], state.after(option, told=True)
    return _route(position, state)


def _reading_order(position: Position, told: bool) -> _State | None:
    if position.faults:
        return None
    state, known = _State.at(position), _Options(0)
    while state.blanks:
        options = known.of(state)
        if not options:
            break
        state = state.after(min(options, key=lambda option: sorted(option.places)), told)
    return state


def _searched(
    position: Position, weight: float, width: int, plain: _State, options: _Options
) -> _State | None:
    """The best end of a beam search, None if it leaves more blank than ``plain``. ``weight``: looks
    that a cell of travel is worth; ``width``: how many ways to have written so much are followed.
    """
    start = _State.at(position)
    buckets: dict[int, dict[Cells, _Next]] = {start.blanks: {start.filled: (0.0, start, None)}}
    while buckets:
        many = max(buckets)
        nearest = sorted(buckets.pop(many).values(), key=itemgetter(0))[:width]
        for cost, before, taken in nearest:
            state = before if taken is None else before.after(taken)
            if many == plain.blanks:
                return state
            filled = state.filled
            ways = [
                (cost + looks + weight * travel, option)
                for looks, travel, option in options.ways(state)
            ]
            ways.sort(key=itemgetter(0))
            for further, option in ways[:BRANCHES]:
                bucket = buckets.setdefault(state.blanks - len(option.places), {})
                other = bucket.get(filled | option.cells)
                if other is None or further < other[0]:
                    bucket[filled | option.cells] = further, state, option
    return None


_Next = tuple[float, _State, _Option | None]
"""What a state costs, the one before it and the line that leads from there; it is made when it is
gone on from."""


def _route(position: Position, end: _State | None) -> Route:
    solved = (end.position if end else position).blank == 0 and not position.faults
    steps: list[Walked] = []
    written = 0
    way = end.back() if end is not None else []
    for state in way:
        assert state.before is not None
        assert state.option is not None
        line = state.option.taken(state.before.board)
        steps.append(walked(line, state.before.position, steps[-1] if steps else None, written))
        written |= state.option.cells
    return Route(Walk(tuple(steps), solved, position.layout), tuple(state.stops for state in way))
