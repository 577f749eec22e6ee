"""Deductions on number grids, for people who solve with a pencil. Pure Python.

What this offers is imported when it is first asked for: who wants a cell's name needs no grades.
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
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

_HOMES = {
    "geometry": ("cell_name", "cell_of", "house_name"),
    "grade": ("Grade", "grade"),
    "nudge": ("Nudge", "Told1", "Told2", "Told3", "Told4", "next_nudge"),
    "position": ("Fault", "Position"),
    "solver": ("count_solutions", "solve"),
    "walk": ("Walk", "walk"),
}


class _Offered:
    """A name from the module where it lives. It is the class's, so that it counts before a module
    of the same name, which Python writes into the package once that is imported.
    """

    def __init__(self, module: str, name: str) -> None:
        self.module, self.name = f"{__name__}.{module}", name

    def __get__(self, package: object, _: type | None = None) -> object:
        held = vars(package).get(self.name)
        if held is None or isinstance(held, ModuleType):
            held = getattr(import_module(self.module), self.name)
        return held

    def __set__(self, package: object, value: object) -> None:
        """By Python, a module; by tests, what is to stand in its place."""
        vars(package)[self.name] = value


class _Package(ModuleType):
    """The package, by Python's own way to do so ("Customizing module attribute access")."""


for _module, _names in _HOMES.items():
    for _name in _names:
        setattr(_Package, _name, _Offered(_module, _name))
sys.modules[__name__].__class__ = _Package
