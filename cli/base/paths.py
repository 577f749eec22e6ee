"""Files that the command's words name: asked what they are before they are opened, and what is
written kept apart from what is read.
"""

from __future__ import annotations

import contextlib
import errno
import os
import stat
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from papernudge.cli.base.exits import bad_words
from papernudge.cli.said import in_words, spoken
from papernudge.hints.catalogue import Message, message
from papernudge.vision.failure import said_by_system

MOST_TEXT = 20_000_000
"""Longest file of corrections, bytes: half a million lines."""
MOST_LINES = 400_000_000
"""Longest file of 81-character lines, bytes: nearly five million puzzles."""
MOST_SOURCE = 4_000_000_000
"""Longest file that a book takes pages from, bytes."""

_PIECE = 1 << 20

AT_ONCE = 0
"""Flags of ``os.open``: it never waits, inherits nothing, takes no terminal, leaves bytes alone."""
for _name in ("O_NONBLOCK", "O_CLOEXEC", "O_NOCTTY", "O_BINARY"):
    AT_ONCE |= getattr(os, _name, 0)
_KINDS = (
    (stat.S_ISDIR, errno.EISDIR, "it is a folder"),
    (stat.S_ISFIFO, errno.ESPIPE, "it is a pipe"),
    (stat.S_ISCHR, errno.ENODEV, "it is a device"),
    (stat.S_ISBLK, errno.ENODEV, "it is a device"),
    (stat.S_ISSOCK, errno.ENXIO, "it is a socket"),
)


def real(path: Path) -> Path:
    """The path without links and ``..``; what can't be followed stays as it is. Never raises."""
    try:
        return Path(os.path.realpath(path))
    except (OSError, ValueError):  # the current folder may have been taken away
        return path


def why(error: OSError) -> str:
    """What an error of the system says, in the language that is spoken."""
    return spoken().tell(said_by_system(error))


def is_folder(path: Path) -> bool:
    """Whether a folder is there that can be seen. Never raises, whatever the path looks like."""
    return os.path.isdir(path)  # noqa: PTH112 - Path.is_dir raises on names that are too long


# ---------------------------------------------------------------- reading


def _must_be_plain(found: os.stat_result, path: Path, most: int | None) -> None:
    for is_kind, number, what in _KINDS:
        if is_kind(found.st_mode):
            raise OSError(number, in_words(what), str(path))
    if not stat.S_ISREG(found.st_mode):
        raise OSError(errno.ENODEV, in_words("it is no file"), str(path))
    if most is not None and found.st_size > most:
        raise too_long(path, most)


def too_long(path: Path, most: int) -> OSError:
    """What to raise for a file of more than ``most`` bytes."""
    return OSError(errno.EFBIG, in_words("it is longer", most=most // 1_000_000), str(path))


def ask(path: Path, most: int | None = None) -> os.stat_result:
    """What the system knows of a regular file. OSError, with words for a sentence in ``strerror``,
    where it is something else, can't be seen, or is longer than ``most`` bytes.

    Nothing is opened: opening a pipe waits for its other end, opening a device may move it.
    """
    found = path.stat()
    _must_be_plain(found, path, most)
    return found


def open_regular(path: Path, most: int | None = None) -> BinaryIO:
    """Opens a regular file to read its bytes; OSError as :func:`ask`. Never waits."""
    ask(path, most)
    handle = os.open(path, os.O_RDONLY | AT_ONCE)
    try:
        _must_be_plain(os.fstat(handle), path, most)  # it may have been exchanged meanwhile
        return os.fdopen(handle, "rb")
    except BaseException:
        os.close(handle)
        raise


def must_be_a_file(
    path: Path, new: bool, missing: Exception, other: Callable[[Message | str], Exception]
) -> None:
    """Raises ``missing`` where the path leads to nothing and ``new`` is false; where it leads to
    what is no file, what ``other`` makes of the reason.
    """
    try:
        ask(path)
    except FileNotFoundError as error:
        if not new:
            raise missing from error
    except (OSError, ValueError) as error:
        raise other(said_by_system(error)) from error


def read_regular(path: Path, most: int) -> bytes:
    """All bytes of a regular file; OSError as :func:`ask`, also where it says to be short but goes
    on, as some of the system's own do.
    """
    data = bytearray()
    with open_regular(path, most) as file:
        # Piece by piece: room for all that it might hold may be more than there is.
        while piece := file.read(min(_PIECE, most + 1 - len(data))):
            data += piece
    if piece is None:
        raise OSError(errno.EAGAIN, in_words("nothing comes from it"), str(path))
    if len(data) > most:
        raise too_long(path, most)
    return bytes(data)


# ---------------------------------------------------------------- inputs and outputs


@dataclass(frozen=True, slots=True)
class Named:
    """A file in a part to play. ``told``: what a sentence calls it (``the photo``, ``--log FILE``);
    ``at``: its path, or the number of an open file.
    """

    told: str | Message
    at: Path | int

    def beside(self, *endings: str) -> Iterator[Named]:
        """The files that stand beside it under its name: a book's lock, its log."""
        if isinstance(self.at, Path):
            whole = str(real(self.at))
            for ending in endings:
                yield Named(message("belongs to", what=self.told), Path(whole + ending))


BOOK_FILES = ("-lock", "-wal", "-shm", "-journal")
"""What stands beside a book while it is written to."""
LOG_FILES = ("-wal", "-shm", "-journal")


def photo_named(called: str | None, told: str | Message | None = None) -> list[Named]:
    """A photo as the words name it, ``-`` for standard input; nothing for None."""
    told = told or message("the photo")
    if called is None:
        return []
    if called != "-":
        return [Named(told, Path(called))]
    with contextlib.suppress(OSError, ValueError, AttributeError):
        return [Named(message("on standard input", what=told), sys.stdin.fileno())]
    return []


def keep_apart(inputs: Sequence[Named], outputs: Sequence[Named]) -> None:
    """Stop (2) where an output is an input, another output, or what the command prints into.

    Files are the same that are one on the disk, through links of both kinds, other spellings of
    the path, and capitals where the system ignores them.
    """
    taken = [(one, identity(one.at)) for one in (*inputs, *_printed_into())]
    for output in outputs:
        mine = identity(output.at)
        for other, its in taken:
            if mine & its:
                raise bad_words("would write over", output=output.told, other=other.told)
        taken.append((output, mine))


def _printed_into() -> Iterator[Named]:
    for number in (1, 2):
        with contextlib.suppress(OSError):
            if stat.S_ISREG(os.fstat(number).st_mode):
                yield Named(message("printed into"), number)


Identity = frozenset[tuple[object, ...]]


def identity(at: Path | int) -> Identity:
    """What tells a file from others: its number on its disk where it exists, and its real path."""
    known: list[tuple[object, ...]] = []
    with contextlib.suppress(OSError, ValueError):
        found = os.stat(at)  # noqa: PTH116 - a number of an open file too
        if found.st_ino and not stat.S_ISDIR(found.st_mode):
            known.append(("disk", found.st_dev, found.st_ino))
    if isinstance(at, Path):
        known.append(("path", _folded(str(real(at)))))
    return frozenset(known)


def _folded(path: str) -> str:
    path = os.path.normcase(path)
    return path.casefold() if sys.platform == "darwin" else path


def identities(named: Iterable[Path | int]) -> Identity:
    """All of theirs together, to ask of many files whether they are among them."""
    return frozenset().union(*(identity(path) for path in named))
