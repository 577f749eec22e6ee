"""One name for a puzzle however it is turned, mirrored, shuffled or relabelled.

The symmetries that keep the rules of the grid: transposing, exchanging bands, stacks, rows inside
a band, columns inside a stack, and digits (together 9! × 2 × 6⁸). ``canonical`` picks one picture
out of all that they make of a puzzle, the same one wherever it starts.

The method is canonical labelling by colour refinement, as in B. D. McKay, "Practical graph
isomorphism" (Congressus Numerantium 30, 1981): rows, columns, bands, stacks, both directions and
digits are nodes, each given ties its row, column and digit. Nodes that look different get
different colours, round by round; where equals remain, each is singled out in turn, only the
branches that look least are followed, and the least picture at their ends is the answer.
"""

from __future__ import annotations

from collections.abc import Sequence

from papernudge.hints.layout import NEWSPAPER

_SIDE, _MANY = NEWSPAPER.side, NEWSPAPER.many
_DEEP = max(NEWSPAPER.even or (1, 1))
"""Lines of a chute: of a band as of a stack."""
_CHUTES = 2 * _SIDE
_WAYS = _CHUTES + _CHUTES // _DEEP
_DIGITS = _WAYS + 2
"""Nodes: lines 0–17 (rows, then columns), chutes 18–23, the two directions, digits 26–34."""
_NODES = _DIGITS + _SIDE
_KIND = [0] * _CHUTES + [1] * (_WAYS - _CHUTES) + [2] * 2 + [3] * _SIDE

Colours = list[int]
Look = tuple[object, ...]
"""How a coloured puzzle looks to somebody who can't tell nodes of a colour apart."""
Tie = tuple[int, int, int]


def canonical(line: str) -> str:
    """The form that this puzzle shares with all its symmetric pictures and with no other.

    ``line``: 81 characters, ``.`` or ``0`` for nothing; whether it has one solution does not
    matter. The result: 81 characters, ``.`` for nothing, itself a picture of the puzzle.
    ValueError for anything but 81 such characters.

    >>> canonical("." * 40 + "7" + "." * 40) == canonical("3" + "." * 80)
    True
    """
    ties = _ties(line)
    held = {node for tie in ties for node in tie}
    held |= {_chute(node) for node in held if node < _CHUTES}
    held |= {_WAYS + (node - _CHUTES) // _DEEP for node in held if _CHUTES <= node < _WAYS}
    best = ""
    level = [_refined(ties, list(_KIND))[1]]
    while level:
        cell = _undecided(level[0], held)
        if cell is None:
            best = min(_picture(ties, colours) for colours in level)
            break
        level = _branches(ties, level, held)
    return best


def _ties(line: str) -> list[Tie]:
    if len(line) != _MANY or any(mark not in f"{NEWSPAPER.symbols}.0" for mark in line):
        raise ValueError(
            f"expected {_MANY} characters, 1 to {_SIDE} or . for nothing, got {len(line)}:"
            f" {line[:90]!r}"
        )
    return [
        (NEWSPAPER.rows[cell], NEWSPAPER.columns[cell], _DIGITS + int(mark) - 1)
        for cell, mark in enumerate(line)
        if mark not in ".0"
    ]


def _chute(line: int) -> int:
    return _CHUTES + line // _DEEP


def _refined(ties: Sequence[Tie], colours: Colours) -> tuple[Look, Colours]:
    """Colours split until nothing splits, and how the puzzle looks then.

    A colour is the rank of what its nodes look like, so it means the same in every picture.
    """
    many = len(set(colours))
    while True:
        around: list[list[int]] = [[] for _ in range(_NODES)]
        for row, column, digit in ties:
            r, c, d = colours[row], colours[column], colours[digit]
            around[row].append(c << 6 | d)
            around[column].append(r << 6 | d)
            around[digit].append(r << 6 | c if r < c else c << 6 | r)
        for line in range(_CHUTES):
            around[_chute(line)].append(colours[line])
            around[line].append(colours[_chute(line)] << 12)
        for chute in range(_CHUTES, _WAYS):
            way = _WAYS + (chute - _CHUTES) // _DEEP
            around[way].append(colours[chute])
            around[chute].append(colours[way] << 12)
        looks = [(own, *sorted(near)) for own, near in zip(colours, around, strict=True)]
        ranks = {look: rank for rank, look in enumerate(sorted(set(looks)))}
        colours = [ranks[look] for look in looks]
        if len(ranks) == many:
            return tuple(sorted(looks)), colours
        many = len(ranks)


def _undecided(colours: Colours, held: set[int]) -> list[int] | None:
    """The nodes of the first of the smallest colours shared by several; None if all are told apart.

    Nodes without a given change no picture, whichever comes first.
    """
    groups: dict[int, list[int]] = {}
    for node in sorted(held):
        groups.setdefault(colours[node], []).append(node)
    shared = [(len(nodes), colour) for colour, nodes in groups.items() if len(nodes) > 1]
    return groups[min(shared)[1]] if shared else None


def _branches(ties: Sequence[Tie], level: list[Colours], held: set[int]) -> list[Colours]:
    """Every way to single out one of the undecided nodes that looks least, each once."""
    found: dict[tuple[int, ...], Colours] = {}
    least: Look | None = None
    for colours in level:
        for node in _undecided(colours, held) or ():
            # The chosen one comes before its equals; doubling makes room.
            tried = [2 * colour + 1 for colour in colours]
            tried[node] -= 1
            look, after = _refined(ties, _ranked(tried))
            if least is None or look < least:
                least, found = look, {}
            if look == least:
                found.setdefault(tuple(after), after)
    return list(found.values())


def _ranked(colours: Colours) -> Colours:
    ranks = {colour: rank for rank, colour in enumerate(sorted(set(colours)))}
    return [ranks[colour] for colour in colours]


def _picture(ties: Sequence[Tie], colours: Colours) -> str:
    """The puzzle with lines, directions and digits in the order of their colours."""
    ways = sorted((_WAYS, _WAYS + 1), key=lambda node: colours[node])
    at: dict[int, int] = {}
    for way in ways:
        first = _CHUTES + _DEEP * (way - _WAYS)
        chutes = sorted(range(first, first + _DEEP), key=lambda node: colours[node])
        lines: list[int] = []
        for chute in chutes:
            inside = _DEEP * (chute - _CHUTES)
            lines += sorted(range(inside, inside + _DEEP), key=lambda node: colours[node])
        at.update({line: place for place, line in enumerate(lines)})
    digits = sorted(range(_DIGITS, _NODES), key=lambda node: colours[node])
    # Digits that stand somewhere are numbered first, so that those that don't leave no gap.
    used = {digit for _, _, digit in ties}
    names = {digit: str(n + 1) for n, digit in enumerate(d for d in digits if d in used)}
    marks = [*NEWSPAPER.blank]
    for row, column, digit in ties:
        down, across = (row, column) if ways[0] == _WAYS else (column, row)
        marks[NEWSPAPER.at(at[down], at[across])] = names[digit]
    return "".join(marks)


__all__ = ["canonical"]
