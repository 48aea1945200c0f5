"""A server of the page in a process of its own, and a window's stream of its events."""

import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time

import httpx


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


class Window:
    """One window's stream of events, read as they come."""

    def __init__(self, serving, job):
        self.events, self.fresh = [], threading.Condition()
        self.connection = socket.create_connection(("127.0.0.1", serving.port), 30)
        request = f"GET {job}/events HTTP/1.1\r\nHost: 127.0.0.1:{serving.port}\r\n\r\n"
        self.connection.sendall(request.encode())
        threading.Thread(target=self._read, daemon=True).start()
        self.wait("hello")

    def _read(self):
        name = ""
        with self.connection.makefile("r", encoding="utf-8") as lines:
            try:
                for line in lines:
                    key, _, value = line.strip().partition(": ")
                    if key == "event":
                        name = value
                    elif key == "data":
                        with self.fresh:
                            self.events.append((name, json.loads(value)))
                            self.fresh.notify_all()
            except (OSError, ValueError):
                return

    def wait(self, name, holds=lambda data: True, seconds=40):
        """The first event of that name for which something holds."""
        end = time.monotonic() + seconds
        with self.fresh:
            while True:
                found = [data for event, data in self.events if event == name and holds(data)]
                if found:
                    return found[0]
                assert self.fresh.wait(end - time.monotonic()), (name, self.events[-3:])

    def close(self):
        self.connection.shutdown(socket.SHUT_RDWR)
        self.connection.close()
