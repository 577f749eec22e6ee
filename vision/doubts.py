"""Which cells a careful person would ask about: the fewest that make the rest safe."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from papernudge.vision.decode import Decoded
from papernudge.vision.reading import CellKind, Doubt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

SAFE = 0.99
"""A cell whose digit is less certain than this is asked about."""
SAFE_HAND = 0.97
"""So is one whose digit and hand together are less certain than this: taking a right entry for
a given, or the other way round, leads fewer astray than a wrong digit."""
WORTH_NAMING = 0.02
"""Other readings less probable than this are not offered."""


def cell_chances(decoded: Decoded) -> Floats:
    """Chance of every digit in every cell, float64 (81, 10), index 0 blank, hand aside."""
    return decoded.given + decoded.other


def chance_right(decoded: Decoded) -> Floats:
    """Posterior chance, float64 (81,), that kind and digit are as read."""
    cells = np.arange(81)
    printed = decoded.best_given > 0
    as_given = decoded.given[cells, decoded.best_given]
    as_other = decoded.other[cells, decoded.best_other]
    return np.asarray(np.where(printed, as_given, as_other))


def chance_digit(decoded: Decoded) -> Floats:
    """Posterior chance, float64 (81,), that the digit is as read, whoever's hand it is."""
    digits = np.maximum(decoded.best_given, decoded.best_other)
    return np.asarray(cell_chances(decoded)[np.arange(81), digits])


def _settled(decoded: Decoded, cell: int) -> Decoded:
    """What is left to doubt once this cell has been confirmed as read."""
    digit = int(decoded.best_given[cell])
    worlds = [(g, c) for g, c in decoded.worlds if int(g[cell]) == digit]
    total = sum(c for _, c in worlds)
    given, other = np.zeros((81, 10)), decoded.other.copy()
    for givens, chance in worlds:
        printed = np.flatnonzero(givens)
        given[printed, givens[printed]] += chance / total
    free = 1 - given.sum(axis=1)
    mass = other.sum(axis=1)
    other *= np.where(mass > 0, free / np.maximum(mass, 1e-300), 0.0)[:, None]
    other[cell] = 0.0
    if digit == 0:
        other[cell, decoded.best_other[cell]] = 1.0
    return Decoded(
        given,
        other,
        decoded.best_given,
        decoded.best_other,
        decoded.proper,
        decoded.complete,
        tuple((g, c / total) for g, c in worlds),
    )


def find_doubts(decoded: Decoded) -> tuple[Doubt, ...]:
    """Questions, most doubtful first, until every other cell is safe.

    Each question is chosen as if the earlier ones had been confirmed: where two doubtful
    cells stand or fall together, one question is enough.
    """
    doubts: list[Doubt] = []
    asked: set[int] = set()
    state = decoded
    while len(asked) < 81:
        short = np.maximum(SAFE - chance_digit(state), SAFE_HAND - chance_right(state))
        short[list(asked)] = -1.0
        cell = int(short.argmax())
        if short[cell] <= 0:
            break
        doubts.append(_doubt(decoded, state, cell))
        asked.add(cell)
        state = _settled(state, cell)
    return tuple(doubts)


def _doubt(decoded: Decoded, state: Decoded, cell: int) -> Doubt:
    """What to ask about the cell: its digit if that is unsure, else whose hand wrote it."""
    digits = cell_chances(decoded)[cell]
    digit = int(decoded.best_given[cell] or decoded.best_other[cell])
    unsure_digit = cell_chances(state)[cell, digit] < SAFE
    others = [int(d) for d in np.argsort(-digits, kind="stable") if d != digit]
    named = [d for d in others if digits[d] >= WORTH_NAMING] or others[:1]
    instead = tuple((d or None, float(digits[d])) for d in named)
    chance = float(digits[digit]) if unsure_digit else float(chance_right(decoded)[cell])
    about = "digit" if unsure_digit else "hand"
    return Doubt(cell, about, digit or None, chance, instead if unsure_digit else ())


def kind_of(decoded: Decoded, cell: int) -> tuple[CellKind, int | None]:
    """What the cell was read as."""
    if decoded.best_given[cell]:
        return CellKind.GIVEN, int(decoded.best_given[cell])
    if decoded.best_other[cell]:
        return CellKind.ENTRY, int(decoded.best_other[cell])
    return CellKind.BLANK, None
