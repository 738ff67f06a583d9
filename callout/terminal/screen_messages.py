"""The one message between the app's parts, and the mailbox for a station's updates.

Nothing is painted here. The mailbox keeps only the newest view and level: a burst of updates costs
one message and one repaint.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from threading import Lock

from textual.message import Message

from callout.station.face import Level, Update, View


class Updated(Message):
    """There is something new in the mailbox."""


class Mailbox:
    """Takes updates on any thread; posts one `Updated` for all that came since the last take."""

    def __init__(self, post: Callable[[Message], object]) -> None:
        self._post = post
        self._lock = Lock()
        self._view: View | None = None
        self._level: Level | None = None
        self._posted = False

    def put(self, update: Update) -> None:
        """Keep ``update`` as the newest of its kind. Safe to call from another thread."""
        with self._lock:
            if isinstance(update, View):
                self._view = update
            else:
                self._level = update
            if self._posted:
                return
            self._posted = True
        # A station may outlive the screen by a moment: its last updates are then dropped.
        with suppress(RuntimeError):
            self._post(Updated())

    def take(self) -> tuple[View | None, Level | None]:
        """The newest view and level since the last take; None for each without news."""
        with self._lock:
            taken = (self._view, self._level)
            self._view = self._level = None
            self._posted = False
        return taken
