"""Complete grids by likelihood: branch and bound over the rules of the grid, nothing else."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from papernudge.hints.layout import NEWSPAPER

ALL = 0x1FF


PEERS = NEWSPAPER.peers
"""For each cell those that it may not repeat."""
_COUNTS = tuple(mask.bit_count() for mask in range(512))
BITS = tuple(tuple(d for d in range(9) if mask >> d & 1) for mask in range(512))


@dataclass
class _Search:
    """Depth first, the cell with fewest values next, the likeliest value first."""

    scores: list[list[float]]
    best: list[list[float]]  # of each cell and each set of digits, as a mask: the highest score
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
        cell, fewest = -1, 10
        for at, many in enumerate(map(_COUNTS.__getitem__, masks)):
            if 1 < many < fewest:
                cell, fewest = at, many
                if many == 2:
                    break
        if cell < 0:
            value = self.bound(masks)
            self.found.append((value, [BITS[m][0] + 1 for m in masks]))
            self.found.sort(key=lambda pair: -pair[0])
            del self.found[self.count :]
            return
        row = self.scores[cell]
        for digit in sorted(BITS[masks[cell]], key=lambda d: -row[d]):
            after = assigned(masks, cell, digit)
            if after is not None:
                self.run(after)


def assigned(masks: list[int], cell: int, digit: int) -> list[int] | None:
    """The masks after writing ``digit`` (0–8) into ``cell`` and following naked singles.

    None where that empties a cell.
    """
    masks = masks.copy()
    masks[cell] = 1 << digit
    todo = [cell]
    while todo:
        here = todo.pop()
        bit = masks[here]
        for peer in PEERS[here]:
            if masks[peer] & bit:
                rest = masks[peer] & ~bit
                if not rest:
                    return None
                masks[peer] = rest
                if not rest & (rest - 1):
                    todo.append(peer)
    return masks


def _best_of_sets(scores: npt.NDArray[np.float64]) -> list[list[float]]:
    """The highest score of each set of digits: the search asks for it hundreds of thousands of
    times.
    """
    best = np.full((len(scores), 512), -np.inf)
    for mask in range(1, 512):
        lowest = BITS[mask][0]
        best[:, mask] = np.maximum(best[:, mask & (mask - 1)], scores[:, lowest])
    return best.tolist()


def best_fillings(
    scores: npt.NDArray[np.float64], count: int = 8, *, most_nodes: int
) -> tuple[list[npt.NDArray[np.int64]], bool, int]:
    """The complete grids with the greatest sum of scores.

    ``scores``: float64 (81, 9), the log-likelihood of digits 1–9 in each cell. Returns at most
    ``count`` grids, int64 (81,) of 1–9, best first, whether the search was exhaustive, and how many
    branchings it took; it gives up after ``most_nodes``. Cells of which one digit is far likelier
    than all others are assigned first where the rules allow, since they bound the rest best.
    """
    top = np.sort(scores, axis=1)
    regret = top[:, -1] - top[:, -2]
    search = _Search(scores.tolist(), _best_of_sets(scores), count, most_nodes)
    masks = [ALL] * 81
    skipped = False
    for cell in np.argsort(-regret, kind="stable"):
        if regret[cell] < 3.0:
            break
        digit = int(scores[cell].argmax())
        after = assigned(masks, int(cell), digit) if masks[cell] >> digit & 1 else None
        if after is None:
            skipped = True  # two confident cells contradict each other: leave it to the search
            continue
        masks = after
    search.run(masks)
    complete = search.nodes_left > 0 and not skipped
    grids = [np.array(grid, np.int64) for _, grid in search.found]
    return grids, complete, most_nodes - search.nodes_left
