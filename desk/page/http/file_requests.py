"""The job's files, and how the cut fitted."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from snugline.desk.options import result_folder
from snugline.desk.page.http.exchange import body, given
from snugline.desk.page.jobs.files_made import file_content
from snugline.desk.result_folder import INDEX
from snugline.errors import FileError


async def finish(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    await work_of.refresh()
    await work_of.finish()
    return JSONResponse(work_of.files, 202)


async def file(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    await work_of.refresh(again=True)
    name = request.path_params["name"]
    if name not in [entry["name"] for entry in work_of.files["list"]]:
        raise LookupError(name)
    content = await to_thread.run_sync(_contents, work_of.path, [name])
    return given(content[name], name, request)


async def archive(request: Request) -> Response:
    from snugline.pocket.bundle import bundle

    work_of = request.app.state.desk.job(request)
    await work_of.refresh(again=True)
    names = [entry["name"] for entry in work_of.files["list"]]
    if not names:
        raise LookupError("files")
    packed = await to_thread.run_sync(lambda: bundle(_contents(work_of.path, names)))
    return given(packed, f"{work_of.path.parent.name}.zip", request)


def _contents(job: Path, names: list[str]) -> dict[str, bytes]:
    """Files of one run: with another run's in between none is given."""
    folder = result_folder(job)
    try:
        before = file_content(folder, INDEX)
        contents = {name: file_content(folder, name) for name in names}
        if file_content(folder, INDEX) != before:
            raise LookupError("files")
    except OSError as error:
        if isinstance(error, FileError):
            raise
        raise LookupError("files") from error
    return contents


async def fits(request: Request) -> Response:
    from snugline.desk.page.jobs.fit_records import told

    work_of = request.app.state.desk.job(request)
    want = await work_of.refresh()
    return JSONResponse(await to_thread.run_sync(told, want.record))


async def fitted(request: Request) -> Response:
    from snugline.desk.page.jobs.fit_records import record_fit

    work_of = request.app.state.desk.job(request)
    want = await work_of.refresh()
    answer = await to_thread.run_sync(record_fit, work_of.path, want.record, await body(request))
    await work_of.refresh(again=True)
    return JSONResponse(answer)


async def change_fit(request: Request) -> Response:
    from snugline.desk.page.jobs.fit_records import change_fit

    key, said = request.path_params["key"], await body(request)
    return await _recorded_anew(request, lambda record: change_fit(record, key, said))


async def remove_fit(request: Request) -> Response:
    from snugline.desk.page.jobs.fit_records import remove_fit

    key = request.path_params["key"]
    return await _recorded_anew(request, lambda record: remove_fit(record, key))


async def undo_fit(request: Request) -> Response:
    from snugline.desk.page.jobs.fit_records import undo

    return await _recorded_anew(request, undo)


async def _recorded_anew(
    request: Request, change: Callable[[Mapping[str, Any]], dict[str, Any]]
) -> Response:
    """A change of the records; what the plan takes from them is looked at again."""
    work_of = request.app.state.desk.job(request)
    want = await work_of.refresh()
    answer = await to_thread.run_sync(change, want.record)
    await work_of.refresh(again=True)
    return JSONResponse(answer)


async def fit_table(request: Request) -> Response:
    from snugline.desk.page.jobs.fit_records import table

    return given(await to_thread.run_sync(table), "fit-records.csv", request)
