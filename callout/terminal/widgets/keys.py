"""The last row: the keys, or for a few seconds a notice about the key that was just pressed."""

from __future__ import annotations

from callout.terminal.widgets.line import Line

NOTICE_S = 4.0
_KEYS = "Enter yes Esc no F4 accept F1 help F8 undo F3 repeat F5 skip F9 pause F7 mute"


class Keys(Line):
    """Lists the keys; `notice` takes its place for a while."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._until: float | None = None

    def on_mount(self) -> None:
        """Begin with the keys."""
        self.rest()

    def rest(self) -> None:
        """List the keys again."""
        self._until = None
        self.remove_class("notice")
        self.put((_KEYS, ""))

    def notice(self, text: str, now: float) -> None:
        """Say ``text`` for some seconds from ``now``."""
        self._until = now + NOTICE_S
        self.add_class("notice")
        self.put((text, "bold"))

    def grow_stale(self, now: float) -> None:
        """Remove an old notice."""
        if self._until is not None and now >= self._until:
            self.rest()
