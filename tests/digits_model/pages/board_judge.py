"""An independent judge of puzzles on any board: its rules as clauses, asked by python-sat."""

from __future__ import annotations

from itertools import combinations

from papernudge.hints.layout import Layout

SIGNS = "123456789ABCDEFG"


def judged(layout: Layout, givens: str, limit: int = 2) -> list[str]:
    """At most ``limit`` solutions. Of the layout nothing is asked but its plan: blocks, diagonals
    and extra blocks; rows and columns are reckoned here.
    """
    from pysat.solvers import Solver

    side, plan = layout.side, layout.plan
    many = range(side)
    houses = [[side * r + c for c in many] for r in many]
    houses += [[side * r + c for r in many] for c in many]
    houses += [list(block) for block in (*plan.blocks, *plan.extra)]
    if plan.diagonals:
        houses += [[side * k + k for k in many], [side * k + side - 1 - k for k in many]]
    groups = [[side * cell + d + 1 for d in many] for cell in range(side * side)]
    groups += [[side * cell + d + 1 for cell in house] for house in houses for d in many]
    clauses = list(groups)
    clauses += [[-a, -b] for group in groups for a, b in combinations(group, 2)]
    clauses += [
        [side * cell + SIGNS.index(sign) + 1] for cell, sign in enumerate(givens) if sign != "."
    ]
    found = []
    with Solver(name="cadical153", bootstrap_with=clauses) as solver:
        while len(found) < limit and solver.solve():
            true = {literal - 1 for literal in solver.get_model() if literal > 0}
            digits = {at // side: at % side for at in true if at < side**3}
            found.append("".join(SIGNS[digits[cell]] for cell in range(side * side)))
            solver.add_clause([-(side * cell + d + 1) for cell, d in digits.items()])
    return found
