"""The screen: paints a station's view, and passes every key to the `Keyboard`.

No session rules here. Nothing is painted before the screen is ready, or after it is gone.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.events import Key, Paste
from textual.screen import Screen
from textual.widgets import Label

from callout.core.saying import Says
from callout.core.told import command_told
from callout.station.face import Face, SavedLine, View
from callout.terminal.keyboard import Asked, Do, Keyboard, Notice, Press, Submit
from callout.terminal.labels import just_saved, rested, waits
from callout.terminal.screen_messages import Mailbox, Updated
from callout.terminal.widgets.about import Engine, Faults, Past, Place, Talk, Warnings
from callout.terminal.widgets.banner import Banner
from callout.terminal.widgets.covers import Cover
from callout.terminal.widgets.entry import Entry
from callout.terminal.widgets.keys import Keys
from callout.terminal.widgets.lists import Left, Saved
from callout.terminal.widgets.meter import Meter
from callout.terminal.widgets.reading import Reading
from callout.wording.wording import Wording

STALE_CHECK_S = 1.0
SAVED_STANDS_S = 2.0
"""So long what was saved stands alone; then the next tree of the list is shown, marked as next."""
MOST_TROUBLES = 2
"""With more warnings and faults than this, the lists make room for them and the large type."""
_SHOWS: tuple[type[Any], ...] = (
    Place,
    Banner,
    Reading,
    Past,
    Warnings,
    Talk,
    Saved,
    Left,
    Engine,
    Faults,
)


class StationScreen(Screen[None]):
    """The measurer's main screen.

    ``cautions`` lie over it at first. Nothing on it takes the focus: every key comes here, in
    order, from the first one on.
    """

    VERTICAL_BREAKPOINTS = [(0, "-tiny"), (23, "-short"), (32, "-tall")]  # noqa: RUF012 - Textual's own type

    def __init__(
        self, face: Face, wording: Wording, cautions: Says, clock: Callable[[], float]
    ) -> None:
        super().__init__()
        self._face, self._wording, self._cautions = face, wording, cautions
        self._clock = clock
        self._laid = "safety" if cautions else ""
        plot = wording.part(command_told("plot"))
        self._keyboard = Keyboard(plot, covered=bool(cautions))
        self._mailbox = Mailbox(self.post_message)
        self._view: View | None = None
        self._seen: SavedLine | None = None  # what was saved, and was shown long enough
        self._stands = False

    def compose(self) -> ComposeResult:
        """Top to bottom; the reading takes the remaining rows."""
        words = self._wording
        yield Place(words, id="place")
        yield Banner(words, id="banner")
        yield Reading(words, id="reading")
        yield Past(words, id="past")
        yield Warnings(words, id="warnings")
        yield Talk(words, id="talk")
        with Horizontal(id="lists"):
            yield Saved(words, id="saved")
            yield Left(words, id="left")
        with Horizontal(id="sound"):
            yield Meter(words, id="meter")
            yield Engine(words, id="engine")
        with Vertical(id="foot"):
            yield Faults(words, id="faults")
            with Horizontal(id="typing"):
                yield Label(">", id="prompt")
                yield Entry(words, id="entry")
            yield Keys(words, id="keys")
        yield Cover(words, self._cautions, id="cover")

    # ---- what is shown ----

    def on_mount(self) -> None:
        """Every part exists from the next refresh on: only then is anything painted."""
        self.set_interval(STALE_CHECK_S, self._grow_stale)
        self.call_after_refresh(self._begin)

    def _begin(self) -> None:
        self._stands = True
        self._lay(self._laid)
        self._show_line()
        self._show(self._face.view())
        self._face.listen(self._mailbox.put)

    def on_unmount(self) -> None:
        """Updates from now on have no reader."""
        self._stands = False

    def on_updated(self, message: Updated) -> None:
        """Paint the newest updates."""
        message.stop()
        view, level = self._mailbox.take()
        if not self._stands:
            return
        if view is not None:
            self._show(view)
        if level is not None and (self._view is None or self._view.talk != "closed"):
            self.query_one(Meter).show(level, self._clock())

    def _show(self, view: View) -> None:
        self._view = view
        saved = just_saved(view)
        if saved is not None and view.next_tag:
            if saved == self._seen:
                view = rested(view)
            else:
                self.set_timer(SAVED_STANDS_S, lambda: self._saved_was_seen(view))
        if self._laid == "help" and waits(view):  # a pending reading must not stay hidden
            self._uncover()
        self._keyboard.showed(view, self._clock())
        self.set_class(len(view.warnings) + len(view.faults) > MOST_TROUBLES, "-crowded")
        for kind in _SHOWS:
            self.query_one(kind).show(view)
        if view.talk == "closed":
            self.query_one(Meter).closed()

    def _saved_was_seen(self, view: View) -> None:
        if self._stands and self._view == view:
            self._seen = just_saved(view)
            self._show(view)

    def _lay(self, cover: str) -> None:
        self._laid = cover
        if self._stands:
            self.query_one(Cover).lay(cover)

    def _uncover(self) -> None:
        self._keyboard.uncovered(self._clock())
        self._lay("")

    def _show_line(self) -> None:
        """While a line is being typed, Enter means something else."""
        self.query_one(Entry).show(self._keyboard.line)
        self.query_one(Banner).typing(bool(self._keyboard.line.text))

    def _grow_stale(self) -> None:
        if self._stands:
            now = self._clock()
            self.query_one(Meter).grow_stale(now)
            self.query_one(Keys).grow_stale(now)

    # ---- what is asked for ----

    def on_key(self, event: Key) -> None:
        """Every key; unknown ones are left to Textual, e.g. leaving by Ctrl+Q."""
        known = self._keyboard.knows(event.key, event.character)
        if known:
            event.stop()
            event.prevent_default()
        newest = self._face.view()
        self._do(self._keyboard.key(event.key, event.character, newest, self._clock()))
        if newest != self._view and self._stands:
            self._show(newest)

    def on_paste(self, event: Paste) -> None:
        """A pasted line is treated as if it were typed."""
        event.stop()
        event.prevent_default()
        self._do(self._keyboard.paste(event.text, self._clock()))

    def _do(self, asked: list[Asked]) -> None:
        for one in asked:
            if isinstance(one, Submit):
                self._face.submit(one.text, one.waiting, one.keys_s)
            elif isinstance(one, Press):
                self._face.press(one.kind, one.waiting)
            elif isinstance(one, Notice):
                if self._stands:
                    self.query_one(Keys).notice(one.says, self._clock())
            else:
                self._own(one)
        if self._stands:
            self._show_line()

    def _own(self, asked: Do) -> None:
        if asked.what == "talk":
            self._face.talk()
        elif asked.what == "mute":
            self._face.mute(not self._face.view().muted)
        else:
            self._lay("help" if asked.what == "help" else "")
