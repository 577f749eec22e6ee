"""Sentences broken between words, at the width of whatever shows them."""

from __future__ import annotations

import os
import textwrap
import unicodedata
from collections.abc import Callable
from functools import cache
from typing import Any, TextIO


def broken(text: str, stream: TextIO) -> str:
    """The text as it is to be printed on the stream. Drawn boards (lines that begin with a blank),
    and all that goes into a file or a pipe, stay as they are.
    """
    width = _width(stream)
    if width <= 0:
        return text
    return "\n".join(
        line if line.startswith(" ") else _filled(line, width) for line in text.split("\n")
    )


def _filled(line: str, width: int) -> str:
    if full_width(line):
        return "\n".join(lines_of(line, lambda text: columns(text) <= width))
    return textwrap.fill(line, width, break_long_words=False, break_on_hyphens=False)


def lines_of(text: str, fits: Callable[[str], bool]) -> list[str]:
    """The text in lines that fit, broken between words; a word that fits nowhere has a line of its
    own. At least one line.
    """
    lines = [""]
    for word in words_of(text):
        longer = lines[-1] + word
        if lines[-1] and not fits(longer.rstrip()):
            lines.append(word.lstrip())
        else:
            lines[-1] = longer
    return [line.strip() for line in lines]


def words_of(text: str) -> list[str]:
    """What must not be broken, each with the blank behind it: words between blanks; in Japanese,
    which has none, the phrases that BudouX finds, with marks kept at what they close.
    """
    phrases = _parser().parse(text) if full_width(text) else [text]
    return [word for phrase in phrases for word in _between_blanks(phrase)]


def _between_blanks(phrase: str) -> list[str]:
    """A no-break space is none."""
    words = [f"{word} " for word in phrase.split(" ")]
    words[-1] = words[-1][:-1]
    return [word for word in words if word]


@cache
def _parser() -> Any:
    from budoux import load_default_japanese_parser

    return load_default_japanese_parser()


def columns(text: str) -> int:
    """How many columns of a terminal the text takes (Unicode Standard Annex 11)."""
    if text.isascii():
        return len(text)
    from rich.cells import cell_len

    return cell_len(text)


def padded(text: str, width: int, right: bool = False) -> str:
    """The text in so many columns, at their left end or their right one."""
    blanks = " " * max(0, width - columns(text))
    return blanks + text if right else text + blanks


def full_width(text: str) -> bool:
    """Whether letters are in it that take two columns, as those of Japanese."""
    return not text.isascii() and any(unicodedata.east_asian_width(c) in "WF" for c in text)


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
