"""The daemon at work: one post without a terminal, its face on the control socket, watched.

The wiring only: hearing, saving and telling are the station's business.
"""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

from callout.core.errors import CalloutError, OperatorError
from callout.core.saying import Saying, saying
from callout.daemon import logs
from callout.daemon.messages import Request
from callout.daemon.server import Server
from callout.daemon.socket_place import socket_path
from callout.daemon.system import notify, watchdog_s
from callout.journal.folder import SurveyFolder
from callout.station.post import Post, Told, Work
from callout.station.showing.presenter import StationFace
from callout.station.station import Station
from callout.station.upkeep.clock import Clock

BEAT_S = 5.0
# Recognition without progress for so long hangs: every wait inside it is shorter.
HEARING_S = 300.0
LOCK_S = 30.0
MOST_DEFECTS = 5
MOST_WAITING = 64


@dataclass(frozen=True)
class Orders:
    """The options the daemon was started with."""

    work: Work
    log_speech: bool = False


class Daemon:
    """One survey at work. Made and run in the main thread."""

    def __init__(
        self, folder: SurveyFolder, station: Station, clock: Clock, orders: Orders
    ) -> None:
        self._folder, self._station, self._orders = folder, station, orders
        self._stopping, self._leaving = threading.Event(), threading.Event()
        self._beat_at = time.monotonic()
        self._post = Post(folder, station, clock, orders.work)
        self._face = StationFace(station, self._post.echo.mute, orders.work.muted)
        self._face.by_key(self._post.talk)
        hello = {"survey": str(folder.path.resolve()), "pid": os.getpid()}
        self._server = Server(socket_path(folder.path), hello, self._answer)
        self._hearing = threading.Thread(target=self._hear, name="listening", daemon=True)

    def run(self) -> int:
        """Work until stopped; 0 for a clean stop, 70 after defects that left nobody hearing."""
        failed = False
        try:
            self._begin()
            while not self._stopping.wait(min(BEAT_S, (watchdog_s() or BEAT_S * 3) / 3)):
                if not self._hearing.is_alive() and self._orders.work.frames is None:
                    failed = True
                    break
                if self._well():
                    notify("WATCHDOG=1")
        except KeyboardInterrupt:
            logs.LOGGER.info("asked to stop by a signal")
        except Exception:
            logs.LOGGER.exception("ended by a defect")
            raise
        finally:
            self._end()
        return 70 if failed else 0

    def _begin(self) -> None:
        # Closing the terminal is not meant to end the session.
        signal.signal(signal.SIGHUP, signal.SIG_IGN)
        threading.excepthook = lambda args: logs.LOGGER.error(
            "a thread ended by a defect", exc_info=args.exc_value
        )
        self._station.watch(
            lambda done: logs.log_done(done, self._orders.log_speech, self._station.wording)
        )
        self._post.begin(
            Told(
                fault=self._fault,
                sounding=self._face.sounding,
                device=self._face.notice(self._fault),
                level=self._face.level,
                microphone=lambda name: logs.LOGGER.info("listening to %s", name),
            )
        )
        self._face.by_tape(self._post.tapes.typed)
        self._post.ears.on_beat(self._beat)
        self._face.listen(self._server.tell)
        self._server.start()
        self._hearing.start()
        logs.LOGGER.info("at work, process %d", os.getpid())
        notify("READY=1")

    def _end(self) -> None:
        notify("STOPPING=1")
        self._leaving.set()
        if self._hearing.is_alive():
            self._hearing.join(timeout=5)
        self._server.close()
        self._face.close()
        self._post.close()
        logs.LOGGER.info("stopped")

    def _hear(self) -> None:
        """Hear until told to stop; after a defect, log it and start hearing again, a few times."""
        for _ in range(MOST_DEFECTS):
            try:
                self._post.listen(self._leaving)
                if not self._leaving.is_set():
                    ended = saying("recording-ended")
                    self._fault("microphone", saying("still-typing", what=ended))
                return
            except CalloutError as error:
                says = saying("still-typing", what=error.saying)
                self._post.faults.report("microphone", says)
            except Exception:
                logs.LOGGER.exception("hearing was stopped by a defect and begins anew")
            self._leaving.wait(1.0)

    def _beat(self) -> None:
        self._beat_at = time.monotonic()

    def _well(self) -> bool:
        """Whether hearing makes progress and the station answers."""
        live = self._orders.work.frames is None
        if live and time.monotonic() - self._beat_at > HEARING_S:
            logs.LOGGER.error("hearing makes no progress")
            return False
        if not self._station.responds(LOCK_S):
            logs.LOGGER.error("the station does not respond")
            return False
        return True

    def _fault(self, name: str, says: Saying | None) -> None:
        told = "well again" if says is None else self._station.wording.part(says)
        logs.LOGGER.warning("%s: %s", name, told)
        self._face.fault(name, says)

    # ---- requests over the socket ----

    def _answer(self, request: Request) -> dict[str, Any] | None:
        return _ANSWERS[request.do](self, request)

    def _view(self, request: Request) -> dict[str, Any]:
        return {"view": asdict(self._face.view())}

    def _submit(self, request: Request) -> None:
        self._refuse_flood()
        self._face.submit(request.text, request.waiting, request.keys_s)

    def _settle(self, request: Request) -> dict[str, Any]:
        """Answered once all that was asked before is done; only this asker waits."""
        self._face.settle()
        return {"settled": True, **self._view(request)}

    def _refuse_flood(self) -> None:
        """Refuse at once what cannot be done soon, so that nobody waits without knowing."""
        if self._face.waits >= MOST_WAITING:
            raise OperatorError(
                f"{MOST_WAITING} lines and keys wait already and this one was not taken: wait for "
                "their echoes, then say it again"
            )

    def _press(self, request: Request) -> None:
        self._refuse_flood()
        self._face.press(request.kind, request.waiting)

    def _mute(self, request: Request) -> None:
        self._face.mute(request.muted)

    def _open(self, request: Request) -> None:
        self._station.open(request.plot, request.who)

    def _talk(self, request: Request) -> None:
        if self._post.talk is None:
            raise OperatorError("this survey has no talk key: the microphone is always open")
        self._post.talk.press()

    def _stop(self, request: Request) -> dict[str, Any]:
        logs.LOGGER.info("asked to stop over the socket")
        self._stopping.set()
        return {"bye": "stopping"}


_ANSWERS: dict[str, Callable[[Daemon, Request], dict[str, Any] | None]] = {
    "watch": Daemon._view,
    "view": Daemon._view,
    "submit": Daemon._submit,
    "settle": Daemon._settle,
    "press": Daemon._press,
    "mute": Daemon._mute,
    "open": Daemon._open,
    "talk": Daemon._talk,
    "stop": Daemon._stop,
}
