"""What follows from an assumption: singles to their end, and where they run dry, branches."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from papernudge.hints.layout import Layout
from papernudge.hints.masks import Candidates, Cells, members
from papernudge.hints.solver import propagated, rules_of, written_out

World = tuple[Candidates, Candidates]
"""What is left, and what is written, where singles have run dry and no rule lacks a candidate. A
state that holds all that is left there comes to no contradiction when one of the written candidates
is assumed and singles are followed."""

Ends = Mapping[int, World | None]
"""For each candidate the world that singles lead to when it alone is assumed; None where that is
impossible."""

MOST_WORLDS = 500
"""So many are kept: no result depends on it."""


def ends_of(layout: Layout, state: Candidates, done: Candidates = 0) -> Ends:
    """Where each candidate of a state leads."""
    keep = layout.keep
    return {
        bit: propagated(state & keep[bit], done | 1 << bit, layout)
        for bit in members(state & ~done)
    }


def followed(
    layout: Layout,
    state: Candidates,
    branches: int,
    done: Candidates = 0,
    shortest: bool = True,
    ends: Ends | None = None,
    worlds: list[World] | None = None,
) -> int | None:
    """How many digits are followed until nothing is possible: the least, over the cells that may be
    split, or with ``shortest`` off by the first cell that will do. None if no contradiction is
    reached. ``ends``: of a state that this one comes from, if they are known; ``worlds``: some that
    have been seen, added to: no result depends on either.
    """
    count, left, done = _run_dry(layout, state, done)
    if left is None:
        return count
    if worlds is None:
        worlds = []
    if branches == 0 or done == left:
        _keep(worlds, [(left, done)])
        return None
    inside = [world for world in worlds if not world[0] & ~left]
    known = len(inside)
    if branches == 1:
        stands = 0
        for _, written in inside:
            stands |= written
        least = split_once(layout, left, done, shortest, ends, stands, inside)
    else:
        found_ways = (
            way
            for options in _splittable(layout, left)
            if (
                way := _each_followed(layout, left, options, branches, done, shortest, ends, inside)
            )
            is not None
        )
        least = min(found_ways, default=None) if shortest else next(found_ways, None)
    _keep(worlds, inside[known:])
    return None if least is None else count + least


def _keep(worlds: list[World], more: list[World]) -> None:
    if len(worlds) < MOST_WORLDS:
        worlds += more


def _run_dry(
    layout: Layout, state: Candidates, done: Candidates
) -> tuple[int, Candidates | None, Candidates]:
    """How many digits singles write, and what is left then and written; nothing is left where a
    rule has no candidate any more.
    """
    rules, count = rules_of(layout), 0
    singles, keep = rules.singles, rules.keep
    while True:
        found = singles(state)
        if found is None:
            return count, None, done
        fresh = found & ~done
        if not fresh:
            return count, state, done
        count += fresh.bit_count()
        done |= fresh
        state = written_out(state, fresh, keep)
        if done & ~state:
            return count, None, done


def _each_followed(
    layout: Layout,
    state: Candidates,
    options: Candidates,
    branches: int,
    done: Candidates,
    shortest: bool,
    ends: Ends | None,
    worlds: list[World],
) -> int | None:
    """The digits followed when each of a cell's candidates is assumed in turn."""
    total, keep = 0, layout.keep
    for option in members(options):
        left = state & keep[option]
        digits = followed(layout, left, branches - 1, done, shortest, ends, worlds)
        if digits is None:
            return None
        total += 1 + digits
    return total


def split_once(
    layout: Layout,
    state: Candidates,
    done: Candidates,
    shortest: bool,
    ends: Ends | None,
    stands: Candidates,
    worlds: list[World],
) -> int | None:
    """The same where nothing is split further, over all cells. ``stands``: candidates that are
    written in some world inside the state, so that no cell need be split that can take one of them;
    ``worlds``: those that turn up are added.
    """
    least: int | None = None
    for options in _splittable(layout, state):
        if options & stands:
            continue
        digits = _each_dry(layout, state, options, done, ends)
        if isinstance(digits, tuple):
            worlds.append(digits)
            stands |= digits[1]
        elif not shortest:
            return digits
        else:
            least = digits if least is None else min(least, digits)
    return least


def _each_dry(
    layout: Layout, state: Candidates, options: Candidates, done: Candidates, ends: Ends | None
) -> int | World:
    """The digits followed by singles when each of a cell's candidates is assumed in turn; the world
    that one of them leads to, if it comes to no contradiction.
    """
    if ends is not None:
        for option in members(options):
            end = ends[option]
            if end is not None:
                # What follows from it alone and what stands here together leave little to follow.
                both, written = state & end[0], done | end[1]
                if not written & ~both:
                    world = propagated(both, written, layout)
                    if world is not None:
                        return world
    total, keep = 0, layout.keep
    for option in members(options):
        digits, left, written = _run_dry(layout, state & keep[option], done)
        if left is not None:
            return left, written
        total += 1 + digits
    return total


def _splittable(layout: Layout, state: Candidates) -> Iterator[Candidates]:
    """The candidates of each cell that has as few as a splittable cell can have."""
    rules = rules_of(layout)
    at_least: list[Cells] = [rules.plane, 0, 0, 0]
    for shift in (0, *rules.cells.steps):
        plane = state >> shift & rules.plane
        at_least[3] |= at_least[2] & plane
        at_least[2] |= at_least[1] & plane
        at_least[1] |= plane
    cells = at_least[2] & ~at_least[3] or _with_fewest(layout, state)
    for cell in members(cells):
        yield rules.lane << cell & state


def _with_fewest(layout: Layout, state: Candidates) -> Cells:
    """The cells with as few candidates as any has, of those with more than one."""
    lane = rules_of(layout).lane
    counts = {cell: (state >> cell & lane).bit_count() for cell in layout.cells}
    least = min((count for count in counts.values() if count > 1), default=0)
    return sum(1 << cell for cell, count in counts.items() if count == least > 1)
