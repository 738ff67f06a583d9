"""Push-to-talk: the microphone is closed except for one callout after a key.

A terminal does not report a key's release, so a press opens and the end of the callout closes; a
second press closes at once. While closed, frames are dropped, not kept. No key is known here.
"""

from __future__ import annotations

from collections.abc import Callable

LONGEST_OPEN_S = 20.0
"""After so long without speech it closes again."""


class TalkKey:
    """Whether the microphone is open. Pressed on any thread; asked by the one that listens."""

    def __init__(self, tell: Callable[[bool], None] = lambda is_open: None) -> None:
        self._tell = tell
        self._open = False
        self._opened_s: float | None = None

    def on_change(self, tell: Callable[[bool], None]) -> None:
        """Call ``tell`` whenever it opens (True) or closes."""
        self._tell = tell

    @property
    def is_open(self) -> bool:
        """Whether speech is heard now."""
        return self._open

    def press(self) -> None:
        """Open it, or close it again."""
        self._set(not self._open)

    def take(self, now_s: float, speaking: bool) -> bool:
        """Whether the frame that begins at ``now_s`` may be heard; closes it after a long wait."""
        if not self._open:
            return False
        if self._opened_s is None:
            self._opened_s = now_s
        if not speaking and now_s - self._opened_s > LONGEST_OPEN_S:
            self._set(False)
        return self._open

    def heard(self) -> None:
        """A callout has ended: closed until the next press."""
        self._set(False)

    def _set(self, is_open: bool) -> None:
        if is_open == self._open:
            return
        self._open, self._opened_s = is_open, None
        self._tell(is_open)
