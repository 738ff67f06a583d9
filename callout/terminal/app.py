"""The app: joins a `Face` to its screen. Start-up and themes; no more."""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import suppress

from textual.binding import Binding

from callout.core.saying import Says
from callout.station.face import Face
from callout.terminal.screen_running import WholeApp
from callout.terminal.station_screen import StationScreen
from callout.terminal.themes import DUSK, SUN
from callout.wording.wording import Wording


class CalloutApp(WholeApp):
    """Shows ``face`` until the user leaves, in the words of ``wording``.

    ``cautions``, if any, are shown first. ``clock`` counts seconds, from any start; only
    differences are used.
    """

    CSS_PATH = "style.tcss"
    ENABLE_COMMAND_PALETTE = False
    TITLE = "Callout"
    BINDINGS = [  # noqa: RUF012 - Textual's own type
        Binding("f2", "switch_colours", "Colours", priority=True, show=False)
    ]

    def __init__(
        self,
        face: Face,
        wording: Wording,
        cautions: Says = (),
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__()
        self._station = StationScreen(face, wording, cautions, clock)
        self.register_theme(SUN)
        self.register_theme(DUSK)
        self.theme = SUN.name

    def get_default_screen(self) -> StationScreen:
        """The one screen there is."""
        return self._station

    def left(self) -> None:
        """Leave; safe on a foreign thread, and when it was left already."""
        with suppress(RuntimeError):
            self.call_later(self.exit)

    def action_switch_colours(self) -> None:
        """Light for sun, dark for dusk."""
        self.theme = DUSK.name if self.theme == SUN.name else SUN.name
