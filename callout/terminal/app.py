"""The app: joins a `Face` to the screens. Start-up, themes and the way updates come in; no more."""

from __future__ import annotations

import time
from collections.abc import Callable

from textual.app import App
from textual.binding import Binding

from callout.station.face import Face
from callout.terminal.messages import Mailbox
from callout.terminal.screens.help import HelpScreen
from callout.terminal.screens.safety import SafetyScreen
from callout.terminal.screens.station import StationScreen
from callout.terminal.themes import DUSK, SUN
from callout.terminal.wording import waits


class CalloutApp(App[None]):
    """Shows ``face`` until the user leaves; ``safety`` shows the safety line first, and with
    it ``kept``: what is kept of voices.

    ``clock`` counts seconds, from any start; only differences are used.
    """

    CSS_PATH = "style.tcss"
    ENABLE_COMMAND_PALETTE = False
    TITLE = "Callout"
    BINDINGS = [  # noqa: RUF012 - Textual's own type
        Binding("f2", "switch_colours", "Colours", priority=True, show=False),
    ]

    def __init__(
        self,
        face: Face,
        safety: bool,
        clock: Callable[[], float] = time.monotonic,
        kept: str = "",
    ) -> None:
        super().__init__()
        self._face = face
        self._safety, self._kept = safety, kept
        self._station = StationScreen(face, clock)
        self._mailbox = Mailbox(self.post_message)
        self.register_theme(SUN)
        self.register_theme(DUSK)
        self.theme = SUN.name

    def get_default_screen(self) -> StationScreen:
        """The main screen lies under all others."""
        return self._station

    def on_mount(self) -> None:
        """Listen from before the first key is taken."""
        self._face.listen(self._mailbox.put)
        if self._safety:
            self.push_screen(SafetyScreen(self._kept))

    def on_updated(self) -> None:
        """Paint the newest of what came. A reading that waits must not lie hidden under help."""
        view, level = self._mailbox.take()
        if view is not None:
            self._station.show(view)
            if waits(view) and isinstance(self.screen, HelpScreen):
                self.screen.dismiss()
        if level is not None:
            self._station.show_level(level)

    def action_switch_colours(self) -> None:
        """Light for sun, dark for dusk."""
        self.theme = DUSK.name if self.theme == SUN.name else SUN.name
