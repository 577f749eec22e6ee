"""What is said of digits, cells, houses and techniques, and of the first two depths and the last:
the data that templates take, and which template that is.

Each function takes what one depth may know, so that a sentence can't give away more.
"""

from __future__ import annotations

from collections.abc import Sequence

from papernudge.hints.catalogue import Words, english_plural
from papernudge.hints.layout import BLOCK
from papernudge.hints.masks import Cell, Digit, House
from papernudge.hints.said import SAID

ENGLISH = Words("en", SAID, english_plural)


def named_cell(cell: Cell, words: Words = ENGLISH) -> str:
    """``R4C7``, or as the language has it."""
    row, column = words.layout.place(cell)
    return words.say("cell", row=row + 1, column=column + 1)


def named_cells(cells: Sequence[Cell], words: Words = ENGLISH) -> str:
    """The cells by name, joined."""
    return words.all_of([named_cell(c, words) for c in cells])


def either_cell(cells: Sequence[Cell], words: Words = ENGLISH) -> str:
    """The cells by name, of which one is meant."""
    return words.either([named_cell(c, words) for c in cells])


def named_house(house: House, words: Words = ENGLISH) -> str:
    """``row 4``, ``column 2`` or ``block 9``; blocks of any form and extra blocks, which nobody
    numbers, by their first cell; diagonals by where they begin.
    """
    of_it = words.layout.houses[house]
    kind = f"house, {of_it.kind}"
    if of_it.kind == BLOCK and words.layout.even is None:
        kind = "house, block of any form"
    code = words.known(f"{kind} {of_it.number}", kind)
    return words.say(code, number=of_it.number, cell=named_cell(of_it.cells[0], words))


def named_houses(houses: Sequence[House], words: Words = ENGLISH) -> str:
    """The houses by name, joined: ``row 1``, ``rows 1 and 5``, ``row 1, column 2 and block 9``."""
    of_them = [words.layout.houses[house] for house in houses]
    kinds = {house.kind for house in of_them}
    numbered = kinds != {BLOCK} or words.layout.even
    code = f"houses, {kinds.pop()}" if len(kinds) == 1 and numbered else ""
    if len(houses) < 2 or code not in words.said:
        return words.all_of([named_house(house, words) for house in houses])
    return words.say(code, numbers=words.all_of([str(house.number) for house in of_them]))


def where(digit: Digit | None, house: House | None, words: Words = ENGLISH) -> str:
    """Depth 1: one digit or one house."""
    if digit is not None:
        return words.say("follow digit", digit=digit)
    assert house is not None
    return words.say("look at", houses=named_house(house, words))


def a_digit(digit: Digit, words: Words = ENGLISH) -> str:
    """A digit with its article."""
    return words.say(words.known(f"a digit, {digit}", "a digit"), digit=digit)


def named(technique: str, words: Words = ENGLISH) -> str:
    """A technique with its article."""
    code = words.known(f"a technique, {technique}", "a technique")
    return words.say(code, technique=titled(technique, words))


def titled(technique: str, words: Words = ENGLISH) -> str:
    """A technique by its bare name: where the language has none of its own, the English one."""
    return words.said.get(f"technique, {technique}", technique)


def practised(technique: str, kind: str | None, blanks: int | None, words: Words = ENGLISH) -> str:
    """A reason to practise: ``hidden single in a block with 3 blanks``."""
    name = titled(technique, words)
    if kind is not None:  # it names the house itself
        short = f"technique, {technique}, in a house"
        name = words.said.get(short, name.removesuffix(" of a house"))
    where = f" in a {kind}" if kind else ""
    with_blanks = "" if blanks is None else ", blanks"
    return words.say(f"practised{where}{with_blanks}", name=name, blanks=blanks)


def question(
    digit: Digit | None, house: House | None, technique: str, words: Words = ENGLISH
) -> str:
    """Depth 2: which question to ask there."""
    if digit is not None:
        return words.say(
            words.known(f"ask of a digit, {technique}", "ask of a digit"),
            digit=digit,
            a_digit=a_digit(digit, words),
            technique=named(technique, words),
        )
    assert house is not None
    return words.say(
        words.known(f"ask of a house, {technique}", "ask of a house"),
        house=named_house(house, words),
        technique=named(technique, words),
    )


def digit_in(digit: Digit | str, cell: Cell, words: Words = ENGLISH) -> str:
    """``7 in R4C7``"""
    return words.say("digit in", digit=digit, cell=named_cell(cell, words))


def writing(
    places: Sequence[tuple[Cell, Digit]], words: Words = ENGLISH, follow: Sequence[Cell] = ()
) -> str:
    """Depth 4: the digit, and in which cells others follow from it."""
    parts = [digit_in(d, c, words) for c, d in places]
    said = [words.say("write", places=words.all_of(parts))]
    if follow:
        said.append(words.counted("follow", len(follow), cells=named_cells(follow, words)))
    return words.paragraph(said)
