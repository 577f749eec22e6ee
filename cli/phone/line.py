"""The server's side of a connection: whoever connects must soon ask for something."""

from __future__ import annotations

import asyncio

from uvicorn.protocols.http.h11_impl import H11Protocol, RequestResponseCycle

PATIENCE = 20.0
"""Seconds that a connection may last without a whole head of a request."""


class Line(H11Protocol):
    """uvicorn's own, which would wait for a head for ever: some hundred connections that say
    nothing, or a letter now and then, would leave no room for a phone.
    """

    _late: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """The time begins."""
        super().connection_made(transport)
        self._wait()

    def on_response_complete(self) -> None:
        """It begins anew for the next request."""
        super().on_response_complete()
        self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        """Nothing is waited for any more."""
        super().connection_lost(exc)
        if self._late is not None:
            self._late.cancel()

    def _wait(self) -> None:
        if self._late is not None:
            self._late.cancel()
        self._late = self.loop.call_later(PATIENCE, self._overdue)

    def _overdue(self) -> None:
        waiting: RequestResponseCycle | None = self.cycle  # None before the first request
        if (waiting is None or waiting.response_complete) and not self.transport.is_closing():
            self.transport.close()
