"""The control socket: other programs of the same user see the station's face and use it.

Each client has a reader and a writer thread of its own; a slow or hostile one is disconnected, and
cannot delay the others. ``messages`` checks the requests; ``socket_place`` chooses the path.
"""

from __future__ import annotations

import contextlib
import logging
import os
import socket
import threading
import time
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import Any

from callout.core.errors import CalloutError, OperatorError, StorageError
from callout.daemon.messages import MOST_ASKED_BYTES, Request, line_of, request_from, update_line
from callout.daemon.peer import same_user
from callout.daemon.socket_place import SOCKET_MODE, safe_folder
from callout.station.face import Level, Update, View

MOST_CLIENTS = 16
MOST_WAITING = 64
LEVEL_EVERY_S = 0.1
SEND_S = 10.0
IDLE_S = 2.0
"""When all places are taken, a client silent for so long gives its place to a new one."""
_LOG = logging.getLogger("callout.daemon")

Answer = Callable[[Request], dict[str, Any] | None]
"""Carries out a request; returns the answer, if any. Raises CalloutError to refuse."""


class Server:
    """Answers on ``path`` from ``start`` to ``close``.

    The caller holds the survey's lock, so that a socket already there is a leftover of a crash.
    """

    def __init__(self, path: Path, hello: dict[str, Any], answer: Answer) -> None:
        self._path, self._hello, self._answer = path, hello, answer
        self._clients: list[_Client] = []
        self._lock = threading.Lock()
        self._socket = _bound(path)
        self._thread = threading.Thread(target=self._accept, name="control", daemon=True)

    def start(self) -> None:
        """Accept clients from now on."""
        self._thread.start()

    def tell(self, update: Update) -> None:
        """Send an update of the face to all clients; returns at once."""
        with self._lock:
            clients = list(self._clients)
        for client in clients:
            client.update(update)

    def close(self) -> None:
        """Say goodbye, and remove the socket."""
        with contextlib.suppress(OSError):
            self._path.unlink()
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()
        with self._lock:
            clients = list(self._clients)
        for client in clients:
            client.leave("the daemon was stopped")
        for client in clients:
            client.join(2.0)

    def _accept(self) -> None:
        while True:
            try:
                connection, _ = self._socket.accept()
            except OSError:
                if self._socket.fileno() < 0 or not self._path.exists():
                    return  # closed
                time.sleep(0.1)  # e.g. too many open files: others may leave
                continue
            self._welcome(connection)

    def _welcome(self, connection: socket.socket) -> None:
        if not same_user(connection):
            _LOG.warning("another user was refused")
            _refuse(connection, "this daemon is another user's")
            return
        with self._lock:
            idle = self._most_idle() if len(self._clients) >= MOST_CLIENTS else None
            full = idle is None and len(self._clients) >= MOST_CLIENTS
            if not full:
                client = _Client(connection, self._answer, self._gone)
                self._clients.append(client)
            if idle is not None:
                self._clients.remove(idle)
        if full:
            _refuse(connection, f"{MOST_CLIENTS} are attached and busy: leave one")
            return
        if idle is not None:
            idle.leave(f"{MOST_CLIENTS} are attached, and this one asked nothing: attach again")
        client.start(self._hello)

    def _most_idle(self) -> _Client | None:
        """The client to disconnect: one that watches nothing first, then the longest silent."""
        idle = [one for one in self._clients if time.monotonic() - one.asked_at > IDLE_S]
        return min(idle, key=lambda one: (one.watching, one.asked_at), default=None)

    def _gone(self, client: _Client) -> None:
        with self._lock, contextlib.suppress(ValueError):
            self._clients.remove(client)


class _Client:
    """One connection. Only the newest view and level wait; a few answers wait in order."""

    def __init__(
        self, connection: socket.socket, answer: Answer, gone: Callable[[_Client], None]
    ) -> None:
        self._connection, self._answer, self._gone = connection, answer, gone
        self._connection.settimeout(SEND_S)
        self._news = threading.Condition()
        self._view: View | None = None
        self._level: Level | None = None
        self._answers: deque[bytes] = deque()
        self._watching, self._leaving = False, False
        self.asked_at = time.monotonic()
        self._threads = [
            threading.Thread(target=work, name="client", daemon=True)
            for work in (self._read, self._write)
        ]

    def start(self, hello: dict[str, Any]) -> None:
        self._put(line_of({"hello": hello}))
        for thread in self._threads:
            thread.start()

    @property
    def watching(self) -> bool:
        """Whether it receives updates."""
        return self._watching

    def update(self, update: Update) -> None:
        with self._news:
            if not self._watching:
                return
            if isinstance(update, View):
                self._view = update
            else:
                self._level = update
            self._news.notify_all()

    def leave(self, why: str) -> None:
        self._put(line_of({"bye": why}))
        with self._news:
            self._leaving = True
            self._news.notify_all()

    def join(self, seconds: float) -> None:
        for thread in self._threads:
            thread.join(seconds)

    def _put(self, line: bytes) -> None:
        with self._news:
            self._answers.append(line)
            self._news.notify_all()

    def _room(self) -> None:
        """Wait until its answers are read.

        The writer disconnects a client that asks and does not read; one that asks too fast waits
        here, so that every request has its answer.
        """
        with self._news:
            while len(self._answers) >= MOST_WAITING and not self._leaving:
                self._news.wait()

    def _read(self) -> None:
        held = b""
        try:
            while not self._leaving:
                try:
                    piece = self._connection.recv(MOST_ASKED_BYTES)
                except TimeoutError:
                    continue
                if not piece:
                    break
                *lines, held = (held + piece).split(b"\n")
                for line in lines:
                    self._room()
                    self._take(line)
                if len(held) > MOST_ASKED_BYTES:
                    self._put(line_of({"error": f"a request is at most {MOST_ASKED_BYTES} bytes"}))
                    break
        except OSError:
            pass  # it left in the middle
        with self._news:
            self._leaving = True
            self._news.notify_all()

    def _take(self, line: bytes) -> None:
        self.asked_at = time.monotonic()
        try:
            request = request_from(line)
            if request.do == "watch":
                self._watching = True
            answer = self._answer(request)
        except CalloutError as error:
            answer = {"error": str(error)}
        except Exception:
            _LOG.exception("a request was not done")
            answer = {"error": "that was not done: see the daemon's log"}
        if answer is not None:
            self._put(line_of(answer))

    def _write(self) -> None:
        level_at = 0.0
        try:
            while (lines := self._next_lines(level_at)) is not None:
                if lines:
                    self._connection.sendall(b"".join(lines))
                    level_at = time.monotonic()
        except OSError:
            pass  # it left, or does not read
        with self._news:
            self._leaving = True
            self._news.notify_all()
        with contextlib.suppress(OSError):
            self._connection.shutdown(socket.SHUT_RDWR)
        self._connection.close()
        self._gone(self)

    def _next_lines(self, level_at: float) -> list[bytes] | None:
        with self._news:
            while not (self._answers or self._view or self._level or self._leaving):
                self._news.wait()
            wait_s = level_at + LEVEL_EVERY_S - time.monotonic()
            if wait_s > 0 and not (self._answers or self._view or self._leaving):
                self._news.wait(wait_s)  # thirty levels a second come; losing one is fine
            if self._leaving and not self._answers:
                return None
            lines = list(self._answers)
            lines += [update_line(news) for news in (self._view, self._level) if news is not None]
            self._answers.clear()
            self._news.notify_all()
            self._view = self._level = None
            return lines


def _refuse(connection: socket.socket, why: str) -> None:
    with contextlib.suppress(OSError), connection:
        connection.settimeout(1.0)
        connection.sendall(line_of({"error": why}))


def _bound(path: Path) -> socket.socket:
    safe_folder(path.parent)
    made = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    before = os.umask(0o777 & ~SOCKET_MODE)
    try:
        with contextlib.suppress(FileNotFoundError):
            path.unlink()
        made.bind(str(path))
        path.chmod(SOCKET_MODE)
        made.listen(128)
    except OSError as error:
        made.close()
        if error.errno is None:  # Python itself refuses the path as too long
            raise OperatorError(
                f"{path} is too long for a socket: set XDG_RUNTIME_DIR to a shorter folder"
            ) from None
        raise StorageError(f"cannot make {path}: {error.strerror}: check the folder") from error
    finally:
        os.umask(before)
    return made
