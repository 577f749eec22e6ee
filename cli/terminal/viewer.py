"""A picture shown by the system's own viewer, from a file that goes with the conversation."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from papernudge.cli.base import stopping
from papernudge.cli.base.exits import Exit, Stop
from papernudge.hints.catalogue import message
from papernudge.vision.failure import said_by_system

_PATIENCE = 2.0
"""Seconds after which an opener that has not ended is taken for the viewer itself."""
_started: list[subprocess.Popen[bytes]] = []
"""Viewers go on by themselves."""


def opens(path: Path) -> bool:
    """Opens a picture with the system's viewer; false where there is none."""
    if sys.platform == "win32":
        os.startfile(path)
        return True
    opener = _opener()
    if opener is None:
        return False
    quiet = subprocess.DEVNULL  # what a viewer has to say is not for this conversation
    viewer = subprocess.Popen(
        [opener, str(path)], stdin=quiet, stdout=quiet, stderr=quiet, start_new_session=True
    )
    _started.append(viewer)
    try:
        return viewer.wait(_PATIENCE) == 0
    except subprocess.TimeoutExpired:
        return True


def _opener() -> str | None:
    """What opens a file as a click on it would; None where no screen is or nothing to open with."""
    if sys.platform == "darwin":
        return shutil.which("open")
    shown = os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    return shutil.which("xdg-open") if shown else None


class Folder:
    """A place for pictures that are looked at and not kept. A context: all of it goes at the end,
    also where a signal ends the process.
    """

    def __init__(self) -> None:
        self._path: Path | None = None

    def __enter__(self) -> Folder:
        return self

    def file(self, name: str) -> Path:
        """Where a picture may be written. Stop (5) where there is no folder for temporary files."""
        try:
            with stopping.held():
                if self._path is None:
                    self._path = Path(tempfile.mkdtemp(prefix="papernudge-"))
                    stopping.remember(self._away)
        except OSError as error:
            raise Stop(
                Exit.FILE,
                message("no folder for a picture", why=said_by_system(error)),
                stage="write",
                reason="unwritable",
            ) from error
        return self._path / name

    def __exit__(self, *_: object) -> None:
        if self._path is not None:
            self._away()
            stopping.forget(self._away)

    def _away(self) -> None:
        if self._path is not None:
            shutil.rmtree(self._path, ignore_errors=True)
