"""Which wrong entries came first, and which merely follow from others.

A wrong entry is a *consequence* where the digits on the paper, wrong ones among them, force it
by a single (a naked or a hidden one): somebody who trusts the paper would write it. What is left
are *roots*. Forcing by singles only grows with more digits on the paper, so which wrong entries
follow from a set of others doesn't depend on the order in which they were written. Often several
entries explain each other: then nobody can tell from the paper which of them came first.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

from papernudge.hints.layout import Layout
from papernudge.hints.masks import SYMBOLS

Digits = Sequence[int]
"""What stands in each cell, 0 for nothing."""


def clashes_of(layout: Layout, digits: Digits, cell: int) -> set[int]:
    """The cells of a cell's houses that hold the same digit."""
    return {x for x in layout.peers[cell] if digits[x] == digits[cell]}


def root_groups(
    layout: Layout,
    digits: Digits,
    wrong: Sequence[int],
    givens: str,
    before: Collection[int] = (),
) -> tuple[tuple[int, ...], ...]:
    """A small set of wrong entries from which all the others follow, each with those that could
    stand in its place: they explain the others equally well, so one of them came first.

    Roots that nothing else forces stand alone. ``givens``: a line; what repeats a given
    follows from nothing, for the given was there to be seen. ``before``: wrong entries that
    an earlier photo shows already: where one of a group is among them, the later ones were not
    first.
    """
    wrong = list(wrong)
    spread = _Spread(layout, digits, wrong, givens)
    roots = _fewest(spread)
    groups = []
    for root in sorted(roots):
        rest = roots - {root}
        group = [w for w in wrong if w not in rest and spread.explains_all(rest | {w})]
        early = [w for w in group if w in before]
        groups.append(tuple(early or group))
    return tuple(groups)


def first_group(
    layout: Layout,
    digits: Digits,
    wrong: Sequence[int],
    givens: str,
    groups: Sequence[tuple[int, ...]],
) -> tuple[int, int]:
    """The number of the group that takes most consequences along, and how many digits go with it,
    itself included. There must be one.
    """
    spread = _Spread(layout, digits, wrong, givens)
    roots = {group[0] for group in groups}
    cost = [len(wrong) - len(spread.of(roots - {group[0]})) for group in groups]
    shown = [max(len(clashes_of(layout, digits, cell)) for cell in group) for group in groups]
    first = max(range(len(groups)), key=lambda n: (cost[n], shown[n], -groups[n][0]))
    return first, cost[first]


class _Spread:
    """What follows, by singles, from the right digits and some of the wrong ones."""

    def __init__(self, layout: Layout, digits: Digits, wrong: Sequence[int], givens: str) -> None:
        self.layout, self.digits, self.wrong = layout, digits, tuple(wrong)
        self._follows = tuple(
            w
            for w in wrong
            if not any(givens[x] == SYMBOLS[digits[w] - 1] for x in layout.peers[w])
        )
        self._known: dict[frozenset[int], frozenset[int]] = {}

    def of(self, known: Iterable[int]) -> frozenset[int]:
        """``known`` and the wrong entries that follow from it, step by step."""
        start = frozenset(known)
        if start not in self._known:
            self._known[start] = self._grown(start)
        return self._known[start]

    def explains_all(self, known: Iterable[int]) -> bool:
        """Whether all wrong entries follow from these."""
        return len(self.of(known)) == len(self.wrong)

    def _grown(self, start: frozenset[int]) -> frozenset[int]:
        reached = set(start)
        board = list(self.digits)
        for cell in self.wrong:
            if cell not in reached:
                board[cell] = 0
        left = [cell for cell in self._follows if cell not in reached]
        grew = True
        while grew:
            grew = False
            for cell in list(left):
                if _forced(self.layout, board, cell, self.digits[cell]):
                    board[cell] = self.digits[cell]
                    reached.add(cell)
                    left.remove(cell)
                    grew = True
        return frozenset(reached)


def _forced(layout: Layout, board: Digits, cell: int, digit: int) -> bool:
    """Whether a single writes ``digit`` into ``cell`` by what the board's other cells hold.

    Evidence only: that an entry of the same digit stands in one of the cell's houses does not stop
    it, since the paper may have been filled in any order.
    """
    seen = {board[x] for x in layout.peers[cell]} | {digit}
    if len(seen - {0}) == layout.side:
        return True
    return any(
        all(
            x == cell or board[x] not in (0, digit) or _sees(layout, board, x, digit, cell)
            for x in layout.house_cells[house]
        )
        for house in layout.houses_of[cell]
    )


def _sees(layout: Layout, board: Digits, cell: int, digit: int, but: int) -> bool:
    return any(board[x] == digit and x != but for x in layout.peers[cell])


def _fewest(spread: _Spread) -> set[int]:
    """A small set of wrong entries from which all the others follow.

    Those that nothing else forces must be in it. Where the remaining ones force each other,
    the one from which most follow is added, until all are reached (the smallest set is a
    hitting-set problem; the greedy choice is exact while one is enough).
    """
    wrong = set(spread.wrong)
    roots = {w for w in wrong if w not in spread.of(wrong - {w})}
    while not spread.explains_all(roots):
        left = sorted(wrong - spread.of(roots))
        roots.add(max(left, key=lambda w: (len(spread.of(roots | {w})), -w)))
    for root in sorted(roots, reverse=True):
        if spread.explains_all(roots - {root}):
            roots.discard(root)
    return roots
