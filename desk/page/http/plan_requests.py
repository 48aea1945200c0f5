"""The outline and the plan of a job, with the cause of each remark."""

import json
from typing import Any

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import Response

from snugline.desk.page.http.exchange import body, dumped, json_answer
from snugline.desk.page.jobs.job_states import Wanted
from snugline.desk.page.jobs.open_job import JobAtWork
from snugline.desk.page.jobs.remark_keys import key_of
from snugline.errors import InputError
from snugline.place import about_from_json


async def outline(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    want = await work_of.refresh()
    answer = await to_thread.run_sync(work_of.outline_answer)
    if answer is None:
        raise LookupError("outline")
    idents = {photo.index: photo.id for photo in want.photos}
    for share in answer["along"]:
        share["photo"] = idents.get(share.pop("index"), "")
    with_keys(answer["notices"], want)
    return json_answer(dumped(answer))


async def plan(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    await work_of.refresh()
    answer = plan_now(work_of)
    if answer is None:
        raise LookupError("plan")
    return json_answer(dumped(answer))


def plan_now(work_of: JobAtWork) -> dict[str, Any] | None:
    want = work_of.want
    # Where none can be planned no old one is shown.
    if work_of.plan_bytes is None or want is None or work_of.barred() is not None:
        return None
    answer: dict[str, Any] = json.loads(work_of.plan_bytes)
    answer["key"] = work_of.plan.key
    answer["stale"] = work_of.plan.key != want.planned
    with_keys(answer["notices"], want)
    return answer


async def try_plan(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    pocket = (await body(request)).get("pocket")
    if not isinstance(pocket, dict):
        raise InputError("there is no pocket", "pocket", "send its table")
    answer = json.loads(await work_of.tried(pocket))
    want = await work_of.refresh()
    with_keys(answer["notices"], want)
    return json_answer(dumped({**answer, "key": None, "stale": False}))


async def clearances(request: Request) -> Response:
    asked = request.query_params
    try:
        number, step = int(asked.get("of", "0")), float(asked.get("step", "0.05"))
    except ValueError as error:
        raise InputError("the step is not a length", "step", "send a number of mm") from error
    if not 0.02 <= step <= 0.2:
        raise InputError(f"a step of {step:g} mm", "step", "send 0.02 to 0.2 mm")
    answer = await request.app.state.desk.job(request).clearances(number, step)
    return json_answer(dumped(answer))


def with_keys(notices: list[dict[str, Any]], want: Wanted) -> None:
    for notice in notices:
        about = about_from_json(notice["about"]) if "about" in notice else None
        notice["key"] = key_of(about, want.record, notice["code"])
