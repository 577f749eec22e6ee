"""The user's own defaults: a small file in the system's folder for settings."""

from __future__ import annotations

import os
from pathlib import Path

from papernudge.cli.base.exits import Exit, Stop, bad_words
from papernudge.cli.base.paths import read_regular
from papernudge.cli.base.say import short
from papernudge.hints.catalogue import Message, message
from papernudge.vision.failure import said_by_system

DEFAULTS = {"book": "PAPERNUDGE_BOOK", "log": "PAPERNUDGE_LOG"}
"""What may be left out because it is named elsewhere, and the environment variable for it."""

WORDS = {
    "digitise": ("book",),
    "export": ("book",),
    "mark": ("log",),
    "progress": ("log",),
    "phone": ("book", "log"),
}
"""For each command the words that may have a default."""
_MOST = 100_000
"""Longest file of settings, bytes."""


def settings_file() -> Path:
    """Where the file is, whether it is there or not. Nothing is made."""
    import platformdirs

    return Path(platformdirs.user_config_dir("papernudge", appauthor=False)) / "settings.toml"


def defaults(arguments: list[str]) -> dict[str, dict[str, str]]:
    """What the file says for the command that these words call, as typer takes it.

    An environment variable goes before the file, also an empty one, which names nothing. Stop (2)
    or (5) where the file is there and can't be followed.
    """
    command = arguments[0] if arguments else ""
    wanted = [name for name in WORDS.get(command, ()) if DEFAULTS[name] not in os.environ]
    if not wanted or {"--help", "-h"} & set(arguments):
        return {}
    said = _read(settings_file())
    return {command: {name: said[name] for name in wanted if name in said}}


def _read(path: Path) -> dict[str, str]:
    try:
        text = read_regular(path, _MOST).decode("utf-8")
    except (FileNotFoundError, NotADirectoryError):
        return {}
    except UnicodeDecodeError as error:
        raise _not_understood(path, message("it is not UTF-8")) from error
    except (OSError, ValueError) as error:
        says = message("settings can't be read", path=path, why=said_by_system(error))
        raise Stop(Exit.FILE, says, stage="settings", reason="unreadable") from error
    import tomllib

    try:
        said = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _not_understood(path, said_by_system(error)) from error
    odd = next((name for name in said if name not in DEFAULTS), None)
    if odd is not None:
        raise _not_understood(path, message("it says", what=short(odd)))
    return {name: _file(path, name, value) for name, value in said.items()}


def _file(path: Path, name: str, value: object) -> str:
    """A file that the settings name. It must not depend on where the command is run."""
    if isinstance(value, str):
        with_home = os.path.expanduser(value)  # noqa: PTH111 - Path raises where there is no home
        if os.path.isabs(with_home):  # noqa: PTH117
            return with_home
    raise _not_understood(path, message("it names no file", name=name))


def _not_understood(path: Path, reason: str | Message) -> Stop:
    return bad_words("settings can't be followed", path=path, why=reason)
