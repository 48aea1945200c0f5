"""The page's addresses. What they take and give is written down in `docs/page-api.md`."""

import asyncio
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from pathlib import Path

from anyio import to_thread
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from snugline.desk.page.http import (
    entrance,
    file_requests,
    job_requests,
    photo_requests,
    plan_requests,
    print_requests,
    proof_requests,
    shelf_requests,
)
from snugline.desk.page.http.guard import ENTER, Guard, Sessions, refusal
from snugline.desk.page.http.page_state import Desk
from snugline.desk.page.jobs import job_photos
from snugline.desk.page.jobs.job_folders import Shelf
from snugline.desk.page.jobs.measured_store import error_record
from snugline.desk.page.jobs.stage import Processes
from snugline.desk.page.jobs.worker_pool import Pool
from snugline.errors import SnuglineError


def make_app(
    folder: Path,
    hosts: frozenset[str],
    sessions: Sessions | None = None,
    links: Sequence[str] = (),
    heavy: int = 2,
    light: int = 2,
    warm: bool = True,
) -> Guard:
    """The whole application.

    Parameters
    ----------
    folder : of the jobs.
    hosts : values of the Host header under which the server is meant.
    sessions, links : with `--lan`; the page's addresses on the network, the best one first.
    heavy, light : processes that trace and write files, and that fit, plan and draw.
    warm : start them at once, not at the first work.
    """

    @asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        processes = Processes(Pool(heavy, nice=5), Pool(light))
        starting = asyncio.create_task(_start(processes)) if warm else None
        app.state.desk = Desk(Shelf(folder), processes, sessions, tuple(links))
        try:
            yield
        finally:
            if starting is not None:
                await starting
            for job in app.state.desk.open.values():
                await job.close()
            await to_thread.run_sync(processes.heavy.stop)
            await to_thread.run_sync(processes.light.stop)
            app.state.desk.proofs.end()

    app = Starlette(
        routes=_routes(),
        lifespan=lifespan,
        exception_handlers={
            LookupError: _not_found,
            KeyError: _fault,
            IndexError: _fault,
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
        Route("/", entrance.index),
        Route(ENTER + "{token}", entrance.enter),
        Mount("/static", StaticFiles(directory=entrance.STATIC)),
        Route("/api/about", entrance.about),
        Route("/api/link", entrance.link, methods=["POST"]),
        Route("/api/lengths", entrance.lengths, methods=["POST"]),
        Route("/api/frames", entrance.papers),
        Route("/api/frames/{name}", entrance.frame),
        Route("/api/prints", print_requests.listed),
        Route("/api/prints", print_requests.keep, methods=["POST"]),
        Route("/api/prints/{key}", print_requests.rename, methods=["PUT"]),
        Route("/api/prints/{key}", print_requests.remove, methods=["DELETE"]),
        Route("/api/proofs", proof_requests.listed),
        Route("/api/proofs", proof_requests.run, methods=["POST"]),
        Route("/api/proofs/photos", proof_requests.add_photo, methods=["POST"]),
        Route("/api/jobs", job_requests.listed),
        Route("/api/jobs", job_requests.make, methods=["POST"]),
        Route("/api/jobs/sample", shelf_requests.sample, methods=["POST"]),
        Route("/api/jobs/zip", shelf_requests.taken_in, methods=["POST"]),
        Route("/api/bin", shelf_requests.binned),
        Route("/api/bin/{name}/restore", shelf_requests.put_back, methods=["POST"]),
        Route(job, job_requests.read),
        Route(job, shelf_requests.delete, methods=["DELETE"]),
        Route(job + "/name", shelf_requests.rename, methods=["PUT"]),
        Route(job + "/frames", shelf_requests.own_frame, methods=["POST"]),
        Route(job + "/frames/{number:int}", shelf_requests.seen_frame),
        Route(job + "/copy", shelf_requests.copy, methods=["POST"]),
        Route(job + "/job.zip", shelf_requests.handed_out),
        Route(job + "/thumbnail", shelf_requests.thumbnail),
        Route(job + "/changes", job_requests.change, methods=["POST"]),
        Route(job + "/again", job_requests.again, methods=["POST"]),
        Route(job + "/photos", photo_requests.add, methods=["POST"]),
        Route(photo, photo_requests.replace, methods=["PUT"]),
        Route(photo, photo_requests.delete, methods=["DELETE"]),
        Route(photo + "/turn", photo_requests.turn, methods=["POST"]),
        Route(photo + "/picture", photo_requests.picture),
        Route(photo + "/contour", photo_requests.contour),
        Route(job + "/removed/{removed}/restore", photo_requests.restore, methods=["POST"]),
        Route(job + "/events", job_requests.events),
        Route(job + "/outline", plan_requests.outline),
        Route(job + "/plan", plan_requests.plan),
        Route(job + "/plan", plan_requests.try_plan, methods=["POST"]),
        Route(job + "/clearances", plan_requests.clearances),
        Route(job + "/finish", file_requests.finish, methods=["POST"]),
        Route(job + "/files.zip", file_requests.archive),
        Route(job + "/files/{name}", file_requests.file),
        Route(job + "/fitted", file_requests.fits),
        Route(job + "/fitted", file_requests.fitted, methods=["POST"]),
        Route(job + "/fitted/undo", file_requests.undo_fit, methods=["POST"]),
        Route(job + "/fitted/{key}", file_requests.change_fit, methods=["PUT"]),
        Route(job + "/fitted/{key}", file_requests.remove_fit, methods=["DELETE"]),
        Route("/api/fitted.csv", file_requests.fit_table),
    ]


async def _not_found(request: Request, error: Exception) -> Response:
    return refusal(404, "there is no such thing", request.url.path, "go back and open it again")


async def _user_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, SnuglineError)
    status = 422
    if isinstance(error, job_photos.TooLargeError):
        status = 413
    elif isinstance(error, job_photos.NoPhotoError):
        status = 415
    elif isinstance(error, job_photos.SamePhotoError):
        status = 409
    elif isinstance(error, job_photos.NoRoomError):
        status = 503
    record = {"error": error_record(error, request.app.state.desk.shelf.folder)}
    return JSONResponse(record, status, {"Retry-After": "2"} if status == 503 else None)


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
