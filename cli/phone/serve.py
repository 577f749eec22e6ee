"""``papernudge phone``: starts the server, tells the address, stops on Ctrl-C."""

from __future__ import annotations

import asyncio
import ipaddress
import os
import secrets
import socket
import ssl
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from papernudge.cli.base.exits import Exit, Stop, bad_words
from papernudge.cli.base.paths import BOOK_FILES, LOG_FILES, Named, keep_apart, read_regular
from papernudge.hints.catalogue import message
from papernudge.vision.failure import said_by_system

if TYPE_CHECKING:
    from starlette.types import ASGIApp

    from papernudge.cli.phone.shelf import Shelf

MOST_WAITING = 24
"""Wishes waiting or at work, of all phones together."""
TOKEN_BYTES = 16
_LONGEST_PEM = 1_000_000


@dataclass(frozen=True, slots=True)
class Wishes:
    """The options, as they were given."""

    host: str | None
    port: int
    certificate: Path | None
    key: Path | None
    book: Path | None = None
    log: Path | None = None


def run_phone(wishes: Wishes) -> int:
    """Serves until it is stopped."""
    import uvicorn

    from papernudge.cli.phone.address import announce, home_address, listening
    from papernudge.cli.phone.line import Line
    from papernudge.cli.phone.shelf import Shelf

    _check(wishes)
    host = wishes.host or home_address()
    shelf = None if wishes.book is None else Shelf(wishes.book)
    bound = listening(host, wishes.port)
    scheme = "https" if wishes.certificate else "http"
    port = bound.getsockname()[1]
    token = secrets.token_urlsafe(TOKEN_BYTES)
    config = uvicorn.Config(
        application(token, _hosts(host, port), scheme, shelf, wishes.log),
        http=Line,
        ws="none",
        proxy_headers=False,  # nobody stands between, who says so wants to be taken for another
        log_level="critical",
        access_log=False,
        server_header=False,
        date_header=False,
        timeout_keep_alive=20,
        timeout_graceful_shutdown=1,
        limit_concurrency=400,
        ssl_certfile=wishes.certificate,
        ssl_keyfile=wishes.key,
    )
    announce(f"{scheme}://{_in_url(host)}:{port}/in/{token}", not _alone(host))
    return _served(uvicorn.Server(config), bound)


def _check(wishes: Wishes) -> None:
    """Stop where the words are off (2), or a file that is named can't be what it is to be (5)."""
    if (wishes.certificate is None) != (wishes.key is None):
        raise bad_words("HTTPS needs both")
    inputs = [
        Named(told, at)
        for told, at in (("--certificate FILE", wishes.certificate), ("--key FILE", wishes.key))
        if at is not None
    ]
    outputs: list[Named] = []
    for told, at, endings in (
        ("--book FILE", wishes.book, BOOK_FILES),
        ("--log FILE", wishes.log, LOG_FILES),
    ):
        if at is not None:
            outputs += [Named(told, at), *Named(told, at).beside(*endings)]
    keep_apart(inputs, outputs)
    if wishes.certificate is not None and wishes.key is not None:
        _check_certificate(wishes.certificate, wishes.key)
    if wishes.log is not None:
        from papernudge.cli.sheets.log import append

        append(wishes.log, [])  # one that is none, or can't be written, is told before it is needed


def _check_certificate(certificate: Path, key: Path) -> None:
    try:
        for path in (certificate, key):
            read_regular(path, _LONGEST_PEM)
        # The empty password: else a locked key would be asked about at the terminal.
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(certificate, key, password="")
    except (OSError, ValueError) as error:  # what OpenSSL says of a PEM is an OSError too
        raise Stop(
            Exit.FILE,
            message("no HTTPS with", certificate=certificate, key=key, why=said_by_system(error)),
            stage="phone",
            reason="certificate",
        ) from error


def _served(server: object, bound: socket.socket) -> int:
    """Runs the server on the socket until a signal ends it, which is raised again then."""
    import uvicorn

    assert isinstance(server, uvicorn.Server)
    try:
        asyncio.run(server.serve(sockets=[bound]))
    finally:
        bound.close()
    return int(Exit.DONE)


def application(
    token: str,
    hosts: frozenset[str],
    scheme: str = "http",
    shelf: Shelf | None = None,
    log: Path | None = None,
) -> ASGIApp:
    """The whole application behind its gate.

    ``token``: what the address holds; ``hosts``: what the Host header may say; ``shelf`` and
    ``log``: the book and the practice log, where there are such roads.
    """
    from papernudge.cli.phone.desk import Desk
    from papernudge.cli.phone.gate import Gate
    from papernudge.cli.phone.memory import Memory
    from papernudge.cli.phone.pages import Pages

    memory = Memory()
    desk = Desk(max(1, min(4, os.cpu_count() or 1)), MOST_WAITING)
    pages = Pages(desk, memory, shelf, log).application()
    return Gate(pages, token=token, memory=memory, hosts=hosts, scheme=scheme)


def _in_url(host: str) -> str:
    return f"[{host}]" if ":" in host else host


def _alone(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _hosts(host: str, port: int) -> frozenset[str]:
    names = {_in_url(host)} | ({"localhost", "127.0.0.1"} if _alone(host) else set())
    standard = {name for name in names if port in (80, 443)}
    return frozenset({f"{name}:{port}".lower() for name in names} | standard)
