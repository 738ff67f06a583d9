"""The summary, in one line, for whoever ends a session."""

from __future__ import annotations

from callout.core.events import Save
from callout.core.saying import Says, saying
from callout.session.phase import Phase
from callout.session.state import left_to_do
from callout.session.tags import tag_shown
from callout.station.done import Done
from callout.station.station import Station


class Tally:
    """Follows what is saved from now on, and still stands at the end."""

    def __init__(self, station: Station) -> None:
        self._station, self._standing = station, set[int]()
        station.watch(self._count)

    def told(self) -> Says:
        """How much was saved, how much is left in the plot, and what is still pending."""
        memory, plot = self._station.memory, self._station.plot
        left = len(left_to_do(memory, plot))
        says = [saying("day-saved", count=len(self._standing)), saying("day-left", count=left)]
        if memory.pending is not None:
            says.append(saying("day-waits", tag=memory.pending.draft.tag_now))
        elif memory.phase is Phase.NAMED and memory.named:
            tag = tag_shown(memory, memory.plot, memory.named)
            says.append(saying("day-no-size", tag=tag))
        return (saying("day", parts=tuple(says)),)

    def _count(self, done: Done) -> None:
        for effect in done.effects:
            if isinstance(effect, Save):
                reading = effect.reading
                self._standing.discard(reading.supersedes or 0)
                if not reading.void:
                    self._standing.add(reading.entry)
