"""What was done at a station, as its watchers are told."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from callout.core.events import Effect, Event


@dataclass(frozen=True)
class Done:
    """What one event led to, for screens and logs; no event where something was only told.

    ``engine_s`` is the recogniser's own time.
    """

    event: Event | None
    effects: tuple[Effect, ...]
    engine_s: float = 0.0


Watcher = Callable[[Done], None]
