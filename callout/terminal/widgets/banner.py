"""The banner: the state in one word or two, coloured by its tone, and the keys that answer it."""

from __future__ import annotations

from callout.station.face import View
from callout.terminal import labels
from callout.terminal.themes import PAIRS
from callout.terminal.widgets.line import Line, Part, apart
from callout.wording.wording import Wording


class Banner(Line):
    """Says what the station waits for."""

    def __init__(self, wording: Wording, *, id: str | None = None) -> None:
        super().__init__(wording, id=id)
        self._view: View | None = None
        self._typing = False

    def show(self, view: View) -> None:
        """Paint the state of ``view``."""
        self._view = view
        tone = labels.tone(view)
        for name in PAIRS:
            self.set_class(name == tone, name)
        keys: list[Part] = [(key, "") for key in labels.state_keys(view, self._typing)]
        self.put(*apart((labels.state(view), "bold"), *keys))

    def typing(self, on: bool) -> None:
        """Say that Enter sends the line while one is being typed, instead of "yes"."""
        self._typing = on
        if self._view is not None:
            self.show(self._view)
