"""Sentences broken between words, at the width of the terminal that shows them."""

from __future__ import annotations

import os
import textwrap
from typing import TextIO


def broken(text: str, stream: TextIO) -> str:
    """The text as it is to be printed on the stream. Drawn boards (lines that begin with a blank),
    and all that goes into a file or a pipe, stay as they are.
    """
    width = _width(stream)
    if width <= 0:
        return text
    return "\n".join(
        line
        if line.startswith(" ")
        else textwrap.fill(line, width, break_long_words=False, break_on_hyphens=False)
        for line in text.split("\n")
    )


def _width(stream: TextIO) -> int:
    """Columns of the terminal, 0 where there is none or it doesn't say."""
    if not stream.isatty():
        return 0
    asked = os.environ.get("COLUMNS", "")
    if asked.isdecimal() and int(asked) > 0:
        return int(asked)
    try:
        return os.get_terminal_size(stream.fileno()).columns
    except (OSError, ValueError):
        return 0
