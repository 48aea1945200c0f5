"""Jobs on a shelf, and the application asked directly, without sockets or worker processes."""

import asyncio
import io
from contextlib import asynccontextmanager

import httpx
import pytest
from page_server import Serving
from PIL import Image

from snugline.desk.page.http.app import make_app
from snugline.desk.page.http.guard import Sessions

HOST = "127.0.0.1:8437"
LAN_HOST = "192.168.7.2:8437"


@asynccontextmanager
async def _started(app):
    """The lifespan of an ASGI application."""
    steps, told = asyncio.Queue(), asyncio.Queue()
    task = asyncio.create_task(app({"type": "lifespan", "state": {}}, steps.get, told.put))
    await steps.put({"type": "lifespan.startup"})
    assert (await told.get())["type"] == "lifespan.startup.complete"
    yield
    await steps.put({"type": "lifespan.shutdown"})
    assert (await told.get())["type"] == "lifespan.shutdown.complete"
    await task


@pytest.fixture
def two_photos(tmp_path):
    """A whole job whose two photos show nothing."""
    for name, shade in (("left.jpg", 100), ("right.jpg", 150)):
        stream = io.BytesIO()
        Image.new("RGB", (32, 24), (shade, shade, shade)).save(stream, "JPEG")
        (tmp_path / name).write_bytes(stream.getvalue())
    path = tmp_path / "job.toml"
    path.write_text(
        """
[part]
name = "tray"
thickness = "9.5 mm"
[frame]
description = "border-a4"
[[photo]]
file = "left.jpg"
shows = "left end"
[[photo]]
file = "right.jpg"
shows = "right end"
[[reading]]
what = "length"
value = "418 mm"
tool = "tape"
[pocket]
clearance = "0.3 mm"
"""
    )
    return path


@pytest.fixture
def ask(tmp_path):
    """Ask the application once or several times: `ask(("GET", "/api/jobs"), ...)`.

    Each request is (method, path) or (method, path, keywords of httpx). Keywords of `ask`: `host`,
    `client` (the other end's address), `lan`, `origin`.
    """
    sessions = Sessions(tmp_path / "sessions.json")

    def run(*requests, host=HOST, client="127.0.0.1", lan=False, origin="own", cookies=None):
        async def all_of_them():
            app = make_app(
                tmp_path,
                frozenset({HOST, LAN_HOST}),
                sessions if lan else None,
                (f"http://{LAN_HOST}", "http://10.0.0.2:8437"),
                warm=False,
            )
            transport = httpx.ASGITransport(app, client=(client, 40000))
            headers = {"Origin": f"http://{host}" if origin == "own" else origin} if origin else {}
            async with (
                _started(app),
                httpx.AsyncClient(
                    transport=transport,
                    base_url=f"http://{host}",
                    headers=headers,
                    cookies=cookies,
                ) as browser,
            ):
                return [
                    await browser.request(method, path, **(rest[0] if rest else {}))
                    for method, path, *rest in requests
                ]

        answers = asyncio.run(all_of_them())
        return answers[0] if len(answers) == 1 else answers

    run.sessions = sessions
    run.folder = tmp_path
    return run


@pytest.fixture(scope="module")
def serving(tmp_path_factory):
    server = Serving(tmp_path_factory.mktemp("served") / "jobs")
    yield server
    if server.process.poll() is None:
        server.end()
