"""``callout office``: the page of a survey or site, served to this machine until it is left."""

from __future__ import annotations

import argparse
import logging
import secrets
import tempfile
import webbrowser
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from callout.core.counted import counted
from callout.core.errors import OperatorError
from callout.survey.files import write_whole

if TYPE_CHECKING:
    from callout.office.desk import Desk

HOST = "127.0.0.1"
_THREADS = 8


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "office",
        description="What is left to measure, what was flagged, what disagrees, with its sound; "
        "rulings are written at once. Only this machine, and who knows the address, can read it.",
    )
    parser.add_argument("survey", type=Path, metavar="SURVEY", help="a survey or a united site")
    parser.add_argument("--port", type=int, default=0, help="a port of this machine (default: any)")
    parser.add_argument("--open", action="store_true", help="open it in the browser")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Serve the page until Ctrl+C, then say how many rulings were written."""
    try:
        from waitress.server import create_server
    except ImportError:
        raise OperatorError("the page needs waitress: pip install 'callout[office]'") from None
    from callout.office.desk import Desk

    logging.getLogger("waitress").setLevel(logging.ERROR)  # a request that waits is no news
    if not 0 <= args.port <= 65_535:
        raise OperatorError(f"--port {args.port}: from 0 to 65535")
    with closing(Desk(args.survey)) as desk:
        _serve(args, desk, create_server)
    return 0


def _serve(args: argparse.Namespace, desk: Desk, create_server: Callable[..., Any]) -> None:
    from callout.office.states import States
    from callout.office.web import MOST_ASKED_BYTES, OfficeApp

    token = secrets.token_urlsafe(24)
    app = OfficeApp(desk, States(args.survey), token, ())
    try:
        server = create_server(
            app,
            host=HOST,
            port=args.port,
            threads=_THREADS,
            ident=None,
            max_request_body_size=MOST_ASKED_BYTES,
        )
    except OSError as error:
        raise OperatorError(f"port {args.port} cannot be used: {error.strerror}") from None
    port = server.effective_port
    app.hosts = frozenset((f"{HOST}:{port}", f"localhost:{port}"))
    address = f"http://{HOST}:{port}/{token}/"
    print(f"{desk.name}: {address}\nKeep the address to yourself. Leave with Ctrl+C.", flush=True)
    try:
        with _opened(address) if args.open else _nothing():
            server.run()
    finally:
        server.close()
        print(f"{counted(desk.ruled, 'ruling')} written", flush=True)


@contextmanager
def _opened(address: str) -> Iterator[None]:
    """The page in the browser, led to by a private file: others can see a command's words."""
    with tempfile.TemporaryDirectory(prefix="callout-office-") as folder:
        path = Path(folder) / "open.html"
        leads = f'<meta http-equiv="refresh" content="0; url={address}">'
        write_whole(path, f"<!DOCTYPE html><title>Callout</title>{leads}".encode())
        webbrowser.open(path.as_uri())
        yield


@contextmanager
def _nothing() -> Iterator[None]:
    yield
