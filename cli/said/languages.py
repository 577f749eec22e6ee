"""The languages there are: which one somebody wants, and its catalogue out of a file of gettext's.

``languages/de.po`` holds German: a message's context is its code, its text the English template.
gettext's format was chosen since every translator's editor knows it and Babel reads it in 15 ms;
it leaves open which number takes which form, so CLDR's categories are laid beside the file's own
rule. Further forms of a template stand in it after bars (``hints/catalogue.py``).
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache, partial
from typing import TYPE_CHECKING

from papernudge.cli.said import ENGLISH
from papernudge.hints.catalogue import Words

if TYPE_CHECKING:
    from babel.messages.catalog import Catalog, Message

LANGUAGES = {
    "en": "English",
    "de": "Deutsch",
    "es": "Español",
    "fr": "Français",
    "it": "Italiano",
    "ja": "日本語",
    "nl": "Nederlands",
    "pl": "Polski",
    "pt": "Português",
}
"""Each language's code (ISO 639-1) and what its speakers call it."""
VARIABLES = ("LC_ALL", "LC_MESSAGES", "LANG")
"""Where a system says which language messages are to be in: the first that says something counts
(POSIX, Base Definitions, 8.2)."""
_COUNTS = range(1001)
"""Numbers by which a file's plural forms are laid beside CLDR's categories."""


def known(tag: str) -> str | None:
    """The language of a tag such as ``de-AT``, ``pt_BR.UTF-8`` or ``FR``; None where there is no
    catalogue of it.
    """
    language = tag.strip().replace("_", "-").split(".")[0].split("@")[0].split("-")[0].lower()
    return language if language in LANGUAGES else None


def of_environment(variables: Mapping[str, str]) -> str:
    """The language that the system speaks, or English."""
    said = next((variables[name] for name in VARIABLES if variables.get(name)), "")
    return known(said) or "en"


def of_browser(accepted: str) -> str | None:
    """The best-liked language of an ``Accept-Language`` field that there is a catalogue of, None
    where there is none of any (RFC 9110, 12.5.4).
    """
    liked = []
    for place, one in enumerate(accepted.split(",")[:50]):
        tag, _, quality = one.partition(";q=")
        weight = _weight(quality)
        language = known(tag)
        if language is not None and weight > 0:
            liked.append((-weight, place, language))
    return min(liked)[2] if liked else None


def _weight(quality: str) -> float:
    try:
        return float(quality) if quality.strip() else 1.0
    except ValueError:
        return 0.0


@cache
def words_in(language: str) -> Words:
    """The catalogue of a language of :data:`LANGUAGES`; what a file lacks, and what any other
    language says, is said in English.
    """
    if language == "en" or language not in LANGUAGES:
        return ENGLISH
    from babel import Locale
    from babel.dates import format_date

    catalogue = read(language)
    plural = Locale(language).plural_form
    own = templates(catalogue, language)
    # Of what hangs on a number, a language has categories of its own, not the English ones too.
    stems = {code.rpartition(".")[0] for code in own} - {""}
    lacking = {c: t for c, t in ENGLISH.said.items() if c.rpartition(".")[0] not in stems}
    said = lacking | own
    return Words(language, said, plural, partial(format_date, format="medium", locale=language))


def read(language: str) -> Catalog:
    """The file of a language."""
    from importlib import resources

    from babel.messages.pofile import read_po

    name = resources.files("papernudge.cli.said").joinpath("languages", f"{language}.po")
    with name.open("rb") as file:
        return read_po(file, locale=language, abort_invalid=True)


def templates(catalogue: Catalog, language: str) -> dict[str, str]:
    """Template by code, with one for each plural category and one for each further form."""
    rule = plural_forms(catalogue, language)
    said: dict[str, str] = {}
    for entry in catalogue:
        if not entry.context or entry.fuzzy:
            continue
        for code, text in _by_code(entry, rule):
            plain, *forms = text.split(" | ")
            said[code] = plain
            for form in forms:
                name, _, formed = form.partition(": ")
                said[f"{code} | {name}"] = formed
    return {code: text for code, text in said.items() if text}


def _by_code(entry: Message, rule: Mapping[str, int]) -> list[tuple[str, str]]:
    code = f"help: {entry.id}" if entry.context == "help" else entry.context or ""
    if not entry.pluralizable:
        return [(code, str(entry.string))]
    forms = tuple(entry.string or ())
    return [(f"{code}.{category}", forms[place]) for category, place in rule.items()]


def plural_forms(catalogue: Catalog, language: str) -> dict[str, int]:
    """Which of the file's plural forms each category of CLDR is. ``other``, which a language may
    keep for broken numbers, is the last form where no whole number takes it.
    """
    from gettext import c2py

    from babel import Locale

    category, form = Locale(language).plural_form, c2py(catalogue.plural_expr)
    rule = {"other": catalogue.num_plurals - 1}
    return rule | {category(count): form(count) for count in _COUNTS}
