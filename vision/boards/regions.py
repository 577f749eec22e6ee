"""Which cells form a block: told by which lines are heavy, under the rule that each has as many
cells as there are symbols and hangs together.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations, product
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.hints.layout import beside, pieces
from papernudge.vision.tuned import tuned, whole

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Ends = tuple[int, int]
"""The two cells beside an edge."""

_MOST = tuned("boards.regions._MOST")
"""Most nats that one edge may say: ink beside it may say anything."""
_DOUBTFUL = whole("boards.regions._DOUBTFUL")
"""Least sure links of which two at a time are tried as cuts."""
_EVEN = tuned("boards.regions._EVEN")
"""Nats that even blocks are likelier than any others beforehand."""
_MISFITS = tuned("boards.regions._MISFITS")
"""Share of what edges say that may be the contrary of what a layout wants of them."""
_CLEAR = tuned("boards.regions._CLEAR")
"""Nats by which the best layout must beat the next for the latter not to be asked about."""


@dataclass(frozen=True, eq=False)
class Blocks:
    """The blocks of a board. ``of``: int64 (S, S), each cell's block, from 0; ``misfit``: share of
    what edges say that speaks against them; ``margin``: nats by which it beats ``other``, the next
    best.
    """

    of: Ints
    misfit: float
    margin: float
    other: Ints | None

    @property
    def cells(self) -> list[list[int]]:
        """The cells of each block."""
        flat = self.of.ravel()
        return [np.flatnonzero(flat == number).tolist() for number in range(flat.max() + 1)]

    @property
    def moved(self) -> Ints:
        """The cells that belong elsewhere by ``other``, (N,): those whose block shares less there
        with their own here.
        """
        if self.other is None:
            return np.zeros(0, np.int64)
        one, two = self.of.ravel(), self.other.ravel()
        shared = [(one[two == two[c]] == one[c]).sum() for c in range(len(one))]
        return np.flatnonzero(2 * np.array(shared) <= len(self.of))

    @property
    def sure(self) -> bool:
        """Whether no other layout need be asked about."""
        return self.margin > _CLEAR


def pairs(side: int) -> tuple[Ints, Ints]:
    """The two cells beside each inner edge, each int64 (2, S, S - 1): first of the edges between
    cells side by side, row by row, then of those between cells above each other, column by column.
    """
    cells = np.arange(side * side).reshape(side, side)
    one = np.stack([cells[:, :-1], cells.T[:, :-1]])
    two = np.stack([cells[:, 1:], cells.T[:, 1:]])
    return one, two


def blocks_of(heavy: npt.NDArray[np.floating[Any]]) -> Blocks | None:
    """The blocks that edges tell, by the log-odds that blocks meet there, (2, S, S - 1) as of
    :func:`pairs`; None where no parting into blocks of S cells fits.
    """
    odds = np.clip(np.asarray(heavy, np.float64), -_MOST, _MOST)
    side = odds.shape[1]
    partings: list[tuple[float, Ints]] = []
    for high, wide in shapes(side):
        of = even(side, high, wide)
        partings.append((_against(odds, of), of))
    if _plainly(partings):
        return _best(odds, partings)
    grown = _grown(odds)
    if grown is not None:
        grown = _improved(odds, grown)
        partings.append((_against(odds, grown) + _EVEN, grown))
    return _best(odds, partings)


def _plainly(partings: list[tuple[float, Ints]]) -> bool:
    """Whether one of the even partings fits so well that no other could be asked about."""
    costs = sorted(cost for cost, _ in partings)
    return bool(costs) and min([*costs[1:], _EVEN]) - costs[0] > _CLEAR


def _best(odds: Floats, partings: list[tuple[float, Ints]]) -> Blocks | None:
    """The parting that the edges speak least against, and the next best to it."""
    if not partings:
        return None
    partings.sort(key=lambda item: item[0])
    least, best = partings[0]
    misfit = _against(odds, best) / max(float(np.abs(odds).sum()), 1e-9)
    if misfit > _MISFITS:
        return None
    others = [(cost, of) for cost, of in partings[1:] if (_between(of) != _between(best)).any()]
    if even_shape(best) is None:
        others += [(_against(odds, of) + _EVEN, of) for of in _swapped(best)]
    cost, other = min(others, key=lambda item: item[0], default=(np.inf, None))
    return Blocks(best, misfit, float(cost - least), other)


def even_shape(of: Ints) -> tuple[int, int] | None:
    """Rows and columns of its blocks where all are alike rectangles, else None."""
    for high, wide in shapes(len(of)):
        if (_between(of) == _between(even(len(of), high, wide))).all():
            return high, wide
    return None


def shapes(side: int) -> list[tuple[int, int]]:
    """Rows and columns that even blocks of so many cells may have."""
    return [(high, side // high) for high in range(2, side // 2 + 1) if side % high == 0]


def even(side: int, high: int, wide: int) -> Ints:
    """Even blocks of so many rows and columns, (S, S)."""
    row, column = np.indices((side, side))
    return np.asarray(row // high * (side // wide) + column // wide, np.int64)


def _between(of: Ints) -> npt.NDArray[np.bool_]:
    """Which inner edges lie between two blocks, (2, S, S - 1) as of :func:`pairs`."""
    return np.stack([of[:, :-1] != of[:, 1:], of.T[:, :-1] != of.T[:, 1:]])


def _against(odds: Floats, of: Ints) -> float:
    """Nats that the edges speak against a parting."""
    return float(np.abs(odds)[(odds > 0) != _between(of)].sum())


def _grown(odds: Floats) -> Ints | None:
    """Blocks of S cells that hang together across thin edges, as far as edges allow; None where
    that is no parting.

    What hangs together is parted where one or two edges that seem thin join several blocks, and
    what is left is joined across the thinnest edges first, none to more than S cells
    (J. B. Kruskal's order, 1956, with a bound).
    """
    side = odds.shape[1]
    ends = zip(*(part.ravel().tolist() for part in pairs(side)), strict=True)
    edges = sorted(zip(odds.ravel().tolist(), ends, strict=True))
    home = list(range(side * side))
    for part in _hanging(range(side * side), [ends for odd, ends in edges if odd < 0]):
        for one in _cut(part, [(odd, e) for odd, e in edges if odd < 0 and e[0] in part], side):
            for cell in one:
                home[cell] = min(one)
    members = {key: [c for c in range(side * side) if home[c] == key] for key in set(home)}
    for _, (one, two) in edges:
        a, b = home[one], home[two]
        if a == b or len(members[a]) + len(members[b]) > side:
            continue
        for cell in members.pop(b):
            home[cell] = a
            members[a].append(cell)
    if any(len(cells) != side for cells in members.values()):
        return None
    number = {key: at for at, key in enumerate(dict.fromkeys(home))}
    return np.array([number[key] for key in home], np.int64).reshape(side, side)


def _hanging(cells: Iterable[int], links: Iterable[Ends]) -> list[set[int]]:
    """Cells that hang together by these links, part by part."""
    home = {cell: {cell} for cell in cells}
    for one, two in links:
        a, b = home[one], home[two]
        if a is not b:
            a |= b
            home |= dict.fromkeys(b, a)
    return list({id(part): part for part in home.values()}.values())


def _cut(part: set[int], links: list[tuple[float, Ends]], side: int) -> list[set[int]]:
    """A part of several blocks, cut at the least sure one or two of its links (log-odds and ends)
    that leave whole blocks on both sides; as it is where none do.
    """
    if len(part) <= side or len(part) % side:
        return [part]
    doubtful = sorted(range(len(links)), key=lambda at: -links[at][0])
    tried = sorted(
        [(at,) for at in doubtful] + list(combinations(doubtful[:_DOUBTFUL], 2)),
        key=lambda cut: -sum(links[at][0] for at in cut),
    )
    for cut in tried:
        left = [link for at, link in enumerate(links) if at not in cut]
        parts = _hanging(part, [ends for _, ends in left])
        if len(parts) > 1 and all(len(one) % side == 0 for one in parts):
            return [
                whole
                for one in parts
                for whole in _cut(one, [link for link in left if link[1][0] in one], side)
            ]
    return [part]


def _improved(odds: Floats, of: Ints) -> Ints:
    """The parting after exchanges of two cells, as long as one makes it fit better."""
    cost = _against(odds, of)
    for _ in range(of.size):
        better = min(((_against(odds, o), n, o) for n, o in enumerate(_swapped(of))), default=None)
        if better is None or better[0] >= cost:
            return of
        cost, _, of = better
    return of


def _swapped(of: Ints) -> Iterator[Ints]:
    """All partings in which two touching blocks have exchanged a cell each and hang together."""
    side, block = len(of), of.ravel().tolist()
    rim: dict[tuple[int, int], list[int]] = {}
    for cell, home in enumerate(block):
        for other in {block[b] for b in beside(side, cell)} - {home}:
            rim.setdefault((home, other), []).append(cell)
    members: dict[int, set[int]] = {number: set() for number in block}
    for cell, home in enumerate(block):
        members[home].add(cell)
    for (home, other), mine in rim.items():
        if home > other:
            continue
        for a, b in product(mine, rim[other, home]):
            parts = members[home] - {a} | {b}, members[other] - {b} | {a}
            if all(pieces(side, part) == 1 for part in parts):
                changed = of.copy()
                changed.ravel()[[a, b]] = other, home
                yield changed
