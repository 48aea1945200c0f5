"""What a hostile or broken client sends to a running server: refused with a clear word."""

import json
import resource
import socket
import time

import httpx
import pytest

from snugline.desk.page.jobs import limits

pytestmark = pytest.mark.whole


def said(serving, request, wait=20.0):
    """The status and body that raw bytes are answered with."""
    with socket.create_connection(("127.0.0.1", serving.port), wait) as one:
        one.sendall(request)
        return answered(one)


def answered(one):
    data = b""
    while b"\r\n\r\n" not in data:
        piece = one.recv(65536)
        if not piece:
            break
        data += piece
    head, _, body = data.partition(b"\r\n\r\n")
    lines = head.lower().split(b"\r\n")
    length = next((int(v[15:]) for v in lines if v.startswith(b"content-length:")), 0)
    while len(body) < length:
        body += one.recv(65536)
    return int(head.split(b" ")[1]), body


def head(serving, line, **headers):
    given = {"Host": f"127.0.0.1:{serving.port}", "Origin": serving.url} | headers
    text = "".join(f"{name.replace('_', '-')}: {value}\r\n" for name, value in given.items())
    return f"{line} HTTP/1.1\r\n{text}\r\n".encode()


def told(body):
    error = json.loads(body)["error"]
    assert error["what"]
    assert error["mend"]
    return error["what"]


@pytest.fixture(scope="module")
def job(serving):
    return serving.new_job("hostile")


@pytest.mark.parametrize(
    "path",
    [
        "/static/../../pyproject.toml",
        "/static/%2e%2e/%2e%2e/app.py",
        "/static/..%2f..%2fapp.py",
        "/static//etc/passwd",
        "/static/%00",
        "/api/jobs/..",
        "/api/jobs/%2e%2e%2f%2e%2e%2fetc",
        "/api/jobs/.snugline",
        "/api/jobs/hostile/files/..%2fjob.toml",
        "/api/jobs/hostile/files/job.toml",
        "/api/jobs/hostile/files/%2e%2e%2f%2e%2e%2f%2e%2e%2fetc%2fpasswd",
        "/api/jobs/hostile/photos/..%2f..%2fx/picture",
        "/api/frames/..%2f..%2fetc%2fpasswd.pdf",
        "/api/frames/border-a4%00.pdf",
        "/enter/..%2f..",
    ],
)
def test_no_path_leads_out_of_what_is_served(serving, job, path):
    status, body = said(serving, head(serving, f"GET {path}", Connection="close"))
    assert status in (400, 401, 404)
    assert b"root:" not in body
    assert b"[part]" not in body
    assert b"import" not in body


def test_a_name_in_the_address_is_no_name_on_the_disk(serving, job):
    names = {"name": "../../../evil.jpg", "shows": "../left end"}
    answer = serving.browser.post(job + "/photos", params=names, content=b"x")
    assert answer.status_code == 422
    answer = serving.browser.post(
        job + "/photos", params={"name": names["name"]}, content=b"<svg/>"
    )
    assert answer.status_code == 415
    assert "photo" in told(answer.content)
    assert not list(serving.folder.parent.rglob("evil*"))


def test_a_wrong_host_is_refused_on_the_wire(serving):
    for host in ("evil.example", f"evil.example:{serving.port}", ""):
        status, body = said(serving, head(serving, "GET /", Host=host))
        assert status == 421
        assert "address" in told(body)
    status, _ = said(serving, b"GET / HTTP/1.1\r\n\r\n")
    assert status in (400, 421)


def test_a_cross_site_post_is_refused_before_its_body_is_read(serving, job):
    request = head(
        serving, f"POST {job}/photos", Origin="http://evil.example", Content_Length=10**9
    )
    status, body = said(serving, request + b"x" * 1000)
    assert status == 403
    assert "another page" in told(body)


def test_two_gigabytes_are_refused_by_their_length_alone(serving, job):
    start = time.monotonic()
    request = head(serving, f"POST {job}/photos", Content_Length=2_000_000_000)
    status, body = said(serving, request + b"x" * 10_000)
    assert status == 413
    assert "80 MB" in told(body)
    assert time.monotonic() - start < 2


def test_two_gigabytes_in_chunks_are_refused_as_soon_as_they_are_too_many(serving, job):
    # Sent until the server has answered, at most 2 GB.
    piece = b"%x\r\n%s\r\n" % (1_000_000, bytes(1_000_000))
    request = head(serving, f"POST {job}/photos", Transfer_Encoding="chunked")
    with socket.create_connection(("127.0.0.1", serving.port), 20) as one:
        one.sendall(request)
        sent = 0
        one.setblocking(False)
        left = memoryview(piece)
        while sent < 2000:
            try:
                if one.recv(1, socket.MSG_PEEK):
                    break
            except BlockingIOError:
                pass
            try:
                left = left[one.send(left) :]
            except BlockingIOError:
                time.sleep(0.001)
            if not left:
                sent, left = sent + 1, memoryview(piece)
        one.settimeout(20)
        status, body = answered(one)
    assert status == 413
    assert "80 MB" in told(body)
    assert sent < 2 * limits.UPLOAD_BYTES / 1e6
    assert not list(serving.folder.glob("hostile/.snugline/incoming/*"))


def test_a_body_of_json_is_limited_and_has_to_be_json(serving, job):
    post = serving.browser.post
    assert post(job + "/changes", content=b"x" * 1_100_000).status_code == 413
    for content in (b"{", b"[1]", b"[" * 100_000, b"\xff\xfe", b'{"changes": 1}'):
        answer = post(job + "/changes", content=content)
        assert answer.status_code == 422
        told(answer.content)


def test_what_is_no_http_is_refused(serving):
    for junk in (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\r\n\r\n", b"GET\r\n\r\n"):
        status, _ = said(serving, junk)
        assert status == 400
    endless = b"GET / HTTP/1.1\r\nX: " + b"a" * 200_000
    status, _ = said(serving, endless)
    assert status in (400, 431)


def test_a_thousand_connections_held_open_do_not_keep_the_page_from_answering(serving):
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(4096, hard), hard))
    held = []
    try:
        for number in range(1000):
            one = socket.create_connection(("127.0.0.1", serving.port), 10)
            if number % 2:
                one.sendall(b"GET / HTTP/1.1\r\nHost: ")  # and never a word more
            held.append(one)
        slowest = 0.0
        for _ in range(5):
            start = time.monotonic()
            assert httpx.get(serving.url + "/api/jobs", timeout=10).status_code == 200
            slowest = max(slowest, time.monotonic() - start)
        assert slowest < 1
        # The oldest lost their place with a clear word.
        held[0].settimeout(10)
        status, body = answered(held[0])
        assert status == 503
        assert "connections" in told(body)
        # The youngest are sent away after a while, too.
        held[-2].settimeout(limits.REQUEST_SECONDS + 5)
        status, body = answered(held[-2])
        assert status == 408
        assert "no request" in told(body)
    finally:
        for one in held:
            one.close()
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))


def test_bodies_that_only_drip_do_not_keep_a_photo_out(serving, job):
    held = []
    try:
        for _ in range(limits.UPLOADS + 6):
            one = socket.create_connection(("127.0.0.1", serving.port), 10)
            one.sendall(head(serving, f"POST {job}/photos", Content_Length=50_000) + b"x")
            held.append(one)
        time.sleep(limits.SLOW_SECONDS + 0.5)
        start = time.monotonic()
        answer = serving.browser.post(job + "/photos", content=b"no photo, but whole")
        assert answer.status_code == 415
        assert time.monotonic() - start < limits.CHUNK_SECONDS / 2
    finally:
        for one in held:
            one.close()


def test_windows_that_listen_are_limited_and_the_rest_still_answers(serving, job):
    held = []
    try:
        for _ in range(limits.STREAMS + 1):
            one = socket.create_connection(("127.0.0.1", serving.port), 10)
            one.sendall(head(serving, f"GET {job}/events"))
            held.append(one)
        status, body = answered(held[-1])
        assert status == 503
        assert "windows" in told(body)
        assert serving.browser.get(job).status_code == 200
    finally:
        for one in held:
            one.close()
    time.sleep(0.5)
    with serving.browser.stream("GET", job + "/events") as stream:
        assert stream.status_code == 200
