"""The acceptance test on the page: its photos, its result, and the tests that are kept."""

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from snugline.desk.page.http.exchange import body, dumped, json_answer
from snugline.desk.page.http.page_state import Desk
from snugline.desk.page.http.photo_requests import arriving
from snugline.desk.page.jobs import limits, proofs
from snugline.desk.page.jobs.job_photos import received
from snugline.fit.acceptance import DEFAULT_MPE


async def listed(request: Request) -> Response:
    tests = await to_thread.run_sync(proofs.kept_tests)
    answer = {"objects": proofs.objects(), "mpe": DEFAULT_MPE, "tests": tests}
    return JSONResponse(answer)


async def add_photo(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    async with arriving(request) as (pieces, ending_of, name):
        temporary, digest = await received(desk.proofs.folder, pieces, name, desk.syncing)
        try:
            ending = await ending_of(temporary, name)
            ident = await to_thread.run_sync(desk.proofs.take, temporary, digest, ending)
        finally:
            temporary.unlink(missing_ok=True)
    return JSONResponse({"id": ident}, 201)


async def run(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    asked = await body(request)
    photos = desk.proofs.find(asked.get("photos"))
    seconds = limits.TRACE_SECONDS * (1 + len(photos))
    answer = await desk.processes.heavy.run(seconds, proofs.proved, photos, asked)
    return json_answer(dumped(answer))
