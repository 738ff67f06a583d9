"""What may cover the whole screen: the safety lines at the start, and the help.

Any key takes them away; a typed character goes into the line all the same.
"""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Container
from textual.content import Content
from textual.widgets import Static

KEYS = (
    ("Enter, Page Down", "yes: save what is shown large (with no line typed)"),
    ("Esc, Page Up", "no: do not save it. With a line typed, Esc clears the line"),
    ("F4", "accept: save it although there is a warning"),
    ("F8", "undo the last one saved"),
    ("F3", "repeat what was said"),
    ("F5", "skip this tree; it stays on the list"),
    ("F6", "talk: opens a closed microphone for one callout"),
    ("F7", "mute the voice, or turn it on again"),
    ("F9", "pause: nothing spoken is taken; again to go on"),
    ("F10", "next: which tree comes next"),
    ("F12", "another plot: type its name, then Enter"),
    ("F2", "dark or light colours"),
    ("F1", "these keys"),
    ("Ctrl+Q", "leave; a reading that waits will still wait"),
    ("any character", "types a callout: 83 24.6, then Enter. None acts by itself"),
)
SAY = "Or say or type: tree 83, 24.6, confirm, accept, no, undo, skip, what's left."
SAFETY = (
    "Watch your footing, and the limbs overhead.",
    "Keep one ear free.",
    "Tell someone where you are and when you will be back.",
    "Local rules come first.",
)


class Cover(Container):
    """``safety`` or ``help`` over everything, or nothing; ``kept``: what is kept of voices."""

    def __init__(self, kept: str, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._kept = kept

    def compose(self) -> ComposeResult:
        """Both texts; ``lay`` chooses."""
        yield Static(_safety(self._kept), id="safety")
        yield Static(_help(), id="help")

    def lay(self, what: str) -> None:
        """Show ``safety`` or ``help``, or with '' nothing."""
        self.set_class(bool(what), "-laid")
        for name in ("safety", "help"):
            self.query_one(f"#{name}").display = name == what


def _safety(kept: str) -> Content:
    return Content.assemble(
        ("BEFORE YOU START\n\n", "bold"),
        ("\n\n".join(SAFETY), "bold"),
        (f"\n\n{kept}" if kept else "", ""),
        ("\n\nPress any key.", ""),
    )


def _help() -> Content:
    rows = [Content.assemble((f"{key:<20}", "bold"), (does, ""), ("\n", "")) for key, does in KEYS]
    return Content.assemble(
        ("KEYS\n\n", "bold"),
        *rows,
        ("\n", ""),
        (SAY, ""),
        ("\n\nA held key counts once. Listening goes on meanwhile.", ""),
        ("\n\nPress any key to go back.", "bold"),
    )
