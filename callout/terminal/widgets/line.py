"""The base of every part that shows text: repaints only when what it shows has changed."""

from __future__ import annotations

from itertools import groupby
from operator import itemgetter

from textual.content import Content
from textual.widgets import Static

from callout.core.saying import Saying
from callout.wording.wording import Wording

Part = tuple[str | Saying, str]
"""A text, or what to tell, and its style."""
_GAP = "   "


def apart(*parts: Part) -> list[Part]:
    """Those that show anything, with a gap between them."""
    shown = [part for part in parts if part[0]]
    return [one for part in shown for one in ((_GAP, part[1]), part)][1:]


def worded(part: Part, wording: Wording) -> tuple[str, str]:
    """A part as text."""
    what, style = part
    return (wording.part(what) if isinstance(what, Saying) else what, style)


class Line(Static):
    """Text as `Content`, never markup; ``put`` is cheap when nothing changed."""

    def __init__(
        self, wording: Wording, *, id: str | None = None, classes: str | None = None
    ) -> None:
        super().__init__("", id=id, classes=classes, markup=False)
        self.wording = wording
        self._put: list[tuple[str, str]] = []

    def put(self, *parts: Part) -> None:
        """Show ``parts``; neutralise data before (`plain`)."""
        worded_parts = (worded(part, self.wording) for part in parts if part[0])
        kept = [
            ("".join(text for text, _ in alike), style)
            for style, alike in groupby(worded_parts, key=itemgetter(1))
        ]
        if kept == self._put:
            return
        self._put = kept
        self.update(Content.assemble(*kept))
