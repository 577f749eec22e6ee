"""What a command came to, for one photo or for one board of lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from papernudge.cli.base.exits import Exit


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one source came to: its document, its text, its exit code."""

    document: dict[str, Any]
    text: str
    code: Exit
