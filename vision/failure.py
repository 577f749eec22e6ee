"""What seeing returns when it fails: a falsy value that holds the stage and the reason."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Failure:
    """A stage of seeing that did not succeed. Falsy, so ``if not result`` reads well.

    ``stage`` is where it happened (``"open"``, ``"find"``, ``"flatten"``, ``"quality"``,
    ``"read"``), ``reason`` a short fixed word for programs, ``sentence`` what to tell the
    person: what was expected, what came, what to try.
    """

    stage: str
    reason: str
    sentence: str

    def __bool__(self) -> Literal[False]:
        return False
