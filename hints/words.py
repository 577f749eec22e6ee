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
    questions_by_digit: Mapping[str, str]
    questions_by_house: Mapping[str, str]
    reasons: Mapping[str, str]
    elimination: str
    from_notes: str
    one_solution: str
    opens: str
    write: str
    write_one: str


ENGLISH = Words(
    follow_digit="Follow the {digit}s.",
    look_at_house="Look at {house}.",
    joined_by=", ",
    last_joined_by=" and ",
    questions_by_digit={
        "hidden single": "In which house is just one place left for a {digit}?",
        "*": "Where are the last places for a {digit}? Look for a {technique}: it opens a single.",
    },
    questions_by_house={
        "last blank of a house": "One blank is left in {house}: which digit is missing?",
        "hidden single": "Which digit has just one place left in {house}?",
        "naked single": "Which blank of {house} can take one digit only?",
        "several cells of a house": "Which digits are missing in {house}, and which of them can "
        "go in one place only? The rest follows.",
        "net": "What becomes impossible if you try a candidate in {house}, and follow it?",
        "*": "Look for a {technique} at {house}: it opens a single.",
    },
    reasons={
        "last blank of a house": "All other cells of {houses} are filled.",
        "hidden single": "With {evidence}, a digit has one place left in {houses}.",
        "naked single": "{evidence} together leave one digit for a blank where {houses} meet.",
        "several cells of a house": "With {evidence}, the missing digits of {houses} fall into "
        "place one after the other.",
    },
    elimination="{technique} at {houses}, from {evidence}: so {eliminations}.",
    from_notes="from your notes in {cells}",
    one_solution="that the puzzle has just one solution",
    opens="{reason}",
    write="Write {places}.",
    write_one="{digit} in {cell}",
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


def question(
    digit: Digit | None, house: House | None, technique: str, words: Words = ENGLISH
) -> str:
    """Depth 2: which question to ask there."""
    if digit is not None:
        template = words.questions_by_digit.get(technique, words.questions_by_digit["*"])
        return template.format(digit=digit, technique=technique)
    assert house is not None
    template = words.questions_by_house.get(technique, words.questions_by_house["*"])
    return template.format(house=house_name(house), technique=technique)


def reason(
    technique: str,
    houses: Sequence[House],
    evidence: Sequence[Cell],
    noted: Sequence[Cell] = (),
    one_solution: bool = False,
    words: Words = ENGLISH,
) -> str:
    """Depth 3: why the last step holds."""
    template = words.reasons.get(technique, words.reasons["hidden single"])
    return template.format(
        houses=named_houses(houses, words),
        evidence=_evidence(evidence, noted, one_solution, words),
    )


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
    text = words.elimination.format(
        technique=technique,
        houses=named_houses(houses, words),
        evidence=_evidence(evidence, noted, one_solution, words),
        eliminations=joined(
            [f"no {joined([str(d) for d in ds], words)} in {cell_name(c)}" for c, ds in ruled_out],
            words,
        ),
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


def writing(places: Sequence[tuple[Cell, Digit]], words: Words = ENGLISH) -> str:
    """Depth 4: the digits."""
    parts = [words.write_one.format(digit=d, cell=cell_name(c)) for c, d in places]
    return words.write.format(places=joined(parts, words))
