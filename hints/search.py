"""The cheapest lines of reasoning of a position, by best-first search over effort.

A line is a few eliminations and the single they open. It is found level by level, a level being
a number of looks: all deductions whose line so far costs that much are drawn at once, the
candidates they rule out become known, and what this makes possible is priced and waits for its
level. The first single whose level comes up is the answer, and all others of that level with it.
(Lightest derivations by a generalised Dijkstra: D. E. Knuth, "A generalization of Dijkstra's
algorithm", Information Processing Letters 6(1), 1977.)

Levels are worked as wholes, so nothing depends on the order of cells, digits or techniques: a
turned or relabelled grid has the same lines. A step pays for every earlier step that it builds on,
by the cheapest set of steps that supplies what it needs.

What *cheapest* is exact over. Singles: all of them. Lines of one elimination and a single: all
patterns that the techniques find among the candidates of the digits written, for which the
techniques are asked level by level whatever has been ruled out meanwhile. Longer lines: the
cheapest derivation among those patterns and the patterns read off the candidates left at their
level. A pattern that could do with fewer of the earlier eliminations than have been made by then
is priced as found, so a longer line is cheapest among those found, not among all. Nets are cast
when nothing else gets anywhere, on everything ruled out so far.

A line with eliminations is looked for only where no single stands, however dear: on paper you write
digits, and a pattern found beside a digit that could be written is work for nothing. Each pattern
of a line weighs as PATTERN looks, so a line has as few patterns as possible before it has few
looks; one that the notes on the paper show already weighs nothing.

Of singles none is the answer that another one plainly beats (``papernudge.hints.dominance``); among
the rest looks decide, then what a coach would go by (``papernudge.hints.choice``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice
from math import ceil

from papernudge.hints.board import Board
from papernudge.hints.choice import at_a_glance, preference
from papernudge.hints.deduction import MOST_BRANCHES, Deduction, excluded, net_premises
from papernudge.hints.line import Line, Step
from papernudge.hints.looks import ELSEWHERE, PATTERN, SWITCH, Sight, price, single_looks
from papernudge.hints.masks import Candidates, Cell
from papernudge.hints.registry import FAMILIES
from papernudge.hints.techniques.almost_locked import AlmostLockedHunt, almost_locked_sets
from papernudge.hints.techniques.chains import ChainHunt, alternating_chains
from papernudge.hints.techniques.colouring import colouring
from papernudge.hints.techniques.fish import fish
from papernudge.hints.techniques.hunt import Asked, Hunt, Listed, Technique
from papernudge.hints.techniques.nets import nets
from papernudge.hints.techniques.singles import (
    MANY,
    hidden_singles,
    looks_to_first,
    naked_singles,
    singles,
)

TECHNIQUES: tuple[tuple[Technique, int], ...] = tuple(
    (one.finder, one.least) for one in FAMILIES if one.finder and not one.unique
)
"""The eliminating techniques, each with the fewest looks that one of its deductions can cost."""

UNIQUENESS: tuple[tuple[Technique, int], ...] = tuple(
    (one.finder, one.least) for one in FAMILIES if one.finder and one.unique
)
"""Those that rest on the puzzle having one solution, only on request."""

LEAST_LINE = PATTERN + 1 + min(looks for _, looks in TECHNIQUES)
"""No line with an elimination is cheaper, unless notes show it: the cheapest pattern, and one look
at what it opens."""


HUNTS: dict[Technique, Callable[[Board], Hunt]] = {
    alternating_chains: ChainHunt,
    almost_locked_sets: AlmostLockedHunt,
}
"""Techniques that go on from where they stopped; all others are asked again when the board has
changed, and keep what they find for a digit or a house as long as that lasts.
"""

GROWING: frozenset[Technique] = frozenset({fish, colouring})
"""Of these others those that find more at a larger budget, and go on from where they stopped; the
rest list all that a board has."""

AHEAD = 3
"""So many levels the techniques look at once: no result depends on it."""

NOTED = 16
"""What takes more looks than this to show is not taken as known, though a partial note leaves it
out: it may just not have been written.
"""

FAR = 60
"""From this level on techniques are asked for all they can find, at whatever price."""


NOTHING_NEEDED: frozenset[frozenset[Found]] = frozenset({frozenset()})

MOST_WAYS = 100
"""A line that can be told in more ways, all as cheap, is told in as many as this."""


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """A deduction on the way: the board it was drawn on, the looks of the whole line up to it.

    ``needed``: candidates that earlier steps must have ruled out. ``ways``: the sets of steps that
    supply them, each as cheap as the others; one empty set if nothing is needed. ``number``: which
    of its search, so that sets of them come in the same order at each run.
    """

    deduction: Deduction
    board: Board
    price: int
    needed: Candidates = 0
    ways: frozenset[frozenset[Found]] = NOTHING_NEEDED
    number: int = 0

    def __hash__(self) -> int:
        return self.number


@dataclass
class Search:
    """Best-first search from one board. ``lines`` are the cheapest ones, found by ``run``.

    ``most``: lines dearer than this are not looked for. ``limit``: what a line with eliminations
    may still cost.
    """

    board: Board
    techniques: tuple[tuple[Technique, int], ...] = TECHNIQUES
    most: int = MANY
    reasons: dict[Candidates, list[Found]] = field(default_factory=dict)
    waiting: dict[int, list[Found]] = field(default_factory=dict)
    named: dict[object, Deduction] = field(default_factory=dict)
    winners: list[Found] = field(default_factory=list)
    limit: int = MANY
    reach: dict[int, int] = field(default_factory=dict)
    hunts: dict[int, Hunt] = field(default_factory=dict)
    supplies: dict[Candidates, tuple[int, frozenset[frozenset[Found]]]] = field(
        default_factory=dict
    )
    count: int = 0

    def __post_init__(self) -> None:
        """Keep the board as it is before any step."""
        self.start = self.board

    def run(self) -> list[Found]:
        """The cheapest singles, each with the steps it builds on."""
        self.winners = [
            Found(s, self.board, looks_to_first(self.board, s)) for s in singles(self.board)
        ]
        if self.winners:
            return self.winners if self.winners[0].price <= self.most else []
        self.limit = self.most
        self._recall()
        level = 1 if self.board.known else LEAST_LINE - 1
        while level < self.limit:
            self._look_around(level)
            ripe = sorted(price for price in self.waiting if price <= level)
            if ripe:
                self._draw([found for price in ripe for found in self.waiting.pop(price)])
            elif level < FAR + PATTERN:
                level += 1
            elif self.waiting:
                level = min(self.waiting)
            elif not self._cast_nets():
                break
        return self.winners

    def _recall(self) -> None:
        """What partial notes show to be known costs one look, at the note, if it can be shown: at
        once by what takes no more than ``NOTED`` looks, by chains and almost-locked sets as they
        come up.
        """
        if not self.board.known:
            return
        for kind, (technique, _) in enumerate(self.techniques):
            if technique not in HUNTS:
                for board, deduction in self._hunt(kind).more(self.board, NOTED):
                    self._take(deduction, board)

    def _take(self, deduction: Deduction, board: Board) -> None:
        """Wait with a deduction; what the notes show of it is waiting for one look."""
        shown = deduction.ruled_out & self.board.known
        if shown:
            self._add(replace(deduction, ruled_out=shown, looks=1), board)
        self._add(deduction, board)

    def _cast_nets(self) -> bool:
        """The last resort: nets, with as few branches as get anywhere. A net may build on all that
        was ruled out before, as far as it needs that.
        """
        left = self.board.candidates
        for branches in range(MOST_BRANCHES + 1):
            for board in (self.start, self.board):
                for deduction in nets(board, branches, left):
                    self._wait(self._priced(deduction, board))
                if self.waiting:
                    return True
        return False

    def _look_around(self, level: int) -> None:
        """Ask each technique for what it can find up to a few looks above the level."""
        spare = level if self.board.known else level - PATTERN
        # All up to the same looks, so that a pattern meets its techniques in order.
        ahead = spare - spare % AHEAD + AHEAD - 1
        budget = min(ahead if spare < FAR else MANY, self.limit - 1 - (level - spare))
        for kind, (_, least) in enumerate(self.techniques):
            if least > spare or self.reach.get(kind, 0) >= budget:
                continue
            self.reach[kind] = budget
            for board, deduction in self._hunt(kind).more(self.board, budget):
                self._take(deduction, board)

    def _hunt(self, kind: int) -> Hunt:
        hunt = self.hunts.get(kind)
        if hunt is None:
            technique = self.techniques[kind][0]
            if technique in HUNTS:
                hunt = HUNTS[technique](self.start)
            else:
                asked = Asked if technique in GROWING else Listed
                hunt = asked(technique, self.start)
            self.hunts[kind] = hunt
        return hunt

    def _add(self, deduction: Deduction, board: Board) -> None:
        # A pattern bears one name, that of the first technique that sees it: two cells that share
        # two digits are a naked pair, and no chain of two. What it strikes it strikes once.
        first = self.named.setdefault((frozenset(deduction.reads), deduction.held), deduction)
        if first is not deduction and not deduction.ruled_out & ~first.ruled_out:
            return
        found = self._priced(deduction, board)
        if found.price < self.limit:
            self._wait(found)

    def _wait(self, found: Found) -> None:
        self.waiting.setdefault(found.price, []).append(found)

    def _priced(self, deduction: Deduction, board: Board) -> Found:
        """A deduction drawn on a board, with the cheapest steps that supply what it builds on."""
        needed = self._needed(deduction, board)
        looks, ways = self._supply(needed)
        looks += deduction.looks + weight(board, deduction)
        self.count += 1
        return Found(deduction, board, looks, needed, ways, self.count)

    def _needed(self, deduction: Deduction, board: Board) -> Candidates:
        """What steps before must have ruled out for it, or notes."""
        if not board.gone:
            return 0
        if not deduction.reads:
            return net_premises(board, deduction).earlier
        return excluded(board.layout, deduction.reads) & board.gone

    def _supply(self, needed: Candidates) -> tuple[int, frozenset[frozenset[Found]]]:
        """The cheapest sets of drawn steps that rule out all of ``needed``, and their looks."""
        if not needed:
            return 0, NOTHING_NEEDED
        known = self.supplies.get(needed)
        if known is not None:
            return known
        # Any candidate must be ruled out by one of its reasons: take one with few of them.
        hardest = min(_bits(needed), key=lambda bit: len(self.reasons[bit]))
        best, cheapest = MANY, list[tuple[Found, frozenset[frozenset[Found]]]]()
        for found in self.reasons[hardest]:
            if found.price > best:
                continue
            looks, further = self._supply(needed & ~found.deduction.ruled_out)
            looks += found.price
            if looks < best:
                best, cheapest = looks, []
            if looks == best:
                cheapest.append((found, further))
        ways = set[frozenset[Found]]()
        for found, further in cheapest:
            if len(ways) < MOST_WAYS:
                ways |= {way | {found} for way in further}
        self.supplies[needed] = best, frozenset(ways)
        return self.supplies[needed]

    def _draw(self, batch: list[Found]) -> None:
        """Rule out what these deductions claim, and see which singles that opens."""
        drawn = 0
        for found in batch:
            drawn |= found.deduction.ruled_out
        fresh = drawn & ~self.board.gone
        for found in batch:
            for bit in _bits(found.deduction.ruled_out):
                self.reasons.setdefault(bit, []).append(found)
        # What needs none of these is supplied as before.
        self.supplies = {need: best for need, best in self.supplies.items() if not need & drawn}
        if fresh:
            self.board = self.board.without(fresh)
            self.reach = {}
        for technique in (hidden_singles, naked_singles):
            for single in technique(self.board, MANY):
                self._opened(self._priced(single, self.board))

    def _opened(self, found: Found) -> None:
        if not found.needed or found.price > self.limit + SWITCHED:
            return
        found = after_patterns(found)
        if found.price > self.limit:
            return
        if self.winners and found.price < self.winners[0].price:
            self.winners = []
        self.limit = found.price
        self.winners.append(found)


def weight(board: Board, deduction: Deduction) -> int:
    """What a pattern weighs beside its looks; nothing if notes show it, nor a single."""
    if not deduction.ruled_out & ~board.known:
        return 0
    return PATTERN


SWITCHED = ceil(SWITCH)


def after_patterns(found: Found) -> Found:
    """A single priced by what is in hand once its patterns are found: who has been asking what
    cells can take need not go over to that, and who must look beyond the houses that hold a pattern
    pays ELSEWHERE. Of ways that supply it those stay that leave it cheapest.
    """
    (cell, _), read = found.deduction.places[0], found.deduction.reads[0]
    sight, layout = isinstance(read, Sight), found.board.layout
    costs: dict[tuple[int, int], set[frozenset[Found]]] = {}
    for way in found.ways:
        patterns = [step.deduction for step in way]
        asked = sight and any(isinstance(r, Sight) for one in patterns for r in one.reads)
        near = any(
            layout.masks[house] >> cell & 1
            for one in patterns
            for house in layout.holding(one.held)
        )
        less = int(single_looks(found.board, read) + 0.5) - price(found.board, read) if asked else 0
        costs.setdefault(((0 if near else ELSEWHERE) - less, less), set()).add(way)
    (change, less), ways = min(costs.items(), key=lambda item: item[0])
    deduction = replace(found.deduction, looks=found.deduction.looks - less)
    return replace(found, deduction=deduction, price=found.price + change, ways=frozenset(ways))


def _bits(mask: int) -> Iterator[int]:
    while mask:
        low = mask & -mask
        yield low
        mask ^= low


def cheapest_lines(board: Board, uniqueness: bool = False, most: int = MANY) -> list[Line]:
    """All lines of the least price.

    None where the least price is above ``most``: what is dear takes long to find.
    """
    lines: dict[object, Line] = {}
    techniques = TECHNIQUES + (UNIQUENESS if uniqueness else ())
    for found in Search(board, techniques, most).run():
        for choice in islice(_choices([found], {}), MOST_WAYS):
            line = _line(found, choice)
            lines.setdefault(line.key, line)
    return list(lines.values())


_Choice = dict[Found, frozenset[Found]]


def _choices(open_: list[Found], chosen: _Choice) -> Iterator[_Choice]:
    """Each way to choose, for every step of a line, the steps that supply it."""
    if not open_:
        yield chosen
        return
    step, rest = open_[-1], open_[:-1]
    if step in chosen:
        yield from _choices(rest, chosen)
        return
    for way in step.ways:
        yield from _choices([*rest, *way], {**chosen, step: way})


def _line(found: Found, choice: _Choice) -> Line:
    """The steps of a line, cheapest first, each claiming only what others need of it."""
    if not found.needed:
        last = found.deduction
        return Line((Step.on(found.board, last),), found.price, last.looks)
    used = dict.fromkeys(choice, 0)
    for step, way in choice.items():
        for supplier in way:
            used[supplier] |= step.needed & supplier.deduction.ruled_out
    earlier = sorted((s for s in choice if s is not found), key=lambda s: (s.price, used[s]))
    layout = found.board.layout
    steps = [Step.on(step.board, step.deduction.only(used[step], layout)) for step in earlier]
    looks = sum(step.deduction.looks for step in steps) + found.deduction.looks
    return Line((*steps, Step.on(found.board, found.deduction)), found.price, looks)


def nearest(lines: Sequence[Line], last: Sequence[Cell]) -> Line | None:
    """Of lines as cheap as each other the one that a coach would take: see
    ``papernudge.hints.choice``. ``last``: the cells written last, the latest at the end. None of no
    lines.
    """
    if len(lines) < 2:
        return lines[0] if lines else None
    glances = [at_a_glance(line) for line in lines]
    least = min(glances)
    close = [line for line, glance in zip(lines, glances, strict=True) if glance == least]
    return min(close, key=lambda line: preference(line, last))
