"""`snugline serve`: the page in the workshop."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from snugline.desk.options import AsJson

if TYPE_CHECKING:
    from snugline.desk.page.http.serving import Address


def serve(
    folder: Annotated[
        Path | None,
        typer.Argument(help="Folder of jobs. [default: snugline-jobs in your documents]"),
    ] = None,
    lan: Annotated[
        bool, typer.Option("--lan", help="Let a phone in the same network join, by a QR code.")
    ] = False,
    port: Annotated[
        int | None,
        typer.Option(min=1, max=65535, help="Port to listen on. [default: 8437, or a free one]"),
    ] = None,
    open_page: Annotated[
        bool, typer.Option("--open/--no-open", help="Open the page in the browser.")
    ] = True,
    as_json: AsJson = False,
) -> None:
    """Show the page that does the whole job in a browser, until Ctrl-C ends it.

    Without --lan only this computer can reach it. With --lan a phone joins by a code that lets one
    device in, once; what is sent then crosses the network unencrypted, so use it in your own
    network only. Jobs are plain folders that the other commands read and write just the same.

    \b
    Examples:
      snugline serve
      snugline serve ~/jobs --lan           photos straight from the phone
      snugline serve jobs --port 8000 --no-open
    """
    import json
    import sys

    from snugline.desk.page.http.serving import lan_address
    from snugline.desk.page.http.serving import serve as run_server

    def started(address: "Address", link: str | None) -> None:
        if as_json:
            record = {"page": address.local, "link": link, "folder": str(served)}
            print(json.dumps(record), flush=True)
            return
        print(f"{address.local} shows the jobs in {served}; Ctrl-C ends it", flush=True)
        if link is not None:
            _show_code(link)
        if open_page and sys.stdout.isatty():
            import webbrowser

            webbrowser.open(address.local)

    served = (folder or _documents() / "snugline-jobs").expanduser()
    run_server(served.absolute(), port, lan_address() if lan else None, started)


def _documents() -> Path:
    from platformdirs import user_documents_path

    return user_documents_path()


def _show_code(link: str) -> None:
    import sys

    import segno

    print("Let a phone in the same network scan this, once, within 10 minutes:", flush=True)
    if sys.stdout.isatty():
        segno.make(link, error="m").terminal(compact=True)
    print(link, flush=True)
