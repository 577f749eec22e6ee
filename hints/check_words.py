"""What ``check`` says at each depth. Each depth repeats the shallower ones' facts, adds its own."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from papernudge.hints.geometry import cell_name, house_name
from papernudge.hints.position import Fault
from papernudge.hints.words import joined

if TYPE_CHECKING:
    from papernudge.hints.checking import Check, Mistake

_MANY = 6
"""Mistakes up to which each visible repeat gets a sentence of its own."""


def sentence_of(told: Check, depth: int) -> str:
    """One paragraph for a depth from 1 to 4."""
    if told.solution is None:
        return " ".join(_misprint_words(told, depth))
    parts = [_state_words(told)]
    if told.mistakes and depth == 2:
        parts.append(f"Look again at {_houses(told.houses)}.")
    if told.mistakes and depth >= 3:
        parts += _mistake_words(told)
        parts += _first_words(told)
    if told.mistakes and depth == 4:
        parts.append(_right_words(told))
    if depth >= 3:
        parts += _notes_words(told, depth)
    return " ".join(parts)


def _state_words(told: Check) -> str:
    if not told.mistakes and told.filled == 81:
        return "Solved: all 81 digits are right."
    new = 0 if told.since is None else len(told.since.written)
    if not told.mistakes:
        done = told.filled - told.printed
        words = f"Right so far: you've filled {done} of {81 - told.printed} and nothing is wrong."
        if new:
            latest = "The digit" if new == 1 else f"The {new} digits"
            words += (
                f" {latest} written since the earlier photo {'is' if new == 1 else 'are'} right."
            )
        return words
    count = len(told.mistakes)
    words = (
        "One digit you wrote can't be right"
        if count == 1
        else f"{count} of the digits you wrote can't be right"
    )
    return f"{words}{_since_words(told, count, new)}."


def _since_words(told: Check, count: int, new: int) -> str:
    """When the wrong digits were written, as far as an earlier photo tells."""
    if told.since is None:
        return ""
    wrong = told.since.wrong
    if not wrong:
        return f": {'it stood' if count == 1 else 'they all stood'} in the earlier photo already"
    if count == 1:
        return f": {'the one' if new == 1 else f'one of the {new}'} written since the earlier photo"
    if wrong == count:
        return ", all of them written since the earlier photo"
    return f", {wrong} of them written since the earlier photo"


# ---------------------------------------------------------------- mistakes


def _mistake_words(told: Check) -> list[str]:
    """A sentence for each visible repeat, and one for all that repeat nothing; lists of cells
    where there are many.
    """
    if len(told.mistakes) > _MANY:
        return _many_mistakes_words(told)
    parts = []
    pairs = set()
    for mistake in told.mistakes:
        if mistake.clashes and (mistake.clashes, mistake.cell) not in pairs:
            others = _cells(mistake.clashes)
            words = f"The {mistake.written} in {cell_name(mistake.cell)} repeats the"
            words += f" {mistake.written} in {others}"
            twin = _twin(told, mistake)
            if twin is not None:
                pairs.add(((mistake.cell,), twin))
                words += ", and neither can stay"
            parts.append(f"{words}.")
    lone = [m for m in told.mistakes if not m.clashes]
    if lone:
        said = joined([f"the {m.written} in {cell_name(m.cell)}" for m in lone])
        parts.append(f"T{said[1:]} {_lone(len(lone))}.")
    return parts


def _twin(told: Check, mistake: Mistake) -> int | None:
    """The other mistake that this one and nothing else clashes with, and the other way round."""
    for other in told.mistakes:
        if mistake.clashes == (other.cell,) and other.clashes == (mistake.cell,):
            return other.cell
    return None


def _lone(count: int) -> str:
    if count == 1:
        return "repeats no other digit, yet it can't stay"
    return "repeat no other digit, yet they can't stay"


def _many_mistakes_words(told: Check) -> list[str]:
    clashing = [m.cell for m in told.mistakes if m.clashes]
    lone = [m.cell for m in told.mistakes if not m.clashes]
    parts = []
    if clashing:
        repeats = "repeats" if len(clashing) == 1 else "each repeat"
        parts.append(f"{_cells(clashing)} {repeats} a digit of the same row, column or block.")
    if lone:
        parts.append(f"{_cells(lone)} {_lone(len(lone))}.")
    return parts


def _first_words(told: Check) -> list[str]:
    """Which of several mistakes came first, as far as the paper tells."""
    count = len(told.mistakes)
    if told.first_out is None or count < 2:
        return []
    words = []
    if told.cost == 1:
        neither = "Neither follows" if count == 2 else "None of them follows"
        words.append(f"{neither} from {'the other' if count == 2 else 'another'}.")
    elif told.first_or:
        words.append(f"{_either([told.first_out, *told.first_or])} came first: {_explained(told)}.")
    else:
        words.append(f"Rub out {cell_name(told.first_out)} first: {_following(told)}.")
    if told.cost > 1:
        words += [
            f"Of the others, {_either(group)} came first."
            for group in told.roots
            if len(group) > 1 and told.first_out not in group
        ]
    if told.first_wrong not in (None, told.first_out):
        first = cell_name(told.first_wrong or 0)
        words.append(f"Of those written since the earlier photo, {first} came first.")
    return words


def _following(told: Check) -> str:
    """How many of the other mistakes follow from the one that came first."""
    more, others = told.cost - 1, len(told.mistakes) - 1
    if more == others:
        return "the other one follows from it" if more == 1 else f"the other {more} follow from it"
    return "one more follows from it" if more == 1 else f"{more} more follow from it"


def _explained(told: Check) -> str:
    """That each of several explains the rest of the mistakes equally well."""
    more, others = told.cost - 1, len(told.mistakes) - 1
    each = "either" if len(told.first_or) == 1 else "each of them"
    if more == others:
        return f"{each} explains {'the other' if more == 1 else 'all the others'}"
    return f"{each} explains {'one other' if more == 1 else f'{more} others'}"


def _right_words(told: Check) -> str:
    solution = told.solution or ""
    right = [f"{solution[m.cell]} in {cell_name(m.cell)}" for m in told.mistakes]
    return f"Right would be {joined(right)}."


# ---------------------------------------------------------------- notes


def _notes_words(told: Check, depth: int) -> list[str]:
    parts = []
    if told.lost_notes:
        where = _cells(told.lost_notes)
        parts.append(f"The small notes in {where} have lost the right digit.")
        if depth == 4 and told.solution is not None:
            missing = [f"{told.solution[c]} in {cell_name(c)}" for c in told.lost_notes]
            parts.append(f"Missing from them: {joined(missing)}.")
    if told.stale_notes:
        said = [
            f"{joined([str(d) for d in digits])} in {cell_name(c)}"
            for c, digits in told.stale_notes
        ]
        can = "stands" if sum(len(digits) for _, digits in told.stale_notes) == 1 else "stand"
        parts.append(f"Among the small notes, {joined(said)} {can} in sight already.")
    return parts


# ---------------------------------------------------------------- misprints


def _misprint_words(told: Check, depth: int) -> list[str]:
    """Why right and wrong can't be told, and where the print seems to be at fault."""
    parts = [f"Right and wrong can't be told here: {_why(told)}."]
    misprint = told.misprint
    if misprint.kind == "one given" and depth <= 2:
        parts.append("If one of them were another digit, the puzzle would have one solution.")
    if misprint.kind and depth == 2:
        parts.append(f"Look at {_houses(misprint.houses)}.")
    elif misprint.kind == "clash" and depth >= 3:
        parts += _clashing_words(told)
    elif misprint.kind and depth >= 3:
        suspect = f"the {misprint.digits[0]} in {cell_name(misprint.cells[0])}"
        parts.append(f"If {suspect} were another digit, the puzzle would have one solution.")
    if depth == 4 and misprint.instead:
        cell, digits = misprint.instead[0]
        named = _or([_a(d) for d in digits])
        parts.append(f"With {named} in {cell_name(cell)} the puzzle has one solution.")
    parts.append("Compare the printed digits with the page; if they match, it is a misprint.")
    return parts


def _why(told: Check) -> str:
    if told.misprint.kind == "clash":
        count = len(told.misprint.cells)
        return (
            "two printed digits in one house are the same"
            if count == 2
            else f"{count} printed digits repeat one another in their houses"
        )
    if Fault.MANY_SOLUTIONS in told.fault:
        return "the printed digits allow more than one solution"
    return "the printed digits allow no solution"


def _clashing_words(told: Check) -> list[str]:
    """The digits that repeat each other, digit by digit."""
    alike: dict[int, list[int]] = {}
    for cell, digit in zip(told.misprint.cells, told.misprint.digits, strict=True):
        alike.setdefault(digit, []).append(cell)
    return [
        f"The {digit}s in {_cells(cells)} can't {'both' if len(cells) == 2 else 'all'} stand."
        for digit, cells in sorted(alike.items())
    ]


def _cells(cells: Sequence[int]) -> str:
    return joined([cell_name(c) for c in cells])


def _houses(houses: Sequence[int]) -> str:
    return joined([house_name(h) for h in houses])


def _either(cells: Sequence[int]) -> str:
    return _or([cell_name(c) for c in cells])


def _or(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


def _a(digit: int) -> str:
    return f"an {digit}" if digit == 8 else f"a {digit}"
