"""Whole jobs: renamed, copied, binned and put back, handed out and taken in; their own frames."""

import tempfile
from collections.abc import AsyncIterator
from pathlib import Path

from anyio import to_thread
from starlette.background import BackgroundTask
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response

from snugline.desk.page.http.exchange import body, pieces
from snugline.desk.page.http.page_state import Desk
from snugline.desk.page.jobs import job_archive, job_moves, limits, own_frames, worker_tasks
from snugline.desk.page.jobs.job_file_edit import job_bytes
from snugline.desk.page.jobs.job_folders import job_id
from snugline.desk.page.jobs.job_photos import too_large
from snugline.desk.page.jobs.measured_store import Store, file_hash
from snugline.errors import InputError
from snugline.files import inside, is_file
from snugline.untrusted import parsed_toml

_THUMBNAIL = 320  # px wide


async def rename(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    await work_of.changed(job_moves.rename, await _name(request))
    want = await work_of.refresh()
    return JSONResponse({"revision": want.revision})


async def copy(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    job = desk.shelf.find(request.path_params["job"])
    ident = await to_thread.run_sync(job_moves.copy, desk.shelf, job, await _name(request))
    return JSONResponse({"id": ident}, 201)


async def sample(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    ident = await to_thread.run_sync(
        job_moves.copy, desk.shelf, job_moves.sample_job(), "basalt plate, sample"
    )
    return JSONResponse({"id": ident}, 201)


async def delete(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    job = desk.shelf.find(request.path_params["job"])
    if (open_job := desk.open.pop(job.parent.name, None)) is not None:
        await open_job.close()
    return JSONResponse({"removed": await to_thread.run_sync(job_moves.put_away, desk.shelf, job)})


async def binned(request: Request) -> Response:
    shelf = request.app.state.desk.shelf
    return JSONResponse({"jobs": await to_thread.run_sync(job_moves.binned, shelf)})


async def put_back(request: Request) -> Response:
    shelf, name = request.app.state.desk.shelf, request.path_params["name"]
    return JSONResponse({"id": await to_thread.run_sync(job_moves.put_back, shelf, name)}, 201)


async def thumbnail(request: Request) -> Response:
    """The job's first photo, small; the job itself is not opened for it."""
    desk: Desk = request.app.state.desk
    job = desk.shelf.find(request.path_params["job"])
    record = await to_thread.run_sync(lambda: parsed_toml(job_bytes(job), str(job)))
    photos = record.get("photo", [])
    first = photos[0] if isinstance(photos, list) and photos else photos
    name = first.get("file") if isinstance(first, dict) else None
    if not isinstance(name, str) or not inside(job.parent, name):
        raise LookupError("thumbnail")
    path, turn = job.parent / name, first.get("turn")
    if not is_file(path):
        raise LookupError("thumbnail")
    turn = turn if turn in (90, 180, 270) else 0
    digest = await to_thread.run_sync(file_hash, path)
    store, kept = Store(job.parent), f"{digest[:20]}-{turn}-{_THUMBNAIL}.jpg"
    headers = {"ETag": f'"{digest[:16]}-{turn}"', "Cache-Control": "no-cache"}
    if request.headers.get("if-none-match") == headers["ETag"]:
        return Response(status_code=304, headers=headers)
    try:
        content = await to_thread.run_sync(store.read, "pictures", kept)
    except FileNotFoundError:
        content = await desk.processes.light.run(
            limits.PICTURE_SECONDS, worker_tasks.picture, path, turn, _THUMBNAIL
        )
        await to_thread.run_sync(store.keep, "pictures", kept, content)
    return Response(content, media_type="image/jpeg", headers=headers)


async def handed_out(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    job = desk.shelf.find(request.path_params["job"])
    place = await to_thread.run_sync(_temporary, desk.shelf.folder)
    try:
        await to_thread.run_sync(job_archive.pack, job, place)
    except BaseException:
        place.unlink(missing_ok=True)
        raise
    plain = "".join(c if c.isascii() and (c.isalnum() or c in "._-") else "_" for c in job_id(job))
    gone = BackgroundTask(place.unlink, missing_ok=True)
    return FileResponse(
        place, media_type="application/zip", filename=f"{plain}-job.zip", background=gone
    )


async def taken_in(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    name = " ".join(request.query_params.get("name", "the zip").split())[:100]
    place = await to_thread.run_sync(_temporary, desk.shelf.folder)
    try:
        await _received(pieces(request, limits.ARCHIVE_BYTES), place, name)
        ident = await to_thread.run_sync(job_archive.unpack, desk.shelf, place, name)
    finally:
        place.unlink(missing_ok=True)
    return JSONResponse({"id": ident}, 201)


async def _received(arriving: AsyncIterator[bytes], place: Path, name: str) -> None:
    size = 0
    with place.open("wb") as stream:
        async for piece in arriving:
            size += len(piece)
            if size > limits.ARCHIVE_BYTES:
                raise too_large(name, limits.ARCHIVE_BYTES)
            await to_thread.run_sync(stream.write, piece)


def _temporary(folder: Path) -> Path:
    """A file next to the jobs, where there is room for photos."""
    with tempfile.NamedTemporaryFile(prefix=".zip-", dir=folder, delete=False) as made:
        return Path(made.name)


async def _name(request: Request) -> str:
    name = (await body(request)).get("name")
    if not isinstance(name, str):
        raise InputError("the job has no name", "name", "write what the part is called")
    return name


async def own_frame(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    said = await body(request)
    number, description = said.get("number", 0), said.get("description")
    if not isinstance(description, dict) or not isinstance(number, int):
        raise InputError("it is not a frame description", "frame", "choose its .json file")
    bars = said.get("bars", {})
    if not isinstance(bars, dict) or not all(isinstance(bar, str) for bar in bars.values()):
        raise InputError("the bars are not lengths", "frame", 'send them as {"x": "200 mm"}')
    name = await work_of.changed(own_frames.lay, number, description, bars)
    want = await work_of.refresh(again=True)
    return JSONResponse({"description": name, "revision": want.revision}, 201)


async def seen_frame(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    number = request.path_params["number"]
    return JSONResponse(await to_thread.run_sync(own_frames.seen, work_of.path, number))
