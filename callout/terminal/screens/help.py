"""The help: every key on one page that fits 80 by 24. Any key leaves it and does nothing else."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.content import Content
from textual.events import Key
from textual.screen import ModalScreen
from textual.widgets import Static

_ROWS = (
    ("Enter, Space", "yes: save what is shown large"),
    ("Page Down, Right", "yes (a presenter's forward key)"),
    ("Esc, Page Up", "no: do not save it (Page Up: a presenter's back key)"),
    ("A", "accept: save it although there is a warning"),
    ("U", "undo the last one saved"),
    ("R", "repeat what was said"),
    ("S", "skip this tree; it stays on the list"),
    ("Tab", "talk: opens a closed microphone for one callout"),
    ("M", "mute the voice, or turn it on again"),
    ("F2", "dark or light colours"),
    ("Ctrl+Q", "leave; a reading that waits will still wait"),
    ("anything else", "types a callout: 83 24.6, then Enter. Esc clears it"),
    ("/", "types words that begin with A, U, R, S or M: / skip, Enter"),
)
_SAY = "Or say: tree 83, 24.6, confirm, accept, no, undo, skip, what's left, where was I."


class HelpScreen(ModalScreen[None]):
    """The keys."""

    def compose(self) -> ComposeResult:
        """A title, the keys, what may be said, how to leave."""
        rows = [
            Content.assemble((f"{key:<18}", "bold"), (does, ""), ("\n", "")) for key, does in _ROWS
        ]
        yield Static(
            Content.assemble(
                ("KEYS\n\n", "bold"), *rows, ("\n", ""), (_SAY, ""),
                ("\n\nA held key counts once. Listening goes on meanwhile.", ""),
                ("\n\nPress any key to go back.", "bold"),
            ),
            id="help",
        )  # fmt: skip

    def on_key(self, event: Key) -> None:
        """Any key goes back."""
        event.stop()
        event.prevent_default()
        self.dismiss()
