r"""What reaches the terminal. Names of files and other foreign words are shown, never obeyed.

A file may be called anything: a name with an escape sequence could clear the screen or set the
window's title, one with a line break could pretend to be an answer of ours, one with a control of
writing direction could show another ending than it has. All of that is written out (``\x1b``,
``\n``, ``\u202e``). Every room of the command prints with what is here.
"""

from __future__ import annotations

import re
import sys
import unicodedata
from typing import TextIO

from papernudge.cli.base.breaking import broken

_OBEYED = frozenset(("Cc", "Cf", "Cs", "Zl", "Zp"))
"""Unicode's general categories that a terminal may act on instead of showing them: controls, C1
among them, formats, halves of pairs, line and paragraph separators (Unicode, chapter 4.5)."""
_JOINERS = "\u200c\u200d"
"""Formats that words of some scripts and many pictures are spelt with."""
_NAMED = {"\n": "\\n", "\r": "\\r", "\t": "\\t"}
_ENDLESS = re.compile(r"[^\s\u2e80-\u9fff\uff00-\uffef]{1000,}")
"""No name is so long, and few paths are (a name ends at 255 bytes, a path at 4,096, on Linux). What
is written without blanks, as Japanese is, has no end to look for."""
_STYLE = re.compile("(\x1b\\[[01]m)")
"""Bold and plain, as our own boards are drawn with."""


def visible(text: str) -> str:
    r"""The text on one line, with everything written out that a terminal would act on.

    Bytes of a name that are no UTF-8 come as ``\xff``.
    """
    return text if text.isprintable() else "".join(map(_shown, text))


def _shown(mark: str) -> str:
    if mark.isprintable() or mark in _JOINERS or unicodedata.category(mark) not in _OBEYED:
        return mark
    if mark in _NAMED:
        return _NAMED[mark]
    code = ord(mark)
    if 0xDC80 <= code <= 0xDCFF:  # how Python keeps a byte that is no UTF-8
        code -= 0xDC00
    return (
        f"\\x{code:02x}" if code < 256 else f"\\u{code:04x}" if code < 65536 else f"\\U{code:08x}"
    )


def drawn(text: str) -> str:
    """Text of our own in several lines, boards with their bold digits, JSON: line breaks and bold
    stay, the rest is as in :func:`visible`. Foreign words in it are made visible before.
    """
    return "\n".join(
        "".join(
            part if number % 2 else visible(part) for number, part in enumerate(_STYLE.split(line))
        )
        for line in text.split("\n")
    )


def short(text: str, most: int = 60) -> str:
    """As much of a foreign word as a sentence can carry, in quotes and with escapes as Python
    writes them.
    """
    return repr(text if len(text) <= most else f"{text[:most]}...")


def say(sentence: str, out: TextIO | None = None) -> None:
    """A sentence, by default on standard output, broken between words at a terminal's width; words
    without an end are cut in their middle.
    """
    told = _ENDLESS.sub(lambda word: f"{word[0][:60]}...{word[0][-20:]}", sentence)
    stream = out or sys.stdout
    print(broken(visible(told), stream), file=stream, flush=True)


def show(text: str, out: TextIO | None = None) -> None:
    """Several lines of our own, by default on standard output."""
    print(drawn(text), file=out or sys.stdout, flush=True)


def warn(sentence: str) -> None:
    """One line on standard error, after what was said before on standard output."""
    sys.stdout.flush()
    say(sentence, sys.stderr)
