"""The microphone's level: a bar, the value in dBFS, and a word for what it means."""

from __future__ import annotations

from callout.core.saying import saying
from callout.station.face import Level
from callout.terminal.labels import NO_SOUND, TOO_LOUD, level_cells, level_told
from callout.terminal.widgets.line import Line
from callout.wording.wording import Wording

CELLS = 10
STALE_S = 3.0
"""A meter that stands still must not look alive: after this long without a level it says so."""


class Meter(Line):
    """Shows levels as they come; says so when they stop coming."""

    def __init__(self, wording: Wording, *, id: str | None = None) -> None:
        super().__init__(wording, id=id)
        self._since: float | None = None

    def on_mount(self) -> None:
        """No level has come from the microphone so far."""
        self.put((saying("mic-no-level"), ""))

    def show(self, level: Level, now: float) -> None:
        """Paint ``level``, which came at ``now`` (seconds)."""
        self._since = now
        full = level_cells(level, CELLS)
        word = level_told(level)
        loud = word in (TOO_LOUD, NO_SOUND)
        figure = f"{level.dbfs:4.0f} dB" if full else "       "
        bar = "█" * full + "░" * (CELLS - full)
        self.put((saying("mic"), ""), (f" {bar} {figure} ", ""), (word, "bold" if loud else ""))

    def closed(self) -> None:
        """Nothing is heard until the key is pressed."""
        self._since = None
        self.put((saying("mic-closed"), "bold"))

    def grow_stale(self, now: float) -> None:
        """Say that no level comes any more, if none has for a while."""
        if self._since is not None and now - self._since >= STALE_S:
            self._since = None
            self.put((saying("mic-stale"), "bold"))
