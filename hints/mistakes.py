"""What a check of a paper solve finds, as data."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.misprint import Misprint
from papernudge.hints.position import Fault


class State(StrEnum):
    """What can be said of a paper solve; the words of the JSON."""

    SOLVED = "solved"
    RIGHT_SO_FAR = "right so far"
    MISTAKEN = "mistaken"
    NOT_ONE_SOLUTION = "not one solution"


@dataclass(frozen=True, slots=True)
class Mistake:
    """A wrong entry.

    ``clashes``: cells of its houses that hold the same digit (none: it merely doesn't lead to
    the solution). ``root``: it came first, no other wrong digit forced it. ``choice``: or one of
    several that explain the others equally well came first; each of them is a ``root`` then.
    """

    cell: int
    written: int
    clashes: tuple[int, ...]
    root: bool
    choice: bool = False

    def to_json(self, layout: Layout = NEWSPAPER) -> dict[str, object]:
        """The mistake as depth 3 tells it."""
        return {
            "cell": layout.name(self.cell),
            "written": self.written,
            "clashes": layout.names(self.clashes),
            "root": self.root,
            **({"choice": True} if self.choice else {}),
        }


@dataclass(frozen=True, slots=True)
class Since:
    """What happened on the paper between two photos, cells in row order.

    ``written`` are new or changed entries, ``rubbed_out`` entries that are gone, ``wrong`` how
    many of the written ones are wrong.
    """

    written: tuple[int, ...]
    rubbed_out: tuple[int, ...]
    wrong: int


@dataclass(frozen=True, slots=True)
class Findings:
    """All there is to say about a paper solve.

    ``solution`` is None where the givens don't have exactly one; ``fault`` and ``misprint`` then
    say why and where. Cells count from 0 in row order. ``filled`` counts all digits, ``printed``
    the givens among them.
    """

    state: State
    filled: int
    mistakes: tuple[Mistake, ...] = ()
    lost_notes: tuple[int, ...] = ()
    stale_notes: tuple[tuple[int, tuple[int, ...]], ...] = ()
    roots: tuple[tuple[int, ...], ...] = ()
    first_out: int | None = None
    first_or: tuple[int, ...] = ()
    cost: int = 0
    houses: tuple[int, ...] = ()
    solution: str | None = None
    fault: Fault = Fault.NONE
    misprint: Misprint = field(default_factory=Misprint)
    since: Since | None = None
    first_wrong: int | None = None
    printed: int = 0
    layout: Layout = NEWSPAPER
