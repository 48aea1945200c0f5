"""Photos of a job: in, out, turned, and looked at."""

from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from snugline.desk.page.http.exchange import Upload, body, json_answer, pieces, room_for_one
from snugline.desk.page.http.page_state import Desk
from snugline.desk.page.jobs import job_photos, limits, worker_tasks
from snugline.desk.page.jobs.job_states import PhotoWish, Wanted, photo_id
from snugline.desk.page.jobs.measured_store import file_hash
from snugline.desk.page.jobs.open_job import JobAtWork
from snugline.errors import FileError, InputError

_WIDTHS = {"480": 480, "1600": 1600, "full": None}


async def add(request: Request) -> Response:
    return await _uploaded(request, None)


async def replace(request: Request) -> Response:
    return await _uploaded(request, request.path_params["photo"])


async def _uploaded(request: Request, instead_of: str | None) -> Response:
    desk: Desk = request.app.state.desk
    work_of = desk.job(request)
    shows = request.query_params.get("shows", "section")
    async with arriving(request) as (pieces_of, ending_of, name):
        file, removed = await job_photos.take_in(
            work_of.path,
            pieces_of,
            ending_of,
            name,
            shows,
            instead_of,
            work_of.writing,
            desk.syncing,
        )
    return await _photo_answer(work_of, photo_id(file), 200 if instead_of else 201, removed=removed)


@asynccontextmanager
async def arriving(
    request: Request,
) -> AsyncIterator[tuple[AsyncIterator[bytes], Callable[[Path, str], Awaitable[str]], str]]:
    """A photo on its way: its pieces, what finds its file ending, and its name for messages.

    Raises
    ------
    NoRoomError : many come in at once.
    """
    desk: Desk = request.app.state.desk
    name = " ".join(request.query_params.get("name", "the photo").split())[:100]
    if not room_for_one(desk.uploads, limits.UPLOADS):
        raise job_photos.NoRoomError("many photos are coming in", name, "try again soon")

    async def ending_of(path: Path, name: str) -> str:
        try:
            return await desk.processes.light.run(
                limits.PICTURE_SECONDS, worker_tasks.photo_ending, path, name
            )
        except FileError as error:
            raise job_photos.NoPhotoError(error.what, error.where, error.mend) from error

    upload = Upload()
    desk.uploads.add(upload)
    try:
        yield pieces(request, limits.UPLOAD_BYTES, upload), ending_of, name
    finally:
        desk.uploads.discard(upload)


async def _photo_answer(
    work_of: JobAtWork, ident: str, status: int = 200, **more: Any
) -> JSONResponse:
    want = await work_of.refresh()
    photo = _photo(want, ident)
    return JSONResponse({"photo": work_of.photo(photo), "revision": want.revision, **more}, status)


def _photo(want: Wanted, ident: str) -> PhotoWish:
    for photo in want.photos:
        if photo.id == ident:
            return photo
    raise LookupError(ident)


async def delete(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    removed = await work_of.changed(job_photos.take_out, request.path_params["photo"])
    want = await work_of.refresh()
    return JSONResponse({"removed": removed, "revision": want.revision})


async def restore(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    instead_of = (await body(request)).get("instead_of")
    file = await work_of.changed(job_photos.put_back, request.path_params["removed"], instead_of)
    return await _photo_answer(work_of, photo_id(file))


async def turn(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    by = (await body(request)).get("by")
    ident = request.path_params["photo"]
    await work_of.changed(job_photos.turn, ident, by)
    return await _photo_answer(work_of, ident)


async def picture(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    work_of = desk.job(request)
    photo = _photo(await work_of.refresh(), request.path_params["photo"])
    if photo.fault is not None:
        raise photo.fault
    width = request.query_params.get("width", "1600")
    if width not in _WIDTHS:
        raise InputError(f"{width!r} is not a width", "width", f"use {', '.join(_WIDTHS)}")
    digest = await to_thread.run_sync(file_hash, photo.path)
    etag = f'"{digest[:16]}-{photo.turn}-{width}"'
    headers = {"ETag": etag, "Cache-Control": "no-cache"}
    if "k" in request.query_params:
        headers["Cache-Control"] = "private, max-age=604800, immutable"
    if request.headers.get("if-none-match") == etag:
        return Response(status_code=304, headers=headers)
    name = f"{digest[:20]}-{photo.turn}-{width}.jpg"
    try:
        content = await to_thread.run_sync(work_of.store.read, "pictures", name)
    except FileNotFoundError:
        content = await desk.processes.light.run(
            limits.PICTURE_SECONDS, worker_tasks.picture, photo.path, photo.turn, _WIDTHS[width]
        )
        await to_thread.run_sync(work_of.store.keep, "pictures", name, content)
    return Response(content, media_type="image/jpeg", headers=headers)


async def contour(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    work_of = desk.job(request)
    want = await work_of.refresh()
    photo = _photo(want, request.path_params["photo"])
    together = want.measured if work_of.outline.key == want.fitted else None
    key = together or photo.key
    if key is None or not work_of.store.has("measured", key):
        raise LookupError(photo.id)
    content = await desk.processes.light.run(
        limits.PICTURE_SECONDS,
        worker_tasks.contour,
        work_of.path.parent,
        key,
        want.fitted if together else None,
        photo.index if together else 0,
        photo.turn,
    )
    return json_answer(content)
