"""The entry line: the typed text with a cursor, or a hint of what may be typed."""

from __future__ import annotations

from textual.events import Resize

from callout.terminal.plain import plain
from callout.terminal.typed_line import TypedLine
from callout.terminal.widgets.line import Line

_TYPE = " a tree and its size, like 83 24.6"


class Entry(Line):
    """Shows as much of the line as fits, around the cursor. Keys are handled by `Keyboard`."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
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
            self.put((" ", "reverse"), (_TYPE, ""))
            return
        room = max(4, self.size.width - 2)
        first = max(0, line.at - room + 1)
        # No two characters combine across the cursor: each side is a part of its own.
        text = plain(line.text, len(line.text)) + " "
        before, after = text[first : line.at], text[line.at + 1 : first + room]
        self.put((before, ""), (text[line.at], "reverse"), (after, ""))
