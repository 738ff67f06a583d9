"""The face of a station that is still being made: shown at once, and what is typed is kept.

Lines and keys go to the real face, in order, as soon as there is one.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from callout.core.saying import Saying
from callout.session.phase import Phase
from callout.station.face import Update, View

if TYPE_CHECKING:
    from callout.station.showing.presenter import StationFace


class StartingFace:
    """Calls may come from any thread. ``shown`` is called once, when a screen first listens."""

    def __init__(self, survey: str, shown: Callable[[], None] = lambda: None) -> None:
        self._lock = threading.RLock()
        self._view = View(plot="", who="", unit="", phase=Phase.STARTING, about=survey)
        self._shown: Callable[[], None] | None = shown
        self._listeners: list[Callable[[Update], None]] = []
        self._kept: list[Callable[[StationFace], None]] = []
        self._lines: list[str] = []
        self._face: StationFace | None = None

    @property
    def lines(self) -> tuple[str, ...]:
        """The typed lines that are not taken yet."""
        with self._lock:
            return tuple(self._lines)

    def became(self, face: StationFace) -> None:
        """``face`` is ready: it gets what was kept, and everything from now on."""
        with self._lock:
            for give in self._kept:
                give(face)
            self._kept, self._lines, self._face = [], [], face
            listeners = list(self._listeners)
        for listener in listeners:
            face.listen(listener)

    def view(self) -> View:
        """The present state: that it starts, and what was typed last."""
        with self._lock:
            return self._view if self._face is None else self._face.view()

    def listen(self, listener: Callable[[Update], None]) -> None:
        """Call ``listener`` on every change, first with the present state."""
        with self._lock:
            face, shown = self._face, self._shown
            self._shown = None
            if face is None:
                self._listeners.append(listener)
                listener(self._view)
        if face is not None:
            face.listen(listener)
        if shown is not None:
            shown()

    def submit(self, text: str, waiting: int, keys_s: tuple[float, ...] = ()) -> None:
        """A typed line; no pending reading is known yet, so it answers none."""
        self._give(lambda face: face.submit(text, waiting, keys_s), text)

    def press(self, kind: str, waiting: int) -> None:
        """A key that stands for a command."""
        self._give(lambda face: face.press(kind, waiting))

    def mute(self, muted: bool) -> None:
        """Silence or restore the spoken echo."""
        self._give(lambda face: face.mute(muted))

    def talk(self) -> None:
        """The talk key."""
        self._give(lambda face: face.talk())

    def fault(self, name: str, says: Saying) -> None:
        """Something ended unexpectedly; shown once there is a real face."""
        self._give(lambda face: face.fault(name, says))

    def _give(self, give: Callable[[StationFace], None], line: str = "") -> None:
        with self._lock:
            face = self._face
            if face is None:
                self._kept.append(give)
                if line:
                    self._lines.append(line)
                    self._view = replace(self._view, heard=line)
                told, listeners = self._view, list(self._listeners)
        if face is not None:
            give(face)
            return
        for listener in listeners:
            listener(told)
