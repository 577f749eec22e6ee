"""Writes a file whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from papernudge.cli.exits import Exit, Stop


def write_whole(path: Path, data: bytes) -> None:
    """Writes beside the target and renames, so that no half file is ever seen. Stop (5) if it
    can't be done.
    """
    try:
        if path.is_dir():
            raise IsADirectoryError(21, "it is a folder")
        folder = path.resolve().parent
        handle, name = tempfile.mkstemp(prefix=".papernudge-", suffix=path.suffix, dir=folder)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
            Path(name).chmod(_usual_mode())
            Path(name).replace(path.resolve())
        except BaseException:
            with contextlib.suppress(OSError):
                Path(name).unlink()
            raise
    except (OSError, ValueError) as error:
        why = (getattr(error, "strerror", None) or str(error)).lower()
        raise Stop(
            Exit.FILE,
            f"{path} can't be written ({why}): choose a folder that exists and may be written to.",
            stage="write",
            reason="unwritable",
        ) from error


def _usual_mode() -> int:
    """What a plain new file would get; temporary files are made private."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
