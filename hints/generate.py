"""Puzzles of our own: seeded, proper, any number of them.

The same seed gives the same puzzle on every machine.
"""

from __future__ import annotations

from random import Random

from papernudge.hints.geometry import ALL_CANDIDATES, candidate_pairs, members, pair_of
from papernudge.hints.layout import NEWSPAPER
from papernudge.hints.solver import KEEP, OutOfPatience, count_solutions, models


def full_grid(seed: int) -> str:
    """A filled grid, 81 characters.

    A dozen digits are strewn at random as far as they leave a solution; the rest is solved.
    """
    random = Random(seed)
    state = ALL_CANDIDATES
    grid = None
    for cell in random.sample(NEWSPAPER.cells, 12):
        options = [bit for bit in members(state) if pair_of(bit)[0] == cell]
        random.shuffle(options)
        for bit in options:
            try:
                found = next(models(state & KEEP[bit], seed=seed % 80 + 1, patience=400), None)
            except OutOfPatience:
                continue
            if found is not None:
                state, grid = state & KEEP[bit], found
                break
    assert grid is not None
    return "".join(str(digit) for _, digit in candidate_pairs(grid))


def puzzle(seed: int, givens: int = 0, symmetric: bool = False) -> str:
    """A puzzle with exactly one solution, 81 characters, ``.`` for a blank.

    Digits are rubbed out of a filled grid in random order as long as one solution is left, down to
    ``givens`` of them; 0 goes on until every given is needed. ``symmetric``: in pairs that face
    each other across the centre, so that the pattern looks the same upside down. The number wanted
    can't always be reached: then more are left.

    >>> from papernudge.hints.solver import count_solutions
    >>> count_solutions(puzzle(7, givens=30))
    1
    """
    random = Random(seed)
    digits = list(full_grid(seed))
    order = list(range(41) if symmetric else range(81))
    random.shuffle(order)
    left = 81
    for cell in order:
        group = sorted({cell, 80 - cell}) if symmetric else [cell]
        if left - len(group) < givens:
            continue
        held = [digits[c] for c in group]
        for c in group:
            digits[c] = "."
        if count_solutions("".join(digits)) == 1:
            left -= len(group)
        else:
            for c, digit in zip(group, held, strict=True):
                digits[c] = digit
    return "".join(digits)
