"""A reason in words: what the pattern of a step is, and why it bites.

The templates are those of ``words``; here they are given the digits, cells and houses by role.
"""

from __future__ import annotations

from collections.abc import Sequence

from papernudge.hints.geometry import (
    DIGITS_IN,
    Cell,
    Cells,
    Digit,
    Digits,
    House,
    cell_name,
    members,
)
from papernudge.hints.pattern import (
    BASE,
    COVER,
    END,
    ONE_COLOUR,
    OTHER_COLOUR,
    ROLES,
    STRONG,
    WITNESS,
    Link,
    Pattern,
)
from papernudge.hints.words import (
    ENGLISH,
    Words,
    capital,
    either,
    joined,
    named_cells,
    named_house,
    named_houses,
    titled,
)

Struck = Sequence[tuple[Cell, Sequence[Digit]]]

_PLACES = frozenset({"locked", "fin", "bridge", "one set", "other set"})
"""Roles whose cells are places of one digit, so that just one of them holds it."""


def elimination(
    technique: str,
    pattern: Pattern,
    struck: Struck,
    evidence: Sequence[Cell] = (),
    noted: Sequence[Cell] = (),
    words: Words = ENGLISH,
) -> str:
    """Why a step before the last holds, and what it rules out. ``noted``: cells whose notes it is
    read from.
    """
    template = words.patterns[_kind(technique, pattern, struck)]
    text = template.format(**_fields(technique, pattern, struck, evidence, words))
    if noted:
        notes = words.from_notes.format(cells=named_cells(noted, words))
        return words.by_notes.format(notes=notes) + text
    return capital(text)


def placement(
    technique: str,
    pattern: Pattern,
    houses: Sequence[House],
    evidence: Sequence[Cell],
    noted: Sequence[Cell] = (),
    then: bool = False,
    words: Words = ENGLISH,
) -> str:
    """Why the last step holds. ``then``: whether it builds on the steps before."""
    notes = [words.from_notes.format(cells=named_cells(noted, words))] if noted else []
    if technique == "hidden single":
        return _one_place(pattern, houses, notes, then, words)
    text = words.reasons[technique].format(houses=named_houses(houses, words))
    if technique == "several cells of a house":  # what only takes up room is seen in the house
        evidence = tuple(members(pattern.by_role(WITNESS)))
    shown = joined([*(cell_name(cell) for cell in evidence), *notes], words)
    # That a house is full but for one cell is seen at a glance.
    if shown and technique != "last blank of a house":
        opening = words.then_with_evidence if then else words.with_evidence
        return opening.format(evidence=shown) + text
    return words.then + text if then else capital(text)


def _one_place(
    pattern: Pattern, houses: Sequence[House], notes: list[str], then: bool, words: Words
) -> str:
    """*The 2s at R1C4 and R5C7 leave one place in block 6.*"""
    digit, where = pattern.digits.bit_length(), named_houses(houses, words)
    witnesses = tuple(members(pattern.by_role(WITNESS)))
    shown = list(notes)
    if witnesses:
        template = words.of_a_digit[len(witnesses) > 1]
        shown.insert(0, template.format(digit=digit, cells=named_cells(witnesses, words)))
    if not shown:
        text = words.reasons["hidden single"].format(digit=digit, houses=where)
    else:
        template = words.leaves_one_place[len(witnesses) > 1 or bool(notes)]
        for_digit = "" if witnesses else words.for_digit.format(digit=digit)
        text = template.format(shown=joined(shown, words), for_digit=for_digit, houses=where)
    return words.then + text if then else capital(text)


def claims(struck: Struck, words: Words = ENGLISH) -> str:
    """*R1C4 and R1C5 aren't 7; R2C1 isn't 2 or 6*"""
    groups: dict[tuple[Digit, ...], list[Cell]] = {}
    for cell, digits in struck:
        groups.setdefault(tuple(digits), []).append(cell)
    told = [
        words.claim[len(cells) > 1].format(
            cells=named_cells(cells, words), digits=either([str(d) for d in digits], words)
        )
        for digits, cells in groups.items()
    ]
    return words.claims_joined_by.join(told)


def _kind(technique: str, pattern: Pattern, struck: Struck) -> str:
    """Which template tells a technique."""
    first = technique.split()[0]
    if first in ("naked", "hidden", "finned"):
        return first
    if technique in ("X-wing", "swordfish", "jellyfish"):
        return "fish"
    coloured = pattern.by_role(ONE_COLOUR) | pattern.by_role(OTHER_COLOUR)
    if coloured:
        return "one colour" if all(coloured >> cell & 1 for cell, _ in struck) else "colouring"
    return "chain" if pattern.links and pattern.by_role(END) and first != "remote" else technique


def _fields(
    technique: str, pattern: Pattern, struck: Struck, evidence: Sequence[Cell], words: Words
) -> dict[str, str]:
    gone = sum(1 << (d - 1) for d in {d for _, digits in struck for d in digits})
    fields = {
        "technique": titled(technique, words),
        "digits": _digits(pattern.digits, words),
        "digits_or": _digits_or(pattern.digits, words),
        "others": _digits_or(pattern.digits & ~gone, words),
        "struck": _digits_or(gone, words),
        "base": named_houses(pattern.houses_by_role(BASE), words),
        "cover": named_houses(pattern.houses_by_role(COVER), words),
        "claims": claims(struck, words),
        "evidence": named_cells(evidence, words),
        "chain": _chain(pattern.links, words),
        "path": named_cells(_path(pattern.links), words),
        "shared": "",
        "holders": "",
    }
    if technique == "almost-locked sets":
        shared, kept = pattern.links
        fields["shared"] = str(shared.one.digit)
        fields["holders"] = _places(kept.one.cells | kept.other.cells, words)
    for role in ROLES:
        told = _places if role in _PLACES else _cells
        fields[role.replace(" ", "_")] = told(pattern.by_role(role), words)
    return fields


def _path(links: Sequence[Link]) -> tuple[Cell, ...]:
    """The cells of a chain in order."""
    cells = [c for link in links for node in (link.one, link.other) for c in members(node.cells)]
    return tuple(dict.fromkeys(cells))


def _digits(digits: Digits, words: Words) -> str:
    return joined([str(d) for d in DIGITS_IN[digits]], words)


def _digits_or(digits: Digits, words: Words) -> str:
    return either([str(d) for d in DIGITS_IN[digits]], words)


def _cells(cells: Cells, words: Words) -> str:
    return named_cells(tuple(members(cells)), words)


def _places(cells: Cells, words: Words) -> str:
    return either([cell_name(c) for c in members(cells)], words)


def _chain(links: Sequence[Link], words: Words) -> str:
    """A chain from its first node being false to its last being true."""
    told = list[str]()
    for link in links:
        if link.kind == STRONG:
            templates = words.chain_goes_on if told else words.chain_starts
            single = link.one.cells & (link.one.cells - 1) == 0
            template = templates[0 if link.house is None else 1 if single else 2]
            told.append(
                template.format(
                    cell=_places(link.one.cells, words),
                    digit=link.one.digit,
                    other=link.other.digit,
                    house="" if link.house is None else named_house(link.house, words),
                    places=_places(link.other.cells, words),
                )
            )
    return words.joined_by.join(told)
