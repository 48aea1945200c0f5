"""Jobs: listed, made, read, changed, and listened to."""

from collections.abc import AsyncIterator

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse

from snugline.desk.page.http.exchange import body, dumped, json_answer
from snugline.desk.page.http.guard import refusal
from snugline.desk.page.http.lead_facts import facts_of
from snugline.desk.page.http.page_state import Desk
from snugline.desk.page.http.plan_requests import plan_now
from snugline.desk.page.http.step_strip import steps
from snugline.desk.page.jobs import job_photos, limits
from snugline.desk.page.jobs.job_file_edit import Changed, change_file
from snugline.desk.page.jobs.job_list import job_list
from snugline.desk.page.jobs.job_states import photo_id
from snugline.desk.page.jobs.key_changes import changes_from
from snugline.desk.page.jobs.lead import lead
from snugline.desk.page.jobs.measured_store import error_record
from snugline.desk.page.jobs.prints import remember
from snugline.desk.page.jobs.remark_keys import key_of, key_of_error
from snugline.errors import InputError


async def listed(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    return json_answer(dumped({"jobs": await to_thread.run_sync(job_list, desk.shelf)}))


async def make(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    said = await body(request)
    name = said.get("name")
    if not isinstance(name, str):
        raise InputError("the job has no name", "name", "write what the part is called")
    ident = await to_thread.run_sync(desk.shelf.make, name, said.get("unit") == "in")
    return JSONResponse({"id": ident}, 201)


async def read(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    want = await work_of.refresh()
    shown = [work_of.photo(photo) for photo in want.photos]
    removed = await to_thread.run_sync(job_photos.removed_files, work_of.path.parent)
    facts = await to_thread.run_sync(facts_of, work_of, want, shown)
    return json_answer(
        dumped(
            {
                "id": work_of.path.parent.name,
                "revision": want.revision,
                "job": want.record,
                "faults": [
                    {**error_record(f, work_of.path.parent), "key": key_of_error(f, want.record)}
                    for f in want.faults
                ],
                "advice": [
                    {**r.as_json(), "key": key_of(r.about, want.record, r.code)}
                    for r in want.remarks
                ],
                "lead": lead(facts).as_json(),
                "sheet_offer": facts.offer.as_json() if facts.offer is not None else None,
                "work": work_of.work(),
                "barred": work_of.barred(),
                "steps": steps(work_of, want, shown),
                "photos": shown,
                "removed": [{"id": photo_id(f), "file": f} for f in removed],
                "outline": work_of.outline.as_json(),
                "plan": work_of.plan.as_json(),
                "files": work_of.files,
            }
        )
    )


async def change(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    changes = changes_from((await body(request)).get("changes"))
    before = (await work_of.refresh()).record.get("frame")
    try:
        record = await work_of.changed(change_file, changes)
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
        return Response(dumped(answer), 409, media_type="application/json")
    if any(change.path[0] == "frame" for change in changes):
        await to_thread.run_sync(remember, record.get("frame"), before)
    want = await work_of.refresh()
    answer = {"revision": want.revision, "job": want.record}
    if request.query_params.get("plan") == "1":
        await work_of.settled_plan()
        answer["plan"] = {**work_of.plan.as_json(), "plan": plan_now(work_of)}
    return json_answer(dumped(answer))


async def again(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    await work_of.refresh()
    work_of.again()
    return Response(status_code=204)


async def events(request: Request) -> Response:
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
