"""What ``R4C7`` stands for, said once to whoever reads another language than English."""

from __future__ import annotations

import re

from papernudge.hints.catalogue import Words

_CELL = re.compile(r"R([1-9][0-9]?)C([1-9][0-9]?)")


def with_legend(said: str, words: Words) -> str:
    """What is said and, where cells are named in it, which row and column the first of them is in:
    R and C are the initials of an English row and column.
    """
    named = _CELL.search(said)
    if words.language == "en" or named is None:
        return said
    row, column = map(int, named.groups())
    legend = words.say("legend", cell=named[0], row=row, column=column)
    return f"{said}\n{legend}" if "\n" in said else words.paragraph([said, legend])
