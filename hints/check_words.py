"""What ``check`` says at each depth. Each depth repeats the shallower ones' facts, adds its own."""

from __future__ import annotations

from collections.abc import Sequence

from papernudge.hints.catalogue import Words
from papernudge.hints.layout import BLOCK, COLUMN, ROW
from papernudge.hints.masks import VALUES
from papernudge.hints.mistakes import Findings, Mistake
from papernudge.hints.position import Fault
from papernudge.hints.words import (
    ENGLISH,
    a_digit,
    digit_in,
    either_cell,
    named_cell,
    named_cells,
    named_house,
)

_MANY = 6
"""Mistakes up to which each visible repeat gets a sentence of its own."""


def sentence_of(told: Findings, depth: int, words: Words = ENGLISH) -> str:
    """One paragraph for a depth from 1 to 4."""
    if told.solution is None:
        return words.paragraph(_misprint(told, depth, words))
    parts = _state(told, words)
    if told.mistakes and depth == 2:
        parts.append(words.say("look again", houses=_houses(told.houses, words)))
    if told.mistakes and depth >= 3:
        parts += _mistakes(told, words)
        parts += _first(told, words)
    if told.mistakes and depth == 4:
        parts.append(_right(told, words))
    if depth >= 3:
        parts += _notes(told, depth, words)
    return words.paragraph(parts)


def _state(told: Findings, words: Words) -> list[str]:
    new = 0 if told.since is None else len(told.since.written)
    if told.mistakes:
        return [_wrong(told, new, words)]
    many = words.layout.many
    if told.filled == many:
        return [words.say("solved", count=many)]
    done = told.filled - told.printed
    right = words.say("right so far", done=done, blanks=many - told.printed)
    return [right, words.counted("new are right", new)] if new else [right]


def _wrong(told: Findings, new: int, words: Words) -> str:
    """How many can't be right, and when they were written as far as an earlier photo tells."""
    count = len(told.mistakes)
    if told.since is None:
        code = "wrong"
    elif not told.since.wrong:
        code = "wrong, stood"
    elif (told.since.wrong if count > 1 else new) == count:
        code = "wrong, new"
    else:
        code = "wrong, some new"
    since = 0 if told.since is None else told.since.wrong
    return words.counted(code, count, new=new, wrong=since)


# ---------------------------------------------------------------- mistakes


def _mistakes(told: Findings, words: Words) -> list[str]:
    """A sentence for each visible repeat, and one for all that repeat nothing; lists of cells
    where there are many.
    """
    if len(told.mistakes) > _MANY:
        return _many_mistakes(told, words)
    parts = []
    pairs = set()
    for mistake in told.mistakes:
        if mistake.clashes and (mistake.clashes, mistake.cell) not in pairs:
            twin = _twin(told, mistake)
            if twin is not None:
                pairs.add(((mistake.cell,), twin))
            cell = named_cell(mistake.cell, words)
            others = named_cells(mistake.clashes, words)
            code = "repeats" if twin is None else "repeats, neither"
            parts.append(words.say(code, digit=mistake.written, cell=cell, others=others))
    lone = [m for m in told.mistakes if not m.clashes]
    if lone:
        named = [
            words.say("the digit in", digit=m.written, cell=named_cell(m.cell, words)) for m in lone
        ]
        parts.append(words.counted("lone", len(lone), those=words.all_of(named)))
    return parts


def _twin(told: Findings, mistake: Mistake) -> int | None:
    """The other mistake that this one and nothing else clashes with, and the other way round."""
    for other in told.mistakes:
        if mistake.clashes == (other.cell,) and other.clashes == (mistake.cell,):
            return other.cell
    return None


def _many_mistakes(told: Findings, words: Words) -> list[str]:
    clashing = [m.cell for m in told.mistakes if m.clashes]
    lone = [m.cell for m in told.mistakes if not m.clashes]
    parts = []
    if clashing:
        cells = named_cells(clashing, words)
        plain = {house.kind for house in words.layout.houses} == {ROW, COLUMN, BLOCK}
        code = "many repeat" if plain else "many repeat, other houses"
        parts.append(words.counted(code, len(clashing), cells=cells))
    if lone:
        parts.append(words.counted("lone", len(lone), those=named_cells(lone, words)))
    return parts


def _first(told: Findings, words: Words) -> list[str]:
    """Which of several mistakes came first, as far as the paper tells."""
    count = len(told.mistakes)
    if told.first_out is None or count < 2:
        return []
    more = told.cost - 1
    share = "rest" if more == count - 1 else "some"
    if told.cost == 1:
        said = [words.say("apart.two" if count == 2 else "apart.more")]
    elif told.first_or:
        each = "either" if len(told.first_or) == 1 else "each"
        cells = either_cell([told.first_out, *told.first_or], words)
        said = [words.counted(f"came first, {each}, {share}", more, cells=cells)]
    else:
        said = [words.counted(f"rub out, {share}", more, cell=named_cell(told.first_out, words))]
    if told.cost > 1:
        said += [
            words.say("others came first", cells=either_cell(group, words))
            for group in told.roots
            if len(group) > 1 and told.first_out not in group
        ]
    if told.first_wrong not in (None, told.first_out):
        said.append(words.say("new came first", cell=named_cell(told.first_wrong or 0, words)))
    return said


def _right(told: Findings, words: Words) -> str:
    solution = told.solution or ""
    right = [digit_in(VALUES[solution[m.cell]], m.cell, words) for m in told.mistakes]
    return words.say("right would be", right=words.all_of(right))


# ---------------------------------------------------------------- notes


def _notes(told: Findings, depth: int, words: Words) -> list[str]:
    parts = []
    if told.lost_notes:
        parts.append(words.say("lost notes", cells=named_cells(told.lost_notes, words)))
        if depth == 4 and told.solution is not None:
            missing = [digit_in(VALUES[told.solution[c]], c, words) for c in told.lost_notes]
            parts.append(words.say("missing notes", missing=words.all_of(missing)))
    if told.stale_notes:
        notes = [
            words.say("notes in", digits=words.all_of(digits), cell=named_cell(c, words))
            for c, digits in told.stale_notes
        ]
        many = sum(len(digits) for _, digits in told.stale_notes)
        parts.append(words.counted("stale notes", many, notes=words.all_of(notes)))
    return parts


# ---------------------------------------------------------------- misprints


def _misprint(told: Findings, depth: int, words: Words) -> list[str]:
    """Why right and wrong can't be told, and where the print seems to be at fault."""
    misprint = told.misprint
    parts = [words.say(f"can't be told, {_why(told)}", count=len(misprint.cells))]
    if misprint.kind == "one given" and depth <= 2:
        parts.append(words.say("one given"))
    if misprint.kind and depth == 2:
        parts.append(words.say("look at", houses=_houses(misprint.houses, words)))
    elif misprint.kind == "clash" and depth >= 3:
        parts += _clashing(told, words)
    elif misprint.kind and depth >= 3:
        cell = named_cell(misprint.cells[0], words)
        parts.append(words.say("suspect", digit=misprint.digits[0], cell=cell))
    if depth == 4 and misprint.instead:
        at, digits = misprint.instead[0]
        named = words.either([a_digit(d, words) for d in digits])
        parts.append(words.say("mends", digits=named, cell=named_cell(at, words)))
    parts.append(words.say("compare"))
    return parts


def _why(told: Findings) -> str:
    if told.misprint.kind == "clash":
        return "two clash" if len(told.misprint.cells) == 2 else "clash"
    return "several" if Fault.MANY_SOLUTIONS in told.fault else "none"


def _clashing(told: Findings, words: Words) -> list[str]:
    """The digits that repeat each other, digit by digit."""
    alike: dict[int, list[int]] = {}
    for cell, digit in zip(told.misprint.cells, told.misprint.digits, strict=True):
        alike.setdefault(digit, []).append(cell)
    return [
        words.say(
            "clash.two" if len(cells) == 2 else "clash.more",
            digit=digit,
            cells=named_cells(cells, words),
        )
        for digit, cells in sorted(alike.items())
    ]


def _houses(houses: Sequence[int], words: Words) -> str:
    """House by house: ``row 1 and row 5``."""
    return words.all_of([named_house(house, words) for house in houses])
