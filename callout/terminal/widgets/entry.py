"""The entry line: command keys while it is empty, an ordinary line of text once typing began.

Knows keys, not callouts: what is typed goes out whole as `Typed`, and is parsed elsewhere.
"""

from __future__ import annotations

import time

from textual.events import Key, Paste
from textual.widgets import Input

from callout.terminal.messages import Pressed, Typed
from callout.terminal.plain import plain

ALWAYS = {"pagedown": "confirm", "pageup": "reject", "tab": "talk"}
WHEN_EMPTY = {
    "enter": "confirm",
    "space": "confirm",
    "right": "confirm",
    "escape": "reject",
    "a": "accept",
    "u": "undo",
    "r": "repeat",
    "s": "skip",
    "m": "mute",
    "question_mark": "help",
}
WORDS_KEY = "slash"
_TYPE = " type a tree and its size, like 83 24.6"
_WORDS = " typing words: Enter sends, Esc leaves"


class Entry(Input):
    """Takes every key: a command, or a character of a callout."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(placeholder=_TYPE, id=id, compact=True, select_on_focus=False)
        self.cursor_blink = False
        self._words = False
        self._keys_s: list[float] = []

    def on_key(self, event: Key) -> None:
        """Commands first; what is no command falls through to the line of text."""
        key = event.key.lower()
        if not self.value:
            self._keys_s.clear()
        self._keys_s.append(time.monotonic())
        kind = ALWAYS.get(key)
        if kind is None and not self.value:
            kind = self._when_empty(key)
        elif key == "escape":
            self._clear()
            kind = ""
        if kind is not None:
            event.stop()
            event.prevent_default()
        if kind:
            self.post_message(Pressed(key, kind))

    def _when_empty(self, key: str) -> str | None:
        """The command of ``key``; '' where the key is used up without one."""
        if not self._words:
            if key == WORDS_KEY:
                self._typing_words(True)
                return ""
            return WHEN_EMPTY.get(key)
        if key in ("escape", "enter"):
            self._typing_words(False)
            return ""
        return None

    async def action_submit(self) -> None:
        """Send the line and empty it."""
        text = self.value.strip()
        self._clear()
        if text:
            self.post_message(Typed(text, tuple(self._keys_s)))

    def on_paste(self, event: Paste) -> None:
        """Only the first line, made harmless, goes in; a line break must not send or confirm."""
        event.stop()
        event.prevent_default()
        lines = event.text.splitlines()
        if lines:
            self.insert_text_at_cursor(plain(lines[0]))

    def _clear(self) -> None:
        self.value = ""
        self._typing_words(False)

    def _typing_words(self, on: bool) -> None:
        self._words = on
        self.placeholder = _WORDS if on else _TYPE
