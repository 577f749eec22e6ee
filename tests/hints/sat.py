"""An independent judge: the rules of the grid as clauses, asked by a SAT solver (python-sat)."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import combinations
from typing import Any

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction, Evidence
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.masks import SYMBOLS, VALUES


def variable(cell: int, digit: int, layout: Layout = NEWSPAPER) -> int:
    return layout.side * cell + digit


def rules(layout: Layout = NEWSPAPER) -> list[list[int]]:
    """Each cell has one digit; each digit stands once in every row, column and block, and in every
    diagonal and extra block of the plan. Of the layout nothing is asked but that plan.
    """
    side, plan = layout.side, layout.plan
    many = range(side)
    houses = [[side * k + j for j in many] for k in many]
    houses += [[side * j + k for j in many] for k in many]
    if plan.even:
        high, wide = plan.even
        for top in range(0, side, high):
            for left in range(0, side, wide):
                houses.append([side * (top + j // wide) + left + j % wide for j in many])
    else:
        houses += map(list, plan.blocks)
    if plan.diagonals:
        houses += [[side * k + k for k in many], [side * k + side - 1 - k for k in many]]
    houses += map(list, plan.extra)
    groups = [[(c, d) for d in range(1, side + 1)] for c in range(side * side)]
    groups += [[(c, digit) for c in house] for house in houses for digit in range(1, side + 1)]
    clauses = []
    for group in groups:
        literals = [variable(*pair, layout) for pair in group]
        clauses.append(literals)
        clauses += [[-a, -b] for a, b in combinations(literals, 2)]
    return clauses


class Judge:
    """Says whether evidence and rules force a claim, and whether any of it is idle."""

    def __init__(self, layout: Layout = NEWSPAPER) -> None:
        from pysat.solvers import Solver

        self.layout = layout
        self.switch = variable(layout.many, layout.side, layout)
        self.solver: Any = Solver(name="minisat22", bootstrap_with=rules(layout))

    def close(self) -> None:
        self.solver.delete()

    def solution(self, line: str) -> str | None:
        """A full grid with these digits; None where there is none."""
        literals = self.literals(line)
        if not self.solver.solve(assumptions=literals):
            return None
        model = {lit for lit in self.solver.get_model() if lit > 0}
        digits = self.layout.digits
        return "".join(
            SYMBOLS[next(d for d in digits if variable(c, d, self.layout) in model) - 1]
            for c in self.layout.cells
        )

    def literals(self, line: str) -> list[int]:
        return [variable(c, VALUES[m], self.layout) for c, m in enumerate(line) if m not in ".0"]

    def is_the_only_one(self, line: str, solution: str) -> bool:
        """Whether no other grid has these digits: a switch demands that one cell differs."""
        self.switch += 1
        self.solver.add_clause([-self.switch, *(-x for x in self.literals(solution))])
        other = self.solver.solve(assumptions=[*self.literals(line), self.switch])
        self.solver.add_clause([-self.switch])
        return not other

    def forces(self, premises: Iterable[int], claims: Iterable[int]) -> bool:
        """Whether each claim follows: adding its negation is unsatisfiable."""
        given = list(premises)
        return not any(self.solver.solve(assumptions=[*given, -claim]) for claim in claims)

    def verdict(self, board: Board, deduction: Deduction, evidence: Evidence) -> str:
        """``sound and minimal``, ``not forced``, or what is idle."""
        items, claims = premises_of(board, evidence), claims_of(deduction, board.layout)
        if not self.forces(items, claims):
            return "not forced"
        for item in items:
            if self.forces([other for other in items if other != item], claims):
                return "idle evidence"
        return "sound and minimal"


def premises_of(board: Board, evidence: Evidence) -> list[int]:
    """Evidence as literals: written cells, and candidates that are declared as ruled out."""
    literals, layout = [], board.layout
    for cell in layout.cells:
        if evidence.cells >> cell & 1:
            digit = next(d for d in layout.digits if board.placed[d] >> cell & 1)
            literals.append(variable(cell, digit, layout))
    out = evidence.earlier | evidence.noted
    return literals + _struck(out, layout)


def claims_of(deduction: Deduction, layout: Layout = NEWSPAPER) -> list[int]:
    literals = [variable(cell, digit, layout) for cell, digit in deduction.places]
    return literals + _struck(deduction.ruled_out, layout)


def _struck(candidates: int, layout: Layout) -> list[int]:
    many = layout.many
    return [
        -variable(b % many, b // many + 1, layout)
        for b in range(many * layout.side)
        if candidates >> b & 1
    ]
