"""The two short lists: the last few saved, and what is left with the next few tags."""

from __future__ import annotations

from textual.events import Resize

from callout.station.face import STARTING, SavedLine, View
from callout.terminal.labels import next_few
from callout.terminal.plain import plain
from callout.terminal.widgets.line import Line


class Saved(Line):
    """The last few readings on disk, newest first, one a row."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._recent: tuple[SavedLine, ...] | None = None

    def show(self, view: View) -> None:
        """Paint the newest of ``view.recent``."""
        if view.recent != self._recent and view.phase != STARTING:
            self._recent = view.recent
            self._paint()

    def on_resize(self, event: Resize) -> None:
        """More rows show more."""
        self._paint()

    def _paint(self) -> None:
        if self._recent is None:
            return
        recent = self._recent[: max(1, self.size.height - 1)]
        rows = "\n".join(_row(line) for line in recent) or "nothing yet"
        self.put(("SAVED, newest first\n", "bold"), (rows, ""))


def _row(line: SavedLine) -> str:
    told = f"{plain(line.told, 20)} {plain(line.unit, 4)}".strip()
    warned = "  warned" if line.warned else ""
    return f"{plain(line.tag, 8):>5}  {told:<14} {plain(line.time, 8)}{warned}"


class Left(Line):
    """How many trees are left, and the next few."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._view: View | None = None

    def show(self, view: View) -> None:
        """Paint what ``view`` has left."""
        if view.phase == STARTING:
            return  # nothing is known yet
        if self._view is None or (view.left, view.total) != (self._view.left, self._view.total):
            self._view = view
            self._paint()

    def on_resize(self, event: Resize) -> None:
        """More room names more tags."""
        self._paint()

    def _paint(self) -> None:
        if self._view is None:
            return
        few = next_few(self._view, self.size.width, max(1, self.size.height - 1))
        self.put((f"LEFT: {len(self._view.left)}, next\n", "bold"), (few, ""))
