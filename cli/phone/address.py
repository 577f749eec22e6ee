"""Where the page is to be found: the computer's address on the home network."""

from __future__ import annotations

import io
import ipaddress
import socket

from papernudge.cli.base.exits import Exit, Stop, bad_words
from papernudge.cli.base.say import show
from papernudge.cli.said import in_words
from papernudge.hints.catalogue import message
from papernudge.vision.failure import said_by_system

_NOT_HOME = ("docker", "br-", "veth", "virbr", "tun", "tap", "wg", "utun", "vmnet", "vboxnet")
"""Beginnings of names of interfaces that lead to no phone: containers, tunnels, machines inside
this one."""


def home_address() -> str:
    """The private IPv4 address of this machine; Stop (2) where it has none."""
    import ifaddr

    found = [
        ip.ip
        for adapter in ifaddr.get_adapters()
        if not adapter.name.startswith(_NOT_HOME)
        for ip in adapter.ips
        if isinstance(ip.ip, str) and _at_home(ip.ip)
    ]
    if not found:
        raise bad_words("no home network")
    return found[0]


def _at_home(text: str) -> bool:
    address = ipaddress.ip_address(text)
    return address.is_private and not address.is_loopback and not address.is_link_local


def listening(host: str, port: int) -> socket.socket:
    """A socket bound to the address; Stop (5) where that can't be had."""
    try:
        family, kind, protocol, _, where = socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
    except (OSError, UnicodeError) as error:
        raise _not_had(host, port, error) from error
    bound = socket.socket(family, kind, protocol)
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind(where)
    except OSError as error:
        bound.close()
        raise _not_had(host, port, error) from error
    bound.listen(128)
    return bound


def _not_had(host: str, port: int, error: Exception) -> Stop:
    known = getattr(error, "strerror", None)
    why = said_by_system(error) if known else message("it is no address")
    return Stop(
        Exit.FILE,
        message("can't be listened on", host=host, port=port, why=why),
        stage="phone",
        reason="address",
    )


def announce(address: str, home: bool) -> None:
    """Prints the address, and a square code that a phone's camera opens."""
    import segno

    code = io.StringIO()
    segno.make(address, error="m").terminal(out=code, border=2, compact=True)
    said = "announced at home" if home else "announced here"
    show(in_words(said, address=address, code=code.getvalue()))
