"""The banner: the state in one word or two, coloured by its tone, and the keys that answer it."""

from __future__ import annotations

from callout.station.face import View
from callout.terminal import wording
from callout.terminal.themes import PAIRS
from callout.terminal.widgets.line import Line


class Banner(Line):
    """Says what the station waits for."""

    def show(self, view: View) -> None:
        """Paint the state of ``view``."""
        tone = wording.tone(view)
        for name in PAIRS:
            self.set_class(name == tone, name)
        keys = wording.state_keys(view)
        self.put((wording.state_word(view), "bold"), ("   " + keys if keys else "", ""))
