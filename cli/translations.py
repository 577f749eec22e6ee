"""For translators: what a language's file lacks, and the file brought up to date.

``python -m papernudge.cli.translations check [LANGUAGE]...`` lists what is missing, stale, not
known any more, or has places for data that the English does not have, and leaves with 1 where there
is any. ``update LANGUAGE`` writes the file anew in the order of the English: what is missing
stands there empty, what is stale is marked fuzzy with the English it was made of. A language that
has no file yet gets one.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from string import Formatter

from babel.messages.catalog import Catalog, Message
from babel.messages.pofile import read_po, write_po

from papernudge.cli.app import app
from papernudge.cli.base.helping import texts
from papernudge.cli.base.say import show
from papernudge.cli.said import TABLES
from papernudge.cli.said.languages import LANGUAGES, templates

FOLDER = Path(__file__).with_name("said") / "languages"
_HELP = "help"


def english() -> Iterator[tuple[str, str | tuple[str, str]]]:
    """Every message: its context and its English text, or the two forms of what hangs on a
    number. The texts of ``--help`` share one context.
    """
    for code, template in TABLES.items():
        stem, _, category = code.rpartition(".")
        if category == "other" and f"{stem}.one" in TABLES:
            yield stem, (TABLES[f"{stem}.one"], template)
        elif category != "one" or f"{stem}.other" not in TABLES:
            yield code, template
    for text in texts(app):
        yield _HELP, text


def updated(language: str, old: Catalog | None = None) -> Catalog:
    """The catalogue with every message of the English and what ``old`` has for it."""
    now = datetime.now(UTC).replace(microsecond=0)
    fresh = Catalog(
        locale=language,
        project="papernudge",
        version=version("papernudge"),
        msgid_bugs_address="papernudge",
        header_comment=f"# {LANGUAGES.get(language, language)}: what papernudge says.",
        creation_date=now,
        revision_date=now,
        last_translator="papernudge",
        language_team=LANGUAGES.get(language, language),
        fuzzy=False,
    )
    known = _by_context(old)
    for context, text in english():
        was = known.get((context, text if context == _HELP else None))
        flags = {"fuzzy"} if was is not None and _stale(was, text) else set()
        string = _fitting(was, text, fresh.num_plurals)
        before = was.id if was is not None and flags else ()
        before = (before,) if isinstance(before, str) else tuple(before)
        fresh.add(text, string, context=context, flags=flags, previous_id=before)
    return fresh


def _by_context(catalogue: Catalog | None) -> dict[tuple[str, object], Message]:
    found: dict[tuple[str, object], Message] = {}
    for entry in catalogue or ():
        if entry.context:
            text = entry.id if entry.context == _HELP else None
            found[entry.context, text] = entry
    return found


def _stale(entry: Message, text: str | tuple[str, str]) -> bool:
    now = list(text) if isinstance(text, tuple) else text
    was = list(entry.id) if isinstance(entry.id, tuple | list) else entry.id
    return bool(entry.fuzzy) or was != now


def _fitting(
    was: Message | None, text: str | tuple[str, str], forms: int
) -> str | tuple[str, ...] | None:
    """What the old message says, in as many forms as the new one wants."""
    said = was.string if was is not None else ""
    if isinstance(text, str):
        return said if isinstance(said, str) else ""
    parts = (said,) if isinstance(said, str) else tuple(said or ("",))
    return tuple(parts[min(place, len(parts) - 1)] for place in range(forms))


def faults(language: str) -> list[str]:
    """What is wrong with a language's file, a line each."""
    path = FOLDER / f"{language}.po"
    with path.open("rb") as file:
        catalogue = read_po(file, locale=language, abort_invalid=True)
    known = _by_context(catalogue)
    wanted = dict[tuple[str, object], str | tuple[str, str]]()
    for context, text in english():
        wanted[context, text if context == _HELP else None] = text
    found = [f"missing: {_named(key)}" for key in wanted if _empty(known.get(key))]
    found += [f"not known: {_named(key)}" for key in known if key not in wanted]
    for key in wanted.keys() & known.keys():
        if _stale(known[key], wanted[key]):
            found.append(f"stale: {_named(key)}")
    return found + list(misplaced(templates(catalogue, language)))


def _named(key: tuple[str, object]) -> str:
    return key[0] if key[1] is None else f"{key[0]}: {key[1]}"


def _empty(entry: Message | None) -> bool:
    said = () if entry is None else entry.string
    return not said or not all([said] if isinstance(said, str) else said)


def misplaced(said: Mapping[str, str]) -> Iterator[str]:
    """Templates with a place that the English has not, without one that it has, or asking for a
    form of words that no template gives. What hangs on a number may leave the number out, and what
    a question asks of may be named otherwise than in English.
    """
    forms = {code.partition(" | ")[2] for code in said} | {"capital"}
    for code, template in said.items():
        if code.startswith(f"{_HELP}: ") or not _known(code):
            continue
        spelt = _spelt(template)
        here = {name for name, _ in spelt}
        asked = {
            form for _, how in spelt if re.fullmatch("[a-z ]{2,}", how) for form in how.split()
        }
        may, must = _places(code.partition(" | ")[0])
        for what, odd in (
            ("no place of the English", here - may),
            ("a place left out", must - here),
            ("a form that no template gives", asked - forms),
        ):
            if odd:
                yield f"{what}: {code}: {', '.join(sorted(odd))}"


def _known(code: str) -> bool:
    """Whether the English has a template of this code, in any of its forms for a number."""
    plain = code.partition(" | ")[0]
    return plain in TABLES or f"{plain.rpartition('.')[0]}.other" in TABLES


def _places(code: str) -> tuple[set[str], set[str]]:
    """The places that a template of this code may have, and those it must."""
    stem, _, _ = code.rpartition(".")
    alike = [TABLES[one] for one in (f"{stem}.one", f"{stem}.other") if one in TABLES]
    alike = alike or [TABLES[code]]
    each = [{name for name, _ in _spelt(template)} for template in alike]
    may, must = set().union(*each), set.intersection(*each) - {"count"}
    for start, more in _NAMED_OTHERWISE.items():
        if code.startswith(start):
            return may | more, must - more
    return may, must


_NAMED_OTHERWISE = {
    "ask of a digit": {"digit", "a_digit", "technique"},
    "ask of a house": {"house", "technique"},
    "a digit": {"digit"},
    "a technique": {"technique"},
}
"""Codes that get more data than the English says."""


def _spelt(template: str) -> list[tuple[str, str]]:
    parts = Formatter().parse(template)
    return [(name, how or "") for _, name, how, _ in parts if name is not None]


def update(language: str) -> Path:
    """Writes a language's file anew. ValueError where Babel knows no such language."""
    path = FOLDER / f"{language}.po"
    old = None
    if path.exists():
        with path.open("rb") as file:
            old = read_po(file, locale=language, abort_invalid=True)
    write(updated(language, old), path)
    return path


def write(catalogue: Catalog, path: Path) -> None:
    """The file, in the order of the English."""
    with path.open("wb") as file:
        write_po(file, catalogue, width=96, include_previous=True)


def main(words: Sequence[str]) -> int:
    """The two commands; 2 where the words are neither."""
    if words[:1] == ["update"] and len(words) == 2:
        show(str(update(words[1])))
        return 0
    if words[:1] != ["check"]:
        show(__doc__ or "", sys.stderr)
        return 2
    found = 0
    for language in words[1:] or [one for one in LANGUAGES if one != "en"]:
        lines = faults(language)
        found += len(lines)
        show("\n".join([f"{language}: {len(lines)} to mend", *(f"  {line}" for line in lines)]))
    return int(found > 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
