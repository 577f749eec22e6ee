"""Complete grids by likelihood: branch and bound over the rules of the grid, nothing else."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np
import numpy.typing as npt

from papernudge.hints.layout import NEWSPAPER, Layout


@cache
def digits_in(mask: int) -> tuple[int, ...]:
    """The digits of a set of digits, lowest first."""
    return tuple(d + 1 for d in range(mask.bit_length()) if mask >> d & 1)


_COUNTS = tuple(mask.bit_count() for mask in range(512))
_TABLED = 9
"""Digits up to which the best of each set of them is held for every cell: of nine 512 a cell; of
sixteen it would be 65,536, of which a search asks for few."""


class _Best(dict[int, float]):
    """The highest score of the sets of digits that are asked for, of one cell."""

    def __init__(self, scores: Sequence[float]) -> None:
        super().__init__()
        self.scores = scores

    def __missing__(self, mask: int) -> float:
        best = self[mask] = max(self.scores[digit - 1] for digit in digits_in(mask))
        return best


@dataclass
class _Search:
    """Depth first, the cell with fewest values next, the likeliest value first."""

    scores: list[list[float]]
    best: Sequence[list[float] | _Best]  # of each cell and set of digits, a mask: the highest score
    peers: Sequence[Sequence[int]]
    many: Callable[[int], int]  # the size of a set of digits
    count: int
    nodes_left: int
    found: list[tuple[float, list[int]]] = field(default_factory=list)

    def bound(self, masks: list[int]) -> float:
        total = 0.0
        for row, mask in zip(self.best, masks, strict=True):
            total += row[mask]
        return total

    def worth(self, masks: list[int]) -> bool:
        return len(self.found) < self.count or self.bound(masks) > self.found[-1][0]

    def run(self, masks: list[int]) -> None:
        if self.nodes_left <= 0 or not self.worth(masks):
            return
        self.nodes_left -= 1
        cell, fewest = -1, 1 << 10
        for at, many in enumerate(map(self.many, masks)):
            if 1 < many < fewest:
                cell, fewest = at, many
                if many == 2:
                    break
        if cell < 0:
            value = self.bound(masks)
            self.found.append((value, [digits_in(m)[0] for m in masks]))
            self.found.sort(key=lambda pair: -pair[0])
            del self.found[self.count :]
            return
        row = self.scores[cell]
        for digit in sorted(digits_in(masks[cell]), key=lambda d: -row[d - 1]):
            after = assigned(masks, cell, digit, self.peers)
            if after is not None:
                self.run(after)


def assigned(
    masks: list[int], cell: int, digit: int, peers: Sequence[Sequence[int]]
) -> list[int] | None:
    """The masks after writing ``digit`` (from 1) into ``cell`` and following naked singles.

    ``peers``: of the layout. None where that empties a cell.
    """
    masks = masks.copy()
    masks[cell] = 1 << digit - 1
    todo = [cell]
    while todo:
        here = todo.pop()
        bit = masks[here]
        for peer in peers[here]:
            if masks[peer] & bit:
                rest = masks[peer] & ~bit
                if not rest:
                    return None
                masks[peer] = rest
                if not rest & (rest - 1):
                    todo.append(peer)
    return masks


def _best_of_sets(scores: npt.NDArray[np.float64]) -> list[list[float]] | list[_Best]:
    """The highest score of each set of digits: the search asks for it hundreds of thousands of
    times.
    """
    if scores.shape[1] > _TABLED:
        return [_Best(row) for row in scores.tolist()]
    best = np.full((len(scores), 1 << scores.shape[1]), -np.inf)
    for mask in range(1, best.shape[1]):
        lowest = digits_in(mask)[0] - 1
        best[:, mask] = np.maximum(best[:, mask & (mask - 1)], scores[:, lowest])
    rows: list[list[float]] = best.tolist()
    return rows


def best_fillings(
    scores: npt.NDArray[np.float64],
    count: int = 8,
    *,
    most_nodes: int,
    layout: Layout = NEWSPAPER,
) -> tuple[list[npt.NDArray[np.int64]], bool, int]:
    """The complete grids with the greatest sum of scores.

    ``scores``: float64 (N, n), the log-likelihood of the digits from 1 in each cell. Returns at
    most ``count`` grids, int64 (N,), best first, whether the search was exhaustive, and how many
    branchings it took; it gives up after ``most_nodes``. Cells of which one digit is far likelier
    than all others are assigned first where the rules allow, since they bound the rest best.
    """
    top = np.sort(scores, axis=1)
    regret = top[:, -1] - top[:, -2]
    peers = layout.peers
    many = _COUNTS.__getitem__ if layout.side <= _TABLED else int.bit_count
    search = _Search(scores.tolist(), _best_of_sets(scores), peers, many, count, most_nodes)
    masks = [layout.all_digits] * layout.many
    skipped = False
    for cell in np.argsort(-regret, kind="stable"):
        if regret[cell] < 3.0:
            break
        digit = int(scores[cell].argmax()) + 1
        free = masks[cell] >> digit - 1 & 1
        after = assigned(masks, int(cell), digit, peers) if free else None
        if after is None:
            skipped = True  # two confident cells contradict each other: leave it to the search
            continue
        masks = after
    search.run(masks)
    complete = search.nodes_left > 0 and not skipped
    grids = [np.array(grid, np.int64) for _, grid in search.found]
    return grids, complete, most_nodes - search.nodes_left
