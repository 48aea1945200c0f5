"""The job's files, and how the cut fitted."""

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from snugline.desk.options import result_folder
from snugline.desk.page.http.exchange import body, given


async def finish(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    await work_of.refresh()
    await work_of.finish()
    return JSONResponse(work_of.files, 202)


async def file(request: Request) -> Response:
    work_of = request.app.state.desk.job(request)
    await work_of.refresh(anew=True)
    name = request.path_params["name"]
    names = [entry["name"] for entry in work_of.files["list"]]
    if name not in names:
        raise LookupError(name)
    path = result_folder(work_of.path) / names[names.index(name)]
    try:
        content = await to_thread.run_sync(path.read_bytes)
    except OSError as error:
        raise LookupError(name) from error
    return given(content, path.name, request)


async def archive(request: Request) -> Response:
    from snugline.pocket.bundle import bundle

    work_of = request.app.state.desk.job(request)
    await work_of.refresh(anew=True)
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
    return given(content, f"{work_of.path.parent.name}.zip", request)


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
    await work_of.refresh(anew=True)
    return JSONResponse(answer)


async def change_fit(request: Request) -> Response:
    from snugline.desk.page.jobs.fit_records import change_fit

    want = await request.app.state.desk.job(request).refresh()
    key, said = request.path_params["key"], await body(request)
    return JSONResponse(await to_thread.run_sync(change_fit, want.record, key, said))


async def remove_fit(request: Request) -> Response:
    from snugline.desk.page.jobs.fit_records import remove_fit

    want = await request.app.state.desk.job(request).refresh()
    key = request.path_params["key"]
    return JSONResponse(await to_thread.run_sync(remove_fit, want.record, key))


async def undo_fit(request: Request) -> Response:
    from snugline.desk.page.jobs.fit_records import undo

    want = await request.app.state.desk.job(request).refresh()
    return JSONResponse(await to_thread.run_sync(undo, want.record))


async def fit_table(request: Request) -> Response:
    from snugline.desk.page.jobs.fit_records import table

    return given(await to_thread.run_sync(table), "fit-records.csv", request)
