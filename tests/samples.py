"""Tests in two sizes: a few examples whenever pytest runs, many in the slow half."""

from __future__ import annotations

from collections.abc import Callable
from types import FunctionType
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings


def tried(few: int, many: int, *places: Any, **names: Any) -> Callable[[FunctionType], Any]:
    """A property test of so many examples (in place of ``given`` and ``settings``), and beside it
    one of many, marked slow: ``…_of_many``.
    """

    def twice(test: FunctionType) -> Any:
        name = f"{test.__name__}_of_many"
        again = FunctionType(test.__code__, test.__globals__, name, None, test.__closure__)
        again.__annotations__, again.__module__ = test.__annotations__, test.__module__
        again.__qualname__ = name
        again.__dict__.update(test.__dict__)  # examples that are named
        test.__globals__[name] = pytest.mark.slow(_tried(many, places, names)(again))
        return _tried(few, places, names)(test)

    return twice


def _tried(count: int, places: Any, names: Any) -> Callable[[Any], Any]:
    usual = settings(max_examples=count, deadline=None, suppress_health_check=list(HealthCheck))
    return lambda test: usual(given(*places, **names)(test))


def sized(name: str, few: Any, many: Any) -> Any:
    """A test's argument: a few, and in the slow half many."""
    held = [few, pytest.param(many, marks=pytest.mark.slow)]
    return pytest.mark.parametrize(name, held, ids=["few", "many"])


def chosen(all_of: list[Any], *always: Any) -> list[Any]:
    """For ``parametrize``: these always, all others in the slow half."""
    rows = [one if isinstance(one, tuple) else (one,) for one in all_of]
    return [
        pytest.param(*row, marks=() if one in always else pytest.mark.slow)
        for one, row in zip(all_of, rows, strict=True)
    ]
