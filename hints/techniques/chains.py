"""Alternating chains: if not this then that, over and over."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache, partial
from heapq import heappop, heappush
from itertools import combinations

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction, paid
from papernudge.hints.layout import BLOCK, COLUMN, ROW, Layout
from papernudge.hints.looks import Read, Scan, Sight
from papernudge.hints.masks import DIGITS_IN, Candidates, Cell, Cells, Digit, House, members
from papernudge.hints.pattern import Node, Pattern, chain_pattern, meeting

ALTERNATING_CHAIN = "alternating chain"
SKYSCRAPER = "skyscraper"
TWO_STRING_KITE = "two-string kite"
TURBOT_FISH = "turbot fish"
EMPTY_RECTANGLE = "empty rectangle"


@lru_cache(maxsize=1 << 15)
def _halves(layout: Layout, places: Cells, house: House) -> tuple[tuple[Cells, Cells], ...]:
    """Ways to part the places of a house into two single cells or crossings of line and block."""
    return tuple(_parted(layout, places, house))


def _parted(layout: Layout, places: Cells, house: House) -> Iterator[tuple[Cells, Cells]]:
    if places.bit_count() == 2:
        one = places & -places
        yield one, places ^ one
        return
    compact = layout.compact[house]
    for kind in (layout.rows, layout.columns) if compact else (layout.blocks,):
        groups: dict[int, Cells] = {}
        for cell in members(places):
            groups[kind[cell]] = groups.get(kind[cell], 0) | 1 << cell
        if len(groups) == 2:
            one, other = groups.values()
            yield one, other
    if compact:
        yield from _corner_halves(layout, places)


def _corner_halves(layout: Layout, places: Cells) -> Iterator[tuple[Cells, Cells]]:
    """A row and a column of a block that together hold all places, split at their corner."""
    masks = layout.masks
    rows = {layout.rows[c]: None for c in members(places)}
    columns = {layout.columns[c]: None for c in members(places)}
    for r in rows:
        for c in columns:
            row, column = places & masks[r], places & masks[c]
            if row | column == places and row & ~column and column & ~row:
                corner = row & column
                if not corner and (row.bit_count() > 1 or column.bit_count() > 1):
                    yield row, column


def alternating_chains(board: Board, budget: int) -> list[Deduction]:
    """From *not A* it follows step by step that *B*: so A or B is true, and what sees both is out.

    Each step goes from a false candidate to a true one (only two places in a house, or two
    digits in a cell), the next from the true one to a false one that it sees. Here: if R1C1 is not
    1 it is 2, so R1C9 is not 2 but 3, so R9C9 is not 3 but 1: no 1 in R9C1.

    >>> from papernudge.hints.drawing import marked, told
    >>> print(told(alternating_chains(marked('''
    ...     12 . .  . . .  . . 23
    ...     .  . .  . . .  . . .
    ...     .  . .  . . .  . . .
    ...
    ...     .  . .  . . .  . . .
    ...     .  . .  . . .  . . .
    ...     .  . .  . . .  . . .
    ...
    ...     .  . .  . . .  . . .
    ...     .  . .  . . .  . . .
    ...     .  . .  . . .  . . 13'''), 9)))
    alternating chain, 6 looks: no 1 in R9C1
    """
    return [deduction for _, deduction in ChainHunt(board).more(board, budget)]


_Steps = Sequence[tuple[Read, Node]]
"""For each strong link the answer that it rests on and the node that it leads to."""


def _chain(layout: Layout, steps: _Steps, ruled_out: Candidates, looks: int) -> Deduction:
    held, nodes, houses = 0, list[Node](), list[int | None]()
    for read, node in steps:
        if isinstance(read, Scan):
            held |= read.places
            nodes.append(Node(node.digit, read.places & ~node.cells))
            houses.append(read.house)
        else:
            held |= 1 << read.cell
            other = DIGITS_IN[read.digits & ~(1 << (node.digit - 1))][0]
            nodes.append(Node(other, node.cells))
            houses.append(None)
        nodes.append(node)
    name, reads = _name(layout, nodes, houses), tuple([read for read, _ in steps])
    sees = partial(chain_pattern, layout, nodes, houses)
    return Deduction(name, reads, held, (), ruled_out, looks, sees=sees)


_KINDS = {ROW: 0, COLUMN: 1, BLOCK: 2}
"""The houses between which chains of one digit have names."""


def _name(layout: Layout, nodes: list[Node], houses: list[int | None]) -> str:
    """Chains of two strong links of one digit have names, by how the links lie: two rows or two
    columns joined along a line; a row and a column joined in a block; a line and a block. In an
    empty rectangle the block's places lie in a row and a column, more than one in either.

    The names: common practice, no source.
    """
    if len(houses) != 2 or None in houses or nodes[0].digit != nodes[2].digit:
        return ALTERNATING_CHAIN
    meet = meeting(layout, nodes[1], nodes[2])
    assert meet is not None
    kinds = [layout.houses[house].kind for house in (*houses, meet) if house is not None]
    if not _KINDS.keys() >= {*kinds}:
        return ALTERNATING_CHAIN
    one, other = sorted(_KINDS[kind] for kind in kinds[:2])
    joint = _KINDS[kinds[2]]
    grouped = [node.cells & (node.cells - 1) != 0 for node in nodes]
    if not any(grouped):
        if one == other < 2 and joint == 1 - one:
            return SKYSCRAPER
        return TWO_STRING_KITE if (one, other) == (0, 1) and joint == 2 else TURBOT_FISH
    k = 0 if kinds[0] == BLOCK else 2
    crossed = _crossed(layout, nodes[k].cells | nodes[k + 1].cells)
    if one < 2 and other == 2 and not any(grouped[2 - k : 4 - k]) and crossed:
        return EMPTY_RECTANGLE
    return ALTERNATING_CHAIN


def _crossed(layout: Layout, places: Cells) -> bool:
    """Whether a block's places lie in one row and one column of it."""
    return any(
        places & ~(layout.masks[row] | layout.masks[column]) == 0
        for row in {layout.rows[c] for c in members(places)}
        for column in {layout.columns[c] for c in members(places)}
    )


class ChainHunt:
    """See ``hunt``: cheapest chains from every node, all grown at once, dearer by and by.

    A house with two places for a digit (or two groups of places, each in a line and a block)
    is a strong link, so is a cell with two digits. From a node that is false each strong link leads
    to one that is true, and that to all that it rules out. What is ruled out meanwhile adds links,
    and chains that can do with them grow on from there. (Dijkstra's algorithm from each node, with
    edges that come late: nodes that they bring nearer are taken up again.)
    """

    def __init__(self, board: Board) -> None:
        """No link is known yet."""
        self.board: Board | None = None
        self.layout = board.layout
        self.cells: list[Cells] = [0] * (board.layout.side + 1)
        self.seen: dict[tuple[Digit, House], Cells] = {}
        self.pairs: set[Cell] = set()
        self.nodes: list[Node] = []
        self.number: dict[Node, int] = {}
        self.masks: list[Candidates] = []
        self.weak: list[Candidates] = []
        self.links: list[list[_Strong]] = []
        self.single: dict[int, int] = {}
        self.groups: list[list[int]] = [[] for _ in range(board.layout.side + 1)]
        self.singles: Candidates = 0
        self.after: dict[int, list[int]] = {}
        self.onward: dict[int, list[_Strong]] = {}
        self.reached: list[dict[int, _Reached]] = []
        self.queue: list[int] = []
        self.given: set[object] = set()

    def more(self, board: Board, budget: int) -> Iterator[tuple[Board, Deduction]]:
        """See ``Hunt``."""
        if board is not self.board:
            self.board = board
            self._look_at(board)
        candidates = board.candidates
        queue, reached, weak, onward = self.queue, self.reached, self.weak, self.onward
        most = (budget + 1) * _LOOK
        while queue and queue[0] < most:
            looks, ends = divmod(heappop(queue), _LOOK)
            start, node = divmod(ends, _START)
            here = reached[node][start]
            if looks > here.looks or not here.open:
                continue
            here.open = False
            if node >= start:
                ruled_out = weak[start] & weak[node] & candidates
                if ruled_out:
                    for deduction in self._told(start, node, ruled_out, looks):
                        yield board, deduction
            links = onward.get(node)
            if links is None:
                links = onward[node] = self._onward(node)
            for further, read, other in links:
                # As in ``_reach``, which takes half of all time if it is called.
                reach = looks + further
                there = reached[other].get(start)
                if there is None:
                    reached[other][start] = _Reached(reach, node, read)
                    heappush(queue, reach * _LOOK + start * _START + other)
                elif reach <= there.looks and there.by(reach, node, read):
                    heappush(queue, reach * _LOOK + start * _START + other)

    def _told(
        self, start: int, node: int, ruled_out: Candidates, looks: int
    ) -> Iterator[Deduction]:
        for steps in self._routes(start, node):
            if len(steps) > 1:
                key = frozenset([read for read, _ in steps]), ruled_out
                if key not in self.given:
                    self.given.add(key)
                    way = [(read, self.nodes[n]) for read, n in steps]
                    yield _chain(self.layout, way, ruled_out, looks)

    def _routes(self, start: int, node: int) -> Iterator[tuple[tuple[Read, int], ...]]:
        """All cheapest ways that lead to a node."""
        for before, read in self.reached[node][start].ways:
            if before < 0:
                yield ((read, node),)
            else:
                for steps in self._routes(start, before):
                    yield (*steps, (read, node))

    def _reach(self, start: int, node: int, looks: int, before: int, read: Read) -> None:
        """A way to a node: taken if none is cheaper, beside others as cheap."""
        there = self.reached[node].get(start)
        if there is None:
            self.reached[node][start] = _Reached(looks, before, read)
        elif looks > there.looks or not there.by(looks, before, read):
            return
        heappush(self.queue, looks * _LOOK + start * _START + node)

    def _look_at(self, board: Board) -> None:
        """Add the links that have come up since the last board."""
        fresh: list[tuple[int, Read, int, int]] = []
        for digit in board.layout.digits:
            cells = board.cells[digit]
            if cells != self.cells[digit]:
                self.cells[digit] = cells
                self._look_for(board, digit, fresh)
        for cell, digits in enumerate(board.digits):
            if digits.bit_count() == 2 and cell not in self.pairs:
                self.pairs.add(cell)
                sight = Sight(cell, digits)
                one, other = (Node(d, 1 << cell) for d in DIGITS_IN[digits])
                self._link(one, other, sight, paid(board, sight) + 1, fresh)
        first = not self.queue
        for looks, answer, start, end in fresh:
            self._add(looks, answer, start, end)
            if first:
                self._reach(start, end, looks, -1, answer)
            else:
                self._grow_by(looks, answer, start, end)

    def _look_for(
        self, board: Board, digit: Digit, fresh: list[tuple[int, Read, int, int]]
    ) -> None:
        """The links of a digit whose places have changed."""
        for house, all_of_it in enumerate(board.layout.masks):
            places = board.cells[digit] & all_of_it
            if self.seen.get((digit, house)) == places:
                continue
            self.seen[digit, house] = places
            if 2 <= places.bit_count() <= 6:
                halves = _halves(board.layout, places, house)
                if halves:
                    read = Scan(digit, house, places)
                    looks = paid(board, read) + places.bit_count()
                    for part, rest in halves:
                        self._link(Node(digit, part), Node(digit, rest), read, looks, fresh)

    def _link(
        self,
        one: Node,
        other: Node,
        read: Read,
        looks: int,
        fresh: list[tuple[int, Read, int, int]],
    ) -> None:
        a, b = self._node(one), self._node(other)
        fresh += [(looks, read, a, b), (looks, read, b, a)]

    def _node(self, node: Node) -> int:
        """The number of a node."""
        number = self.number.get(node)
        if number is not None:
            return number
        number = self.number[node] = len(self.nodes)
        mask = self.layout.candidates_of(*node)
        self.nodes.append(node)
        self.masks.append(mask)
        self.weak.append(_weak(self.layout, node))
        self.links.append([])
        self.reached.append({})
        for before in self._after(number):
            self.after.pop(before, None)
        if mask & (mask - 1):
            self.groups[node.digit].append(number)
        else:
            self.single[mask] = number
            self.singles |= mask
        return number

    def _add(self, looks: int, read: Read, one: int, other: int) -> None:
        """Note a link, and that all chains go on along it that come to where it begins."""
        self.links[one].append((looks, read, other))
        for before in self._after(one):
            self.onward.pop(before, None)

    def _onward(self, node: int) -> list[_Strong]:
        """Where a chain goes on from a node: what its truth makes false, and the links from there,
        none to a node to which there is a cheaper one.
        """
        every = [link for after in self._after(node) for link in self.links[after]]
        least: dict[int, int] = {}
        for looks, _, other in every:
            if looks < least.get(other, looks + 1):
                least[other] = looks
        return [link for link in every if link[0] == least[link[2]]]

    def _after(self, node: int) -> list[int]:
        """The nodes that are false if this one is true, and lead on; it is false if one of them is
        true.
        """
        known = self.after.get(node)
        if known is None:
            weak, known = self.weak[node], list[int]()
            single, rest = self.single, weak & self.singles
            while rest:
                low = rest & -rest
                known.append(single[low])
                rest ^= low
            masks, nodes = self.masks, self.nodes
            digit, cells = nodes[node]
            known += [
                n
                for n in self.groups[digit]
                # Cells of a group may be seen in houses of their own: it is met in one of all.
                if masks[n] & ~weak == 0 and self.layout.holding(nodes[n].cells | cells)
            ]
            self.after[node] = known
        return known

    def _grow_by(self, looks: int, read: Read, one: int, other: int) -> None:
        """Let all chains that have come to where a new link begins go on along it."""
        self._reach(one, other, looks, -1, read)
        for node in sorted(self._after(one)):
            for start, here in sorted(self.reached[node].items()):
                if not here.open:
                    self._reach(start, other, here.looks + looks, node, read)


_START = 1 << 15
_LOOK = _START * _START
"""What waits is one number: looks, then start, then node. There are fewer nodes than _START: of the
newspaper's grid 729 single candidates, and for each digit four groups in each of the 54 crossings
of line and block; of sixteen rows with diagonals and extra blocks not five times as many."""


class _Reached:
    """How dear the cheapest chain from a start to a node is, by which node and answer it comes
    there, by which others as well, and whether it is still to be gone on from.
    """

    __slots__ = ("before", "looks", "open", "others", "read")

    def __init__(self, looks: int, before: int, read: Read) -> None:
        self.looks, self.before, self.read, self.open = looks, before, read, True
        self.others: list[tuple[int, Read]] | None = None

    @property
    def ways(self) -> list[tuple[int, Read]]:
        """All nodes and answers by which it comes there, in the order in which they turned up."""
        return [(self.before, self.read), *(self.others or ())]

    def by(self, looks: int, before: int, read: Read) -> bool:
        """Take a way that is no dearer; whether the node must be gone on from once more."""
        if looks < self.looks:
            self.looks, self.before, self.read, self.open = looks, before, read, True
            self.others = None
            return True
        if (before, read) in self.ways:
            return False
        self.others = [*(self.others or ()), (before, read)]
        again, self.open = not self.open, True
        return again


_Strong = tuple[int, Read, int]
"""What a strong link costs, the answer it rests on, the node it leads to."""


@lru_cache(maxsize=1 << 14)
def _weak(layout: Layout, node: Node) -> Candidates:
    """What is false if a node is true."""
    digit, cells = node
    around = 0
    for house in layout.holding(cells):
        around |= layout.masks[house]
    seen = layout.candidates_of(digit, around & ~cells)
    if cells & (cells - 1) == 0:
        for other in layout.digits:
            if other != digit:
                seen |= layout.candidates_of(other, cells)
    return seen


def remote_pairs(board: Board, budget: int) -> list[Deduction]:
    """Cells that can all take the same two digits, each seeing the next: the first and the last of
    an even number of them differ, so what sees both takes neither.

    >>> from papernudge.hints.drawing import marked, told
    >>> print(told(remote_pairs(marked('''
    ...     12 . .  12 . .  . . .
    ...     .  . .  .  . .  . . .
    ...     .  . .  .  . .  . . .
    ...
    ...     .  . .  .  . .  . . .
    ...     .  . .  12 . .  . 12 .'''), 9)))
    remote pairs, 8 looks: no 1 or 2 in R1C8, R5C1
    """
    layout = board.layout
    groups: dict[int, list[int]] = {}
    for cell, digits in enumerate(board.digits):
        if digits.bit_count() == 2:
            groups.setdefault(digits, []).append(cell)
    found = []
    for digits, cells in groups.items():
        for first, last in combinations(cells, 2):
            struck = 0
            around = layout.peer_masks[first] & layout.peer_masks[last]
            for digit in DIGITS_IN[digits]:
                struck |= layout.candidates_of(digit, board.cells[digit] & around)
            if struck:
                found += [
                    _remote(board, path, digits, struck)
                    for path in _paths(layout, cells, first, last)
                ]
    return [d for d in found if d.looks <= budget]


def _remote(board: Board, path: tuple[int, ...], digits: int, struck: Candidates) -> Deduction:
    held = sum(1 << c for c in path)
    reads = tuple(Sight(c, digits) for c in sorted(path))
    looks = len(path) + sum(paid(board, read) for read in reads)
    sees = partial(_remote_pattern, board.layout, path, digits)
    return Deduction(
        "remote pairs", reads, held, (), struck & ~_at(board.layout, held), looks, sees=sees
    )


def _remote_pattern(layout: Layout, path: tuple[int, ...], digits: int) -> Pattern:
    nodes, (one, other) = list[Node](), DIGITS_IN[digits]
    for cell in path:
        nodes += [Node(one, 1 << cell), Node(other, 1 << cell)]
        one, other = other, one
    return chain_pattern(layout, nodes, [None] * len(path))


def _at(layout: Layout, cells: Cells) -> Candidates:
    return sum(layout.candidates_of(d, cells) for d in layout.digits)


def _paths(layout: Layout, cells: list[int], first: int, last: int) -> list[tuple[int, ...]]:
    """The shortest ways of four cells or more, an even number, from first to last."""
    paths: list[tuple[int, ...]] = [(first,)]
    for length in range(2, len(cells) + 1):
        paths = [
            (*p, c)
            for p in paths
            for c in cells
            if c not in p and layout.peer_masks[p[-1]] >> c & 1
        ]
        done = [p for p in paths if p[-1] == last]
        if done and length % 2 == 0 and length >= 4:
            return done
    return []
