"""Access: the right host name, the page's own origin, and on the LAN a session by link.

Refusals are answered before a body is read.
"""

import hashlib
import hmac
import ipaddress
import json
import math
import secrets
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from html import escape
from pathlib import Path

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from snugline.desk.page.jobs.limits import LINK_MINUTES, SESSION_HOURS
from snugline.desk.wording import sentence
from snugline.files import write_whole

COOKIE = "snugline-session"
ENTER = "/enter/"
_SESSION_SECONDS = 3600 * SESSION_HOURS
_SAFE = ("GET", "HEAD")
POLICY = (
    "default-src 'self'; img-src 'self' blob: data:; object-src 'none'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'"
)
# What a result file may do when it is shown: nothing but be displayed.
SHOWN_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox; frame-ancestors 'self'"
)


def refusal(
    status: int, what: str, where: str, mend: str, headers: Mapping[str, str] | None = None
) -> JSONResponse:
    """An error in its three parts."""
    error = {"error": {"what": what, "where": where, "mend": mend}}
    return JSONResponse(error, status, dict(headers or {}))


def turned_away(headers: Headers, what: str, where: str, mend: str) -> Response:
    """A device without a session: a page to read where a browser opens one, else an error."""
    if "text/html" not in headers.get("accept", ""):
        return refusal(401, what, where, mend)
    page = (
        '<!doctype html><html lang="en"><meta charset="utf-8"><title>Snugline</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<link rel="icon" href="data:,">'
        f"<main><h1>{escape(sentence(what))}</h1><p>{escape(sentence(mend))}</p></main></html>"
    )
    return HTMLResponse(page, 401)


@dataclass
class Sessions:
    """One-time links and the sessions that came of them; only hashes are kept.

    Parameters
    ----------
    file : where sessions outlive a restart.
    """

    file: Path
    links: dict[str, float] = field(default_factory=dict)

    def new_link(self) -> str:
        """A token for one use within a few minutes, whatever becomes of the clock."""
        now = time.monotonic()
        self.links = {key: end for key, end in self.links.items() if end > now}
        token = secrets.token_urlsafe(24)
        self.links[_hash(token)] = now + 60 * LINK_MINUTES
        return token

    def enter(self, token: str) -> str | None:
        """A session for a link's token, which is then used up; None for any other."""
        end = self.links.pop(_hash(token), -math.inf)
        if end < time.monotonic():
            return None
        session = secrets.token_urlsafe(32)
        sessions = self._read() | {_hash(session): time.time()}
        write_whole(self.file, json.dumps(sessions), mode=0o600)
        return session

    def known(self, session: str) -> bool:
        wanted = _hash(session)
        return any(hmac.compare_digest(wanted, one) for one in self._read())

    def _read(self) -> dict[str, float]:
        """When each session that still holds began; a clock set back before that ends it."""
        try:
            sessions = json.loads(self.file.read_text(encoding="utf-8"))
            now = time.time()
            began = {str(key): float(start) for key, start in sessions.items()}
        except (OSError, ValueError, AttributeError, TypeError):
            return {}
        return {key: start for key, start in began.items() if 0 <= now - start < _SESSION_SECONDS}


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


@dataclass(frozen=True)
class Guard:
    """ASGI middleware that passes on permitted requests.

    Parameters
    ----------
    app : behind it.
    hosts : values of the Host header under which the server is meant.
    sessions : None without `--lan`.
    """

    app: ASGIApp
    hosts: frozenset[str]
    sessions: Sessions | None = None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                _add_headers(MutableHeaders(scope=message))
            await send(message)

        refused = self._refusal(scope)
        await (refused or self.app)(scope, receive, guarded)

    def _refusal(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        hosts = headers.getlist("host")
        if len(hosts) != 1 or hosts[0].lower() not in self.hosts:
            return refusal(
                421,
                "this address is not the page's own",
                "Host",
                f"open {' or '.join(sorted(self.hosts))}",
            )
        own = f"{scope['scheme']}://{hosts[0].lower()}"
        origin, site = headers.get("origin"), headers.get("sec-fetch-site")
        foreign = origin is not None and origin.lower() != own
        foreign = foreign or (scope["method"] not in _SAFE and origin is None)
        # A link from elsewhere may open the page itself, and nothing else.
        opens = scope["method"] in _SAFE and headers.get("sec-fetch-mode") == "navigate"
        foreign = foreign or (site in ("cross-site", "same-site") and not opens)
        if foreign:
            return refusal(
                403,
                "the request comes from another page",
                "Origin",
                "use the page that this server shows",
            )
        if self.sessions is None or is_here(scope) or scope["path"].startswith(ENTER):
            return None
        if any(self.sessions.known(session) for session in _cookies(headers)):
            return None
        return turned_away(
            headers,
            "this device has no session",
            "session",
            "scan the code that the computer shows: each link lets one device in",
        )


def is_here(scope: Scope) -> bool:
    """Whether both ends of the connection are this computer's loopback."""
    ends = (scope.get("client"), scope.get("server"))
    try:
        return all(end and ipaddress.ip_address(end[0]).is_loopback for end in ends)
    except ValueError:
        return False


def _cookies(headers: Headers) -> list[str]:
    """What stands under our cookie's name; others' cookies, however odd, hide none of it."""
    pairs = [pair.partition("=") for line in headers.getlist("cookie") for pair in line.split(";")]
    return [value.strip() for name, _, value in pairs if name.strip() == COOKIE][:4]


def _add_headers(headers: MutableHeaders) -> None:
    headers.setdefault("Content-Security-Policy", POLICY)
    headers.setdefault("Cache-Control", "no-store")
    headers["X-Content-Type-Options"] = "nosniff"
    headers["Referrer-Policy"] = "no-referrer"
    headers["Cross-Origin-Resource-Policy"] = "same-origin"
    headers["Cross-Origin-Opener-Policy"] = "same-origin"
