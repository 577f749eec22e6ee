"""Opens photos in a child with limits: see :mod:`papernudge.cli.base.limited`."""

from __future__ import annotations

import errno
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from papernudge.cli.base import limited
from papernudge.cli.base.paths import ask
from papernudge.cli.base.trouble import PhotoError, from_failure
from papernudge.hints.catalogue import Message, message
from papernudge.vision.failure import Failure, said_by_system

if TYPE_CHECKING:
    from papernudge.vision.photo import Photo


def failure(ended: limited.Ended, called: str | Message) -> Failure:
    """What it means for a file that its child ended."""
    if ended.why not in ("crash", "broken"):
        return Failure(
            "open",
            "too slow",
            message("file opens too slowly", called=called, seconds=limited.SECONDS),
        )
    return Failure(
        "open",
        "damaged",
        message("file ends its program", called=called, memory=limited.MEMORY // 1_000_000),
    )


@dataclass(frozen=True, slots=True)
class Opening:
    """A photo that is being opened."""

    called: str | Message
    failed: Failure | None = None

    def photo(self) -> Photo | Failure:
        """Waits for its pixels, or for what is wrong with the file."""
        if self.failed is not None:
            return self.failed
        try:
            opened: Photo | Failure = limited.finish()
        except limited.Ended as ended:
            return failure(ended, self.called)
        return opened


def begin(photo: str) -> Opening:
    """Has a photo opened, ``-`` for standard input, while this process does something else."""
    import cv2  # noqa: F401 - needed later anyway, and a fork takes it along

    from papernudge.vision.photo import file_bytes, open_photo

    if photo != "-":
        limited.begin(open_photo, Path(photo), photo)
        return Opening(photo)
    called = message("standard input")
    data = file_bytes(sys.stdin.buffer, called)
    if isinstance(data, Failure):
        return Opening(called, data)
    limited.begin(open_photo, data, called)
    return Opening(called)


def open_named(called: str) -> Photo:
    """Decodes the photo that the command named."""
    return opened(begun(called))


def begun(called: str) -> Opening:
    """Has a photo opened while this process does something else. PhotoError for what is no file."""
    from papernudge.vision.photo import MAX_BYTES

    if called != "-" and (wrong := _no_file(called, MAX_BYTES)) is not None:
        raise wrong
    return begin(called)


def opened(opening: Opening) -> Photo:
    """Waits for a photo. PhotoError where it can't be opened."""
    photo = opening.photo()
    if isinstance(photo, Failure):
        raise from_failure(photo, "")
    return photo


def _no_file(called: str, most: int) -> PhotoError | None:
    """Why a photo's name leads to something that is no file to read, so that nothing waits for a
    pipe or drinks from a device without end. Folders, and names without a file, are told by whoever
    opens them.
    """
    try:
        if not ask(Path(called), most).st_size:  # some of the system's own say so and never end
            said = message("file is empty", called=called)
            return PhotoError(said, stage="open", reason="empty")
    except (FileNotFoundError, IsADirectoryError):
        return None
    except (OSError, ValueError) as error:
        pipe = getattr(error, "errno", None) == errno.ESPIPE
        code = "pipe can't be read" if pipe else "photo can't be read"
        says = message(code, called=called, why=said_by_system(error))
        return PhotoError(says, stage="open", reason="unreadable")
    return None
