"""Jobs on a shelf, and the application asked directly, without sockets or worker processes."""

import asyncio
import json
import os
import signal
import socket
import subprocess
import sys
import time
from contextlib import asynccontextmanager

import httpx
import pytest

from snugline.desk.page.app import make_app
from snugline.desk.page.guard import Sessions

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
                f"http://{LAN_HOST}",
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


class Serving:
    """A server of its own, as a shop would start it; ended at the end of the module's tests."""

    def __init__(self, folder):
        self.folder = folder
        self.environment = os.environ | {"XDG_DATA_HOME": str(folder.parent / "data")}
        self.start()

    def start(self):
        command = [sys.executable, "-m", "snugline.desk.cli", "serve", str(self.folder)]
        self.process = subprocess.Popen(
            [*command, "--no-open", "--json", "--port", str(free_port())],
            env=self.environment,
            stdout=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        self.url = json.loads(self.process.stdout.readline())["page"]
        self.port = int(self.url.rpartition(":")[2])
        self.browser = httpx.Client(base_url=self.url, headers={"Origin": self.url}, timeout=60)

    def kill(self):
        """As a power cut would: the server and its workers at once, in the middle of anything."""
        self.browser.close()
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()
        self.process.stdout.close()

    def end(self):
        self.browser.close()
        self.process.terminate()
        self.process.wait(20)
        self.process.stdout.close()

    def new_job(self, name):
        return "/api/jobs/" + self.browser.post("/api/jobs", json={"name": name}).json()["id"]

    def change(self, job, *changes, **query):
        """Changes as (path, was, now)."""
        listed = [{"path": path, "was": was, "now": now} for path, was, now in changes]
        return self.browser.post(job + "/changes", params=query, json={"changes": listed})

    def wait(self, job, done, seconds=60):
        """The job as soon as `done(job)` holds."""
        end = time.monotonic() + seconds
        while True:
            found = self.browser.get(job).json()
            if done(found):
                return found
            assert time.monotonic() < end, found
            time.sleep(0.05)


def free_port():
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


@pytest.fixture(scope="module")
def serving(tmp_path_factory):
    server = Serving(tmp_path_factory.mktemp("served") / "jobs")
    yield server
    if server.process.poll() is None:
        server.end()
