"""Puzzles of our own: seeded, proper, any number of them.

The same seed gives the same puzzle on every machine.
"""

from __future__ import annotations

from itertools import islice
from random import Random

from papernudge.hints.layout import NEWSPAPER, Layout, beside, pieces
from papernudge.hints.masks import SYMBOLS, Candidates, members
from papernudge.hints.solver import OutOfPatience, candidates_after, models


def full_grid(seed: int, layout: Layout = NEWSPAPER) -> str:
    """A filled grid, a character for each cell.

    A dozen digits (of 81, of larger boards more) are strewn at random as far as they leave a
    solution; the rest is solved. ValueError where no full grid of a board was found.
    """
    random = Random(seed)
    state, keep = layout.all_candidates, layout.keep
    grid = None
    for cell in random.sample(layout.cells, 12 * layout.many // 81):
        options = [bit for bit in members(state) if bit % layout.many == cell]
        random.shuffle(options)
        for bit in options:
            found = _filled(state & keep[bit], seed, layout)
            if found is not None:
                state, grid = state & keep[bit], found
                break
    if grid is None:
        raise ValueError("expected a board with a full grid, found none")
    return "".join(SYMBOLS[digit - 1] for _, digit in layout.pairs(grid))


def _filled(state: Candidates, seed: int, layout: Layout) -> Candidates | None:
    """A full grid inside a state; None where there is none, or none was found soon: on boards with
    more houses than the newspaper's most of what is strewn leaves none, and takes long to be seen
    to; a board of sixteen rows takes a hundred branches to fill. The newspaper's seeds keep the
    grids that they have.
    """
    own, further = (seed % 80 + 1, False), ((1, True), (1, False), (3, False))
    large = layout.many > NEWSPAPER.many
    ways = (own,) if layout is NEWSPAPER else (own, *further) if large else further
    patience = 400 if large or layout is NEWSPAPER else 60
    for turn, by_place in ways:
        try:
            return next(models(state, 0, by_place, turn, patience, layout), None)
        except OutOfPatience:
            continue
    return None


_PATIENCE = {NEWSPAPER: 1 << 60}
"""So many branches are opened to see that a puzzle has one solution, else 1,000: a given is kept
where that is not enough."""


def _has_one_solution(line: str, layout: Layout) -> bool:
    patience = _PATIENCE.get(layout, 1000)
    grids = models(candidates_after(line, layout), patience=patience, layout=layout)
    try:
        return sum(1 for _ in islice(grids, 2)) == 1
    except OutOfPatience:
        return False


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
        if _has_one_solution("".join(digits), layout):
            left -= len(group)
        else:
            for c, digit in zip(group, held, strict=True):
                digits[c] = digit
    return "".join(digits)


def any_blocks(seed: int, side: int) -> Layout:
    """A board of ``side`` rows with blocks of any form, on which there is a full grid.

    Beginning with blocks that are rows, cells of neighbours are exchanged at random as long as each
    block stays in one piece.
    """
    random = Random(seed)
    while True:
        block = [cell // side for cell in range(side * side)]
        for _ in range(12 * side * side):
            _exchange(block, side, random)
        regions = [[c for c, b in enumerate(block) if b == k] for k in range(side)]
        layout = Layout.of_regions(regions)
        if _filled(layout.all_candidates, 1, layout) is not None:
            return layout


def _exchange(block: list[int], side: int, random: Random) -> None:
    """Let two blocks that touch exchange a cell each, if both stay in one piece."""
    one = random.randrange(side * side)
    theirs = {block[c] for c in beside(side, one)} - {block[one]}
    if not theirs:
        return
    mine, other = block[one], random.choice(sorted(theirs))
    rim = [
        c
        for c, b in enumerate(block)
        if b == other and c != one and any(block[x] == mine for x in beside(side, c))
    ]
    back = random.choice(rim)
    block[one], block[back] = other, mine
    if not (_in_one_piece(block, side, mine) and _in_one_piece(block, side, other)):
        block[one], block[back] = mine, other


def _in_one_piece(block: list[int], side: int, wanted: int) -> bool:
    return pieces(side, [c for c, b in enumerate(block) if b == wanted]) == 1
