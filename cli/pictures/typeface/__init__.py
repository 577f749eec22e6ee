"""The letters of pictures and printed sheets.

English is drawn in the typefaces that Pillow and reportlab bring along. Those lack many letters of
other languages, so that these, and names that need them, are drawn in M+ 1, which is in this folder
(SIL Open Font License 1.1, OFL.txt; made by ``.ci/typeface``).
"""

from __future__ import annotations

import io
from functools import cache, lru_cache
from importlib import resources
from typing import Any

from papernudge.cli.said import spoken


@cache
def outlines() -> bytes:
    """The file of M+ 1, TrueType."""
    return resources.files(__name__).joinpath("mplus1.ttf").read_bytes()


def letters_for(text: str, size: int) -> Any:
    """Pillow's font for a text, ``size`` pixels an em: one for all texts of a language, so that a
    picture has one face; in English that of M+ where a letter is not ASCII.
    """
    plain = spoken().language == "en" and text.isascii()
    return _plain(size) if plain else _whole(size)


@lru_cache(maxsize=32)
def _plain(size: int) -> Any:
    from PIL import ImageFont

    return ImageFont.load_default(size)


@lru_cache(maxsize=32)
def _whole(size: int) -> Any:
    from PIL import ImageFont

    return ImageFont.truetype(io.BytesIO(outlines()), size)
