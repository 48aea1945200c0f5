"""The windows that look at a job: each hears what changes, once."""

import asyncio
import json
from collections.abc import AsyncGenerator, Awaitable, Callable
from contextlib import suppress
from typing import Any

from snugline.errors import SnuglineError

_HEARTBEAT = 15.0  # s
_WATCH = 1.0  # s between looks at a file that an editor may have changed
_UNREAD = 200  # events that a window may lag behind


class Windows:
    """Server-sent events to every window that listens."""

    def __init__(self) -> None:
        self.listeners: set[asyncio.Queue[bytes]] = set()
        self._told: dict[str, bytes] = {}

    def send(self, event: str, subject: str, data: dict[str, Any]) -> None:
        """Send it to every window, unless it was the last message on this subject."""
        line = f"event: {event}\ndata: {json.dumps(data, allow_nan=False)}\n\n".encode()
        if self._told.get(subject) == line:
            return
        self._told[subject] = line
        for queue in list(self.listeners):
            try:
                queue.put_nowait(line)
            except asyncio.QueueFull:
                # That window is asleep: it will come back and request everything again.
                self.listeners.discard(queue)

    async def stream(
        self, hello: dict[str, Any], look: Callable[[], Awaitable[Any]]
    ) -> AsyncGenerator[bytes]:
        """One window's events; in between `look` sees whether an editor changed the job."""
        queue: asyncio.Queue[bytes] = asyncio.Queue(_UNREAD)
        self.listeners.add(queue)
        try:
            yield f"retry: 2000\nevent: hello\ndata: {json.dumps(hello)}\n\n".encode()
            quiet = 0.0
            while queue in self.listeners or not queue.empty():
                try:
                    yield await asyncio.wait_for(queue.get(), _WATCH)
                    quiet = 0.0
                except TimeoutError:
                    quiet += _WATCH
                    if quiet >= _HEARTBEAT:
                        quiet = 0.0
                        yield b": still here\n\n"
                    with suppress(SnuglineError):
                        await look()
        finally:
            self.listeners.discard(queue)
