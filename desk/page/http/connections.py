"""Connections with a limit on their number and on how long they may be idle.

Clients that hold connections open without a request lose them, the oldest first, to new ones: the
page keeps answering.
"""

import asyncio
from typing import Any

from h11 import IDLE
from uvicorn.protocols.http.h11_impl import H11Protocol

from snugline.desk.page.jobs.limits import CONNECTIONS, REQUEST_SECONDS

# h11's own states are not public names of uvicorn's protocol; what is used of them is tested.
_CLOSED = (
    b"HTTP/1.1 %s\r\nContent-Type: application/json\r\nContent-Length: %d\r\n"
    b"Connection: close\r\nRetry-After: 2\r\n\r\n%s"
)
_LATE = b'{"error": {"what": "no request came", "where": "connection", "mend": "open it again"}}'
_FULL = (
    b'{"error": {"what": "too many connections are open", "where": "connection", '
    b'"mend": "close some windows and try again"}}'
)


class LimitedConnection(H11Protocol):
    """uvicorn's HTTP/1.1 connection, closed when no request comes, and when there are too many."""

    _waiting: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
        self._since = self.loop.time()
        self._await_request()
        if len(self.connections) > CONNECTIONS:
            # Where every other one has a request in hand, this is the one that goes.
            idle = [c for c in self.connections if isinstance(c, LimitedConnection) and c.is_idle]
            min(idle, key=lambda c: c._since)._refuse(b"503 Service Unavailable", _FULL)

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        if not self.is_idle:
            self._stop_waiting()

    def on_response_complete(self) -> None:
        super().on_response_complete()
        self._since = self.loop.time()
        if not self.transport.is_closing() and self.is_idle:
            self._await_request()

    def connection_lost(self, exc: Exception | None) -> None:
        self._stop_waiting()
        super().connection_lost(exc)

    @property
    def is_idle(self) -> bool:
        """Whether no whole head of a request is in hand."""
        return self.cycle is None or self.cycle.response_complete

    def _await_request(self) -> None:
        self._stop_waiting()
        self._waiting = self.loop.call_later(
            REQUEST_SECONDS, self._refuse, b"408 Request Timeout", _LATE
        )

    def _stop_waiting(self) -> None:
        if self._waiting is not None:
            self._waiting.cancel()
            self._waiting = None

    def _refuse(self, status: bytes, body: bytes) -> None:
        self._stop_waiting()
        if not self.transport.is_closing():
            if self.conn.our_state is IDLE:
                self.transport.write(_CLOSED % (status, len(body), body))
            self.transport.close()
        # It counts no longer, though the other end may take its time to hang up.
        self.connections.discard(self)
