"""Nets: assume a candidate, follow what it forces, until something becomes impossible."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction
from papernudge.hints.following import Ends, World, ends_of, followed, split_once
from papernudge.hints.layout import Layout
from papernudge.hints.masks import Candidates, members
from papernudge.hints.pattern import ASSUMED, BASE, Pattern

NET = "net"
LOOKS_A_DIGIT = 3
"""What following one digit costs: the house it is asked in, the digit, the cell it goes to."""


def nets(board: Board, branches: int, wanted: Candidates | None = None) -> list[Deduction]:
    """A candidate that leads to a contradiction is out.

    From the assumed candidate all singles are followed, round by round. Where they run dry a
    cell is split into its digits, and each must come to a contradiction; ``branches`` is how
    deep such splits may go. With enough of them every proper puzzle is carried to its end.
    ``wanted``: candidates worth trying, else all.

    Here 1 in R1C1 leaves only 2 for R1C2 and for R1C3.

    >>> from papernudge.hints.drawing import marked, told
    >>> print(told(d for d in nets(marked('''
    ...     134 12 12  . . .  . . .'''), 0) if d.held == 1))
    net, 9 looks: no 1 in R1C1
    """
    key = NET, board.gone, branches
    known: dict[int, Deduction | None] = board.shared.setdefault(key, {})
    asked = list(members(board.candidates & (-1 if wanted is None else wanted)))
    unknown = [bit for bit in asked if bit not in known]
    if unknown:
        state = board.written | board.candidates
        layout = board.layout
        told = _followed_from(layout, state, board.written, branches, unknown)
        known.update(
            (bit, None if digits is None else _net(layout, bit, digits)) for bit, digits in told
        )
    return [net for bit in asked if (net := known[bit])]


def _followed_from(
    layout: Layout,
    state: Candidates,
    written: Candidates,
    branches: int,
    assumed: Iterable[int],
) -> Iterator[tuple[int, int | None]]:
    """For each candidate the digits followed from it to a contradiction, if there is one."""
    keep = layout.keep
    if not branches:
        stood = 0
        for bit in assumed:
            # What is written where another one leads to stands as well.
            digits = None
            if not stood >> bit & 1:
                worlds: list[World] = []
                start = state & keep[bit]
                digits = followed(layout, start, 0, written | 1 << bit, worlds=worlds)
                stood |= worlds[0][1] if worlds else 0
            yield bit, digits
        return
    ends = ends_of(layout, state, written)
    stands, worlds = _standing(ends), []
    for bit in assumed:
        end = ends[bit]
        if end is None:
            yield bit, followed(layout, state & keep[bit], 0, written | 1 << bit)
            continue
        found: list[World] = []
        if branches == 1:
            digits = split_once(layout, end[0], end[1], True, ends, stands[bit], found)
            for world in found:
                for other in members(world[1] & ~written):
                    stands[other] |= world[1]
        else:
            worlds = worlds or [one for one in ends.values() if one]
            digits = followed(layout, end[0], branches, end[1], ends=ends, worlds=worlds)
        before = (end[1] & ~written).bit_count() - 1
        yield bit, None if digits is None else before + digits


def _standing(ends: Ends) -> dict[int, Candidates]:
    """For each candidate those that are written together with it in some world."""
    stands = dict.fromkeys(ends, 0)
    for end in ends.values():
        if end is not None:
            for bit in members(end[1]):
                if bit in stands:
                    stands[bit] |= end[1]
    return stands


def _net(layout: Layout, bit: int, digits: int) -> Deduction:
    """The net that so many digits are followed in."""
    digit, at = divmod(bit, layout.many)
    cell = 1 << at
    pattern = Pattern(1 << digit, ((ASSUMED, cell),), ((BASE, (layout.blocks[at],)),))
    looks = LOOKS_A_DIGIT * (1 + digits)
    return Deduction(NET, (), cell, (), 1 << bit, looks, sees=pattern)
