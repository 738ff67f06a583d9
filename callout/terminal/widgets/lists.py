"""The two short lists: the last few saved, and what is left with the next few tags."""

from __future__ import annotations

from rich.cells import cell_len
from textual.events import Resize

from callout.core.saying import saying
from callout.station.face import Phase, SavedLine, View
from callout.terminal.labels import padded
from callout.terminal.plain import plain
from callout.terminal.widgets.line import Line
from callout.wording.wording import Wording


class Saved(Line):
    """The last few readings on disk, newest first, one a row."""

    def __init__(self, wording: Wording, *, id: str | None = None) -> None:
        super().__init__(wording, id=id)
        self._recent: tuple[SavedLine, ...] | None = None

    def show(self, view: View) -> None:
        """Paint the newest of ``view.recent``."""
        if view.recent != self._recent and view.phase is not Phase.STARTING:
            self._recent = view.recent
            self._paint()

    def on_resize(self, event: Resize) -> None:
        """More rows show more."""
        self._paint()

    def _paint(self) -> None:
        if self._recent is None:
            return
        recent = self._recent[: max(1, self.size.height - 1)]
        rows = "\n".join(map(self._row, recent))
        self.put((saying("saved-list"), "bold"), ("\n", ""), (rows or saying("saved-none"), ""))

    def _row(self, line: SavedLine) -> str:
        tag, told = plain(line.tag, 8), f"{plain(line.told, 20)} {plain(line.unit, 4)}".strip()
        warned = "  " + self.wording.part(saying("saved-warned")) if line.warned else ""
        before = padded("", 5 - cell_len(tag))
        return f"{before}{tag}  {padded(told, 14)} {plain(line.time, 8)}{warned}"


class Left(Line):
    """How many trees are left, and the next few."""

    def __init__(self, wording: Wording, *, id: str | None = None) -> None:
        super().__init__(wording, id=id)
        self._view: View | None = None

    def show(self, view: View) -> None:
        """Paint what ``view`` has left."""
        if view.phase is Phase.STARTING:
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
        few = next_few(self._view, self.size.width, max(1, self.size.height - 1), self.wording)
        self.put((saying("left-list", count=len(self._view.left)), "bold"), (f"\n{few}", ""))


def next_few(view: View, width: int, rows: int, wording: Wording) -> str:
    """As many of the next tags as fit, then how many more."""
    if not view.left:
        return wording.part(saying("left-all-done") if view.total else saying("left-none"))
    room = width * rows - cell_len(f" {_more(9999, wording)}")
    shown: list[str] = []
    for tag in view.left:
        cleaned = plain(tag, 16)
        room -= cell_len(cleaned) + 2
        if room < 0:
            break
        shown.append(cleaned)
    more = len(view.left) - len(shown)
    return "  ".join([*shown, *([_more(more, wording)] if more else [])])


def _more(count: int, wording: Wording) -> str:
    return wording.part(saying("left-more", count=count))
