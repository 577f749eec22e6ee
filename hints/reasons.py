"""A reason in words: what the pattern of a step is, and why it bites.

The templates are those of ``words``; here they are given the digits, cells and houses by role.
"""

from __future__ import annotations

from collections.abc import Sequence

from papernudge.hints.catalogue import Words
from papernudge.hints.masks import DIGITS_IN, Cell, Cells, Digit, Digits, House, members
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
    either_cell,
    named_cell,
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
    why = "why by notes" if noted else "why"
    return words.say(
        f"{why}, {_kind(technique, pattern, struck)}",
        **_fields(technique, pattern, struck, evidence, words),
        noted=named_cells(noted, words),
    )


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
    if technique == "hidden single":
        return _one_place(pattern, houses, noted, then, words)
    if technique == "several cells of a house":  # what only takes up room is seen in the house
        evidence = tuple(members(pattern.by_role(WITNESS)))
    shown = [named_cell(cell, words) for cell in evidence]
    if noted:
        shown.append(words.say("your notes", cells=named_cells(noted, words)))
    # That a house is full but for one cell is seen at a glance.
    told = bool(shown) and technique != "last blank of a house"
    how = ("", ", with", ", then", ", then with")[told + 2 * then]
    where = named_houses(houses, words)
    return words.say(f"opens, {technique}{how}", evidence=words.all_of(shown), houses=where)


def _one_place(
    pattern: Pattern, houses: Sequence[House], noted: Sequence[Cell], then: bool, words: Words
) -> str:
    """*The 2s at R1C4 and R5C7 leave one place in block 6.*"""
    witnesses = tuple(members(pattern.by_role(WITNESS)))
    after = ", then" if then else ""
    said = {
        "digit": pattern.digits.bit_length(),
        "houses": named_houses(houses, words),
        "cells": named_cells(witnesses, words),
        "noted": named_cells(noted, words),
    }
    if witnesses:
        seen = "seen and noted" if noted else "seen"
        return words.counted(f"one place, {seen}{after}", len(witnesses), **said)
    return words.say(f"one place, noted{after}" if noted else f"one place left{after}", **said)


def claims(struck: Struck, words: Words = ENGLISH) -> str:
    """*R1C4 and R1C5 aren't 7; R2C1 isn't 2 or 6*"""
    groups: dict[tuple[Digit, ...], list[Cell]] = {}
    for cell, digits in struck:
        groups.setdefault(tuple(digits), []).append(cell)
    told = [
        words.counted(
            "claim",
            len(cells),
            cells=named_cells(cells, words),
            digits=words.either(digits),
        )
        for digits, cells in groups.items()
    ]
    return words.chained("claims", told)


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
    return words.all_of(DIGITS_IN[digits])


def _digits_or(digits: Digits, words: Words) -> str:
    return words.either(DIGITS_IN[digits])


def _cells(cells: Cells, words: Words) -> str:
    return named_cells(tuple(members(cells)), words)


def _places(cells: Cells, words: Words) -> str:
    return either_cell(tuple(members(cells)), words)


def _chain(links: Sequence[Link], words: Words) -> str:
    """A chain from its first node being false to its last being true."""
    told = list[str]()
    for link in links:
        if link.kind == STRONG:
            single = link.one.cells & (link.one.cells - 1) == 0
            how = "" if link.house is None else ", in a house" if single else ", from a group"
            told.append(
                words.say(
                    f"{'chain goes on' if told else 'chain starts'}{how}",
                    cell=_places(link.one.cells, words),
                    digit=link.one.digit,
                    other=link.other.digit,
                    house="" if link.house is None else named_house(link.house, words),
                    places=_places(link.other.cells, words),
                )
            )
    return words.chained("links", told)
