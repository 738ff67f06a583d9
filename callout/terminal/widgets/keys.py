"""The last row: the keys, or for a few seconds a notice about the key that was just pressed."""

from __future__ import annotations

from callout.core.saying import Saying, saying
from callout.terminal.widgets.line import Line
from callout.wording.wording import Wording

NOTICE_S = 4.0


class Keys(Line):
    """Lists the keys; `notice` takes its place for a while."""

    def __init__(self, wording: Wording, *, id: str | None = None) -> None:
        super().__init__(wording, id=id)
        self._until: float | None = None

    def on_mount(self) -> None:
        """Begin with the keys."""
        self.rest()

    def rest(self) -> None:
        """List the keys again."""
        self._until = None
        self.remove_class("notice")
        self.put((saying("all-keys"), ""))

    def notice(self, says: Saying, now: float) -> None:
        """Tell it for some seconds from ``now``."""
        self._until = now + NOTICE_S
        self.add_class("notice")
        self.put((says, "bold"))

    def grow_stale(self, now: float) -> None:
        """Remove an old notice."""
        if self._until is not None and now >= self._until:
            self.rest()
