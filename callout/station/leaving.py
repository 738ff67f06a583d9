"""The summary, in one line, for whoever ends a session."""

from __future__ import annotations

from callout.core.events import Save
from callout.core.saying import Says, saying
from callout.session.state import left_to_do
from callout.session.tags import tag_shown
from callout.station.done import Done
from callout.station.station import Station


class Tally:
    """Counts what is saved from now on."""

    def __init__(self, station: Station) -> None:
        self._station, self._saved = station, 0
        station.watch(self._count)

    def told(self) -> Says:
        """How much was saved, how much is left in the plot, and what is still pending."""
        memory, plot = self._station.memory, self._station.plot
        left = len(left_to_do(memory, plot))
        says = [saying("day-saved", count=self._saved), saying("day-left", count=left)]
        if memory.pending is not None:
            says.append(saying("day-waits", tag=memory.pending.draft.tag_now))
        elif memory.named:
            tag = tag_shown(memory, memory.plot, memory.named)
            says.append(saying("day-no-size", tag=tag))
        return (saying("day", parts=tuple(says)),)

    def _count(self, done: Done) -> None:
        self._saved += sum(isinstance(effect, Save) for effect in done.effects)
