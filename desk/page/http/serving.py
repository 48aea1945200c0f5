"""The server itself: its sockets, its lock on the folder, its start and its end."""

import socket
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from filelock import FileLock, Timeout

from snugline.desk.page.http.guard import ENTER, Sessions
from snugline.errors import FileError, InputError

PORT = 8437  # not among the registered ones that are in wide use
_BACKLOG = 256


@dataclass(frozen=True)
class Address:
    """Where the server listens.

    Attributes
    ----------
    sockets : bound and listening.
    hosts : values of the Host header under which it is meant.
    local, lan : the page's addresses on this computer, and on the network if it is served there.
    others : further addresses on the network, for a phone that does not reach the first.
    """

    sockets: tuple[socket.socket, ...]
    hosts: frozenset[str]
    local: str
    lan: str | None
    others: tuple[str, ...] = ()


def bind(port: int | None, lan: str | None, others: Sequence[str] = ()) -> Address:
    """Listen on loopback, and on addresses of the network where they are given.

    Parameters
    ----------
    port : None takes the usual one, or any that is free.
    lan : this computer's address on the network.
    others : further ones; one that cannot be listened on is passed over.

    Raises
    ------
    InputError : the port is taken.
    """
    first = _listening("127.0.0.1", PORT if port is None else port, port is None)
    port = first.getsockname()[1]
    sockets, names = [first], ["127.0.0.1", "localhost"]
    if lan is not None:
        sockets.append(_listening(lan, port, False))
        names.append(lan)
    more = []
    for host in others if lan is not None else ():
        with suppress(InputError):
            sockets.append(_listening(host, port, False))
            more.append(host)
    names += more
    return Address(
        tuple(sockets),
        frozenset(f"{name}:{port}" for name in names),
        f"http://127.0.0.1:{port}",
        f"http://{lan}:{port}" if lan is not None else None,
        tuple(f"http://{host}:{port}" for host in more),
    )


def _listening(host: str, port: int, or_any: bool) -> socket.socket:
    # With the protocol named, asyncio sends small answers at once (no Nagle delay of 40 ms).
    one = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    # On Windows SO_REUSEADDR would let two servers have one port.
    exclusive = getattr(socket, "SO_EXCLUSIVEADDRUSE", None)
    one.setsockopt(socket.SOL_SOCKET, exclusive or socket.SO_REUSEADDR, 1)
    try:
        one.bind((host, port))
    except OSError as error:
        one.close()
        if or_any:
            return _listening(host, 0, False)
        raise InputError(
            f"cannot listen on {host}, port {port} ({error.strerror})",
            "--port",
            "is another server running? give another port",
        ) from error
    one.listen(_BACKLOG)
    return one


def lan_address() -> str:
    """The address of this computer on the network.

    Raises
    ------
    InputError : the computer has no network.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # A documentation address (RFC 5737); connecting a datagram socket sends nothing.
            probe.connect(("192.0.2.1", 9))
            address: str = probe.getsockname()[0]
        except OSError as error:
            raise InputError(
                f"this computer has no network ({error.strerror})",
                "--lan",
                "join the network that the phone is in, or leave --lan out",
            ) from error
    return address


def other_addresses(first: str) -> list[str]:
    """Further addresses of this computer on networks: a second card, a cable beside the radio."""
    try:
        found = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET, socket.SOCK_STREAM)
    except OSError:
        return []
    hosts = dict.fromkeys(str(entry[4][0]) for entry in found)
    return [host for host in hosts if host != first and not host.startswith(("127.", "169.254."))]


def serve(
    folder: Path,
    port: int | None = None,
    lan: str | None = None,
    started: Callable[[Address, str | None], None] = lambda address, link: None,
) -> None:
    """Serve a folder of jobs until a signal ends it.

    Parameters
    ----------
    lan : the network address to listen on besides loopback; further ones are found.
    started : called with the page's address and the first one-time link.

    Raises
    ------
    FileError : the folder cannot be used, or another server has it.
    InputError : the port is taken.
    """
    with _held(folder):
        import uvicorn

        from snugline.desk.page.http.app import make_app
        from snugline.desk.page.http.connections import LimitedConnection
        from snugline.desk.page.jobs.job_folders import Shelf
        from snugline.desk.page.jobs.recovery import recover

        recover(Shelf(folder))
        address = bind(port, lan, other_addresses(lan) if lan is not None else ())
        sessions = Sessions(folder / ".snugline" / "sessions.json") if address.lan else None
        links = (address.lan, *address.others) if address.lan else ()
        app = make_app(folder, address.hosts, sessions, links)
        config = uvicorn.Config(
            app,
            http=LimitedConnection,
            ws="none",
            lifespan="on",
            log_level="warning",
            access_log=False,
            proxy_headers=False,
            server_header=False,
            timeout_graceful_shutdown=2,
        )
        link = None
        if sessions is not None and address.lan:
            link = address.lan + ENTER + sessions.new_link()
        started(address, link)
        uvicorn.Server(config).run(sockets=list(address.sockets))


def _held(folder: Path) -> FileLock:
    """The folder, locked against a second server."""
    if (folder / "job.toml").is_file():
        raise FileError(
            "is one job's own folder", str(folder), "give the folder above it, which holds jobs"
        )
    try:
        (folder / ".snugline").mkdir(parents=True, exist_ok=True)
        lock = FileLock(folder / ".snugline" / "serving", timeout=0)
        lock.acquire()
    except Timeout as error:
        raise FileError(
            "another snugline serves this folder already", str(folder), "use that one, or end it"
        ) from error
    except OSError as error:
        raise FileError(
            f"cannot use the folder ({error.strerror})", str(folder), "give one that may be written"
        ) from error
    lock.release()
    return lock
