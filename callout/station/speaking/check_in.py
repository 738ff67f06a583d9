"""An optional question to somebody who works alone: are you well?

Pure: seconds are passed in, words come out. It calls nobody: without an answer, it is only asked
again and shown. Off unless the survey sets ``check_in_s``.
"""

from __future__ import annotations

from callout.core.saying import Saying, saying

ASK = saying("are-you-well")
AGAIN_S = 60.0


class CheckIn:
    """Asks every ``every_s`` seconds since the last answer, and each minute until answered."""

    def __init__(self, every_s: float, now_s: float) -> None:
        self._every_s, self._since_s = every_s, now_s
        self._asked_s: float | None = None
        self._asked = 0

    @property
    def unanswered(self) -> Saying | None:
        """What to show while there is no answer; it says that nobody is called."""
        if not self._asked:
            return None
        return saying("no-answer", count=self._asked)

    def due(self, now_s: float) -> Saying | None:
        """What to say aloud now, or nothing."""
        if self._every_s <= 0:
            return None
        last_s, wait_s = self._since_s, self._every_s
        if self._asked_s is not None:
            last_s, wait_s = self._asked_s, AGAIN_S
        if now_s - last_s < wait_s:
            return None
        self._asked_s, self._asked = now_s, self._asked + 1
        return ASK

    def answered(self, now_s: float) -> None:
        """The person said that all is well."""
        self._since_s, self._asked_s, self._asked = now_s, None, 0
