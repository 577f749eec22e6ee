"""Why something on the paper can't be seen."""

from __future__ import annotations

from enum import StrEnum


class Hidden(StrEnum):
    """What keeps a cell from being seen, as far as is known."""

    COVERED = "covered"
    WASHED_OUT = "washed out"
    TOO_DARK = "too dark"
    CUT_OFF = "cut off"
