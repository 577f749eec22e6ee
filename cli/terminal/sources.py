"""From the command's words to grids: photos, standard input, or lines of text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from threading import Thread

from papernudge.cli.base.exits import Exit, Stop, bad_words
from papernudge.cli.session.pages import Page, page_of_lines, read_opened
from papernudge.hints.catalogue import Either
from papernudge.hints.layout import NEWSPAPER, Layout


@dataclass(frozen=True, slots=True)
class Lines:
    """Lines in place of a photo, as typed, and the board that they are of. ``board``: the one that
    was named, of lines or of a photo.
    """

    given: str | None = None
    entry: str | None = None
    layout: Layout = NEWSPAPER
    board: Layout | None = None

    @classmethod
    def of(
        cls,
        given: str | None,
        entry: str | None,
        blocks: str | None,
        regions: str | None,
        diagonals: bool,
        extra: Sequence[str] | None,
    ) -> Lines:
        """Stop (2) where the words make no board."""
        if not is_board(blocks, regions, diagonals, extra):
            return cls(given, entry)
        board = board_named(blocks, regions, diagonals, extra)
        return cls(given, entry, board if given is not None else NEWSPAPER, board)

    @property
    def known(self) -> Layout | None:
        """The board that is talked about, None for whatever a photo shows."""
        return self.layout if self.given is not None else self.board


def is_board(
    blocks: str | None, regions: str | None, diagonals: bool, extra: Sequence[str] | None
) -> bool:
    """Whether the command's words name a board."""
    return blocks is not None or regions is not None or diagonals or bool(extra)


def board_named(
    blocks: str | None, regions: str | None, diagonals: bool, extra: Sequence[str] | None
) -> Layout:
    """The board that the command's words name, the newspaper's if none. Stop (2) where they make
    none.
    """
    if not is_board(blocks, regions, diagonals, extra):
        return NEWSPAPER
    from papernudge.hints.shapes import ShapeError, board_of

    try:
        return board_of(blocks, regions, diagonals, extra or ())
    except ShapeError as error:
        raise Stop(Exit.WORDS, error.says, stage="command", reason="words") from error


@dataclass(frozen=True, slots=True)
class Source:
    """Where grids come from: a photo's name (``-`` for standard input), or lines. ``board``: what
    the photo shows, if that was said.
    """

    photo: str | None
    givens: str = ""
    entries: str = ""
    layout: Layout = NEWSPAPER
    board: Layout | None = None


def sources(photos: Sequence[str], lines: Lines) -> tuple[Source, ...]:
    """Photos, or one pair of lines; Stop (2) if neither or both were named."""
    if lines.given is None and lines.entry is not None:
        raise bad_words("entry line alone")
    if lines.given is None:
        if not photos:
            raise bad_words("name a photo")
        if photos.count("-") > 1:
            raise bad_words("standard input once")
        return tuple(Source(photo, board=lines.board) for photo in photos)
    if photos:
        raise bad_words("photo or line")
    layout = lines.layout
    givens = _line(lines.given, "--given-line", layout)
    entries = _line(lines.entry or layout.blank, "--entry-line", layout)
    for cell, (given, entry) in enumerate(zip(givens, entries, strict=True)):
        if given != "." and entry not in (".", given):
            raise bad_words("lines differ", cell=layout.name(cell), given=given, entry=entry)
    entries = "".join("." if g != "." else e for g, e in zip(givens, entries, strict=True))
    return (Source(None, givens, entries, layout),)


def _line(text: str, option: str, layout: Layout) -> str:
    line = "".join(text.split()).replace("0", ".")
    data = {"option": option, "many": layout.many, "length": len(line)}
    if len(line) != layout.many and (fits := boards_of(len(line))):
        raise bad_words("line holds, would do", blocks=fits, **data)
    taken = f"{layout.symbols}{layout.symbols.lower()}."
    odd = next((c for c in line if c not in taken), None)
    if odd is not None and layout is NEWSPAPER:
        raise bad_words("line holds digits", option=option, got=repr(odd))
    if odd is not None:
        last = layout.symbols[-1]
        raise bad_words("line holds symbols", option=option, last=last, got=repr(odd))
    if len(line) != layout.many:
        raise bad_words("line holds", **data)
    return line.upper()


def boards_of(length: int) -> Either | None:
    """The words for boards that a line of this length would do for: even blocks, if there are any
    of it, else blocks of any form.
    """
    from papernudge.hints.shapes import SIDES, blocks_for

    even = [f"--blocks {blocks}" for blocks in blocks_for(length)]
    return Either(even or (["--regions"] if length in SIDES else ())) or None


def open_page(source: Source) -> Page:
    """Reads a source; Stop (5) for a file that can't be read, (3) for one without a grid."""
    if source.photo is None:
        return page_of_lines(source.givens, source.entries, source.layout)
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
