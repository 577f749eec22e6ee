"""What is said at each depth, in plain English: all templates of the room, and nothing else.

Another language is another ``Words`` with the same fields. Each function takes what one depth may
know, so that a sentence can't give away more.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from papernudge.hints.geometry import Cell, Digit, House, cell_name, house_name


@dataclass(frozen=True, slots=True)
class Words:
    """The templates of one language."""

    follow_digit: str
    look_at_house: str
    joined_by: str
    last_joined_by: str
    names: Mapping[str, str]
    questions_by_digit: Mapping[str, str]
    questions_by_house: Mapping[str, str]
    reasons: Mapping[str, str]
    with_evidence: str
    then_with_evidence: str
    then: str
    some_digit: str
    that_digit: str
    a_digit: Mapping[int, str]
    elimination: str
    elimination_without_evidence: str
    struck: str
    from_notes: str
    one_solution: str
    write: str
    write_one: str
    then_follow: Mapping[str, str]


ENGLISH = Words(
    follow_digit="Follow the {digit}s.",
    look_at_house="Look at {house}.",
    joined_by=", ",
    last_joined_by=" and ",
    names={
        "locked candidates": "locked candidates",
        "almost-locked sets": "two almost-locked sets",
        "remote pairs": "remote pairs",
        "colouring": "two colours of one digit",
        "alternating chain": "an alternating chain",
        "X-wing": "an X-wing",
        "XY-wing": "an XY-wing",
        "XYZ-wing": "an XYZ-wing",
        "unique rectangle": "a rectangle that would leave two solutions",
        "*": "a {technique}",
    },
    questions_by_digit={
        "hidden single": "In which house is just one place left for {a_digit}?",
        "*": "What do the last places for the {digit} say about each other? Look for {technique}: "
        "that opens a single.",
    },
    questions_by_house={
        "last blank of a house": "One blank is left in {house}: which digit is missing?",
        "hidden single": "Which digit has just one place left in {house}?",
        "naked single": "Which blank of {house} can take one digit only?",
        "several cells of a house": "Which digits are missing in {house}, and which of them has "
        "one place only? The rest follows.",
        "net": "Which candidate in {house} comes to nothing if you try it and follow it?",
        "*": "Look for {technique} at {house}: that opens a single.",
    },
    reasons={
        "last blank of a house": "all other cells of {houses} are filled.",
        "hidden single": "{digit} has one place left in {houses}.",
        "naked single": "a blank where {houses} meet has one digit left.",
        "several cells of a house": "the missing digits of {houses} fall into place one after the "
        "other.",
    },
    with_evidence="With {evidence}, ",
    then_with_evidence="Then, with {evidence}, ",
    then="Then ",
    some_digit="a digit",
    that_digit="the {digit}",
    a_digit={digit: f"an {digit}" if digit == 8 else f"a {digit}" for digit in range(1, 10)},
    elimination="{technique} at {houses}, by {evidence}: {eliminations}.",
    elimination_without_evidence="{technique} at {houses}: {eliminations}.",
    struck="no {digits} in {cell}",
    from_notes="your notes in {cells}",
    one_solution="the puzzle having just one solution",
    write="Write {places}.",
    write_one="{digit} in {cell}",
    then_follow={"one": " {cells} follows.", "*": " {cells} follow."},
)


def joined(parts: Sequence[str], words: Words = ENGLISH) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    if len(parts) < 2:
        return "".join(parts)
    return words.joined_by.join(parts[:-1]) + words.last_joined_by + parts[-1]


def named_cells(cells: Sequence[Cell], words: Words = ENGLISH) -> str:
    """The cells by name, joined."""
    return joined([cell_name(c) for c in cells], words)


def named_houses(houses: Sequence[House], words: Words = ENGLISH) -> str:
    """The houses by name, joined."""
    return joined([house_name(h) for h in houses], words)


def where(digit: Digit | None, house: House | None, words: Words = ENGLISH) -> str:
    """Depth 1: one digit or one house."""
    if digit is not None:
        return words.follow_digit.format(digit=digit)
    assert house is not None
    return words.look_at_house.format(house=house_name(house))


def named(technique: str, words: Words = ENGLISH) -> str:
    """A technique with its article."""
    return words.names.get(technique, words.names["*"]).format(technique=technique)


def question(
    digit: Digit | None, house: House | None, technique: str, words: Words = ENGLISH
) -> str:
    """Depth 2: which question to ask there."""
    if digit is not None:
        template = words.questions_by_digit.get(technique, words.questions_by_digit["*"])
        return template.format(
            digit=digit, a_digit=words.a_digit[digit], technique=named(technique, words)
        )
    assert house is not None
    template = words.questions_by_house.get(technique, words.questions_by_house["*"])
    return template.format(house=house_name(house), technique=named(technique, words))


def reason(
    technique: str,
    houses: Sequence[House],
    evidence: Sequence[Cell],
    noted: Sequence[Cell] = (),
    digit: Digit | None = None,
    then: bool = False,
    words: Words = ENGLISH,
) -> str:
    """Depth 3: why the last step holds. ``digit``: the one in focus, if one is; ``then``: whether
    it builds on the steps before.
    """
    text = words.reasons[technique].format(
        houses=named_houses(houses, words),
        digit=words.that_digit.format(digit=digit) if digit else words.some_digit,
    )
    shown = _evidence(evidence, noted, False, words)
    # That a house is full but for one cell is seen at a glance.
    if shown and technique != "last blank of a house":
        opening = words.then_with_evidence if then else words.with_evidence
        return opening.format(evidence=shown) + text
    return words.then + text if then else text[0].upper() + text[1:]


def elimination(
    technique: str,
    houses: Sequence[House],
    evidence: Sequence[Cell],
    ruled_out: Sequence[tuple[Cell, Sequence[Digit]]],
    noted: Sequence[Cell] = (),
    one_solution: bool = False,
    words: Words = ENGLISH,
) -> str:
    """Depth 3: why a step before the last holds, and what it rules out."""
    shown = _evidence(evidence, noted, one_solution, words)
    template = words.elimination if shown else words.elimination_without_evidence
    struck = [
        words.struck.format(digits=joined([str(d) for d in ds], words), cell=cell_name(cell))
        for cell, ds in ruled_out
    ]
    text = template.format(
        technique=named(technique, words),
        houses=named_houses(houses, words),
        evidence=shown,
        eliminations=joined(struck, words),
    )
    return text[0].upper() + text[1:]


def _evidence(
    cells: Sequence[Cell], noted: Sequence[Cell], one_solution: bool, words: Words
) -> str:
    parts = [cell_name(c) for c in cells]
    if noted:
        parts.append(words.from_notes.format(cells=named_cells(noted, words)))
    if one_solution:
        parts.append(words.one_solution)
    return joined(parts, words)


def writing(
    places: Sequence[tuple[Cell, Digit]], words: Words = ENGLISH, follow: Sequence[Cell] = ()
) -> str:
    """Depth 4: the digit, and in which cells others follow from it."""
    parts = [words.write_one.format(digit=d, cell=cell_name(c)) for c, d in places]
    text = words.write.format(places=joined(parts, words))
    if not follow:
        return text
    then = words.then_follow["one" if len(follow) == 1 else "*"]
    return text + then.format(cells=named_cells(follow, words))
