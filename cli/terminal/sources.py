"""From the command's words to grids: photos, standard input, or lines of text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from threading import Thread

from papernudge.cli.base.exits import bad_words
from papernudge.cli.session.pages import Page, page_of_lines, read_opened
from papernudge.hints.geometry import cell_name


@dataclass(frozen=True, slots=True)
class Source:
    """Where grids come from: a photo's name (``-`` for standard input), or lines."""

    photo: str | None
    givens: str = ""
    entries: str = ""


def sources(
    photos: Sequence[str], given_line: str | None, entry_line: str | None
) -> tuple[Source, ...]:
    """Photos, or one pair of lines; Stop (2) if neither or both were named."""
    if given_line is None and entry_line is not None:
        raise bad_words("entry line alone")
    if given_line is None:
        if not photos:
            raise bad_words("name a photo")
        if photos.count("-") > 1:
            raise bad_words("standard input once")
        return tuple(Source(photo) for photo in photos)
    if photos:
        raise bad_words("photo or line")
    givens = _line(given_line, "--given-line")
    entries = _line(entry_line or "." * 81, "--entry-line")
    for cell, (given, entry) in enumerate(zip(givens, entries, strict=True)):
        if given != "." and entry not in (".", given):
            raise bad_words("lines differ", cell=cell_name(cell), given=given, entry=entry)
    entries = "".join("." if g != "." else e for g, e in zip(givens, entries, strict=True))
    return (Source(None, givens, entries),)


def _line(text: str, option: str) -> str:
    line = "".join(text.split()).replace("0", ".")
    odd = next((c for c in line if c not in "123456789."), None)
    if odd is not None:
        raise bad_words("line holds digits", option=option, got=repr(odd))
    if len(line) != 81:
        raise bad_words("line holds 81", option=option, length=len(line))
    return line


def open_page(source: Source) -> Page:
    """Reads a source; Stop (5) for a file that can't be read, (3) for one without a grid."""
    if source.photo is None:
        return page_of_lines(source.givens, source.entries)
    from papernudge.cli.base.opening import begun, opened

    opening = begun(source.photo)
    with _looks_loading():  # while the photo is being opened
        import papernudge.hints
        import papernudge.vision.read  # noqa: F401 - what reads it
    return read_opened(source.photo, opened(opening))


@contextmanager
def _looks_loading() -> Iterator[None]:
    """Has the looks loaded beside something else: most of that is not Python's work."""
    loading = Thread(target=_looks_loaded, daemon=True)
    loading.start()
    yield
    loading.join()


def _looks_loaded() -> None:
    from papernudge.digits_model import scores, seen

    with suppress(Exception):  # it is said where they are first wanted
        scores.shipped()
        seen.shipped()
