"""What is said, as a code with data, and the catalogue of a language that makes sentences of it.

A catalogue is one flat table: a code to a template with named places, ``{cell}``. Nothing is said
that is not in it, and no template is half a sentence. What hangs on a number has a template a
plural category of CLDR, ``lone.one`` and ``lone.other`` (Unicode Technical Standard 35, part 3);
lists, numbers and the space between sentences are the language's own too. So a language is such a
table and its plural rule, and a file of gettext's holds the same: the code as context, the English
template as the message.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from papernudge.hints.layout import NEWSPAPER, Layout


@dataclass(frozen=True, slots=True)
class Message:
    """Something to say, in no language yet. ``count``: the number that its form hangs on. Data may
    be messages and lists (:class:`All`, :class:`Either`, :class:`Run`) themselves.
    """

    code: str
    data: Mapping[str, Any] = field(default_factory=dict)
    count: int | None = None


def message(code: str, /, **data: Any) -> Message:
    """What has this code, with its data."""
    return Message(code, data)


def counted(code: str, count: int, /, **data: Any) -> Message:
    """The same where its form hangs on a number, which it may name as ``count``."""
    return Message(code, data, count)


def english_plural(count: int) -> str:
    """Which of CLDR's categories a whole number takes in English."""
    return "one" if count == 1 else "other"


class All(tuple[Any, ...]):
    """A list of which all is meant: *a, b and c*."""

    __slots__ = ()


class Either(tuple[Any, ...]):
    """A list of which one is meant: *a, b or c*."""

    __slots__ = ()


class Run(tuple[Any, ...]):
    """Things one after the other: *a, b, c*."""

    __slots__ = ()


class Shown:
    """A piece of data in a place of a template, with what may stand after its name: ``capital``
    for a capital letter in front; for numbers what Python's ``format`` takes, in the language's
    own marks.
    """

    __slots__ = ("value", "words")

    def __init__(self, value: Any, words: Words) -> None:
        self.value, self.words = value, words

    def __format__(self, how: str) -> str:
        if how == "capital":
            return capital(str(self.value))
        if not isinstance(self.value, int | float):
            return format(self.value, how)
        text = format(self.value, how)
        said = self.words.said
        marks = {".": said.get("decimal mark", "."), ",": said.get("thousands mark", ",")}
        return "".join(marks.get(mark, mark) for mark in text) if how else text


@dataclass(frozen=True, slots=True)
class Words:
    """A language. ``language``: its code, as ``en``; ``said``: its templates by code; ``plural``:
    which category of CLDR a number takes; ``layout``: the board that is spoken of, by which cells
    and houses have their names.
    """

    language: str
    said: Mapping[str, str]
    plural: Callable[[int], str]
    layout: Layout = NEWSPAPER

    def on(self, layout: Layout) -> Words:
        """The same language speaking of another board."""
        return self if layout is self.layout else replace(self, layout=layout)

    def say(self, code: str, /, **data: Any) -> str:
        """The sentence of this code with what it is about. KeyError for an unknown one."""
        shown = {name: Shown(self._plain(value), self) for name, value in data.items()}
        return self.said[code].format(**shown)

    def counted(self, code: str, count: int, /, **data: Any) -> str:
        """The same where its form hangs on a number, which it may name as ``count``. Where the
        language has no template for the number's category, that of ``other``.
        """
        form = self.known(f"{code}.{self.plural(count)}", f"{code}.other")
        return self.say(form, count=count, **data)

    def tell(self, what: Message | str) -> str:
        """A message in this language; a string is what it is."""
        if isinstance(what, str):
            return what
        if what.count is None:
            return self.say(what.code, **what.data)
        return self.counted(what.code, what.count, **what.data)

    def known(self, *codes: str) -> str:
        """The first of the codes that there is a template for; the last where there is none."""
        return next((code for code in codes if code in self.said), codes[-1])

    def all_of(self, parts: Sequence[Any]) -> str:
        """``a``, ``a and b``, ``a, b and c``."""
        return self._list("all", parts)

    def either(self, parts: Sequence[Any]) -> str:
        """``a``, ``a or b``, ``a, b or c``."""
        return self._list("either", parts)

    def chained(self, code: str, parts: Sequence[Any]) -> str:
        """One part after the other, each joined to those before by the template of the code."""
        text = ""
        for number, part in enumerate(parts):
            shown = self._plain(part)
            text = self.say(code, first=text, next=shown) if number else str(shown)
        return text

    def paragraph(self, sentences: Sequence[Any]) -> str:
        """Whole sentences, one after the other; empty ones are left out."""
        return self.chained("sentences", [one for one in sentences if one])

    def _list(self, kind: str, parts: Sequence[Any]) -> str:
        if len(parts) < 2:
            return "".join(str(self._plain(part)) for part in parts)
        first = self.chained(f"{kind}, more", parts[:-1])
        end = f"{kind}, two" if len(parts) == 2 else f"{kind}, end"
        return self.say(end, first=first, last=parts[-1])

    def _plain(self, value: Any) -> Any:
        if isinstance(value, Message):
            return self.tell(value)
        if isinstance(value, All):
            return self.all_of(value)
        if isinstance(value, Run):
            return self.chained("listed", value)
        return self.either(value) if isinstance(value, Either) else value


def capital(text: str) -> str:
    """The text with a capital letter in front."""
    return text[:1].upper() + text[1:]
