"""`snugline serve`: where it listens, what it says, and what it refuses."""

import json
import socket

import pytest

from snugline.desk.page.http import serving
from snugline.errors import InputError


@pytest.fixture
def started(monkeypatch):
    """A server that only says where it would be."""
    asked = []

    def serve(folder, port, lan, started):
        asked.append((folder, port, lan))
        address = serving.bind(port, "127.0.0.2" if lan else None)
        started(address, f"{address.lan}/enter/token" if lan else None)
        for one in address.sockets:
            one.close()

    monkeypatch.setattr(serving, "serve", serve)
    monkeypatch.setattr(serving, "lan_address", lambda: "192.168.7.2")
    return asked


def test_it_says_where_the_page_is(snugline, started, tmp_path):
    status, out, _ = snugline("serve", tmp_path / "jobs")
    assert status == 0
    assert out.startswith("http://127.0.0.1:")
    assert str(tmp_path / "jobs") in out
    assert started == [(tmp_path / "jobs", None, None)]


def test_the_default_folder_is_in_the_documents(snugline, started, tmp_path, monkeypatch):
    monkeypatch.setattr("platformdirs.user_documents_path", lambda: tmp_path)
    snugline("serve")
    assert started[0][0] == tmp_path / "snugline-jobs"


def test_with_lan_it_shows_a_link_for_the_phone(snugline, started, tmp_path):
    _, out, _ = snugline("serve", tmp_path, "--lan")
    assert "/enter/token" in out
    assert started[0][2] == "192.168.7.2"
    _, out, _ = snugline("serve", tmp_path, "--lan", "--json")
    record = json.loads(out)
    assert record["link"].endswith("/enter/token")
    assert record["page"].startswith("http://127.0.0.1:")


def test_a_job_s_own_folder_is_refused(snugline, tmp_path):
    (tmp_path / "job.toml").touch()
    status, out, err = snugline("serve", tmp_path)
    assert (status, out) == (2, "")
    assert "the folder above it" in err
    assert err.count("\n") == 1


def test_a_folder_that_cannot_be_made_is_refused(snugline, tmp_path):
    (tmp_path / "file").touch()
    status, _, err = snugline("serve", tmp_path / "file" / "jobs")
    assert status == 2
    assert "cannot use the folder" in err


def test_a_taken_port_is_refused_only_where_it_was_asked_for():
    address = serving.bind(None, None)
    port = int(address.local.rpartition(":")[2])
    try:
        with pytest.raises(InputError, match=f"port {port}"):
            serving.bind(port, None)
        assert address.hosts == {f"127.0.0.1:{port}", f"localhost:{port}"}
        # Without the protocol named, asyncio would leave every small answer to wait for 40 ms.
        assert address.sockets[0].proto == socket.IPPROTO_TCP
    finally:
        address.sockets[0].close()


def test_it_listens_on_loopback_alone_unless_told(started):
    for lan, names in ((None, ["127.0.0.1"]), ("127.0.0.2", ["127.0.0.1", "127.0.0.2"])):
        address = serving.bind(None, lan)
        try:
            assert [one.getsockname()[0] for one in address.sockets] == names
            assert len({one.getsockname()[1] for one in address.sockets}) == 1
        finally:
            for one in address.sockets:
                one.close()
