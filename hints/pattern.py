"""What a technique sees: its digits, its cells and houses by role, the links of a chain in order.

A pattern is data: a sentence, a JSON document and a picture are made from the same one, and a
judge can ask of it whether it is what its name says.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.masks import DIGITS_IN, Cell, Cells, Digit, Digits, House, members

WITNESS = "witness"
"""Written cells that bar a digit from blanks (of a single)."""
FILLED = "filled"
"""Written cells that only take up room in the house (of a single)."""
LOCKED = "locked"
"""The places of a digit, all where two houses cross."""
SET = "set"
"""The cells of a pair, triple or quad."""
ONE_SET, OTHER_SET = "one set", "other set"
"""The cells of two almost-locked sets."""
CORNER, FIN = "corner", "fin"
"""A fish: where its base crosses its cover, and the places left over. Corners of a rectangle."""
PIVOT, PINCER = "pivot", "pincer"
"""A wing: the cell that hinges it, and the cells that bite."""
BRIDGE = "bridge"
"""The places of a digit, one of which must hold it, that hinge two pincers."""
ONE_COLOUR, OTHER_COLOUR = "one colour", "other colour"
"""The cells of a string in turn: all of one colour hold the digit, or all of the other."""
END, BETWEEN = "end", "between"
"""The cells of a chain: those of its first and last nodes, and all others; see ``links``."""
ASSUMED = "assumed"
"""The cell whose candidate a net assumes."""

ROLES = (
    WITNESS,
    FILLED,
    LOCKED,
    SET,
    ONE_SET,
    OTHER_SET,
    CORNER,
    FIN,
    PIVOT,
    PINCER,
    BRIDGE,
    ONE_COLOUR,
    OTHER_COLOUR,
    END,
    BETWEEN,
    ASSUMED,
)
"""All roles of cells."""

BASE = "base"
"""Houses that hold the pattern; those that a chain goes through, in order."""
COVER = "cover"
"""Houses in which a fish or locked places strike."""
STRONG, WEAK = "strong", "weak"


class Node(NamedTuple):
    """A digit in one cell, or in one of a few cells of a line inside a block."""

    digit: Digit
    cells: Cells

    def to_json(self, layout: Layout = NEWSPAPER) -> dict[str, Any]:
        """``{"digit": 7, "cells": ["R1C1"]}``"""
        return {"digit": self.digit, "cells": layout.names(members(self.cells))}


class Link(NamedTuple):
    """A step of a chain. ``strong``: one of the two is true; ``weak``: not both are.

    ``house``: where they meet, None where they are two digits of one cell.
    """

    kind: str
    one: Node
    other: Node
    house: House | None

    def to_json(self, layout: Layout = NEWSPAPER) -> dict[str, Any]:
        """Kind, both ends, house."""
        return {
            "kind": self.kind,
            "from": self.one.to_json(layout),
            "to": self.other.to_json(layout),
            "house": None if self.house is None else layout.house_name(self.house),
        }


class Barred(NamedTuple):
    """Blanks from which a written cell bars its digit."""

    witness: Cell
    cells: Cells

    def to_json(self, layout: Layout = NEWSPAPER) -> dict[str, Any]:
        """``{"witness": "R4C7", "cells": ["R5C7"]}``"""
        cells = layout.names(members(self.cells))
        return {"witness": layout.name(self.witness), "cells": cells}


class Pattern(NamedTuple):
    """Digits, cells by role and houses by role; ``links`` of a chain in order; ``barred``: of a
    single, which witness keeps the digit out of which blanks; ``takes``: of a wing, what each of
    its cells can take.
    """

    digits: Digits = 0
    cells: tuple[tuple[str, Cells], ...] = ()
    houses: tuple[tuple[str, tuple[House, ...]], ...] = ()
    links: tuple[Link, ...] = ()
    barred: tuple[Barred, ...] = ()
    takes: tuple[tuple[Cell, Digits], ...] = ()

    def by_role(self, role: str) -> Cells:
        """The cells of a role, none if it doesn't occur."""
        return dict(self.cells).get(role, 0)

    def houses_by_role(self, role: str) -> tuple[House, ...]:
        """The houses of a role."""
        return dict(self.houses).get(role, ())

    def in_houses(self, base: tuple[House, ...]) -> Pattern:
        """The same pattern, read in these houses."""
        return self._replace(
            houses=tuple((role, base if role == BASE else hs) for role, hs in self.houses)
        )

    @property
    def all_cells(self) -> Cells:
        """The cells of all roles."""
        mask = 0
        for _, cells in self.cells:
            mask |= cells
        return mask

    def to_json(self, layout: Layout = NEWSPAPER) -> dict[str, Any]:
        """``{"digits": [1, 4], "cells": {"set": ["R4C6", "R6C4"]}, "houses": {"base": ["block
        5"]}}``; ``links``, ``barred`` and ``takes`` where there are some.
        """
        told: dict[str, Any] = {
            "digits": list(DIGITS_IN[self.digits]),
            "cells": {role: layout.names(members(some)) for role, some in self.cells if some},
            "houses": {role: [layout.house_name(h) for h in hs] for role, hs in self.houses if hs},
        }
        if self.links:
            told["links"] = [link.to_json(layout) for link in self.links]
        if self.barred:
            told["barred"] = [barred.to_json(layout) for barred in self.barred]
        if self.takes:
            told["takes"] = {layout.name(c): list(DIGITS_IN[digits]) for c, digits in self.takes}
        return told


NO_PATTERN = Pattern()


def chain_pattern(layout: Layout, nodes: Sequence[Node], houses: Sequence[House | None]) -> Pattern:
    """A chain from its nodes, two a strong link in the order of the argument, and the house of each
    strong link (None for a cell with two digits).
    """
    links, digits, cells = list[Link](), 0, 0
    for number, house in enumerate(houses):
        one, other = nodes[2 * number], nodes[2 * number + 1]
        if number:
            before = nodes[2 * number - 1]
            links.append(Link(WEAK, before, one, meeting(layout, before, one)))
        links.append(Link(STRONG, one, other, house))
        digits |= 1 << (one.digit - 1) | 1 << (other.digit - 1)
        cells |= one.cells | other.cells
    ends = nodes[0].cells | nodes[-1].cells
    base = tuple(dict.fromkeys(link.house for link in links if link.house is not None))
    return Pattern(digits, ((END, ends), (BETWEEN, cells & ~ends)), ((BASE, base),), tuple(links))


def meeting(layout: Layout, one: Node, other: Node) -> House | None:
    """The house where two nodes see each other; None for two digits of a cell, or no house."""
    if one.cells == other.cells:
        return None
    return next(iter(layout.holding(one.cells | other.cells)), None)
