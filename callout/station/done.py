"""What was done at a station, as its watchers are told."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from callout.core.events import Effect, Event, Say


@dataclass(frozen=True)
class Done:
    """What one event led to, for screens and logs; no event where something was only told.

    ``engine_s`` is the recogniser's own time.
    """

    event: Event | None
    effects: tuple[Effect, ...]
    engine_s: float = 0.0


Watcher = Callable[[Done], None]


class Watchers:
    """Those who are told of everything done, in order."""

    def __init__(self) -> None:
        self._watchers: list[Watcher] = []

    def add(self, watcher: Watcher) -> None:
        """Tell ``watcher`` of everything from now on."""
        self._watchers.append(watcher)

    def told(self, done: Done) -> None:
        """Tell them what was done."""
        for watcher in self._watchers:
            watcher(done)

    def tell(self, *parts: Say) -> None:
        """Tell them what is only said."""
        self.told(Done(None, parts))
