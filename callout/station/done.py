"""What was done at a station, as its watchers are told."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from callout.core.events import Effect, Event, Say


@dataclass(frozen=True)
class Done:
    """What one event led to, for screens and logs; no event for a mere message.

    ``engine_s`` is the recogniser's own time.
    """

    event: Event | None
    effects: tuple[Effect, ...]
    engine_s: float = 0.0


Watcher = Callable[[Done], None]


class Watchers:
    """The watchers of everything done, called in order."""

    def __init__(self) -> None:
        self._watchers: list[Watcher] = []

    def add(self, watcher: Watcher) -> None:
        """Call ``watcher`` on everything from now on."""
        self._watchers.append(watcher)

    def told(self, done: Done) -> None:
        """Pass on what was done."""
        for watcher in self._watchers:
            watcher(done)

    def tell(self, *parts: Say) -> None:
        """Pass on a message."""
        self.told(Done(None, parts))
