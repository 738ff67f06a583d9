"""A station's face at the other end of the control socket, for a screen to attach to.

The daemon may end and come back; until then the view says so, and typed input is refused.
"""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future, InvalidStateError
from dataclasses import replace
from pathlib import Path
from typing import Any

from callout.core.errors import CalloutError, OperatorError
from callout.core.saying import Saying, as_is, saying
from callout.daemon.messages import MOST_TOLD_BYTES, Request, asked, told_from
from callout.daemon.peer import same_user
from callout.session.phase import Phase
from callout.station.face import MOST_KEYS, Update, View
from callout.wording.language_files import english
from callout.wording.wording import Wording

ANSWER_S = 10.0
AGAIN_S = 1.0
SLOW_S = 2.0
GONE = saying("daemon-gone")


def connected(path: Path) -> socket.socket | None:
    """A connection to the daemon that answers at ``path``; None if none does.

    Raises OperatorError if another user's process answers.
    """
    made = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    made.settimeout(ANSWER_S)
    try:
        made.connect(str(path))
        if same_user(made):
            return made
    except OSError:
        made.close()
        return None
    made.close()
    raise OperatorError(f"what answers at {path} is another user's: remove it, then again")


def told_lines(connection: socket.socket) -> Iterator[dict[str, Any]]:
    """Every message of the daemon, until it ends. Raises OperatorError for an invalid one."""
    held = b""
    while True:
        try:
            piece = connection.recv(65_536)
        except TimeoutError:
            continue
        except OSError:
            return
        if not piece:
            return
        *lines, held = (held + piece).split(b"\n")
        for line in lines:
            yield told_from(line)
        if len(held) > MOST_TOLD_BYTES:
            raise OperatorError("the daemon told more than any view holds")


def ask(path: Path, request: Request) -> dict[str, Any] | None:
    """Send one request and return the answer (also ``hello``); None if no daemon runs."""
    connection = connected(path)
    if connection is None:
        return None
    with connection:
        hello: dict[str, Any] = {}
        try:
            connection.sendall(asked(request))
            for told in told_lines(connection):
                hello.update(told)
                if "hello" not in told:
                    break
        except OSError:
            return None  # it ended at that moment
    if "error" in hello:
        raise OperatorError(str(hello["error"]))
    return hello


class RemoteFace:
    """A face that follows the daemon. Raises OperatorError if none is at ``path`` at first.

    One that is there and does not answer yet is waited for while it lives; ``slow`` is called then.
    What it tells itself is told in ``wording``, English if none is given.
    """

    def __init__(
        self, path: Path, slow: Callable[[], None] = lambda: None, wording: Wording | None = None
    ) -> None:
        self._path, self._wording = path, wording or english()
        self._connection = connected(path)
        if self._connection is None:
            raise OperatorError(f"no daemon answers at {path}: start one with 'callout daemon'")
        self._listeners: list[Callable[[Update], None]] = []
        self._view: View | None = None
        self._first = threading.Event()
        self._why = ""
        self._asked: Future[bool] = Future()
        self._closed = False
        self._sending = threading.Lock()
        self._send(Request("watch"))
        self._thread = threading.Thread(target=self._follow, name="attached", daemon=True)
        self._thread.start()
        try:
            if not self._first.wait(SLOW_S):
                slow()
                self._first.wait()
            if self._view is None:
                raise OperatorError(self._why or "the daemon ended as it began: see its log")
        except BaseException:
            self.close()
            raise

    def view(self) -> View:
        """The last state received."""
        assert self._view is not None
        return self._view

    def listen(self, listener: Callable[[Update], None]) -> None:
        """Call ``listener`` on every change, first with the current state."""
        self._listeners.append(listener)
        listener(self.view())

    def submit(self, text: str, waiting: int, keys_s: tuple[float, ...] = ()) -> None:
        """A callout that was typed."""
        self._send(Request("submit", text=text, waiting=waiting, keys_s=keys_s[-MOST_KEYS:]))

    def answered(self, text: str, waiting: int) -> Future[bool]:
        """Type a callout; True once it is done and shown, False if the daemon is gone before."""
        self._asked = asking = Future[bool]()
        if not self._send(Request("submit", text=text, waiting=waiting), Request("settle")):
            self._settled(False)
        return asking

    def press(self, kind: str, waiting: int) -> None:
        """A key that stands for a command."""
        self._send(Request("press", kind=kind, waiting=waiting))

    def mute(self, muted: bool) -> None:
        """Silence or restore the spoken echo."""
        self._send(Request("mute", muted=muted))

    def talk(self) -> None:
        """The talk key, if the survey has one."""
        self._send(Request("talk"))

    def open(self, plot: str, who: str) -> None:
        """Work in another plot, or as another person."""
        self._send(Request("open", plot=plot, who=who))

    def close(self) -> None:
        """Detach; the daemon goes on working."""
        self._closed = True
        connection = self._connection
        if connection is not None:
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
            connection.close()

    def _send(self, *requests: Request) -> bool:
        connection = self._connection
        try:
            if connection is None:
                raise OSError("there is no connection")
            with self._sending:
                connection.sendall(b"".join(map(asked, requests)))
        except OSError:
            self._refused(saying("daemon-not-sent", why=GONE))
            return False
        return True

    def _settled(self, done: bool) -> None:
        with contextlib.suppress(InvalidStateError):  # the other thread was first
            self._asked.set_result(done)

    def _follow(self) -> None:
        """Follow this daemon, and the next one after it has ended."""
        while not self._closed:
            try:
                if self._connection is not None:
                    self._take_all(self._connection)
            except CalloutError as error:
                self._refused(saying("daemon-not-understood", why=error.saying))
            if self._closed:
                return
            self._lost()
            time.sleep(AGAIN_S)
            with contextlib.suppress(CalloutError):
                self._connection = connected(self._path)
                if self._connection is not None:
                    self._send(Request("watch"))

    def _take_all(self, connection: socket.socket) -> None:
        for told in told_lines(connection):
            if "view" in told:
                self._show(told["view"])
                self._first.set()
                if "settled" in told:
                    self._settled(True)
            elif "level" in told:
                self._tell(told["level"])
            elif "error" in told:
                self._refused(as_is(str(told["error"])))

    def _lost(self) -> None:
        gone, self._connection = self._connection, None
        if gone is not None:
            gone.close()
        self._first.set()
        self.broken(self._wording.part(GONE))
        self._settled(False)

    def broken(self, says: str) -> None:
        """Stop following, for the reason that ``says`` gives: show nothing else."""
        if self._view is not None:
            self._show(
                replace(
                    self._view,
                    phase=Phase.CLOSED,
                    waiting=0,
                    tag="",
                    value="",
                    status="",
                    before="",
                    change="",
                    warnings=(),
                    looks=(),
                    tone="refused",
                    engine="",
                    faults=(says,),
                )
            )

    def _refused(self, says: Saying) -> None:
        told = self._wording.shown(says)
        if self._view is None:
            self._why = told
        else:
            self._show(replace(self._view, said=told, tone="refused"))

    def _show(self, view: View) -> None:
        self._view = view
        self._tell(view)

    def _tell(self, update: Update) -> None:
        for listener in self._listeners:
            listener(update)
