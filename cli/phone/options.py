"""The words of ``phone``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from papernudge.cli.base.helping import Command
from papernudge.cli.base.settings import DEFAULTS

_Host = Annotated[
    str | None,
    typer.Option(
        "--host",
        metavar="ADDRESS",
        help="Listen on this address; else this computer's private one on the home network."
        " 127.0.0.1 is this computer alone.",
    ),
]
_Port = Annotated[
    int,
    typer.Option("--port", metavar="N", min=0, max=65535, help="0 takes any that is free."),
]
_Book = Annotated[
    str | None,
    typer.Option(
        "--book",
        metavar="FILE",
        envvar=DEFAULTS["book"],
        help="Pages can be snapped into this book, as digitise would read them."
        " You answer for the right to copy them.",
    ),
]
_Log = Annotated[
    str | None,
    typer.Option(
        "--log",
        metavar="FILE",
        envvar=DEFAULTS["log"],
        help="Practice sheets can be snapped, marked and kept here.",
    ),
]
_Certificate = Annotated[
    str | None, typer.Option("--certificate", metavar="FILE", help="For HTTPS: PEM.")
]
_Key = Annotated[
    str | None, typer.Option("--key", metavar="FILE", help="For HTTPS: its private key, PEM.")
]


def phone(
    host: _Host = None,
    port: _Port = 8417,
    book: _Book = None,
    log: _Log = None,
    certificate: _Certificate = None,
    key: _Key = None,
) -> None:
    """A page for the phones of the home network: snap, one nudge, put the phone away.

    Prints an address and a square code to open on the phone; nothing is installed there, and
    photos go to this computer and nowhere else. Without HTTPS somebody on the same network could
    listen in. Ctrl-C stops it.
    """
    from papernudge.cli.base.exits import bad_words
    from papernudge.cli.phone.serve import Wishes, run_phone

    for option, name in (("book", book), ("log", log), ("certificate", certificate), ("key", key)):
        if name == "":
            raise bad_words("option has no name", option=option)
    files = [None if name is None else Path(name) for name in (certificate, key, book, log)]
    raise typer.Exit(run_phone(Wishes(host, port, *files)))


def register(app: typer.Typer) -> None:
    """Adds the command."""
    app.command(cls=Command)(phone)
