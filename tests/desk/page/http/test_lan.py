"""`serve --lan` on the wire: who comes over the network's own address is let in by link alone."""

import json
import os
import secrets
import subprocess
import sys
from typing import ClassVar

import httpx
import pytest
from page_server import free_port

from snugline.desk.page.http.serving import lan_address
from snugline.errors import InputError

pytestmark = pytest.mark.whole


def _address():
    try:
        return lan_address()
    except InputError:
        return "127.0.0.1"


needs_network = pytest.mark.skipif(
    _address().startswith("127."), reason="this computer is in no network"
)


class Phone:
    """Requests over the network's address, which is no loopback at either end."""

    made: ClassVar[list] = []

    def __init__(self, page):
        Phone.made.append(self)
        self.browser = httpx.Client(base_url=page, headers={"Origin": page}, timeout=20)

    def status(self, method, path, **more):
        return self.browser.request(method, path, **more).status_code


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    folder = tmp_path_factory.mktemp("lan")
    command = [sys.executable, "-m", "snugline.desk.cli", "serve", str(folder / "jobs")]
    process = subprocess.Popen(
        [*command, "--lan", "--no-open", "--json", "--port", str(free_port())],
        env=os.environ | {"XDG_DATA_HOME": str(folder / "data")},
        stdout=subprocess.PIPE,
        text=True,
    )
    told = json.loads(process.stdout.readline())
    yield told["page"], told["link"]
    for phone in Phone.made:
        phone.browser.close()
    process.terminate()
    process.wait(20)
    process.stdout.close()


@needs_network
def test_a_phone_is_let_in_once_by_the_link_and_lets_nobody_else_in(served):
    local, link = served
    page, token = link.split("/enter/")
    phone, second = Phone(page), Phone(page)
    for path in ("/", "/api/jobs", "/api/about", "/static/main.js", "/api/jobs/x/files.zip"):
        assert phone.status("GET", path) == 401
    assert phone.status("POST", "/api/jobs", json={"name": "tray"}) == 401
    for _ in range(200):
        assert second.status("GET", "/enter/" + secrets.token_urlsafe(24)) == 401
    for near in (token[:-1], token + "A", token.swapcase(), "..%2f", "%00", ""):
        assert second.status("GET", "/enter/" + near) in (307, 401, 404)
    assert phone.status("GET", "/enter/" + token) == 303
    assert phone.status("GET", "/api/jobs") == 200
    assert phone.status("POST", "/api/jobs", json={"name": "tray"}) == 201
    assert second.status("GET", "/enter/" + token) == 401
    assert second.status("GET", "/api/jobs") == 401
    assert phone.status("POST", "/api/link") == 403
    assert Phone(local).status("POST", "/api/link") == 200


@needs_network
def test_no_other_page_and_no_other_name_reaches_it_over_the_network(served):
    local, link = served
    page = link.split("/enter/")[0]
    host = page.removeprefix("http://")
    for name in ("evil.example", host.partition(":")[0], f"evil.example:{host.rpartition(':')[2]}"):
        assert Phone(page).status("GET", "/api/jobs", headers={"Host": name}) == 421
    for origin in ("http://evil.example", "null", local, page + ".evil.example"):
        answer = Phone(page).status("POST", "/api/jobs", headers={"Origin": origin}, json={})
        assert answer == 403
    for path in ("/static/..%2f..%2fapp.py", "/api/jobs/..%2f..%2fetc", "//etc/passwd"):
        assert Phone(page).status("GET", path) == 401


@needs_network
def test_the_way_over_loopback_needs_the_name_of_loopback_or_of_the_network(served):
    local, link = served
    host = link.split("/enter/")[0].removeprefix("http://")
    assert Phone(local).status("GET", "/api/jobs") == 200
    assert Phone(local).status("GET", "/api/jobs", headers={"Host": "127.0.0.2:80"}) == 421
    # A header alone makes nobody local.
    forged = {"X-Forwarded-For": "127.0.0.1", "Forwarded": "for=127.0.0.1"}
    assert Phone("http://" + host).status("GET", "/api/jobs", headers=forged) == 401
