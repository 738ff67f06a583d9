"""The microphone's level: a bar, the value in dBFS, and a word for what it means."""

from __future__ import annotations

from callout.station.face import Level
from callout.terminal.labels import level_cells, level_word
from callout.terminal.widgets.line import Line

CELLS = 10
STALE_S = 3.0
"""A meter that stands still must not look alive: after this long without a level it says so."""


class Meter(Line):
    """Shows levels as they come; says so when they stop coming."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._since: float | None = None

    def on_mount(self) -> None:
        """No level has come from the microphone so far."""
        self.put(("Mic: no level", ""))

    def show(self, level: Level, now: float) -> None:
        """Paint ``level``, which came at ``now`` (seconds)."""
        self._since = now
        full = level_cells(level, CELLS)
        word = level_word(level)
        loud = word.isupper()
        figure = f"{level.dbfs:4.0f} dB" if full else "       "
        bar = "█" * full + "░" * (CELLS - full)
        self.put(("Mic ", ""), (bar, ""), (f" {figure} ", ""), (word, "bold" if loud else ""))

    def closed(self) -> None:
        """Nothing is heard until the key is pressed."""
        self._since = None
        self.put(("Mic closed: F6 to talk", "bold"))

    def grow_stale(self, now: float) -> None:
        """Say that no level comes any more, if none has for a while."""
        if self._since is not None and now - self._since >= STALE_S:
            self._since = None
            self.put(("Mic: NO LEVEL, check the microphone", "bold"))
