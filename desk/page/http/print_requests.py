"""The shop's prints: listed, renamed, forgotten. They are kept when a job's bars are typed."""

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from snugline.desk.page.http.exchange import body
from snugline.desk.page.jobs.prints import Prints


async def listed(request: Request) -> Response:
    return await _answer()


async def rename(request: Request) -> Response:
    name = str((await body(request)).get("name") or "")
    await to_thread.run_sync(Prints().rename, request.path_params["key"], name)
    return await _answer()


async def keep(request: Request) -> Response:
    """A print by its bars, as one that was forgotten by mistake."""
    asked = await body(request)
    table = {"description": asked.get("sheet"), "bar_x": asked.get("bar_x"),
             "bar_y": asked.get("bar_y")}  # fmt: skip
    await to_thread.run_sync(Prints().restore, table, str(asked.get("name") or ""))
    return await _answer()


async def remove(request: Request) -> Response:
    await to_thread.run_sync(Prints().remove, request.path_params["key"])
    return await _answer()


async def _answer() -> Response:
    prints = await to_thread.run_sync(Prints().all)
    return JSONResponse({"prints": [one.as_json() for one in prints]})
