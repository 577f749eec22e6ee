"""What is said at each depth, in plain English: all templates of the room, and nothing else.

Another language is another ``Words`` with the same fields. Each function takes what one depth may
know, so that a sentence can't give away more.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from papernudge.hints.geometry import Cell, Digit, House, cell_name, house_name
from papernudge.hints.said import SAID, plural


@dataclass(frozen=True, slots=True)
class Words:
    """All that is said of a paper in one language: templates by code, with places for data."""

    follow_digit: str
    look_at_house: str
    joined_by: str
    last_joined_by: str
    names: Mapping[str, str]
    titles: Mapping[str, str]
    questions_by_digit: Mapping[str, str]
    questions_by_house: Mapping[str, str]
    reasons: Mapping[str, str]
    with_evidence: str
    then_with_evidence: str
    then: str
    a_digit: Mapping[int, str]
    of_a_digit: tuple[str, str]
    leaves_one_place: tuple[str, str]
    for_digit: str
    from_notes: str
    patterns: Mapping[str, str]
    by_notes: str
    claim: tuple[str, str]
    claims_joined_by: str
    last_or: str
    several_houses: Mapping[str, str]
    chain_starts: tuple[str, str, str]
    chain_goes_on: tuple[str, str, str]
    write: str
    write_one: str
    then_follow: Mapping[str, str]
    houses: Mapping[str, str]
    said: Mapping[str, str]
    plural: Callable[[int], str]

    def say(self, code: str, **data: object) -> str:
        """The sentence of this code with what it is about."""
        return self.said[code].format(**data)

    def counted(self, code: str, count: int, **data: object) -> str:
        """The same where its form hangs on a number, which it may name as ``count``."""
        return self.say(f"{code}.{self.plural(count)}", count=count, **data)


ENGLISH = Words(
    follow_digit="Follow the {digit}s.",
    look_at_house="Look at {house}.",
    joined_by=", ",
    last_joined_by=" and ",
    names={
        "locked candidates": "locked candidates",
        "almost-locked sets": "two almost-locked sets",
        "remote pairs": "remote pairs",
        "empty rectangle": "an empty rectangle",
        "colouring": "two colours of one digit",
        "alternating chain": "an alternating chain",
        "X-wing": "an X-wing",
        "XY-wing": "an XY-wing",
        "XYZ-wing": "an XYZ-wing",
        "unique rectangle": "a rectangle that would leave two solutions",
        "*": "a {technique}",
    },
    titles={},
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
        "net": "Try the candidates of {house} one by one: which of them leads to a contradiction?",
        "*": "Look for {technique} at {house}: that opens a single.",
    },
    reasons={
        "last blank of a house": "all other cells of {houses} are filled.",
        "hidden single": "{digit} has one place left in {houses}.",
        "naked single": "a blank of {houses} has one digit left.",
        "several cells of a house": "the missing digits of {houses} fall into place one after the "
        "other.",
    },
    with_evidence="With {evidence}, ",
    then_with_evidence="Then, with {evidence}, ",
    then="Then ",
    a_digit={digit: f"an {digit}" if digit == 8 else f"a {digit}" for digit in range(1, 10)},
    of_a_digit=("the {digit} at {cells}", "the {digit}s at {cells}"),
    leaves_one_place=(
        "{shown} leaves one place{for_digit} in {houses}.",
        "{shown} leave one place{for_digit} in {houses}.",
    ),
    for_digit=" for {digit}",
    from_notes="your notes in {cells}",
    patterns={
        "locked candidates": "in {base}, {digits} can go only in {cover}, at {locked}, so "
        "{claims}.",
        "naked": "in {base}, {set} take only {digits_or}, so {claims}.",
        "hidden": "in {base}, {digits} can go only in {set}, so {claims}.",
        "fish": "{technique}: in {base}, {digits} can go only in {cover}, so it goes nowhere else "
        "there: {claims}.",
        "finned": "{technique}: in {base}, {digits} can go only in {cover} or, a fin, in {fin}. "
        "Where the fin is seen too, it is out either way: {claims}.",
        "XY-wing": "XY-wing: {pivot} takes only {others}, and either way one of {pincer} is "
        "{struck}, so {claims}.",
        "XYZ-wing": "XYZ-wing: {pivot} takes only {digits_or}, and whichever it is, it or one of "
        "{pincer} is {struck}, so {claims}.",
        "W-wing": "W-wing: {pincer} take only {digits_or}. The {others} of {base}, at {bridge}, is "
        "in sight of one of them, which is then {struck}, so {claims}.",
        "remote pairs": "remote pairs: {path} take only {digits_or}, and each sees the next, so "
        "{end} differ, and {claims}.",
        "colouring": "two colours: {digits} has two places each in {base}, so {one_colour} hold it "
        "or {other_colour} do. What sees both colours is out: {claims}.",
        "one colour": "two colours: {digits} has two places each in {base}, so {one_colour} hold "
        "it or {other_colour} do. Two of the first see each other: {claims}.",
        "chain": "{technique}: {chain}. Either way, {claims}.",
        "almost-locked sets": "two almost-locked sets: {shared} can't be in {one_set} and in "
        "{other_set} at once, so one of the sets keeps all its other digits, and {struck} is at "
        "{holders}: {claims}.",
        "unique rectangle": "a rectangle that would leave two solutions: with no more than "
        "{digits_or} at {corner}, the two could change places, but for the puzzle having just one "
        "solution: {claims}.",
        "net": "with {evidence}, try {digits} at {assumed}: what it forces can't be, so {claims}.",
    },
    by_notes="By {notes}: ",
    claim=("{cells} isn't {digits}", "{cells} aren't {digits}"),
    claims_joined_by="; ",
    last_or=" or ",
    several_houses={"row": "rows", "column": "columns", "block": "blocks"},
    chain_starts=(
        "if {cell} isn't {digit}, it is {other}",
        "if {cell} isn't {digit}, the {digit} of {house} is at {places}",
        "if {digit} isn't at {cell}, that of {house} is at {places}",
    ),
    chain_goes_on=(
        "so {cell} isn't {digit} but {other}",
        "so {cell} isn't {digit}, and the {digit} of {house} is at {places}",
        "so {digit} isn't at {cell}, and that of {house} is at {places}",
    ),
    write="Write {places}.",
    write_one="{digit} in {cell}",
    then_follow={"one": " {cells} follows.", "*": " {cells} follow."},
    houses={"row": "row {number}", "column": "column {number}", "block": "block {number}"},
    said=SAID,
    plural=plural,
)


def joined(parts: Sequence[str], words: Words = ENGLISH) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    if len(parts) < 2:
        return "".join(parts)
    return words.joined_by.join(parts[:-1]) + words.last_joined_by + parts[-1]


def named_cells(cells: Sequence[Cell], words: Words = ENGLISH) -> str:
    """The cells by name, joined."""
    return joined([cell_name(c) for c in cells], words)


def named_house(house: House, words: Words = ENGLISH) -> str:
    """``row 4``, ``column 2`` or ``block 9``."""
    kind, number = house_name(house).split()
    return words.houses[kind].format(number=number)


def named_houses(houses: Sequence[House], words: Words = ENGLISH) -> str:
    """The houses by name, joined: ``row 1``, ``rows 1 and 5``, ``row 1, column 2 and block 9``."""
    kinds = {house_name(house).split()[0] for house in houses}
    if len(houses) < 2 or len(kinds) > 1:
        return joined([named_house(house, words) for house in houses], words)
    numbers = joined([house_name(house).split()[1] for house in houses], words)
    return f"{words.several_houses[kinds.pop()]} {numbers}"


def where(digit: Digit | None, house: House | None, words: Words = ENGLISH) -> str:
    """Depth 1: one digit or one house."""
    if digit is not None:
        return words.follow_digit.format(digit=digit)
    assert house is not None
    return words.look_at_house.format(house=named_house(house, words))


def named(technique: str, words: Words = ENGLISH) -> str:
    """A technique with its article."""
    return words.names.get(technique, words.names["*"]).format(technique=titled(technique, words))


def titled(technique: str, words: Words = ENGLISH) -> str:
    """A technique by its bare name: where the language has none of its own, the English one."""
    return words.titles.get(technique, technique)


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
    return template.format(house=named_house(house, words), technique=named(technique, words))


def either(parts: Sequence[str], words: Words = ENGLISH) -> str:
    """``a``, ``a or b``, ``a, b or c``."""
    if len(parts) < 2:
        return "".join(parts)
    return words.joined_by.join(parts[:-1]) + words.last_or + parts[-1]


def capital(text: str) -> str:
    """The text with a capital letter in front."""
    return text[0].upper() + text[1:]


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
