"""Puzzles of our own: seeded, proper, any number of them.

The same seed gives the same puzzle on every machine.
"""

from __future__ import annotations

from random import Random

from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.masks import SYMBOLS, members
from papernudge.hints.solver import OutOfPatience, count_solutions, models


def full_grid(seed: int, layout: Layout = NEWSPAPER) -> str:
    """A filled grid, a character for each cell.

    A dozen digits (of 81, of larger boards more) are strewn at random as far as they leave a
    solution; the rest is solved.
    """
    random = Random(seed)
    state, keep = layout.all_candidates, layout.keep
    grid = None
    for cell in random.sample(layout.cells, 12 * layout.many // 81):
        options = [bit for bit in members(state) if bit % layout.many == cell]
        random.shuffle(options)
        for bit in options:
            left = state & keep[bit]
            try:
                found = next(models(left, seed=seed % 80 + 1, patience=400, layout=layout), None)
            except OutOfPatience:
                continue
            if found is not None:
                state, grid = left, found
                break
    assert grid is not None
    return "".join(SYMBOLS[digit - 1] for _, digit in layout.pairs(grid))


def puzzle(seed: int, givens: int = 0, symmetric: bool = False, layout: Layout = NEWSPAPER) -> str:
    """A puzzle with exactly one solution, a character for each cell, ``.`` for a blank.

    Digits are rubbed out of a filled grid in random order as long as one solution is left, down to
    ``givens`` of them; 0 goes on until every given is needed. ``symmetric``: in pairs that face
    each other across the centre, so that the pattern looks the same upside down. The number wanted
    can't always be reached: then more are left.

    >>> from papernudge.hints.solver import count_solutions
    >>> count_solutions(puzzle(7, givens=30))
    1
    """
    random = Random(seed)
    digits, many = list(full_grid(seed, layout)), layout.many
    order = list(range((many + 1) // 2) if symmetric else layout.cells)
    random.shuffle(order)
    left = many
    for cell in order:
        group = sorted({cell, many - 1 - cell}) if symmetric else [cell]
        if left - len(group) < givens:
            continue
        held = [digits[c] for c in group]
        for c in group:
            digits[c] = "."
        if count_solutions("".join(digits), layout=layout) == 1:
            left -= len(group)
        else:
            for c, digit in zip(group, held, strict=True):
                digits[c] = digit
    return "".join(digits)
