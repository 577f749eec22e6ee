"""An independent judge: the rules of the grid as clauses, asked by a SAT solver (python-sat)."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import combinations
from typing import Any

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction, Evidence


def variable(cell: int, digit: int) -> int:
    return 9 * cell + digit


def rules() -> list[list[int]]:
    """Each cell has one digit; each digit stands once in every row, column and block."""
    groups = [[(c, d) for d in range(1, 10)] for c in range(81)]
    for digit in range(1, 10):
        for k in range(9):
            groups.append([(9 * k + j, digit) for j in range(9)])
            groups.append([(9 * j + k, digit) for j in range(9)])
            top, left = 3 * (k // 3), 3 * (k % 3)
            groups.append([(9 * (top + j // 3) + left + j % 3, digit) for j in range(9)])
    clauses = []
    for group in groups:
        literals = [variable(*pair) for pair in group]
        clauses.append(literals)
        clauses += [[-a, -b] for a, b in combinations(literals, 2)]
    return clauses


class Judge:
    """Says whether evidence and rules force a claim, and whether any of it is idle."""

    def __init__(self) -> None:
        from pysat.solvers import Solver

        self.solver: Any = Solver(name="minisat22", bootstrap_with=rules())

    def close(self) -> None:
        self.solver.delete()

    def solution(self, line: str) -> str | None:
        literals = [variable(c, int(m)) for c, m in enumerate(line) if m not in ".0"]
        if not self.solver.solve(assumptions=literals):
            return None
        model = {lit for lit in self.solver.get_model() if lit > 0}
        return "".join(
            str(next(d for d in range(1, 10) if variable(c, d) in model)) for c in range(81)
        )

    def forces(self, premises: Iterable[int], claims: Iterable[int]) -> bool:
        """Whether each claim follows: adding its negation is unsatisfiable."""
        given = list(premises)
        return not any(self.solver.solve(assumptions=[*given, -claim]) for claim in claims)

    def verdict(self, board: Board, deduction: Deduction, evidence: Evidence) -> str:
        """``sound and minimal``, ``not forced``, or what is idle."""
        items, claims = premises_of(board, evidence), claims_of(deduction)
        if not self.forces(items, claims):
            return "not forced"
        for item in items:
            if self.forces([other for other in items if other != item], claims):
                return "idle evidence"
        return "sound and minimal"


def premises_of(board: Board, evidence: Evidence) -> list[int]:
    """Evidence as literals: written cells, and candidates that are declared as ruled out."""
    literals = []
    for cell in range(81):
        if evidence.cells >> cell & 1:
            digit = next(d for d in range(1, 10) if board.placed[d] >> cell & 1)
            literals.append(variable(cell, digit))
    out = evidence.earlier | evidence.noted
    return literals + _struck(out)


def claims_of(deduction: Deduction) -> list[int]:
    literals = [variable(cell, digit) for cell, digit in deduction.places]
    return literals + _struck(deduction.ruled_out)


def _struck(candidates: int) -> list[int]:
    return [-variable(b % 81, b // 81 + 1) for b in range(729) if candidates >> b & 1]
