"""The main screen: paints a station's view, and turns keys into what the station is asked for.

No session rules here; a confirmation only goes out for what was painted long enough to be read.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.screen import Screen
from textual.widgets import Input, Label

from callout.station.face import Face, Level, View
from callout.terminal.guard import KeyGuard
from callout.terminal.messages import Pressed, Typed
from callout.terminal.screens.help import HelpScreen
from callout.terminal.widgets.about import Engine, Faults, Past, Place, Talk, Warnings
from callout.terminal.widgets.banner import Banner
from callout.terminal.widgets.entry import Entry
from callout.terminal.widgets.keys import Keys
from callout.terminal.widgets.lists import Left, Saved
from callout.terminal.widgets.meter import Meter
from callout.terminal.widgets.reading import Reading
from callout.terminal.wording import waits

STALE_CHECK_S = 1.0
TOO_SOON = "NOT confirmed, too soon: read it, then press again."
_YES = ("confirm", "accept")
MOST_TROUBLES = 2
"""With more warnings and faults than this, the lists give way to them and to the large type."""
_SHOWS: tuple[type[Any], ...] = (
    Place, Banner, Reading, Past, Warnings, Talk, Saved, Left, Engine, Faults,
)  # fmt: skip


class StationScreen(Screen[None]):
    """What a measurer sees all day."""

    VERTICAL_BREAKPOINTS = [(0, "-tiny"), (23, "-short"), (32, "-tall")]  # noqa: RUF012 - Textual's own type

    def __init__(self, face: Face, clock: Callable[[], float]) -> None:
        super().__init__()
        self._face = face
        self._clock = clock
        self._guard = KeyGuard()
        self._view: View | None = None

    def compose(self) -> ComposeResult:
        """Top to bottom; the reading takes whatever rows are left."""
        yield Place(id="place")
        yield Banner(id="banner")
        yield Reading(id="reading")
        yield Past(id="past")
        yield Warnings(id="warnings")
        yield Talk(id="talk")
        with Horizontal(id="lists"):
            yield Saved(id="saved")
            yield Left(id="left")
        with Horizontal(id="sound"):
            yield Meter(id="meter")
            yield Engine(id="engine")
        with Vertical(id="foot"):
            yield Faults(id="faults")
            with Horizontal(id="typing"):
                yield Label(">", id="prompt")
                yield Entry(id="entry")
            yield Keys(id="keys")

    def on_mount(self) -> None:
        """Paint the state as it stands."""
        self.show(self._face.view())
        self.set_interval(STALE_CHECK_S, self._grow_stale)

    def show(self, view: View) -> None:
        """Paint ``view``; news that come before the last widget is there are painted with it."""
        self._view = view
        if not all(self.query(kind) for kind in _SHOWS):
            self.call_after_refresh(self._show_newest)
            return
        self._guard.showed(view, self._clock())
        self.set_class(len(view.warnings) + len(view.faults) > MOST_TROUBLES, "-crowded")
        for kind in _SHOWS:
            self.query_one(kind).show(view)
        if view.talk == "closed":
            self.query_one(Meter).closed()

    def _show_newest(self) -> None:
        if self._view is not None:
            self.show(self._view)

    def show_level(self, level: Level) -> None:
        """Paint the microphone's level, unless it hears nothing."""
        if self._view is None or self._view.talk != "closed":
            self.query_one(Meter).show(level, self._clock())

    def on_screen_resume(self) -> None:
        """Another screen is gone: only from now on can the reading be seen."""
        self._guard.uncovered(self._clock())

    def on_descendant_blur(self) -> None:
        """A stray tap must not take the keys away from the entry line."""
        self.call_later(self.query_one(Entry).focus)

    def on_input_changed(self, message: Input.Changed) -> None:
        """While a line is being typed, Enter means another thing."""
        self.query_one(Banner).typing(bool(message.value))

    def on_typed(self, message: Typed) -> None:
        """A typed callout; the Enter that sent it must not also confirm, if held."""
        self._guard.fresh("enter", self._clock())
        self._face.submit(message.text, self._answered(), message.keys_s)

    def on_pressed(self, message: Pressed) -> None:
        """A command key: let through once, however long it is held."""
        if not self._guard.fresh(message.key, self._clock()):
            if message.kind in _YES and waits(self._face.view()):
                self._notice(TOO_SOON)
            return
        if message.kind == "help":
            self.app.push_screen(HelpScreen())
        elif message.kind == "mute":
            self._face.mute(not self._face.view().muted)
        elif message.kind == "talk":
            self._face.talk()
        elif message.kind in _YES:
            self._confirm(message.kind)
        else:
            self._face.press(message.kind, self._answered())

    def _confirm(self, kind: str) -> None:
        """Confirm or accept what is on the screen, if it waits and there was time to read it."""
        view = self._face.view()
        if not waits(view):
            self._notice("Nothing waits for a yes.")
        elif self._guard.seen(view, self._clock()):
            self._face.press(kind, view.waiting)
        else:
            self._notice(TOO_SOON)
        if view != self._view:
            self.show(view)

    def _answered(self) -> int:
        """The number of what the screen shows waiting, whatever waits by now; 0 for nothing."""
        return self._view.waiting if self._view is not None else 0

    def _notice(self, text: str) -> None:
        self.query_one(Keys).notice(text, self._clock())

    def _grow_stale(self) -> None:
        now = self._clock()
        self.query_one(Meter).grow_stale(now)
        self.query_one(Keys).grow_stale(now)
