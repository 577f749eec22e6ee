"""Is the paper right so far? Mistakes, what caused them, and four depths of telling.

What came first among wrong entries is told by ``papernudge.hints.roots``, where printed digits
went wrong by ``papernudge.hints.misprint``, the sentences stand in
``papernudge.hints.check_words``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any

from papernudge.hints.catalogue import Words
from papernudge.hints.check_words import sentence_of
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.masks import DIGITS_IN, SYMBOLS, VALUES
from papernudge.hints.misprint import find_misprint
from papernudge.hints.mistakes import Findings, Mistake, Since, State
from papernudge.hints.position import Position
from papernudge.hints.roots import clashes_of, first_group, root_groups
from papernudge.hints.words import ENGLISH

__all__ = [
    "Check",
    "Checked",
    "Checked1",
    "Checked2",
    "Checked3",
    "Checked4",
    "Findings",
    "Mistake",
    "Since",
    "State",
    "check",
]


@dataclass(frozen=True, slots=True)
class Checked1:
    """Depth 1: the state, how much is filled, and how many entries are wrong.

    ``misprint`` and ``misprinted``: where the givens don't have exactly one solution, what kind
    of misprint was located (see ``Misprint``) and how many printed digits are in question.
    """

    depth: int
    state: State
    filled: int
    wrong: int
    since: Since | None
    misprint: str
    misprinted: int
    sentence: str
    layout: Layout = field(default=NEWSPAPER, kw_only=True)

    def to_json(self) -> dict[str, object]:
        """The fields of this depth under the names of the JSON."""
        out: dict[str, object] = {
            "state": str(self.state),
            "filled": self.filled,
            "depth": self.depth,
            "sentence": self.sentence,
            "wrong": self.wrong,
        }
        if self.since is not None:
            out["since"] = {
                "written": self.layout.names(self.since.written),
                "rubbed_out": self.layout.names(self.since.rubbed_out),
                "wrong": self.since.wrong,
            }
        if self.misprint:
            out["misprint"] = self._misprint_json()
        return out

    def _misprint_json(self) -> dict[str, object]:
        return {"kind": self.misprint, "count": self.misprinted}


@dataclass(frozen=True, slots=True)
class Checked2(Checked1):
    """Depth 2 adds the fewest houses that hold all wrong entries, or those where a
    misprint shows.
    """

    houses: tuple[int, ...]

    def _misprint_json(self) -> dict[str, object]:
        houses = [self.layout.house_name(h) for h in self.houses]
        return {**Checked1._misprint_json(self), "houses": houses}

    def to_json(self) -> dict[str, object]:
        """The fields of this depth under the names of the JSON."""
        return {
            **Checked1.to_json(self),
            "houses": [self.layout.house_name(h) for h in self.houses],
        }


@dataclass(frozen=True, slots=True)
class Checked3(Checked2):
    """Depth 3 adds the wrong cells, and cells whose notes contradict the grid.

    ``lost_notes``: the right digit isn't among them. ``stale_notes``: noted digits that stand in
    sight of their cell already. ``roots``: what came first, a group each with those that may have
    come first in its place. ``first_out``: the root to rub out first, ``cost`` how many digits
    go with it, itself included; ``first_or``: roots that may have come first in its place.
    ``first_wrong``: with an earlier photo, the first wrong digit written since, where one can be
    named. ``misprinted_cells``: the printed digits in question.
    """

    mistakes: tuple[Mistake, ...]
    lost_notes: tuple[int, ...]
    stale_notes: tuple[tuple[int, tuple[int, ...]], ...]
    roots: tuple[tuple[int, ...], ...]
    first_out: int | None
    first_or: tuple[int, ...]
    cost: int
    first_wrong: int | None
    misprinted_cells: tuple[int, ...]

    def to_json(self) -> dict[str, object]:
        """The fields of this depth under the names of the JSON."""
        out: dict[str, Any] = {
            **Checked2.to_json(self),
            "mistakes": [m.to_json(self.layout) for m in self.mistakes],
            "lost_notes": self.layout.names(self.lost_notes),
        }
        if self.stale_notes:
            out["stale_notes"] = {
                self.layout.name(c): list(digits) for c, digits in self.stale_notes
            }
        if self.first_out is not None:
            out["roots"] = [self.layout.names(group) for group in self.roots]
            out["first_out"] = {"cell": self.layout.name(self.first_out), "cost": self.cost}
            if self.first_or:
                out["first_out"]["or"] = self.layout.names(self.first_or)
        if self.first_wrong is not None:
            out["first_wrong"] = self.layout.name(self.first_wrong)
        return out

    def _misprint_json(self) -> dict[str, object]:
        cells = self.layout.names(self.misprinted_cells)
        return {**Checked2._misprint_json(self), "cells": cells}


@dataclass(frozen=True, slots=True)
class Checked4(Checked3):
    """Depth 4 adds the right digits.

    One for each mistake, in the same order, and one for each cell of ``lost_notes``.
    ``printed_instead``: the given whose change mends the puzzle, with the digits that would.
    """

    right: tuple[int, ...]
    right_notes: tuple[int, ...]
    printed_instead: tuple[tuple[int, tuple[int, ...]], ...]

    def to_json(self) -> dict[str, object]:
        """The fields of this depth under the names of the JSON."""
        out = Checked3.to_json(self)
        found = Checked3.to_json(self)["mistakes"]
        assert isinstance(found, list)
        out["mistakes"] = [{**m, "right": d} for m, d in zip(found, self.right, strict=True)]
        if self.lost_notes:
            pairs = zip(self.lost_notes, self.right_notes, strict=True)
            out["right_notes"] = {self.layout.name(c): d for c, d in pairs}
        return out

    def _misprint_json(self) -> dict[str, object]:
        instead = {self.layout.name(c): list(digits) for c, digits in self.printed_instead}
        return {**Checked3._misprint_json(self), "instead": instead}


Checked = Checked1 | Checked2 | Checked3 | Checked4


@dataclass(frozen=True, slots=True)
class Check(Findings):
    """All there is to say about a paper solve; :meth:`at` gives the part that was asked for."""

    @property
    def deepest(self) -> int:
        """The depth beyond which nothing more is told."""
        if self.mistakes or self.lost_notes:
            return 4
        if self.misprint.kind:
            return 4 if self.misprint.instead else 3
        return 3 if self.stale_notes else 1

    def at(self, depth: int, words: Words = ENGLISH) -> Checked:
        """What depth 1, 2, 3 or 4 tells, in a type that holds nothing deeper, said in ``words``.

        Raises ValueError for any other depth.
        """
        if depth not in (1, 2, 3, 4):
            raise ValueError(f"depth is 1, 2, 3 or 4, not {depth}")
        one: dict[str, Any] = {
            "depth": depth,
            "state": self.state,
            "filled": self.filled,
            "wrong": len(self.mistakes),
            "since": self.since,
            "misprint": self.misprint.kind,
            "misprinted": len(self.misprint.cells),
            "sentence": sentence_of(self, depth, words.on(self.layout)),
            "layout": self.layout,
        }
        if depth == 1:
            return Checked1(**one)
        if depth == 2:
            return Checked2(**one, houses=self.houses)
        three: dict[str, Any] = {
            **one,
            "houses": self.houses,
            "mistakes": self.mistakes,
            "lost_notes": self.lost_notes,
            "stale_notes": self.stale_notes,
            "roots": self.roots,
            "first_out": self.first_out,
            "first_or": self.first_or,
            "cost": self.cost,
            "first_wrong": self.first_wrong,
            "misprinted_cells": self.misprint.cells,
        }
        if depth == 3:
            return Checked3(**three)
        solution = self.solution or ""
        right = tuple(VALUES[solution[m.cell]] for m in self.mistakes)
        notes = tuple(VALUES[solution[c]] for c in self.lost_notes)
        return Checked4(
            **three, right=right, right_notes=notes, printed_instead=self.misprint.instead
        )


def check(position: Position, earlier: Position | None = None) -> Check:
    """Checks what was written against the one solution of the givens.

    ``earlier``: the same puzzle as it stood before, to tell what was written since. Raises
    ValueError where its givens are not the same.
    """
    if earlier is not None and earlier.givens != position.givens:
        raise ValueError("the earlier position must have the same givens")
    filled = sum(d != "." for d in position.digits)
    written = None if earlier is None else _written(earlier, position)
    solution = position.solution
    if solution is None:
        return _misprinted(position, filled, written)
    layout = position.layout
    digits = [VALUES[mark] for mark in position.digits]
    wrong = [c for c in layout.cells if digits[c] and digits[c] != VALUES[solution[c]]]
    new = () if written is None else written[0]
    state = (
        State.MISTAKEN if wrong else State.SOLVED if filled == layout.many else State.RIGHT_SO_FAR
    )
    groups = root_groups(
        layout,
        digits,
        wrong,
        position.givens,
        [] if earlier is None else [c for c in wrong if c not in new],
    )
    first = _first(layout, digits, wrong, position.givens, groups)
    return Check(
        state,
        filled,
        _mistakes(layout, digits, wrong, groups),
        _lost_notes(position, solution),
        _stale_notes(position, solution),
        roots=groups,
        first_out=first[0][0] if first else None,
        first_or=first[0][1:] if first else (),
        cost=first[1] if first else 0,
        houses=_covering_houses(layout, digits, wrong),
        solution=solution,
        since=None if written is None else Since(*written, sum(c in wrong for c in new)),
        first_wrong=_first_wrong(layout, digits, [c for c in new if c in wrong], position.givens),
        printed=layout.many - position.givens.count("."),
        layout=layout,
    )


def _misprinted(
    position: Position, filled: int, written: tuple[tuple[int, ...], tuple[int, ...]] | None
) -> Check:
    misprint = find_misprint(position.givens, position.layout)
    return Check(
        State.NOT_ONE_SOLUTION,
        filled,
        houses=misprint.houses,
        fault=position.given_faults,
        misprint=misprint,
        since=None if written is None else Since(*written, 0),
        layout=position.layout,
    )


def _mistakes(
    layout: Layout,
    digits: Sequence[int],
    wrong: Sequence[int],
    groups: Sequence[tuple[int, ...]],
) -> tuple[Mistake, ...]:
    roots = {cell: len(group) > 1 for group in groups for cell in group}
    return tuple(
        Mistake(
            c,
            digits[c],
            tuple(sorted(clashes_of(layout, digits, c))),
            c in roots,
            roots.get(c, False),
        )
        for c in wrong
    )


def _first(
    layout: Layout,
    digits: Sequence[int],
    wrong: Sequence[int],
    givens: str,
    groups: Sequence[tuple[int, ...]],
) -> tuple[tuple[int, ...], int] | None:
    """The group to rub out first, what shows most in front, and how many digits go with it."""
    if not groups:
        return None
    number, cost = first_group(layout, digits, wrong, givens, groups)
    shown = sorted(groups[number], key=lambda c: (-len(clashes_of(layout, digits, c)), c))
    return tuple(shown), cost


def _first_wrong(
    layout: Layout, digits: Sequence[int], new: Sequence[int], givens: str
) -> int | None:
    """The first of the wrong digits written since the earlier photo, where one can be named."""
    groups = root_groups(layout, digits, new, givens)
    first = _first(layout, digits, new, givens, groups)
    return first[0][0] if first and len(first[0]) == 1 else None


def _written(earlier: Position, later: Position) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """New or changed entries, and entries that are gone."""
    pairs = list(enumerate(zip(earlier.entries, later.entries, strict=True)))
    written = tuple(c for c, (old, new) in pairs if new not in (old, "."))
    return written, tuple(c for c, (old, new) in pairs if new == "." != old)


def _lost_notes(position: Position, solution: str) -> tuple[int, ...]:
    """Blank cells with notes, the right digit not among them."""
    return tuple(
        cell
        for cell, digits in sorted(position.notes.items())
        if digits and position.digits[cell] == "." and not digits >> VALUES[solution[cell]] - 1 & 1
    )


def _stale_notes(position: Position, solution: str) -> tuple[tuple[int, tuple[int, ...]], ...]:
    """Noted digits that stand in sight of their blank cells, rightly so."""
    stale = []
    for cell, digits in sorted(position.notes.items()):
        if position.digits[cell] == ".":
            seen = {
                position.digits[x]
                for x in position.layout.peers[cell]
                if position.digits[x] == solution[x]
            }
            gone = tuple(d for d in DIGITS_IN[digits] if SYMBOLS[d - 1] in seen)
            if gone:
                stale.append((cell, gone))
    return tuple(stale)


def _covering_houses(
    layout: Layout, digits: Sequence[int], wrong: Sequence[int]
) -> tuple[int, ...]:
    """The fewest houses that hold all wrong entries; among equals, where they show best.

    "Best" counts visible repeats inside the house, then filled cells: a nearly full house is
    quickly checked by eye. Past three houses the choice is greedy.
    """
    inside = {h: frozenset(wrong) & set(cells) for h, cells in enumerate(layout.house_cells)}
    useful = [h for h, held in inside.items() if held]

    def shows(house: int) -> tuple[int, int]:
        held = [digits[c] for c in layout.house_cells[house] if digits[c]]
        return len(held) - len(set(held)), len(held)

    for size in (0, 1, 2, 3):
        covers = [
            pick
            for pick in combinations(useful, size)
            if len(frozenset().union(*(inside[h] for h in pick))) == len(wrong)
        ]
        if covers:
            return max(covers, key=lambda pick: sorted(map(shows, pick), reverse=True))
    chosen: list[int] = []
    left = set(wrong)
    while left:
        house = max(useful, key=lambda h: (len(inside[h] & left), shows(h)))
        chosen.append(house)
        left -= inside[house]
    return tuple(sorted(chosen))
