"""Bodies that come in, and files and records that go out."""

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response

from snugline.desk.page.http.guard import SHOWN_POLICY
from snugline.desk.page.jobs import job_photos, limits
from snugline.desk.page.jobs.files_made import media_type
from snugline.errors import InputError


class Upload:
    """A body on its way, as long as nobody needs its place more."""

    def __init__(self) -> None:
        self.began = asyncio.get_running_loop().time()
        self.size = 0
        self.waiting: asyncio.Timeout | None = None

    @property
    def slow(self) -> bool:
        """Whether it has had its time and brought next to nothing."""
        since = asyncio.get_running_loop().time() - self.began
        late = since > limits.SLOW_SECONDS and self.size < limits.SLOW_BYTES_PER_SECOND * since
        return late and self.waiting is not None

    def give_up(self) -> None:
        if self.waiting is not None:
            self.waiting.reschedule(0.0)


def room_for_one(uploads: set[Upload], most: int) -> bool:
    """Whether one more may come in; the slowest that only holds its place has to go for it."""
    if len(uploads) < most:
        return True
    slowest = min((one for one in uploads if one.slow), key=lambda one: one.size, default=None)
    if slowest is None:
        return False
    slowest.give_up()
    uploads.discard(slowest)
    return True


async def pieces(request: Request, most: int, upload: Upload | None = None) -> AsyncIterator[bytes]:
    """The body piece by piece, given up when none comes for long."""
    declared = request.headers.get("content-length", "0")
    if not declared.isdigit() or int(declared) > most:
        raise job_photos.too_large("the request", most)
    stream = request.stream().__aiter__()
    while True:
        try:
            async with asyncio.timeout(limits.CHUNK_SECONDS) as waiting:
                if upload is not None:
                    upload.waiting = waiting
                piece = await anext(stream)
        except StopAsyncIteration:
            return
        except TimeoutError as error:
            raise HTTPException(408, "nothing more came for a long time") from error
        except ClientDisconnect as error:
            raise HTTPException(400, "the connection was lost") from error
        if upload is not None:
            upload.waiting = None
            upload.size += len(piece)
        if piece:
            yield piece


async def body(request: Request) -> dict[str, Any]:
    """A JSON object."""
    content = bytearray()
    async for piece in pieces(request, limits.BODY_BYTES):
        content += piece
        if len(content) > limits.BODY_BYTES:
            raise job_photos.too_large("the request", limits.BODY_BYTES)
    try:
        record = json.loads(content or b"{}")
    except (ValueError, RecursionError) as error:
        raise InputError("it is not JSON", request.url.path, "send an object") from error
    if not isinstance(record, dict):
        raise InputError("it is not a JSON object", request.url.path, "send an object")
    return record


def dumped(answer: dict[str, Any]) -> bytes:
    # Dates and times are TOML, but nothing that a job holds.
    return json.dumps(answer, default=str, separators=(",", ":")).encode()


def json_answer(content: bytes) -> Response:
    return Response(content, media_type="application/json")


def given(content: bytes, name: str, request: Request) -> Response:
    """A file, to be shown or to be saved."""
    shown = request.query_params.get("show") == "1"
    plain = "".join(c if c.isascii() and (c.isalnum() or c in "._- ") else "_" for c in name)
    headers = {
        "Content-Disposition": f'{"inline" if shown else "attachment"}; filename="{plain}"',
        "Content-Security-Policy": SHOWN_POLICY,
    }
    if name.endswith(".pdf"):
        # A browser's own viewer of PDF does not start in a sandbox.
        headers["Content-Security-Policy"] = "default-src 'none'; frame-ancestors 'self'"
    return Response(content, media_type=media_type(name), headers=headers)
