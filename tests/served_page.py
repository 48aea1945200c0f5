"""`snugline serve` on a folder of its own, and a browser's window on its page."""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FIREFOX = shutil.which("firefox-esr") or shutil.which("firefox")
COMMAND = [sys.executable, "-m", "snugline.desk.cli"]


@dataclass
class Served:
    """A running server: the folder that it serves, its page, and its process."""

    folder: Path
    address: str
    process: subprocess.Popen[str]
    environment: dict[str, str]


@contextmanager
def served(folder: Path, *options: str) -> Iterator[Served]:
    """The server, until the block is left."""
    own = {"XDG_DATA_HOME": str(folder.parent / "data"), "HOME": str(folder.parent)}
    environment = os.environ | own
    command = [*COMMAND, "serve", str(folder), "--no-open", "--json", *options]
    folder.mkdir(parents=True, exist_ok=True)
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment) as process:
        try:
            address = json.loads(process.stdout.readline())["page"]
            yield Served(folder, address, process, environment)
        finally:
            process.terminate()


@contextmanager
def chromium(playwright):
    """A browser; inside a container there is no room for Chromium's own sandbox."""
    browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
    try:
        yield browser
    finally:
        browser.close()


@contextmanager
def firefox(playwright):
    """The distribution's own Firefox, through WebDriver BiDi."""
    browser = playwright.firefox.launch(executable_path=FIREFOX, channel="moz-firefox")
    try:
        yield browser
    finally:
        browser.close()
