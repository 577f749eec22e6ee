"""What is said, as a code with data, and the catalogue of a language that makes sentences of it.

A catalogue is one flat table: a code to a template with named places, ``{cell}``. Nothing is said
that is not in it, and no template is half a sentence. What hangs on a number has a template a
plural category of CLDR, ``lone.one`` and ``lone.other`` (Unicode Technical Standard 35, part 3);
lists, numbers and the space between sentences are the language's own too. So a language is such a
table and its plural rule, and a file of gettext's holds the same: the code as context, the English
template as the message.

Languages that bend words need more than one form of what stands in a place. A template may give
further forms of itself, ``der Block | dat: dem Block``, and another asks for one where it names the
place, ``in {house:dat}``; the form reaches through lists to what they are made of. What has no such
form stands as it is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from papernudge.hints.layout import NEWSPAPER, Layout

if TYPE_CHECKING:
    from datetime import date


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


class Told(str):
    """What was said, with the way to say it again in another form of its words."""

    again: Callable[[str], str]

    def __new__(cls, again: Callable[[str], str]) -> Told:
        told = super().__new__(cls, again(""))
        told.again = again
        return told

    def __reduce__(self) -> tuple[type[str], tuple[str]]:
        return str, (str(self),)


class Shown:
    """A piece of data in a place of a template, with what may stand after its name: ``capital``
    for a capital letter in front, the name of a form of its words, or both; for numbers what
    Python's ``format`` takes, in the language's own marks.
    """

    __slots__ = ("value", "words")

    def __init__(self, value: Any, words: Words) -> None:
        self.value, self.words = value, words

    def __format__(self, how: str) -> str:
        if isinstance(self.value, int | float):
            return self._number(how)
        asked = how.split()
        form = next((one for one in asked if one != "capital"), "")
        text = str(self.words.formed(self.value, form))
        return capital(text) if "capital" in asked else text

    def _number(self, how: str) -> str:
        if how.isalpha() and len(how) > 1:  # forms of words; numbers have none
            return str(self.value)
        text = format(self.value, how)
        said = self.words.said
        marks = {".": said.get("decimal mark", "."), ",": said.get("thousands mark", ",")}
        return "".join(marks.get(mark, mark) for mark in text) if how else text


@dataclass(frozen=True, slots=True)
class Words:
    """A language. ``language``: its code, as ``en``; ``said``: its templates by code; ``plural``:
    which category of CLDR a number takes; ``date``: how a day is written, in English as ISO 8601
    has it, which is the same on both sides of an ocean; ``layout``: the board that is spoken of, by
    which cells and houses have their names.
    """

    language: str
    said: Mapping[str, str]
    plural: Callable[[int], str]
    date: Callable[[date], str] = str
    layout: Layout = NEWSPAPER

    def on(self, layout: Layout) -> Words:
        """The same language speaking of another board."""
        return self if layout is self.layout else replace(self, layout=layout)

    def say(self, code: str, /, **data: Any) -> str:
        """The sentence of this code with what it is about. KeyError for an unknown one."""
        shown = {name: Shown(value, self) for name, value in data.items()}
        return Told(lambda form: self._template(code, form).format(**shown))

    def _template(self, code: str, form: str) -> str:
        plain = self.said[code]
        return self.said.get(f"{code} | {form}", plain) if form else plain

    def _joined(self, code: str, form: str, **parts: str) -> str:
        return self._template(code, form).format(
            **{name: Shown(part, self) for name, part in parts.items()}
        )

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
        return Told(lambda form: self._chain(code, parts, form))

    def _chain(self, code: str, parts: Sequence[Any], form: str) -> str:
        text = ""
        for number, part in enumerate(parts):
            shown = str(self.formed(part, form))
            text = self._joined(code, form, first=text, next=shown) if number else shown
        return text

    def paragraph(self, sentences: Sequence[Any]) -> str:
        """Whole sentences, one after the other; empty ones are left out."""
        return self.chained("sentences", [one for one in sentences if one])

    def _list(self, kind: str, parts: Sequence[Any]) -> str:
        return Told(lambda form: self._listed(kind, parts, form))

    def _listed(self, kind: str, parts: Sequence[Any], form: str) -> str:
        if len(parts) < 2:
            return "".join(str(self.formed(part, form)) for part in parts)
        first = self._chain(f"{kind}, more", parts[:-1], form)
        end = f"{kind}, two" if len(parts) == 2 else f"{kind}, end"
        return self._joined(end, form, first=first, last=str(self.formed(parts[-1], form)))

    def formed(self, value: Any, form: str = "") -> Any:
        """A piece of data as it stands in a place that asks for this form of its words."""
        if isinstance(value, Message):
            value = self.tell(value)
        elif isinstance(value, All):
            value = self.all_of(value)
        elif isinstance(value, Run):
            value = self.chained("listed", value)
        elif isinstance(value, Either):
            value = self.either(value)
        return value.again(form) if form and isinstance(value, Told) else value


def packed(what: Message | str) -> str:
    """What is to be said, as text that a file can keep and that another language can be made of; a
    string is what it is. Data that JSON has no kind for is kept as Python writes it out.
    """
    import json

    if isinstance(what, str):
        return str(what)
    return json.dumps(_plain(what), ensure_ascii=False, default=str)


def _plain(value: Any) -> Any:
    if isinstance(value, Message):
        data = {name: _plain(one) for name, one in value.data.items()}
        return {"say": value.code, "data": data} | (
            {} if value.count is None else {"count": value.count}
        )
    for kind in (All, Either, Run):
        if isinstance(value, kind):
            return {kind.__name__.lower(): [_plain(one) for one in value]}
    return value


def unpacked(text: str) -> Message | str:
    """What such a text says; one that is no message is said as it is."""
    import json

    if not text.startswith('{"say": '):
        return text
    try:
        found = _whole(json.loads(text))
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return text
    return found if isinstance(found, Message) else text


def _whole(value: Any) -> Any:
    if not isinstance(value, dict):
        return value
    if "say" in value:
        data = {name: _whole(one) for name, one in value["data"].items()}
        return Message(value["say"], data, value.get("count"))
    ((name, parts),) = value.items()
    return {"all": All, "either": Either, "run": Run}[name](map(_whole, parts))


def capital(text: str) -> str:
    """The text with a capital letter in front."""
    return text[:1].upper() + text[1:]
