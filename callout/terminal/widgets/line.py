"""The base of every part that shows text: repaints only when what it shows has changed."""

from __future__ import annotations

from textual.content import Content
from textual.widgets import Static


class Line(Static):
    """Text as `Content`, never markup; ``put`` is cheap when nothing changed."""

    def __init__(self, *, id: str | None = None, classes: str | None = None) -> None:
        super().__init__("", id=id, classes=classes, markup=False)
        self._put: list[tuple[str, str]] = []

    def put(self, *parts: tuple[str, str]) -> None:
        """Show ``parts``, each a text and its style; neutralise data before (`plain`)."""
        kept = [(text, style) for text, style in parts if text]
        if kept == self._put:
            return
        self._put = kept
        self.update(Content.assemble(*kept))
