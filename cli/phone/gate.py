"""Who comes in: token, cookie, host, origin, length and time of bodies, headers of answers."""

from __future__ import annotations

import asyncio
import hmac
import time
from collections import OrderedDict
from collections.abc import Callable
from http.cookies import CookieError, SimpleCookie

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from papernudge.cli.phone.memory import Memory
from papernudge.cli.said import in_words, speaking, spoken
from papernudge.cli.said.languages import of_browser, words_in

COOKIE = "papernudge"
LONGEST_BODY = 40_000_000
"""Bytes of a photo."""
SLOWEST_PIECE = 15.0
"""Seconds that the next piece of a body may take."""
SLOWEST_BODY = 180.0
"""Seconds that a whole body may take."""
GUESSES = 8
"""Wrong tokens from one address before it has to wait."""
WAIT = 300.0
"""Seconds that it has to wait."""

_HEADERS = {
    "content-security-policy": "default-src 'none'; img-src 'self' blob:; style-src 'self';"
    " script-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none';"
    " frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "permissions-policy": "geolocation=(), microphone=()",
    "cache-control": "no-store",
}


class TooMuchError(Exception):
    """A body longer or slower than is taken; its text is for the visitor."""


class Gate:
    """ASGI middleware; the application behind it sees known visitors only.

    ``hosts``: what the Host header may say; ``scheme``: of the address, for Origin. The visitor's
    name is put into ``scope["visitor"]``.
    """

    def __init__(
        self,
        app: ASGIApp,
        *,
        token: str,
        memory: Memory,
        hosts: frozenset[str],
        scheme: str,
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        self._app, self._token, self._memory = app, token, memory
        self._hosts, self._scheme, self._now = hosts, scheme, now
        self._wrong: OrderedDict[str, list[float]] = OrderedDict()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answers itself, or lets the request through."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
        elif scope["type"] == "http":
            await self._http(scope, receive, send)

    async def _http(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Speaks what the visitor chose, else what the browser likes best, else what the server
        does.
        """
        headers = Headers(scope=scope)
        language = self._memory.language(_cookie(headers)) or of_browser(
            headers.get("accept-language", "")
        )
        with speaking(words_in(language) if language else spoken()):
            await self._admitted(headers, scope, receive, send)

    async def _admitted(self, headers: Headers, scope: Scope, receive: Receive, send: Send) -> None:
        if headers.get("host", "").lower() not in self._hosts or not self._same_origin(
            scope["method"], headers
        ):
            await _plain(send, 403)
            return
        if scope["path"].startswith("/in/"):
            await self._enter(scope, send)
            return
        visitor = _cookie(headers)
        if not self._memory.knows(visitor):
            await _plain(send, 403)
            return
        scope["visitor"] = visitor
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > LONGEST_BODY:
            await _plain(send, 413, "over 40 MB")
            return
        await self._app(scope, _Measured(receive, self._now), _Answered(send))

    def _same_origin(self, method: str, headers: Headers) -> bool:
        """Whether a request that does something comes from our own page."""
        site = headers.get("sec-fetch-site", "none")
        origin = headers.get("origin")
        if origin is not None:
            ours = {f"{self._scheme}://{host}" for host in self._hosts}
            return origin.lower() in ours
        if method in ("GET", "HEAD"):
            # A link, a scanned code or a typed address may lead here; a page elsewhere may not
            # load our pictures into itself.
            return site in ("none", "same-origin") or headers.get("sec-fetch-mode") == "navigate"
        return site == "same-origin"

    async def _enter(self, scope: Scope, send: Send) -> None:
        """Trades the token for a cookie. The page that says so goes on by itself: a redirect would
        still count as coming from where the link was, and the cookie would not be sent.
        """
        client = (scope.get("client") or ("unknown", 0))[0]
        if self._must_wait(client):
            await _plain(send, 429, "wait five minutes")
            return
        if not hmac.compare_digest(scope["path"][4:].encode(), self._token.encode()):
            self._note(client)
            await _plain(send, 403)
            return
        cookie = f"{COOKIE}={self._memory.visitor()}; HttpOnly; SameSite=Strict; Path=/"
        if self._scheme == "https":
            cookie += "; Secure"
        page = (
            f'<!doctype html><html lang="{spoken().language}"><title>{in_words("page, name")}'
            '</title><meta http-equiv="refresh" content="0; url=/">'
            f'<p><a href="/">{in_words("page, go on")}</a></p></html>'
        )
        await _respond(send, 200, page, "text/html; charset=utf-8", cookie)

    def _must_wait(self, client: str) -> bool:
        since = self._now() - WAIT
        recent = [at for at in self._wrong.get(client, []) if at > since]
        return len(recent) >= GUESSES

    def _note(self, client: str) -> None:
        self._wrong[client] = [*self._wrong.get(client, [])[-GUESSES:], self._now()]
        self._wrong.move_to_end(client)
        while len(self._wrong) > 1000:
            self._wrong.popitem(last=False)


class _Measured:
    """A body read with limits of length and time."""

    def __init__(self, receive: Receive, now: Callable[[], float]) -> None:
        self._receive, self._now = receive, now
        self._length, self._began, self._whole = 0, now(), False

    async def __call__(self) -> Message:
        if self._whole:
            return await self._receive()
        try:
            async with asyncio.timeout(SLOWEST_PIECE):
                message = await self._receive()
        except TimeoutError:
            raise TooMuchError(in_words("came too slowly")) from None
        self._length += len(message.get("body", b""))
        self._whole = not message.get("more_body", False)
        if self._length > LONGEST_BODY:
            raise TooMuchError(in_words("over 40 MB"))
        if self._now() - self._began > SLOWEST_BODY:
            raise TooMuchError(in_words("came too slowly"))
        return message


class _Answered:
    """Sends with the headers that every answer bears."""

    def __init__(self, send: Send) -> None:
        self._send = send

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers[name] = value
        await self._send(message)


def _cookie(headers: Headers) -> str | None:
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return None
    return None if found is None else found.value


async def _plain(send: Send, status: int, code: str = "not for you") -> None:
    await _respond(send, status, in_words(code) + "\n", "text/plain; charset=utf-8", None)


async def _respond(send: Send, status: int, text: str, kind: str, cookie: str | None) -> None:
    body = text.encode()
    headers = [(b"content-type", kind.encode()), (b"content-length", str(len(body)).encode())]
    headers += [(name.encode(), value.encode()) for name, value in _HEADERS.items()]
    if cookie is not None:
        headers.append((b"set-cookie", cookie.encode()))
    if status >= 400:  # else what a stranger goes on to send would be read and thrown away
        headers.append((b"connection", b"close"))
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
