"""The page, the way in, and what needs no job: lengths and frames."""

from io import BytesIO
from pathlib import Path
from typing import Any

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, RedirectResponse, Response

from snugline import __version__
from snugline.desk.page.http.exchange import body, given
from snugline.desk.page.http.guard import COOKIE, ENTER, is_here, refusal, turned_away
from snugline.desk.page.http.page_state import Desk
from snugline.desk.page.jobs import limits
from snugline.desk.page.jobs.measured_store import error_record
from snugline.errors import InputError
from snugline.lengths import format_length, parse_length

STATIC = Path(__file__).parents[1] / "static"


async def index(request: Request) -> Response:
    return FileResponse(STATIC / "index.html")


async def enter(request: Request) -> Response:
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


async def about(request: Request) -> Response:
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


async def link(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    if desk.sessions is None:
        return refusal(
            409,
            "this page is shown on this computer only",
            "link",
            "start it with `snugline serve --lan`",
        )
    if not is_here(request.scope):
        return refusal(
            403,
            "only the computer that runs Snugline lets further devices in",
            "link",
            "ask for the code there",
        )
    way = ENTER + desk.sessions.new_link()
    ways = [{"url": start + way, "qr": code_svg(start + way)} for start in desk.links]
    return JSONResponse({**ways[0], "minutes": limits.LINK_MINUTES, "others": ways[1:]})


def code_svg(url: str) -> str:
    """A link as a QR code."""
    import segno

    stream = BytesIO()
    segno.make(url, error="m").save(
        stream, kind="svg", xmldecl=False, svgns=True, omitsize=True, border=4, light="#fff"
    )
    return stream.getvalue().decode()


async def lengths(request: Request) -> Response:
    texts = (await body(request)).get("texts")
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


async def papers(request: Request) -> Response:
    from snugline.trace.sheet.builtin_sheets import PAPERS, SHEETS

    return JSONResponse({"papers": list(PAPERS), "sheets": SHEETS})


async def frame(request: Request) -> Response:
    from snugline.trace.sheet.builtin_sheets import builtin_description
    from snugline.trace.sheet.sheet_print import sheet_pdf

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
    return given(content, name, request)
