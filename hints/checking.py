"""Is the paper right so far? Mistakes, what caused them, and four depths of telling.

A wrong entry is a *consequence* where the digits on the paper, wrong ones among them, force it
by a single (a naked or a hidden one): somebody who trusts the paper would write it. What is left
are *roots*. Forcing by singles only grows with more digits on the paper, so which wrong entries
follow from a set of others doesn't depend on the order in which they were written.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations

from papernudge.hints.geometry import (
    HOUSE_CELLS,
    HOUSES_OF,
    PEERS,
    cell_name,
    house_name,
    members,
)
from papernudge.hints.position import Fault, Position


class State(StrEnum):
    """What can be said of a paper solve; the words of the JSON."""

    SOLVED = "solved"
    RIGHT_SO_FAR = "right so far"
    MISTAKEN = "mistaken"
    NOT_ONE_SOLUTION = "not one solution"


_PEERS = tuple(tuple(members(mask)) for mask in PEERS)


@dataclass(frozen=True, slots=True)
class Mistake:
    """A wrong entry.

    ``clashes``: cells of its houses that hold the same digit (none: it merely doesn't lead to
    the solution). ``root``: no other wrong digit forced it.
    """

    cell: int
    written: int
    clashes: tuple[int, ...]
    root: bool


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
class Checked1:
    """Depth 1: the state, how much is filled, and how many entries are wrong."""

    depth: int
    state: State
    filled: int
    wrong: int
    since: Since | None
    sentence: str

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
                "written": [cell_name(c) for c in self.since.written],
                "rubbed_out": [cell_name(c) for c in self.since.rubbed_out],
                "wrong": self.since.wrong,
            }
        return out


@dataclass(frozen=True, slots=True)
class Checked2(Checked1):
    """Depth 2 adds the fewest houses (0–26) that hold all wrong entries."""

    houses: tuple[int, ...]

    def to_json(self) -> dict[str, object]:
        """The fields of this depth under the names of the JSON."""
        return {**Checked1.to_json(self), "houses": [house_name(h) for h in self.houses]}


@dataclass(frozen=True, slots=True)
class Checked3(Checked2):
    """Depth 3 adds the wrong cells, and cells whose notes have lost the right digit.

    ``first_out``: the root to rub out first, ``cost`` how many digits go with it, itself
    included. ``first_wrong``: with an earlier photo, the first wrong digit written since.
    """

    mistakes: tuple[Mistake, ...]
    lost_notes: tuple[int, ...]
    first_out: int | None
    cost: int
    first_wrong: int | None

    def to_json(self) -> dict[str, object]:
        """The fields of this depth under the names of the JSON."""
        out = {
            **Checked2.to_json(self),
            "mistakes": [
                {
                    "cell": cell_name(m.cell),
                    "written": m.written,
                    "clashes": [cell_name(c) for c in m.clashes],
                    "root": m.root,
                }
                for m in self.mistakes
            ],
            "lost_notes": [cell_name(c) for c in self.lost_notes],
        }
        if self.first_out is not None:
            out["first_out"] = {"cell": cell_name(self.first_out), "cost": self.cost}
        if self.first_wrong is not None:
            out["first_wrong"] = cell_name(self.first_wrong)
        return out


@dataclass(frozen=True, slots=True)
class Checked4(Checked3):
    """Depth 4 adds the right digits.

    One for each mistake, in the same order, and one for each cell of ``lost_notes``.
    """

    right: tuple[int, ...]
    right_notes: tuple[int, ...]

    def to_json(self) -> dict[str, object]:
        """The fields of this depth under the names of the JSON."""
        out = Checked3.to_json(self)
        found = Checked3.to_json(self)["mistakes"]
        assert isinstance(found, list)
        out["mistakes"] = [{**m, "right": d} for m, d in zip(found, self.right, strict=True)]
        if self.lost_notes:
            pairs = zip(self.lost_notes, self.right_notes, strict=True)
            out["right_notes"] = {cell_name(c): d for c, d in pairs}
        return out


Checked = Checked1 | Checked2 | Checked3 | Checked4


@dataclass(frozen=True, slots=True)
class Check:
    """All there is to say about a paper solve; :meth:`at` gives the part that was asked for.

    ``solution`` is None where the givens don't have exactly one. ``why_not`` then says why, in
    words. Cells count 0–80 in row order.
    """

    state: State
    filled: int
    mistakes: tuple[Mistake, ...]
    lost_notes: tuple[int, ...]
    first_out: int | None
    cost: int
    houses: tuple[int, ...]
    solution: str | None
    why_not: str
    since: Since | None
    first_wrong: int | None

    def at(self, depth: int) -> Checked:
        """What depth 1, 2, 3 or 4 tells, in a type that holds nothing deeper.

        Raises ValueError for any other depth.
        """
        if depth not in (1, 2, 3, 4):
            raise ValueError(f"depth is 1, 2, 3 or 4, not {depth}")
        sentence = _sentence(self, depth)
        one = (depth, self.state, self.filled, len(self.mistakes), self.since, sentence)
        if depth == 1:
            return Checked1(*one)
        if depth == 2:
            return Checked2(*one, self.houses)
        three = (self.mistakes, self.lost_notes, self.first_out, self.cost, self.first_wrong)
        if depth == 3:
            return Checked3(*one, self.houses, *three)
        solution = self.solution or ""
        right = tuple(int(solution[m.cell]) for m in self.mistakes)
        notes = tuple(int(solution[c]) for c in self.lost_notes)
        return Checked4(*one, self.houses, *three, right, notes)


def check(position: Position, earlier: Position | None = None) -> Check:
    """Checks what was written against the one solution of the givens.

    ``earlier``: the same puzzle as it stood before, to tell what was written since. Raises
    ValueError where its givens are not the same.
    """
    if earlier is not None and earlier.givens != position.givens:
        raise ValueError("the earlier position must have the same givens")
    digits = [0 if d == "." else int(d) for d in position.digits]
    filled = sum(d > 0 for d in digits)
    solution = position.solution
    written = None if earlier is None else _written(earlier, position)
    if solution is None:
        since = None if written is None else Since(*written, 0)
        state = State.NOT_ONE_SOLUTION
        why = _why_not(position)
        return Check(state, filled, (), (), None, 0, (), None, why, since, None)
    wrong = [c for c in range(81) if digits[c] and digits[c] != int(solution[c])]
    roots = _roots(digits, wrong)
    mistakes = tuple(
        Mistake(c, digits[c], tuple(sorted(_clashes(digits, c))), c in roots) for c in wrong
    )
    first_out, cost = _first_out(digits, wrong, roots)
    lost = _lost_notes(position, solution)
    state = State.MISTAKEN if wrong else State.SOLVED if filled == 81 else State.RIGHT_SO_FAR
    since, first_wrong = None, None
    if written is not None:
        new_wrong = [c for c in written[0] if c in wrong]
        since = Since(*written, len(new_wrong))
        first_wrong, _ = _first_out(digits, new_wrong, _roots(digits, new_wrong))
    houses = _covering_houses(digits, wrong)
    return Check(
        state, filled, mistakes, lost, first_out, cost, houses, solution, "", since, first_wrong
    )


def _why_not(position: Position) -> str:
    faults = position.given_faults
    if Fault.CLASH in faults:
        return "two printed digits in one house are the same"
    if Fault.MANY_SOLUTIONS in faults:
        return "the printed digits allow more than one solution"
    return "the printed digits allow no solution"


def _written(earlier: Position, later: Position) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """New or changed entries, and entries that are gone."""
    pairs = list(enumerate(zip(earlier.entries, later.entries, strict=True)))
    written = tuple(c for c, (old, new) in pairs if new not in (old, "."))
    return written, tuple(c for c, (old, new) in pairs if new == "." != old)


def _clashes(digits: Sequence[int], cell: int) -> set[int]:
    return {x for x in _PEERS[cell] if digits[x] == digits[cell]}


def _lost_notes(position: Position, solution: str) -> tuple[int, ...]:
    """Blank cells with notes, the right digit not among them."""
    return tuple(
        cell
        for cell, digits in sorted(position.notes.items())
        if digits and position.digits[cell] == "." and not digits >> int(solution[cell]) - 1 & 1
    )


# ---------------------------------------------------------------- roots and consequences


def _forced(board: Sequence[int], cell: int, digit: int) -> bool:
    """Whether a single writes ``digit`` into ``cell`` by what the board's other cells hold.

    Evidence only: that the digit itself may already stand in one of the cell's houses does not
    stop it, since the paper may have been filled in any order.
    """
    seen = {board[x] for x in _PEERS[cell]} | {digit}
    if len(seen - {0}) == 9:
        return True
    return any(
        all(
            x == cell or board[x] not in (0, digit) or _sees(board, x, digit, cell)
            for x in HOUSE_CELLS[house]
        )
        for house in HOUSES_OF[cell]
    )


def _sees(board: Sequence[int], cell: int, digit: int, but: int) -> bool:
    return any(board[x] == digit and x != but for x in _PEERS[cell])


def _closure(digits: Sequence[int], wrong: Collection[int], known: Iterable[int]) -> set[int]:
    """The wrong entries that follow, step by step, from the rest of the paper and ``known``."""
    reached = set(known)
    board = [0 if c in wrong and c not in reached else d for c, d in enumerate(digits)]
    grew = True
    while grew:
        grew = False
        for cell in wrong:
            if cell not in reached and _forced(board, cell, digits[cell]):
                reached.add(cell)
                board[cell] = digits[cell]
                grew = True
    return reached


def _roots(digits: Sequence[int], wrong: Sequence[int]) -> set[int]:
    """A small set of wrong entries from which all the others follow.

    Those that nothing else forces must be in it. Where the remaining ones force each other,
    the one from which most follow is added, until all are reached (the smallest set is a
    hitting-set problem; the greedy choice is exact while one is enough).
    """
    roots = {w for w in wrong if w not in _closure(digits, wrong, set(wrong) - {w})}
    reached = _closure(digits, wrong, roots)
    while len(reached) < len(wrong):
        left = [w for w in wrong if w not in reached]
        spread = {w: _closure(digits, wrong, roots | {w}) for w in left}
        best = max(left, key=lambda w: (len(spread[w]), len(_clashes(digits, w)), -w))
        roots.add(best)
        reached = spread[best]
    for root in sorted(roots, reverse=True):
        if len(_closure(digits, wrong, roots - {root})) == len(wrong):
            roots.discard(root)
    return roots


def _first_out(
    digits: Sequence[int], wrong: Sequence[int], roots: Collection[int]
) -> tuple[int | None, int]:
    """The root that takes most consequences along, and how many digits go with it."""
    if not wrong:
        return None, 0
    cost = {r: len(wrong) - len(_closure(digits, wrong, set(roots) - {r})) for r in roots}
    first = max(roots, key=lambda r: (cost[r], len(_clashes(digits, r)), -r))
    return first, cost[first]


def _covering_houses(digits: Sequence[int], wrong: Sequence[int]) -> tuple[int, ...]:
    """The fewest houses that hold all wrong entries; among equals, where they show best.

    "Best" counts visible repeats inside the house, then filled cells: a nearly full house is
    quickly checked by eye. Past three houses the choice is greedy.
    """
    inside = {h: frozenset(wrong) & set(HOUSE_CELLS[h]) for h in range(27)}
    useful = [h for h in range(27) if inside[h]]

    def shows(house: int) -> tuple[int, int]:
        held = [digits[c] for c in HOUSE_CELLS[house] if digits[c]]
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


# ---------------------------------------------------------------- words

_MANY = 6  # mistakes up to which each visible repeat gets a sentence of its own


def _sentence(told: Check, depth: int) -> str:
    """One paragraph for a depth. Each depth repeats the shallower ones' facts and adds its own."""
    parts = [_state_words(told)]
    if told.state is State.MISTAKEN and depth == 2:
        parts.append(f"Look again at {_listed([house_name(h) for h in told.houses])}.")
    if told.state is State.MISTAKEN and depth >= 3:
        parts += _mistake_words(told)
        parts += _rubbing_words(told)
    if told.state is State.MISTAKEN and depth == 4:
        parts.append(_right_words(told))
    if depth >= 3 and told.lost_notes:
        parts.append(_notes_words(told, depth))
    return " ".join(parts)


def _state_words(told: Check) -> str:
    if told.state is State.NOT_ONE_SOLUTION:
        return (
            f"Right and wrong can't be told here: {told.why_not}."
            " Compare the printed digits with the page; if they match, it is a misprint."
        )
    if told.state is State.SOLVED:
        return "Solved: all 81 digits are right."
    if told.state is State.RIGHT_SO_FAR:
        words = f"Right so far: {told.filled} of 81 cells are filled and nothing is wrong"
        new = 0 if told.since is None else len(told.since.written)
        latest = "the one" if new == 1 else f"any of the {new}"
        return f"{words}, nor is {latest} written since." if new else f"{words}."
    count = len(told.mistakes)
    words = (
        "One digit you wrote can't be right"
        if count == 1
        else (f"{count} of the digits you wrote can't be right")
    )
    if told.since is None:
        return f"{words}."
    new, wrong = len(told.since.written), told.since.wrong
    return f"{words}; {wrong or 'none'} of the {new} written since the earlier photo."


def _mistake_words(told: Check) -> list[str]:
    """A sentence for each visible repeat, and one for all that repeat nothing; lists of cells
    where there are many.
    """
    if len(told.mistakes) > _MANY:
        return _many_mistakes_words(told)
    parts = []
    for mistake in told.mistakes:
        if mistake.clashes:
            others = _listed([cell_name(c) for c in mistake.clashes])
            parts.append(f"{_the(mistake, 'The')} repeats the {mistake.written} in {others}.")
    lone = [m for m in told.mistakes if not m.clashes]
    if lone:
        said = _listed([_the(m, "the") for m in lone])
        verb = "repeats" if len(lone) == 1 else "repeat"
        parts.append(f"T{said[1:]} {verb} nothing but can't stay.")
    return parts


def _many_mistakes_words(told: Check) -> list[str]:
    clashing = [cell_name(m.cell) for m in told.mistakes if m.clashes]
    lone = [cell_name(m.cell) for m in told.mistakes if not m.clashes]
    parts = []
    if clashing:
        verb = "repeats" if len(clashing) == 1 else "repeat"
        parts.append(f"{_listed(clashing)} {verb} a digit of the same row, column or block.")
    if lone:
        verb = "repeats" if len(lone) == 1 else "repeat"
        parts.append(f"{_listed(lone)} {verb} nothing but can't stay.")
    return parts


def _the(mistake: Mistake, article: str) -> str:
    return f"{article} {mistake.written} in {cell_name(mistake.cell)}"


def _right_words(told: Check) -> str:
    solution = told.solution or ""
    right = [f"{solution[m.cell]} in {cell_name(m.cell)}" for m in told.mistakes]
    return f"Right would be {_listed(right)}."


def _rubbing_words(told: Check) -> list[str]:
    if told.first_out is None or len(told.mistakes) < 2:
        return []
    first = cell_name(told.first_out)
    if told.cost == 1:
        words = f"Rub out {first} first: nothing else follows from it, so it costs one digit."
    else:
        more = told.cost - 1
        follow = "one more follows" if more == 1 else f"{more} more follow"
        words = f"Rub out {first} first: {follow} from it, so it costs {told.cost} digits."
    if told.first_wrong not in (None, told.first_out):
        words += (
            f" The first wrong one since the earlier photo is {cell_name(told.first_wrong or 0)}."
        )
    return [words]


def _notes_words(told: Check, depth: int) -> str:
    cells = [cell_name(c) for c in told.lost_notes]
    if depth == 4 and told.solution is not None:
        digits = [f"{told.solution[c]} in {cell_name(c)}" for c in told.lost_notes]
        return f"Missing among the small notes: {_listed(digits)}."
    lost = "has lost its right digit" if len(cells) == 1 else "have lost their right digits"
    return f"Among the small notes, {_listed(cells)} {lost}."


def _listed(words: Sequence[str]) -> str:
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"
