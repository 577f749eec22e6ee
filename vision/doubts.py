"""Which cells a careful person would ask about."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from papernudge.vision.decode import Decoded
from papernudge.vision.hidden import Hidden
from papernudge.vision.reading import CellKind, Doubt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

SAFE = 0.99
"""A cell whose digit is less certain than this is asked about."""
SAFE_HAND = 0.97
"""So is one whose digit and hand together are less certain than this: taking a right entry for
a given, or the other way round, leads fewer astray than a wrong digit."""
INK = 0.3
"""So is an entry or a blank whose ink by itself gives less for it than this, and a mark whose ink
gives less for the hand that it is read as, however likely the rules make it: else a solver's
mistake would be mended in silence, and a misprint by what somebody wrote."""
WORTH_NAMING = 0.02
"""Other readings less probable than this are not offered."""
NONE: Mapping[int, Hidden] = MappingProxyType({})
"""No hidden cell."""


def unknown(side: int) -> float:
    """Chance of what a cell that can't be seen holds: nothing, or one of so many digits."""
    return 1 / (side + 1)


def cell_chances(decoded: Decoded) -> Floats:
    """Chance of every digit in every cell, float64 (N, n + 1), index 0 blank, hand aside."""
    return decoded.given + decoded.other


def chance_right(decoded: Decoded) -> Floats:
    """Posterior chance, float64 (N,), that kind and digit are as read."""
    cells = np.arange(len(decoded.given))
    printed = decoded.best_given > 0
    as_given = decoded.given[cells, decoded.best_given]
    as_other = decoded.other[cells, decoded.best_other]
    return np.asarray(np.where(printed, as_given, as_other))


def chance_digit(decoded: Decoded) -> Floats:
    """Posterior chance, float64 (N,), that the digit is as read, whoever's hand it is."""
    digits = np.maximum(decoded.best_given, decoded.best_other)
    return np.asarray(cell_chances(decoded)[np.arange(len(digits)), digits])


def against_ink(decoded: Decoded) -> npt.NDArray[np.bool_]:
    """Bool (N,): entries and blanks that the rest of the page decided against their ink."""
    return np.asarray((decoded.best_given == 0) & (decoded.ink < INK), np.bool_)


def against_hand(decoded: Decoded) -> npt.NDArray[np.bool_]:
    """Bool (N,): marks taken for print or for writing against what their ink says."""
    return np.asarray(decoded.ink_hand < INK, np.bool_)


def find_doubts(
    decoded: Decoded,
    hidden: Mapping[int, Hidden] = NONE,
    suspects: Collection[int] = (),
    hands: Collection[int] = (),
) -> tuple[Doubt, ...]:
    """Questions about every cell that is not safe as read, most doubtful first.

    A cell without a question is a claim that it is right, so each is judged by its own chance.
    Where cells stand or fall together, one answer may still settle them all: see
    ``GridReading.again``. ``hidden``: cells that can't be seen, and why: whatever the rules make
    likely there is not told. ``suspects``: cells to ask about whatever they were read as;
    ``hands``: marks of which to ask at least who wrote them.
    """
    short = np.maximum(SAFE - chance_digit(decoded), SAFE_HAND - chance_right(decoded))
    against = against_ink(decoded) | against_hand(decoded)
    against |= np.isin(np.arange(len(short)), [*suspects, *hands])
    short = np.where(against, np.maximum(short, 1e-9), short)
    order = [int(cell) for cell in np.argsort(-short, kind="stable")]
    asked = (c for c in order if short[c] > 0 and c not in hidden)
    seen = tuple(_doubt(decoded, c, c in suspects) for c in asked)
    side = decoded.given.shape[1] - 1
    return (*seen, *(not_seen(cell, why, side) for cell, why in sorted(hidden.items())))


def not_seen(cell: int, why: Hidden, side: int) -> Doubt:
    """The question about a cell that can't be seen; nothing speaks for any of its ``side`` digits,
    or for none.
    """
    return Doubt(cell, "seen", None, unknown(side), why=why)


def _doubt(decoded: Decoded, cell: int, suspect: bool = False) -> Doubt:
    """What to ask about the cell: its digit if that is unsure, else whose hand wrote it."""
    digits = cell_chances(decoded)[cell]
    digit = int(decoded.best_given[cell] or decoded.best_other[cell])
    if digits[digit] >= SAFE and not suspect and not against_ink(decoded)[cell]:
        return Doubt(cell, "hand", digit, float(chance_right(decoded)[cell]))
    others = [int(d) for d in np.argsort(-digits, kind="stable") if d != digit]
    named = [d for d in others if digits[d] >= WORTH_NAMING] or others[:1]
    instead = tuple((d or None, float(digits[d])) for d in named)
    return Doubt(cell, "digit", digit or None, float(digits[digit]), instead)


def kind_of(decoded: Decoded, cell: int) -> tuple[CellKind, int | None]:
    """What the cell was read as."""
    if decoded.best_given[cell]:
        return CellKind.GIVEN, int(decoded.best_given[cell])
    if decoded.best_other[cell]:
        return CellKind.ENTRY, int(decoded.best_other[cell])
    return CellKind.BLANK, None
