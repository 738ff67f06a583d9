"""The entry line: the typed text with a cursor, or a hint of what may be typed."""

from __future__ import annotations

from rich.cells import cell_len
from textual.events import Resize

from callout.core.saying import saying
from callout.terminal.plain import plain
from callout.terminal.typed_line import TypedLine
from callout.terminal.widgets.line import Line
from callout.wording.wording import Wording


class Entry(Line):
    """Shows as much of the line as fits, around the cursor. Keys are handled by `Keyboard`."""

    def __init__(self, wording: Wording, *, id: str | None = None) -> None:
        super().__init__(wording, id=id)
        self._line = TypedLine()

    def on_mount(self) -> None:
        """Begin with an empty line."""
        self.show(self._line)

    def on_resize(self, event: Resize) -> None:
        """More room shows more."""
        self.show(self._line)

    def show(self, line: TypedLine) -> None:
        """Paint ``line``."""
        self._line = line
        if not line.text:
            self.put((" ", "reverse"), (" ", ""), (saying("type-here"), ""))
            return
        # No two characters combine across the cursor: each side is a part of its own.
        text = plain(line.text, len(line.text)) + " "
        first, room = line.at, max(4, self.size.width - 2) - cell_len(text[line.at])
        while first and (room := room - cell_len(text[first - 1])) >= 0:
            first -= 1
        self.put((text[first : line.at], ""), (text[line.at], "reverse"), (text[line.at + 1 :], ""))
