"""What may cover the whole screen: the safety lines at the start, and the help.

Any key takes them away; a typed character goes into the line all the same.
"""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Container
from textual.content import Content
from textual.widgets import Static

from callout.core.saying import Says, as_is, saying
from callout.terminal.labels import padded
from callout.terminal.widgets.line import Part, worded
from callout.wording.wording import Wording

_KEYS_CELLS = 20
KEYS = (
    (as_is("Enter, Page Down"), saying("help-confirm")),
    (as_is("Esc, Page Up"), saying("help-reject")),
    (as_is("F4"), saying("help-accept")),
    (as_is("F8"), saying("help-undo")),
    (as_is("F3"), saying("help-repeat")),
    (as_is("F5"), saying("help-skip")),
    (as_is("F6"), saying("help-talk")),
    (as_is("F7"), saying("help-mute")),
    (as_is("F9"), saying("help-pause")),
    (as_is("F10"), saying("help-next")),
    (as_is("F12"), saying("help-plot")),
    (as_is("F2"), saying("help-colours")),
    (as_is("F1"), saying("help-keys")),
    (as_is("Ctrl+Q"), saying("help-leave")),
    (saying("any-character"), saying("help-character")),
)


class Cover(Container):
    """``safety`` (the ``cautions``) or ``help`` over everything, or nothing."""

    def __init__(self, wording: Wording, cautions: Says, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._wording, self._cautions = wording, cautions

    def compose(self) -> ComposeResult:
        """Room for both; ``lay`` fills one."""
        yield Static(id="safety")
        yield Static(id="help")

    def lay(self, what: str) -> None:
        """Show ``safety`` or ``help``, or with '' nothing."""
        self.set_class(bool(what), "-laid")
        for name, text in (("safety", self._safety), ("help", self._help)):
            cover = self.query_one(f"#{name}", Static)
            cover.display = name == what
            if name == what:
                cover.update(text())

    def _safety(self) -> Content:
        told = "\n\n".join(map(self._wording.shown, self._cautions))
        head, end = saying("before-you-start"), saying("press-any-key")
        return self._text((head, "bold"), (f"\n\n{told}\n\n", "bold"), (end, ""))

    def _help(self) -> Content:
        rows: list[Part] = []
        for key, does in KEYS:
            name = padded(self._wording.part(key), _KEYS_CELLS)
            rows += [(name, "bold"), (does, ""), ("\n", "")]
        head, end = saying("the-keys"), saying("press-any-key-back")
        more: list[Part] = [(saying("help-say"), ""), ("\n\n", ""), (saying("help-held"), "")]
        return self._text(
            (head, "bold"), ("\n\n", ""), *rows, ("\n", ""), *more, ("\n\n", ""), (end, "bold")
        )

    def _text(self, *parts: Part) -> Content:
        return Content.assemble(*(worded(part, self._wording) for part in parts))
