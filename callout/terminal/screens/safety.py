"""The safety line and what is kept of voices, seen before the first callout of a day.

Any key leaves it, and does only that.
"""

from __future__ import annotations

from textual.app import ComposeResult
from textual.content import Content
from textual.events import Key
from textual.screen import ModalScreen
from textual.widgets import Static

LINES = (
    "Watch your footing, and the limbs overhead.",
    "Keep one ear free.",
    "Tell someone where you are and when you will be back.",
    "Local rules come first.",
)


class SafetyScreen(ModalScreen[None]):
    """Four lines in rows of their own, then ``kept``: what is kept of voices."""

    def __init__(self, kept: str = "") -> None:
        super().__init__()
        self._kept = kept

    def compose(self) -> ComposeResult:
        """The lines and how to go on."""
        body = "\n\n".join(LINES)
        yield Static(
            Content.assemble(
                ("BEFORE YOU START\n\n", "bold"),
                (body, "bold"),
                (f"\n\n{self._kept}" if self._kept else "", ""),
                ("\n\nPress any key.", ""),
            ),
            id="safety",
        )

    def on_key(self, event: Key) -> None:
        """Any key goes on; it is not taken for a yes to anything else."""
        event.stop()
        event.prevent_default()
        self.dismiss()
