"""Which language the words of a command ask for."""

from __future__ import annotations

import os
from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext

from papernudge.cli.base.exits import bad_words
from papernudge.cli.base.say import short
from papernudge.cli.said import ENGLISH, speaking, spoken
from papernudge.cli.said.languages import LANGUAGES, known, of_environment, words_in
from papernudge.hints.catalogue import Either

_OPTION = "--language"


def asked_for(arguments: Sequence[str]) -> tuple[str | None, list[str]]:
    """The language that the words name, None where they name none, and the other words. The option
    may stand anywhere before ``--``; the last one counts. Stop (2) where there is no such language.
    """
    language = None
    rest: list[str] = []
    words = iter(arguments)
    for word in words:
        if word == "--":
            return language, [*rest, word, *words]
        option, is_one, value = word.partition("=")
        if option == _OPTION:
            language = _checked(value if is_one else next(words, None))
        else:
            rest.append(word)
    return language, rest


def _checked(value: str | None) -> str:
    if value is None:
        raise bad_words("language is", languages=Either(LANGUAGES))
    language = known(value)
    if language is None:
        raise bad_words("no such language", languages=Either(LANGUAGES), got=short(value))
    return language


def in_language(language: str | None) -> AbstractContextManager[None]:
    """Inside, all is said in this language; without one in that of the system, where nobody chose
    another before.
    """
    if language is None and spoken() is not ENGLISH:
        return nullcontext()
    return speaking(words_in(language or of_environment(os.environ)))


def in_english() -> AbstractContextManager[None]:
    """Inside, all is said in English: what programs read is the same whoever asks."""
    return speaking(ENGLISH)
