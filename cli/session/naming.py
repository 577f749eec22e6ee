"""What ``R4C7`` stands for, said once to whoever reads another language than English."""

from __future__ import annotations

import re

from papernudge.hints.catalogue import Words

_CELL = re.compile(r"R([1-9][0-9]?)C([1-9][0-9]?)")


def legend(said: str, words: Words) -> str:
    """Which row and column the first cell is in that is named in what is said; empty where none is,
    and in English, where R and C are their initials.
    """
    named = _CELL.search(said)
    if words.language == "en" or named is None:
        return ""
    row, column = map(int, named.groups())
    return words.say("legend", cell=named[0], row=row, column=column)


def with_legend(said: str, words: Words) -> str:
    """What is said, with its legend where it has one."""
    told = legend(said, words)
    if not told:
        return said
    return f"{said}\n{told}" if "\n" in said else words.paragraph([said, told])
