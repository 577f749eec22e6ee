"""Deductions on number grids, for people who solve with a pencil. Pure Python."""

from papernudge.hints.geometry import cell_name, cell_of, house_name
from papernudge.hints.grade import Grade, grade
from papernudge.hints.nudge import Nudge, Told1, Told2, Told3, Told4, next_nudge
from papernudge.hints.position import Fault, Position
from papernudge.hints.solver import count_solutions, solve
from papernudge.hints.walk import Walk, walk

__all__ = [
    "Fault",
    "Grade",
    "Nudge",
    "Position",
    "Told1",
    "Told2",
    "Told3",
    "Told4",
    "Walk",
    "cell_name",
    "cell_of",
    "count_solutions",
    "grade",
    "house_name",
    "next_nudge",
    "solve",
    "walk",
]
