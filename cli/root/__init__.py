"""Photograph a sudoku on paper; get one gentle, exact nudge.

From a photo to words: :func:`open_photo` reads a page, its :meth:`Page.sheet` is one grid of it,
:func:`nudge`, :func:`check` and :func:`walk` answer at a depth from 1 to 4, :func:`questions` says
what must be answered first, :func:`answered` and :func:`wrote` take what the person says,
:func:`picture` draws an answer, :func:`save` and :func:`load` carry a sheet to another day. All is
said in :data:`ENGLISH` unless other :class:`Words` are passed in; :func:`words_in` gives those of
each of :data:`LANGUAGES`.

Nothing here prints, asks, writes a file or ends the process. What goes wrong raises a
:class:`Trouble` with one sentence for the person. Each name is looked up when it is first asked
for, so that importing costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from papernudge.cli.base.trouble import GridError, PhotoError, Trouble, WordsError
    from papernudge.cli.pictures.pictures import picture
    from papernudge.cli.said import ENGLISH
    from papernudge.cli.said.languages import LANGUAGES, words_in
    from papernudge.cli.session.answers import Answer
    from papernudge.cli.session.doubting import Choice
    from papernudge.cli.session.pages import Page, Sheet
    from papernudge.cli.session.saving import SavedError, load, save
    from papernudge.cli.session.sitting import (
        Question,
        answered,
        check,
        doubts,
        nudge,
        open_photo,
        questions,
        read_lines,
        walk,
        wrote,
    )
    from papernudge.hints.catalogue import Words

_HOMES = {
    "cli.said": ("ENGLISH",),
    "cli.said.languages": ("LANGUAGES", "words_in"),
    "hints.catalogue": ("Words",),
    "cli.base.trouble": ("Trouble", "PhotoError", "GridError", "WordsError"),
    "cli.pictures.pictures": ("picture",),
    "cli.session.answers": ("Answer",),
    "cli.session.doubting": ("Choice",),
    "cli.session.pages": ("Page", "Sheet"),
    "cli.session.saving": ("SavedError", "load", "save"),
    "cli.session.sitting": (
        *("Question", "answered", "check", "doubts", "nudge", "open_photo"),
        *("questions", "read_lines", "walk", "wrote"),
    ),
}
_HOME = {name: home for home, names in _HOMES.items() for name in names}

__all__ = [
    "ENGLISH",
    "LANGUAGES",
    "Answer",
    "Choice",
    "GridError",
    "Page",
    "PhotoError",
    "Question",
    "SavedError",
    "Sheet",
    "Trouble",
    "Words",
    "WordsError",
    "answered",
    "check",
    "doubts",
    "load",
    "nudge",
    "open_photo",
    "picture",
    "questions",
    "read_lines",
    "save",
    "walk",
    "words_in",
    "wrote",
]


def __getattr__(name: str) -> object:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"papernudge.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
