"""Writes a file whole or not at all."""

from __future__ import annotations

import contextlib
import os
import stat
import sys
import tempfile
from pathlib import Path

from papernudge.cli.base.exits import Exit, Stop
from papernudge.cli.base.paths import real
from papernudge.cli.said import in_words
from papernudge.hints.catalogue import message
from papernudge.vision.failure import said_by_system


def write_whole(path: Path, data: bytes, *, over: bool = True) -> None:
    """Writes beside the target and renames, so that no half file is ever seen.

    A link stays a link: what it points to is written. A file that was there keeps its mode. Stop
    (5) if it can't be done, if the target is a device, a pipe or a folder, or if it exists and
    ``over`` is false.
    """
    try:
        target = real(path)
        before = _before(target)
        if before is not None and not over:
            raise exists(path)
        handle, name = tempfile.mkstemp(
            prefix=".papernudge-", suffix=path.suffix, dir=target.parent
        )
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
            _like(Path(name), before)
            _into_place(Path(name), target, over)
        except BaseException:
            with contextlib.suppress(OSError):
                Path(name).unlink()
            raise
    except FileExistsError as error:
        raise exists(path) from error
    except (OSError, ValueError) as error:
        raise Stop(
            Exit.FILE,
            message("can't be written", path=path, why=said_by_system(error)),
            stage="write",
            reason="unwritable",
        ) from error


def exists(path: Path) -> Stop:
    """What to say where a file is there already and nobody said that it may go."""
    return Stop(
        Exit.FILE,
        message("is there already", path=path),
        stage="write",
        reason="exists",
    )


def _before(target: Path) -> os.stat_result | None:
    """The file that is there now; OSError where it is something else or may not be written."""
    try:
        found = target.stat()
    except FileNotFoundError:
        return None
    if stat.S_ISDIR(found.st_mode):
        raise IsADirectoryError(21, in_words("it is a folder"))
    if not stat.S_ISREG(found.st_mode):
        raise OSError(19, in_words("it is a device or a pipe"))
    if not os.access(target, os.W_OK):
        raise PermissionError(13, in_words("it may only be read"))
    return found


def _like(new: Path, before: os.stat_result | None) -> None:
    """Gives the new file the mode, and where we may the owner, of the one that it replaces."""
    if before is None:
        new.chmod(_usual_mode())
        return
    if hasattr(os, "chown") and (before.st_uid, before.st_gid) != (os.geteuid(), os.getegid()):
        with contextlib.suppress(OSError):
            os.chown(new, before.st_uid, before.st_gid)
    new.chmod(stat.S_IMODE(before.st_mode) & 0o777)


def _into_place(new: Path, target: Path, over: bool) -> None:
    """FileExistsError where a file has come there meanwhile and must not go."""
    if over:
        new.replace(target)
    elif sys.platform == "win32":
        new.rename(target)
    else:
        try:
            os.link(new, target)
        except FileExistsError:
            raise
        except OSError:  # a disk that knows no second names
            if os.path.lexists(target):
                raise FileExistsError(target) from None
            new.replace(target)
        else:
            new.unlink()


def _usual_mode() -> int:
    """What a plain new file would get; temporary files are made private."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
