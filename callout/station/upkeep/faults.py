"""What does not work now: each fault is shown while it lasts, and spoken when it comes and goes.

Knows no microphone, disk or screen; those report here by name.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

from callout.core.saying import Saying, as_is, saying

AGAIN_S = 60.0
"""A fault that comes and goes (a loose plug) is spoken at most this often, its last state late."""
RECOGNISER, SPACE = "recogniser", "room on the disk"
_NAMED = ("microphone", "voice", "disk", "recogniser")

Say = Callable[[Saying], None]
Show = Callable[[str, Saying | None], None]


class Faults:
    """Reports may come from any thread. ``show`` gets every change, ``say`` what to speak."""

    def __init__(self, say: Say, show: Show, seconds: Callable[[], float] = time.monotonic) -> None:
        self._say, self._show, self._seconds = say, show, seconds
        self._lock = threading.Lock()
        self._now: dict[str, Saying] = {}
        self._spoken: dict[tuple[str, Saying | None], float] = {}
        self._last: dict[str, Saying | None] = {}
        self._owed: dict[str, Saying | None] = {}

    @property
    def now(self) -> dict[str, Saying]:
        """What is wrong, by name."""
        with self._lock:
            return dict(self._now)

    def report(self, name: str, says: Saying | None, *, aloud: bool = True) -> None:
        """``name`` fails (``says`` what is wrong), or works again (None).

        The same words twice are one state. ``aloud`` False only shows it.
        """
        with self._lock:
            before = self._now.get(name)
            if before == says:
                return
            if says is None:
                del self._now[name]
            else:
                self._now[name] = says
            if aloud:
                self._owed[name] = says
            spoken = aloud and self._take_due(name)
        self._show(name, says)
        if spoken:
            self._speak(name, says)

    def catch_up(self) -> None:
        """Speak what was held back and still applies. Call it every few seconds."""
        with self._lock:
            due = [(name, says) for name, says in self._owed.items()]
            due = [(name, says) for name, says in due if self._take_due(name)]
        for name, says in due:
            self._speak(name, says)

    def tell(self, name: str, says: Saying) -> None:
        """A fault that is already over: spoken, and shown only as long as any message."""
        with self._lock:
            due = self._due((name, says))
        if due:
            self._say(says)

    def _speak(self, name: str, says: Saying | None) -> None:
        self._say(says if says is not None else well_again(name))

    def _take_due(self, name: str) -> bool:
        """Whether to announce ``name`` now; removes it from what is held back."""
        says = self._owed[name]
        known = name in self._last and self._last[name] == says
        if not known and not self._due((name, says)):
            return False
        del self._owed[name]
        self._last[name] = says
        return not known

    def _due(self, words: tuple[str, Saying | None]) -> bool:
        now = self._seconds()
        if now - self._spoken.get(words, -AGAIN_S) < AGAIN_S:
            return False
        self._spoken = {text: at for text, at in self._spoken.items() if now - at < AGAIN_S}
        self._spoken[words] = now
        return True


def well_again(name: str) -> Saying:
    """The message that what failed works again."""
    if name == SPACE:
        return saying("room-again")
    return saying("works-again", name=saying(f"name-{name}") if name in _NAMED else as_is(name))
