"""The order of speech: answers to the measurer first, notices when nothing else is said.

A newer answer cuts an older one short; the parts of one answer never cut each other. A notice (a
fault that came or went) cuts nothing and waits, so that each is spoken; when an answer overtakes
it, the reading it named as pending may no longer be, and that part is left out. No sound here.
"""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass

from callout.core.events import Say
from callout.core.saying import saying
from callout.station.done import Done

MOST_NOTICES = 16
OVER = "over"
"""The tone of a sign that something was said over the voice: a tone alone, never words."""
AGAIN = "again"
"""The tone of the same sign where the voice was cut for it: what waits is told again after it."""
# Words told by voice would invite another word over them, and a late echo answer itself for ever.
OVER_VOICE = saying("spoken-over")


@dataclass(frozen=True)
class SpokenTurn:
    """What belongs to one event, in order; ``of`` is what was done."""

    parts: tuple[Say, ...]
    notice: bool = False
    of: Done | None = None


class SpokenTurns:
    """A queue: put from any thread; taken by one."""

    def __init__(self) -> None:
        self._news = threading.Condition()
        self._answers: deque[SpokenTurn] = deque()
        self._notices: deque[SpokenTurn] = deque(maxlen=MOST_NOTICES)
        self._closed = False

    def put(self, done: Done) -> None:
        """Put what is to be said about ``done``."""
        parts = tuple(effect for effect in done.effects if isinstance(effect, Say))
        if not parts:
            return
        with self._news:
            if is_notice(done):
                self._notices.append(SpokenTurn(parts, notice=True, of=done))
            else:
                self._answers.append(SpokenTurn(parts, of=done))
                self._notices = deque(map(_overtaken, self._notices), maxlen=MOST_NOTICES)
            self._news.notify()

    def take(self) -> SpokenTurn | None:
        """The next turn, waiting for one; None once closed and empty."""
        with self._news:
            while not (self._answers or self._notices or self._closed):
                self._news.wait()
            for waiting in (self._answers, self._notices):
                if waiting:
                    return waiting.popleft()
            return None

    @property
    def overtaken(self) -> bool:
        """Whether an answer waits: what is being said now is out of date."""
        return bool(self._answers)

    def close(self) -> None:
        """Stop accepting."""
        with self._news:
            self._closed = True
            self._news.notify()


def is_notice(done: Done) -> bool:
    """Whether it answers nobody: neither journalled nor a refusal."""
    tones = [effect.tone for effect in done.effects if isinstance(effect, Say)]
    return done.event is None and "refused" not in tones


def _overtaken(turn: SpokenTurn) -> SpokenTurn:
    """Without the pending reading that it repeated, which is no longer pending."""
    parts = tuple(
        part if part.tone in (OVER, AGAIN) else Say(part.says)
        for part in turn.parts
        if part.tone != "ask"
    )
    return SpokenTurn(parts, notice=True, of=turn.of)
