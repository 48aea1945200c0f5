"""The page's addresses. What they take and give is written down in `docs/page-api.md`."""

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path
from typing import Any

from anyio import to_thread
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import (
    FileResponse,
    JSONResponse,
    RedirectResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from snugline import __version__
from snugline.desk.options import result_folder
from snugline.desk.page import limits, photos, work
from snugline.desk.page.answers import worst
from snugline.desk.page.at_work import JobAtWork, Processes, media_type
from snugline.desk.page.causes import key_of_notice, key_of_where
from snugline.desk.page.guard import (
    COOKIE,
    ENTER,
    SHOWN_POLICY,
    Guard,
    Sessions,
    is_here,
    refusal,
    turned_away,
)
from snugline.desk.page.jobfile import Changed, change_file, changes_from
from snugline.desk.page.pool import Pool
from snugline.desk.page.shelf import Shelf
from snugline.desk.page.states import PhotoWish, Wanted, photo_id
from snugline.desk.page.store import error_record, file_hash
from snugline.errors import FileError, InputError, SnuglineError
from snugline.lengths import format_length, parse_length

STATIC = Path(__file__).parent / "static"
_OPEN_JOBS = 30
_WIDTHS = {"480": 480, "1600": 1600, "full": None}


@dataclass
class Desk:
    """Everything that the addresses share.

    Parameters
    ----------
    shelf : the served folder.
    sessions, link : with `--lan`: who is let in, and the start of the link.
    """

    shelf: Shelf
    processes: Processes
    sessions: Sessions | None = None
    link: str = ""
    open: dict[str, JobAtWork] = field(default_factory=dict)
    uploads: int = 0
    streams: int = 0

    def job(self, request: Request) -> JobAtWork:
        """The open job that an address names.

        Raises
        ------
        LookupError : there is none.
        """
        path = self.shelf.find(request.path_params["job"])
        ident = path.parent.name
        if ident not in self.open:
            self._put_away()
            self.open[ident] = JobAtWork(path, self.processes)
        return self.open[ident]

    def _put_away(self) -> None:
        idle = sorted((job.used, ident) for ident, job in self.open.items() if job.idle)
        for _, ident in idle[: max(0, len(self.open) - _OPEN_JOBS)]:
            del self.open[ident]


def make_app(
    folder: Path,
    hosts: frozenset[str],
    sessions: Sessions | None = None,
    link: str = "",
    heavy: int = 2,
    light: int = 2,
    warm: bool = True,
) -> Guard:
    """The whole application.

    Parameters
    ----------
    folder : of the jobs.
    hosts : values of the Host header under which the server is meant.
    sessions, link : with `--lan`.
    heavy, light : processes that trace and write files, and that fit, plan and draw.
    warm : start them at once, not at the first work.
    """

    @asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        processes = Processes(Pool(heavy, nice=5), Pool(light))
        starting = asyncio.create_task(_start(processes)) if warm else None
        app.state.desk = Desk(Shelf(folder), processes, sessions, link)
        try:
            yield
        finally:
            if starting is not None:
                await starting
            for job in app.state.desk.open.values():
                await job.close()
            await to_thread.run_sync(processes.heavy.stop)
            await to_thread.run_sync(processes.light.stop)

    app = Starlette(
        routes=_routes(),
        lifespan=lifespan,
        exception_handlers={
            LookupError: _not_found,
            SnuglineError: _user_error,
            HTTPException: _http_error,
            Exception: _fault,
        },
    )
    return Guard(app, hosts, sessions)


async def _start(processes: Processes) -> None:
    """Start the worker processes while the page is served already."""
    await to_thread.run_sync(processes.light.start)
    await to_thread.run_sync(processes.heavy.start)


def _routes() -> list[Route | Mount]:
    job = "/api/jobs/{job}"
    photo = job + "/photos/{photo}"
    return [
        Route("/", _index),
        Route(ENTER + "{token}", _enter),
        Mount("/static", StaticFiles(directory=STATIC)),
        Route("/api/about", _about),
        Route("/api/link", _link, methods=["POST"]),
        Route("/api/lengths", _lengths, methods=["POST"]),
        Route("/api/frames", _papers),
        Route("/api/frames/{name}", _frame),
        Route("/api/jobs", _jobs),
        Route("/api/jobs", _new_job, methods=["POST"]),
        Route(job, _job),
        Route(job + "/changes", _changes, methods=["POST"]),
        Route(job + "/again", _again, methods=["POST"]),
        Route(job + "/photos", _add_photo, methods=["POST"]),
        Route(photo, _replace_photo, methods=["PUT"]),
        Route(photo, _delete_photo, methods=["DELETE"]),
        Route(photo + "/turn", _turn_photo, methods=["POST"]),
        Route(photo + "/picture", _picture),
        Route(photo + "/contour", _contour),
        Route(job + "/removed/{removed}/restore", _restore_photo, methods=["POST"]),
        Route(job + "/events", _events),
        Route(job + "/outline", _outline),
        Route(job + "/plan", _plan),
        Route(job + "/plan", _try_plan, methods=["POST"]),
        Route(job + "/finish", _finish, methods=["POST"]),
        Route(job + "/files.zip", _archive),
        Route(job + "/files/{name}", _file),
        Route(job + "/fitted", _fits),
        Route(job + "/fitted", _fitted, methods=["POST"]),
    ]


# Errors


async def _not_found(request: Request, error: Exception) -> Response:
    return refusal(404, "there is no such thing", request.url.path, "go back and open it anew")


async def _user_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, SnuglineError)
    status = 422
    if isinstance(error, photos.TooLargeError):
        status = 413
    elif isinstance(error, photos.NoPhotoError):
        status = 415
    elif isinstance(error, photos.SamePhotoError):
        status = 409
    return JSONResponse({"error": error_record(error)}, status)


async def _http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return refusal(error.status_code, error.detail, request.url.path, "go back and try again")


async def _fault(request: Request, error: Exception) -> Response:
    return refusal(
        500,
        f"a fault in Snugline itself ({type(error).__name__})",
        request.url.path,
        "please report it with the job and the photos",
    )


# Bodies


async def _pieces(request: Request, most: int) -> AsyncIterator[bytes]:
    """The body piece by piece, given up when none comes for long."""
    declared = request.headers.get("content-length", "0")
    if not declared.isdigit() or int(declared) > most:
        raise photos.too_large("the request")
    stream = request.stream().__aiter__()
    while True:
        try:
            async with asyncio.timeout(limits.CHUNK_SECONDS):
                piece = await anext(stream)
        except StopAsyncIteration:
            return
        except TimeoutError as error:
            raise HTTPException(408, "nothing more came for a long time") from error
        except ClientDisconnect as error:
            raise HTTPException(400, "the connection was lost") from error
        if piece:
            yield piece


async def _body(request: Request) -> dict[str, Any]:
    """A JSON object."""
    content = bytearray()
    async for piece in _pieces(request, limits.BODY_BYTES):
        content += piece
        if len(content) > limits.BODY_BYTES:
            raise photos.too_large("the request")
    try:
        record = json.loads(content or b"{}")
    except (ValueError, RecursionError) as error:
        raise InputError("it is no JSON", request.url.path, "send an object") from error
    if not isinstance(record, dict):
        raise InputError("it is no JSON object", request.url.path, "send an object")
    return record


def _json(content: bytes) -> Response:
    return Response(content, media_type="application/json")


# The page and the way in


async def _index(request: Request) -> Response:
    return FileResponse(STATIC / "index.html")


async def _enter(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    sessions = desk.sessions
    session = sessions.enter(request.path_params["token"]) if sessions is not None else None
    if session is None:
        return turned_away(
            request.headers,
            "this link was used already, or is too old",
            "link",
            "ask the computer for a new one: each link lets one device in",
        )
    response = RedirectResponse("/", 303)
    response.set_cookie(
        COOKIE, session, max_age=3600 * limits.SESSION_HOURS, httponly=True, samesite="lax"
    )
    return response


async def _about(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    return JSONResponse(
        {
            "version": __version__,
            "lan": desk.sessions is not None,
            "here": is_here(request.scope),
            "folder": desk.shelf.folder.name,
            "limits": {
                "upload_bytes": limits.UPLOAD_BYTES,
                "upload_pixels": limits.UPLOAD_PIXELS,
                "photos": limits.PHOTOS,
            },
        }
    )


async def _link(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    if desk.sessions is None:
        return refusal(
            409,
            "this page is shown on this computer only",
            "link",
            "start it with `snugline serve --lan`",
        )
    url = desk.link + ENTER + desk.sessions.new_link()
    return JSONResponse({"url": url, "qr": code_svg(url), "minutes": limits.LINK_MINUTES})


def code_svg(url: str) -> str:
    """A link as a QR code."""
    import segno

    stream = BytesIO()
    segno.make(url, error="m").save(
        stream, kind="svg", xmldecl=False, svgns=True, omitsize=True, border=4, light="#fff"
    )
    return stream.getvalue().decode()


async def _lengths(request: Request) -> Response:
    texts = (await _body(request)).get("texts")
    if not isinstance(texts, list) or len(texts) > 200:
        raise InputError("there are no texts", "texts", "send a list of them")
    answers: list[dict[str, Any]] = []
    for text in texts:
        try:
            mm = parse_length(text)
        except InputError as error:
            answers.append({"error": error_record(error)})
        else:
            answers.append(
                {
                    "mm": mm,
                    "text_mm": format_length(mm, "mm"),
                    "text_in": format_length(mm, "in", 4),
                }
            )
    return JSONResponse({"lengths": answers})


# Frames


async def _papers(request: Request) -> Response:
    from snugline.trace.sheet import PAPERS, SHEETS

    return JSONResponse({"papers": list(PAPERS), "sheets": SHEETS})


async def _frame(request: Request) -> Response:
    from snugline.trace.sheet import builtin_description
    from snugline.trace.sheet_print import sheet_pdf

    name = request.path_params["name"]
    stem = name.removesuffix(".pdf")
    try:
        description = builtin_description(stem)
    except InputError as error:
        raise LookupError(name) from error
    if stem == name:
        bars = {axis: bar["nominal"] for axis, bar in description["scale_bars"].items()}
        answer = {key: description[key] for key in ("name", "sheet", "window")}
        return JSONResponse({**answer, "bars": bars})
    content = await to_thread.run_sync(sheet_pdf, description)
    return _given(content, name, request)


def _given(content: bytes, name: str, request: Request) -> Response:
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


# Jobs


async def _jobs(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    listed = await to_thread.run_sync(lambda: [_listed(job) for job in desk.shelf.jobs()])
    return JSONResponse({"jobs": listed})


def _listed(job: Path) -> dict[str, Any]:
    import tomllib

    name, count = job.parent.name, 0
    try:
        record = tomllib.loads(job.read_text(encoding="utf-8-sig"))
        name = str(record["part"]["name"])
        count = len(record.get("photo", []))
    except (OSError, ValueError, KeyError, TypeError):
        pass
    return {
        "id": job.parent.name,
        "name": name,
        "changed": job.stat().st_mtime,
        "photos": count,
        "finished": (result_folder(job) / "result.json").is_file(),
    }


async def _new_job(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    name = (await _body(request)).get("name")
    if not isinstance(name, str):
        raise InputError("the job has no name", "name", "write what the part is called")
    ident = await to_thread.run_sync(desk.shelf.make, name)
    return JSONResponse({"id": ident}, 201)


async def _job(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    want = await work_of.refresh()
    shown = [work_of.photo(photo) for photo in want.photos]
    removed = await to_thread.run_sync(photos.removed_files, work_of.path.parent)
    return _json(
        _dumped(
            {
                "id": work_of.path.parent.name,
                "revision": want.revision,
                "job": want.record,
                "faults": [
                    {**error_record(f, work_of.path.parent), "key": _key(f.where, want.record)}
                    for f in want.faults
                ],
                "advice": [
                    {**r.as_json(), "key": key_of_notice(r.code, r.place, want.record)}
                    for r in want.remarks
                ],
                "steps": _steps(work_of, want, shown),
                "photos": shown,
                "removed": [{"id": photo_id(f), "file": f} for f in removed],
                "outline": work_of.outline.as_json(),
                "plan": work_of.plan.as_json(),
                "files": work_of.files,
            }
        )
    )


def _dumped(answer: dict[str, Any]) -> bytes:
    # Dates and times are TOML, but nothing that a job holds.
    return json.dumps(answer, default=str, separators=(",", ":")).encode()


def _key(where: str, record: dict[str, Any]) -> list[str | int]:
    """A fault's key; a table that stands alone has no number."""
    key = key_of_where(where)
    if len(key) > 1 and isinstance(key[1], int) and isinstance(record.get(str(key[0])), dict):
        return [key[0], *key[2:]]
    return key


def _steps(work_of: JobAtWork, want: Wanted, shown: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The strip: what is done, and in words what is missing."""
    faults: dict[str, list[str]] = {}
    for fault in want.faults:
        table = str(([*key_of_where(fault.where), ""])[0])
        faults.setdefault(table, []).append(f"{fault.what}; {fault.mend}")
    remarks = {remark.code: remark.text for remark in want.remarks}
    frames = want.record.get("frame", [])
    frames = [frames] if isinstance(frames, dict) else frames
    bars = [f for f in frames if isinstance(f, dict) and not {"bar_x", "bar_y"} <= set(f)]

    frame_missing = faults.get("frame", []) or ([] if frames else ["no frame is chosen"])
    steps = [_step("frame", frame_missing, ["the printed bars are not measured"] if bars else [])]

    states = {photo["state"] for photo in shown}
    missing = faults.get("photo", []) if shown else ["no photo yet"]
    verdict = worst(photo["verdict"] or "fine" for photo in shown)
    look = [f"a photo is {verdict} only"] if verdict == "usable" else []
    look = ["a photo has to be taken again"] if verdict == "retake" else look
    steps.append(_step("photos", missing, look, bool(states & {"waiting", "tracing"})))

    read = faults.get("reading", []) + faults.get("part", [])
    wants = [remarks[code] for code in ("no-length", "no-width") if code in remarks]
    no_part = any("thickness" in text for text in read) or _no_thickness(want.record)
    steps.append(_step("readings", read or (["no thickness"] if no_part else []), wants))

    for name, stage in (("outline", work_of.outline), ("pocket", work_of.plan)):
        working = stage.state in ("waiting", "tracing", "fitting", "planning")
        if name == "pocket" and stage.state == "waiting" and work_of.outline.state == "missing":
            working = False
        error = stage.error["what"] if stage.error else "not there yet"
        missing = [error] if stage.state == "missing" else []
        look = [error] if stage.state == "refused" else []
        steps.append(_step(name, missing, look, working))
    files = work_of.files
    state = files.get("state")
    steps.append(
        _step(
            "files",
            ["not made yet"] if state in ("missing", None) else [],
            ["made before the last change"] if files.get("stale") else [],
            state == "writing",
        )
    )
    steps.append(_step("fit", [] if _recorded(want) else ["no fit on record"], []))
    return steps


def _step(name: str, missing: list[str], look: list[str], working: bool = False) -> dict[str, Any]:
    if missing:
        return {"step": name, "state": "missing", "missing": missing}
    if working:
        return {"step": name, "state": "working", "missing": []}
    return {"step": name, "state": "look" if look else "done", "missing": look}


def _no_thickness(record: dict[str, Any]) -> bool:
    part, readings = record.get("part", {}), record.get("reading", [])
    stated = isinstance(part, dict) and "thickness" in part
    read = isinstance(readings, list) and any(
        isinstance(r, dict) and r.get("what") == "thickness" for r in readings
    )
    return not stated and not read


def _recorded(want: Wanted) -> bool:
    from snugline.pocket.records import Records

    part = want.record.get("part", {})
    name = part.get("name") if isinstance(part, dict) else None
    return any(cut.part == name for cut in Records().cuts())


async def _changes(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    changes = changes_from((await _body(request)).get("changes"))
    try:
        await work_of.changed(change_file, changes)
    except Changed as error:
        want = await work_of.refresh()
        answer = {
            "error": {
                "what": "it was changed meanwhile, in another window or by hand",
                "where": "job.toml",
                "mend": "look at both and choose",
            },
            "conflicts": [conflict.as_json() for conflict in error.conflicts],
            "revision": want.revision,
            "job": want.record,
        }
        return Response(_dumped(answer), 409, media_type="application/json")
    want = await work_of.refresh()
    answer = {"revision": want.revision, "job": want.record}
    if request.query_params.get("plan") == "1":
        await work_of.settled_plan()
        answer["plan"] = {**work_of.plan.as_json(), "plan": _plan_now(work_of)}
    return _json(_dumped(answer))


async def _again(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    await work_of.refresh()
    work_of.again()
    return Response(status_code=204)


# Photos


async def _add_photo(request: Request) -> Response:
    return await _uploaded(request, None)


async def _replace_photo(request: Request) -> Response:
    return await _uploaded(request, request.path_params["photo"])


async def _uploaded(request: Request, instead_of: str | None) -> Response:
    desk: Desk = request.app.state.desk
    work_of = desk.job(request)
    name = " ".join(request.query_params.get("name", "the photo").split())[:100]
    shows = request.query_params.get("shows", "section")
    if desk.uploads >= limits.UPLOADS:
        return refusal(
            503, "many photos are coming in", name, "try again soon", {"Retry-After": "2"}
        )

    async def ending_of(path: Path, name: str) -> str:
        try:
            return await desk.processes.light.run(
                limits.PICTURE_SECONDS, work.photo_ending, path, name
            )
        except FileError as error:
            raise photos.NoPhotoError(error.what, error.where, error.mend) from error

    desk.uploads += 1
    try:
        pieces = _pieces(request, limits.UPLOAD_BYTES)
        file, removed = await photos.take_in(
            work_of.path, pieces, ending_of, name, shows, instead_of, work_of.writing
        )
    finally:
        desk.uploads -= 1
    return await _photo_answer(work_of, photo_id(file), 200 if instead_of else 201, removed=removed)


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


async def _delete_photo(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    removed = await work_of.changed(photos.take_out, request.path_params["photo"])
    want = await work_of.refresh()
    return JSONResponse({"removed": removed, "revision": want.revision})


async def _restore_photo(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    instead_of = (await _body(request)).get("instead_of")
    file = await work_of.changed(photos.put_back, request.path_params["removed"], instead_of)
    return await _photo_answer(work_of, photo_id(file))


async def _turn_photo(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    by = (await _body(request)).get("by")
    ident = request.path_params["photo"]
    await work_of.changed(photos.turn, ident, by)
    return await _photo_answer(work_of, ident)


async def _picture(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    work_of = desk.job(request)
    photo = _photo(await work_of.refresh(), request.path_params["photo"])
    if photo.fault is not None:
        raise photo.fault
    width = request.query_params.get("width", "1600")
    if width not in _WIDTHS:
        raise InputError(f"{width!r} is no width", "width", f"take {', '.join(_WIDTHS)}")
    digest = await to_thread.run_sync(file_hash, photo.path)
    etag = f'"{digest[:16]}-{photo.turn}-{width}"'
    headers = {"ETag": etag, "Cache-Control": "no-cache"}
    if "k" in request.query_params:
        headers["Cache-Control"] = "private, max-age=604800, immutable"
    if request.headers.get("if-none-match") == etag:
        return Response(status_code=304, headers=headers)
    kept = work_of.store.place("pictures", f"{digest[:20]}-{photo.turn}-{width}.jpg")
    if not kept.is_file():
        content = await desk.processes.light.run(
            limits.PICTURE_SECONDS, work.picture, photo.path, photo.turn, _WIDTHS[width]
        )
        await to_thread.run_sync(work_of.store.keep, "pictures", kept.name, content)
        return Response(content, media_type="image/jpeg", headers=headers)
    return FileResponse(kept, media_type="image/jpeg", headers=headers)


async def _contour(request: Request) -> Response:
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
        work.contour,
        work_of.path.parent,
        key,
        want.fitted if together else None,
        photo.path.name,
        photo.turn,
    )
    return _json(content)


# Events, outline, plan


async def _events(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    work_of = desk.job(request)
    if desk.streams >= limits.STREAMS:
        return refusal(
            503, "too many windows are open", "events", "close some", {"Retry-After": "5"}
        )
    desk.streams += 1

    async def stream() -> AsyncIterator[bytes]:
        try:
            async for line in work_of.events():
                yield line
        finally:
            desk.streams -= 1

    return StreamingResponse(stream(), media_type="text/event-stream")


async def _outline(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    want = await work_of.refresh()
    answer = await to_thread.run_sync(work_of.outline_answer)
    if answer is None:
        raise LookupError("outline")
    idents = {photo.index: photo.id for photo in want.photos}
    for share in answer["along"]:
        share["photo"] = idents.get(share.pop("index"), "")
    _with_keys(answer["notices"], want)
    return _json(_dumped(answer))


async def _plan(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    await work_of.refresh()
    answer = _plan_now(work_of)
    if answer is None:
        raise LookupError("plan")
    return _json(_dumped(answer))


def _plan_now(work_of: JobAtWork) -> dict[str, Any] | None:
    want = work_of.want
    if work_of.plan_bytes is None or want is None:
        return None
    answer: dict[str, Any] = json.loads(work_of.plan_bytes)
    answer["key"] = work_of.plan.key
    answer["stale"] = work_of.plan.key != want.planned
    _with_keys(answer["notices"], want)
    return answer


async def _try_plan(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    pocket = (await _body(request)).get("pocket")
    if not isinstance(pocket, dict):
        raise InputError("there is no pocket", "pocket", "send its table")
    answer = json.loads(await work_of.tried(pocket))
    want = await work_of.refresh()
    _with_keys(answer["notices"], want)
    return _json(_dumped({**answer, "key": None, "stale": False}))


def _with_keys(notices: list[dict[str, Any]], want: Wanted) -> None:
    for notice in notices:
        notice["key"] = key_of_notice(notice["code"], notice["place"], want.record)


# Files


async def _finish(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    await work_of.refresh()
    await work_of.finish()
    return JSONResponse(work_of.files, 202)


async def _file(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    await work_of.reread()
    name = request.path_params["name"]
    names = [entry["name"] for entry in work_of.files["list"]]
    if name not in names:
        raise LookupError(name)
    path = result_folder(work_of.path) / names[names.index(name)]
    try:
        content = await to_thread.run_sync(path.read_bytes)
    except OSError as error:
        raise LookupError(name) from error
    return _given(content, path.name, request)


async def _archive(request: Request) -> Response:
    from snugline.pocket.bundle import bundle

    work_of = request.app.state.desk.job(request)
    await work_of.reread()
    folder = result_folder(work_of.path)
    names = [entry["name"] for entry in work_of.files["list"]]
    if not names:
        raise LookupError("files")

    def packed() -> bytes:
        return bundle({name: (folder / name).read_bytes() for name in names})

    try:
        content = await to_thread.run_sync(packed)
    except OSError as error:
        raise LookupError("files") from error
    return _given(content, f"{work_of.path.parent.name}.zip", request)


# After the cut


async def _fits(request: Request) -> Response:
    from snugline.desk.page.fits import told

    work_of = request.app.state.desk.job(request)
    want = await work_of.refresh()
    return JSONResponse(await to_thread.run_sync(told, want.record))


async def _fitted(request: Request) -> Response:
    from snugline.desk.page.fits import record_fit

    work_of = request.app.state.desk.job(request)
    want = await work_of.refresh()
    answer = await to_thread.run_sync(record_fit, work_of.path, want.record, await _body(request))
    await work_of.reread()
    return JSONResponse(answer)
