"""Alternating chains: if not this then that, over and over."""

from __future__ import annotations

from collections.abc import Iterator
from heapq import heappop, heappush
from itertools import combinations

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction
from papernudge.hints.geometry import (
    BLOCK,
    DIGITS_IN,
    HOUSES,
    Candidates,
    Cells,
    candidates_of,
    common_peers,
    houses_holding,
    members,
    peers_of_all,
)
from papernudge.hints.looks import Read, Scan, Sight, scan_price, sight_price
from papernudge.hints.pattern import Node, Pattern, chain_pattern

ALTERNATING_CHAIN = "alternating chain"
SKYSCRAPER = "skyscraper"
TWO_STRING_KITE = "two-string kite"
TURBOT_FISH = "turbot fish"
EMPTY_RECTANGLE = "empty rectangle"

Link = tuple[int, Read, Node]
"""If a node is false this other is true: what that costs, the answer it rests on, the other."""


class Web:
    """The strong links of a board and what each node rules out.

    A house with two places for a digit (or two groups of places, each in a line and a block)
    is a strong link, so is a cell with two digits. A true node rules out all that sees it.
    """

    def __init__(self, board: Board, budget: int) -> None:
        """Links that cost more than the budget are left out."""
        self.board = board
        self.budget = budget
        self.links: dict[Node, list[Link]] = {}
        self._weak: dict[Node, Candidates] = {}
        self._after: dict[Node, list[Node]] = {}
        for digit in range(1, 10):
            for house in range(27):
                self._link_house(digit, house)
        for cell, digits in enumerate(board.digits):
            if digits.bit_count() == 2:
                one, other = DIGITS_IN[digits]
                read = Sight(cell, digits)
                looks = sight_price(board, cell, digits) + 1
                self._link(Node(one, 1 << cell), Node(other, 1 << cell), read, looks)
        self.candidates = board.candidates
        self.where = {n: candidates_of(*n) for n in self.links}

    def _link_house(self, digit: int, house: int) -> None:
        places = self.board.cells[digit] & HOUSES[house]
        count = places.bit_count()
        if not 2 <= count <= 6:
            return
        for one, other in _halves(places, house):
            looks = scan_price(self.board, digit, house, places) + count
            self._link(Node(digit, one), Node(digit, other), Scan(digit, house, places), looks)

    def _link(self, one: Node, other: Node, read: Read, looks: int) -> None:
        if looks <= self.budget:
            self.links.setdefault(one, []).append((looks, read, other))
            self.links.setdefault(other, []).append((looks, read, one))

    def weak(self, node: Node) -> Candidates:
        """What is false if a node is true."""
        known = self._weak.get(node)
        if known is None:
            digit, cells = node
            known = candidates_of(digit, peers_of_all(cells))
            if cells & (cells - 1) == 0:
                for other in range(1, 10):
                    if other != digit:
                        known |= candidates_of(other, cells)
            known &= self.candidates
            self._weak[node] = known
        return known

    def after(self, node: Node) -> list[Node]:
        """The nodes that are false if this one is true, and lead on."""
        known = self._after.get(node)
        if known is None:
            weak = self.weak(node)
            known = self._after[node] = [n for n, mask in self.where.items() if mask & ~weak == 0]
        return known


def _halves(places: Cells, house: int) -> Iterator[tuple[Cells, Cells]]:
    """Ways to part the places of a house into two single cells or crossings of line and block."""
    if places.bit_count() == 2:
        one = places & -places
        yield one, places ^ one
        return
    if house < 18:
        kinds = [BLOCK]
    else:
        kinds = [tuple(c // 9 for c in range(81)), tuple(c % 9 for c in range(81))]
    for kind in kinds:
        groups: dict[int, Cells] = {}
        for cell in members(places):
            groups[kind[cell]] = groups.get(kind[cell], 0) | 1 << cell
        if len(groups) == 2:
            one, other = groups.values()
            yield one, other
    if house >= 18:
        yield from _corner_halves(places)


def _corner_halves(places: Cells) -> Iterator[tuple[Cells, Cells]]:
    """A row and a column of a block that together hold all places, split at their corner."""
    rows = {c // 9 for c in members(places)}
    columns = {c % 9 for c in members(places)}
    for r in rows:
        for c in columns:
            row = sum(1 << x for x in members(places) if x // 9 == r)
            column = sum(1 << x for x in members(places) if x % 9 == c)
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
    web = Web(board, budget - 2)
    found: dict[object, Deduction] = {}
    for start in web.links:
        for end, looks, steps in _chains_from(web, start, budget):
            ruled_out = web.weak(start) & web.weak(end)
            if ruled_out:
                key = (frozenset(read for read, _ in steps), ruled_out)
                if key not in found:
                    found[key] = _chain(steps, ruled_out, looks)
    return list(found.values())


_Steps = tuple[tuple[Read, Node], ...]
"""For each strong link the answer that it rests on and the node that it leads to."""


def _chain(steps: _Steps, ruled_out: Candidates, looks: int) -> Deduction:
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
    pattern = chain_pattern(nodes, houses)
    name, reads = _name(pattern, nodes, houses), tuple(read for read, _ in steps)
    return Deduction(name, reads, held, (), ruled_out, looks, pattern=pattern)


def _name(pattern: Pattern, nodes: list[Node], houses: list[int | None]) -> str:
    """Chains of two strong links of one digit have names, by how the links lie: two rows or two
    columns joined along a line; a row and a column joined in a block; a line and a block. In an
    empty rectangle the block's places lie in a row and a column, more than one in either.

    The names: common practice, no source.
    """
    if len(houses) != 2 or None in houses or pattern.digits & (pattern.digits - 1):
        return ALTERNATING_CHAIN
    one, other = sorted(house // 9 for house in houses if house is not None)
    joint = pattern.links[1].house
    assert joint is not None
    grouped = [node.cells & (node.cells - 1) != 0 for node in nodes]
    if not any(grouped):
        if one == other < 2 and joint // 9 == 1 - one:
            return SKYSCRAPER
        return TWO_STRING_KITE if (one, other) == (0, 1) and joint >= 18 else TURBOT_FISH
    block = 0 if houses[0] is not None and houses[0] >= 18 else 1
    line = grouped[2 - 2 * block : 4 - 2 * block]
    if (
        one < 2
        and other == 2
        and not any(line)
        and _crossed(nodes[2 * block], nodes[2 * block + 1])
    ):
        return EMPTY_RECTANGLE
    return ALTERNATING_CHAIN


def _crossed(one: Node, other: Node) -> bool:
    """Whether one of two parts of a block lies in a row, the other in a column."""
    kinds = [
        {house // 9 for house in houses_holding(node.cells) if house < 18} for node in (one, other)
    ]
    return any(a != b for a in kinds[0] for b in kinds[1])


def _chains_from(web: Web, start: Node, budget: int) -> Iterator[tuple[Node, int, _Steps]]:
    """Cheapest chains of two links or more from one node being false to others being true."""
    dist: dict[Node, int] = {}
    back: dict[Node, list[tuple[Node | None, Read]]] = {}
    queue: list[tuple[int, Node]] = []

    def reach(node: Node, looks: int, before: Node | None, read: Read) -> None:
        if looks > budget:
            return
        known = dist.get(node)
        if known is None or looks < known:
            dist[node], back[node] = looks, [(before, read)]
            heappush(queue, (looks, node))
        elif looks == known:
            back[node].append((before, read))

    for looks, read, node in web.links[start]:
        reach(node, looks, None, read)
    weak = web.weak(start)
    done: set[Node] = set()
    while queue:
        looks, node = heappop(queue)
        if node in done or looks > dist[node]:
            continue
        done.add(node)
        if node >= start and weak & web.weak(node):
            for steps in _routes(back, node):
                if len(steps) > 1:
                    yield node, looks, steps
        for onward in web.after(node):
            for further, read, other in web.links[onward]:
                reach(other, looks + further, node, read)


def _routes(back: dict[Node, list[tuple[Node | None, Read]]], node: Node) -> Iterator[_Steps]:
    """All cheapest ways that lead to a node."""
    for before, read in back[node]:
        if before is None:
            yield ((read, node),)
        else:
            for steps in _routes(back, before):
                yield (*steps, (read, node))


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
    groups: dict[int, list[int]] = {}
    for cell, digits in enumerate(board.digits):
        if digits.bit_count() == 2:
            groups.setdefault(digits, []).append(cell)
    found = []
    for digits, cells in groups.items():
        for first, last in combinations(cells, 2):
            struck = 0
            around = common_peers((first, last))
            for digit in DIGITS_IN[digits]:
                struck |= candidates_of(digit, board.cells[digit] & around)
            if struck:
                found += [
                    _remote(board, path, digits, struck) for path in _paths(cells, first, last)
                ]
    return [d for d in found if d.looks <= budget]


def _remote(board: Board, path: tuple[int, ...], digits: int, struck: Candidates) -> Deduction:
    held = sum(1 << c for c in path)
    reads = tuple(Sight(c, digits) for c in sorted(path))
    looks = len(path) + sum(sight_price(board, c, digits) for c in path)
    pattern = _remote_pattern(path, digits)
    return Deduction("remote pairs", reads, held, (), struck & ~_at(held), looks, pattern=pattern)


def _remote_pattern(path: tuple[int, ...], digits: int) -> Pattern:
    nodes, (one, other) = list[Node](), DIGITS_IN[digits]
    for cell in path:
        nodes += [Node(one, 1 << cell), Node(other, 1 << cell)]
        one, other = other, one
    return chain_pattern(nodes, [None] * len(path))


def _at(cells: Cells) -> Candidates:
    return sum(candidates_of(d, cells) for d in range(1, 10))


def _paths(cells: list[int], first: int, last: int) -> list[tuple[int, ...]]:
    """The shortest ways of four cells or more, an even number, from first to last."""
    paths: list[tuple[int, ...]] = [(first,)]
    for length in range(2, len(cells) + 1):
        paths = [
            (*p, c) for p in paths for c in cells if c not in p and common_peers((p[-1],)) >> c & 1
        ]
        done = [p for p in paths if p[-1] == last]
        if done and length % 2 == 0 and length >= 4:
            return done
    return []
