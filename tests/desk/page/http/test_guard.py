"""Who is let in: host names, origins, and on the LAN a session by a one-time link."""

import time

import pytest

from snugline.desk.page.http.guard import COOKIE, Sessions

LAN = {"host": "192.168.7.2:8437", "client": "192.168.7.30", "lan": True}
PAGE = ("GET", "/api/jobs")


def refused(answer, status):
    assert answer.status_code == status
    assert set(answer.json()["error"]) == {"what", "where", "mend"}
    return True


def test_the_page_is_shown_on_its_own_address(ask):
    answer = ask(PAGE)
    assert answer.status_code == 200
    assert answer.json() == {"jobs": []}


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1", "127.0.0.1:80", "127.0.0.1:8437.evil.example"]
)
def test_any_other_host_name_is_refused(ask, host):
    # A name that its owner lets point at 127.0.0.1 (DNS rebinding) arrives with that name.
    answer = ask(("GET", "/api/jobs", {"headers": {"Host": host}}))
    assert refused(answer, 421)


@pytest.mark.parametrize("origin", ["http://evil.example", "null", None, "https://127.0.0.1:8437"])
def test_a_change_from_another_page_is_refused(ask, origin):
    answer = ask(("POST", "/api/jobs", {"json": {"name": "x"}}), origin=origin)
    assert refused(answer, 403)
    assert list(ask.folder.glob("*/job.toml")) == []


def test_another_page_cannot_read_either(ask):
    assert refused(ask(PAGE, origin="http://evil.example"), 403)
    cross = {"headers": {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors"}}
    assert refused(ask(("GET", "/api/jobs", cross), origin=None), 403)


def test_a_link_from_elsewhere_may_open_the_page(ask):
    opened = {"headers": {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"}}
    assert ask(("GET", "/api/about", opened), origin=None).status_code == 200


@pytest.mark.parametrize("path", ["/", "/api/jobs", "/static/index.html", "/api/about", "/nothing"])
def test_nothing_is_served_on_the_lan_without_a_session(ask, path):
    assert refused(ask(("GET", path), **LAN), 401)
    assert refused(ask(("GET", path), **LAN, cookies={COOKIE: "guessed"}), 401)


def test_who_opens_the_page_without_a_session_reads_what_to_do(ask):
    browser = {"headers": {"Accept": "text/html,application/xhtml+xml"}}
    for path in ("/", "/enter/used-up"):
        answer = ask(("GET", path, browser), **LAN)
        assert answer.status_code == 401
        assert answer.headers["content-type"].startswith("text/html")
        assert "<h1>This" in answer.text
        assert "script" not in answer.text


def test_a_link_lets_one_device_in_once(ask):
    token = ask.sessions.new_link()
    entered, jobs = ask(("GET", f"/enter/{token}"), PAGE, **LAN)
    assert entered.status_code == 303
    assert entered.headers["location"] == "/"
    cookie = entered.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=lax" in cookie
    assert jobs.status_code == 200
    again, still_not = ask(("GET", f"/enter/{token}"), PAGE, **LAN)
    assert refused(again, 401)
    assert refused(still_not, 401)


def test_a_session_outlives_a_restart_and_no_token_is_kept_in_the_clear(ask, tmp_path):
    session = ask.sessions.enter(ask.sessions.new_link())
    kept = Sessions(tmp_path / "sessions.json")
    assert kept.known(session)
    assert not kept.known(session + "x")
    text = (tmp_path / "sessions.json").read_text()
    assert session not in text
    assert (tmp_path / "sessions.json").stat().st_mode & 0o077 == 0


def test_links_and_sessions_end(ask, monkeypatch):
    token = ask.sessions.new_link()
    session = ask.sessions.enter(ask.sessions.new_link())
    clock = "snugline.desk.page.http.guard.time."
    now, steady = time.time(), time.monotonic()
    monkeypatch.setattr(clock + "monotonic", lambda: steady + 11 * 60)
    assert ask.sessions.enter(token) is None
    assert ask.sessions.known(session)
    monkeypatch.setattr(clock + "time", lambda: now + 13 * 3600)
    assert not ask.sessions.known(session)


def test_a_clock_set_back_revives_neither_link_nor_session(ask, monkeypatch):
    token = ask.sessions.new_link()
    session = ask.sessions.enter(ask.sessions.new_link())
    clock = "snugline.desk.page.http.guard.time."
    now, steady = time.time(), time.monotonic()
    monkeypatch.setattr(clock + "time", lambda: now - 24 * 3600)
    monkeypatch.setattr(clock + "monotonic", lambda: steady + 11 * 60)
    assert ask.sessions.enter(token) is None
    assert not ask.sessions.known(session)


@pytest.mark.parametrize(
    "others",
    ["a=b; {}", "{}; a=b", 'a="; {}', "a=\xff; {}", "b@d[]=1; ,; {}", COOKIE + "=stale; {}"],
)
def test_cookies_of_others_turn_no_phone_away(ask, others):
    session = ask.sessions.enter(ask.sessions.new_link())
    cookie = others.format(f"{COOKIE}={session}").encode("latin-1")
    headers = {"headers": {"Cookie": cookie}}
    assert ask(("GET", "/api/jobs", headers), **LAN).status_code == 200
    foreign = {"headers": {"Cookie": cookie.replace(session.encode(), b"guessed")}}
    assert refused(ask(("GET", "/api/jobs", foreign), **LAN), 401)


def test_a_phone_lets_no_further_device_in(ask):
    session = ask.sessions.enter(ask.sessions.new_link())
    assert refused(ask(("POST", "/api/link"), cookies={COOKIE: session}, **LAN), 403)


def test_the_serving_computer_itself_needs_no_link(ask):
    assert ask(PAGE, lan=True).status_code == 200


def test_a_new_link_is_given_to_who_is_in(ask):
    link = ask(("POST", "/api/link"), lan=True).json()
    assert link["url"].startswith("http://192.168.7.2:8437/enter/")
    assert link["qr"].startswith("<svg")
    assert refused(ask(("POST", "/api/link"), **LAN), 401)
    assert refused(ask(("POST", "/api/link")), 409)


def test_every_answer_forbids_what_the_page_does_not_need(ask):
    for answer in ask(PAGE, ("GET", "/nothing"), ("GET", "/")):
        policy = answer.headers["content-security-policy"]
        assert "default-src 'self'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert "access-control-allow-origin" not in answer.headers
