"""What a benchmark prints, as JSON: ``--json FILE`` behind any benchmark's own words.

The document holds the command, when and where it ran, what it took, and ``rows``: each line that
was printed, with its columns (two blanks or more part them, or a colon and a blank) and the numbers
in it, in order. What a table needs by name is noted beside: :func:`note`.
"""

from __future__ import annotations

import json
import os
import platform
import re
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TextIO

_NUMBER = re.compile(r"(?<![\w.])-?\d+(?:,\d{3})*(?:\.\d+)?(?![\w.]*[A-Za-z_])")
_noted: list[dict[str, Any]] = []


def note(table: str, **figures: Any) -> None:
    """Figures of one row of a table, by name."""
    _noted.append({"table": table, **figures})


class _Tee:
    """Standard output that remembers what went through it."""

    def __init__(self, stream: TextIO) -> None:
        self._stream, self.text = stream, ""

    def write(self, text: str) -> int:
        self.text += text
        return self._stream.write(text)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


@contextmanager
def recorded() -> Iterator[None]:
    """Runs what is inside and, where the words hold ``--json FILE``, writes down what it printed,
    also where it ends in an exit code.
    """
    words = sys.argv
    if "--json" not in words[:-1]:
        yield
        return
    at = words.index("--json")
    to = Path(words[at + 1])
    sys.argv = [*words[:at], *words[at + 2 :]]
    tee, began, spent = _Tee(sys.stdout), time.time(), time.process_time()
    sys.stdout = tee  # type: ignore[assignment]
    code: Any = 0
    try:
        yield
    except SystemExit as end:
        code = end.code
        raise
    finally:
        sys.stdout = tee._stream
        taken = {"seconds": time.time() - began, "processor_seconds": time.process_time() - spent}
        to.write_text(json.dumps(document(tee.text, began, taken, code), indent=1), "utf-8")


def document(text: str, began: float, taken: dict[str, float], code: Any) -> dict[str, Any]:
    """The result of a run that printed this text."""
    name = Path(sys.argv[0])
    return {
        "format": 1,
        "benchmark": name.stem,
        "arguments": sys.argv[1:],
        "day": time.strftime("%Y-%m-%d", time.gmtime(began)),
        "machine": {
            "cores": os.cpu_count(),
            "system": platform.system(),
            "python": platform.python_version(),
            "load": os.getloadavg()[0] if hasattr(os, "getloadavg") else None,
        },
        **{key: round(value, 2) for key, value in taken.items()},
        "exit": code if isinstance(code, int) else 0,
        "noted": list(_noted),
        "rows": [row(line) for line in text.splitlines() if line.strip()],
    }


def row(line: str) -> dict[str, Any]:
    """A printed line: its text, its columns, its numbers."""
    columns = [part for part in re.split(r"\s{2,}|: ", line.strip()) if part]
    numbers = [float(n.replace(",", "")) for n in _NUMBER.findall(line)]
    return {"text": line.rstrip(), "columns": columns, "numbers": numbers}
