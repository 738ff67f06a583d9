"""The app of ``callout replay --screen``: the moments on the left, the selected one on the right.

Recognition is slow compared with painting, so it runs on a thread; results for a moment that was
left meanwhile are dropped.
"""

from __future__ import annotations

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from callout.core.checking.checks_plot import how_sure
from callout.core.saying import saying
from callout.lookback.viewing import Hearing, Look, Viewing
from callout.terminal.plain import plain
from callout.terminal.screen_running import WholeApp
from callout.terminal.themes import DUSK, SUN
from callout.terminal.wave import column, ruler, times_told, wave_rows, word_rows
from callout.wording.wording import Wording

WAVE_ROWS = 6
POSITION_S = 0.05
_KEYS = (
    saying("replay-choose"),
    saying("replay-play"),
    saying("replay-every"),
    saying("replay-dark"),
    saying("replay-leave"),
)


class ReplayApp(WholeApp):
    """Shows ``viewing``, under the title ``name``; nothing done here changes a survey."""

    CSS = """
    Screen { background: $background; color: $foreground; }
    #title { height: 1; padding: 0 1; background: $panel; text-wrap: nowrap; }
    #list { width: 34; height: 1fr; background: $background; border: none; padding: 0;
        text-wrap: nowrap; text-overflow: ellipsis; }
    #list > .option-list--option-highlighted { background: $ask-back; color: $ask-text; }
    #look { width: 1fr; padding: 0 1; }
    #wave { height: auto; text-wrap: nowrap; }
    #words { height: auto; margin: 1 0 0 0; }
    #told { height: auto; margin: 1 0 0 0; }
    #notice { height: 1; padding: 0 1; background: $check-back; color: $check-text; }
    #notice.quiet { display: none; }
    #keys { height: 1; padding: 0 1; background: $panel; text-wrap: nowrap; }
    """
    ENABLE_COMMAND_PALETTE = False
    TITLE = "Callout"
    BINDINGS = [  # noqa: RUF012 - Textual's own type
        Binding("space", "play", "Play", priority=True),
        Binding("e", "every_engine", "Engines"),
        Binding("q", "quit", "Leave"),
        Binding("f2", "switch_colours", "Colours"),
    ]

    def __init__(self, viewing: Viewing, name: str, wording: Wording) -> None:
        super().__init__()
        self._viewing, self._title_told, self._wording = viewing, name, wording
        self._at, self._look = 0, Look(())
        self._every = False
        self._painted = 0
        self._playing: float | None = None
        self.register_theme(SUN)
        self.register_theme(DUSK)
        self.theme = SUN.name

    def compose(self) -> ComposeResult:
        """A title, the moments, the selected one, the keys."""
        count = self._wording.part(saying("replay-moments", count=len(self._viewing.rows)))
        yield Static(Content(f"{plain(self._title_told)}: {count}"), id="title")
        with Horizontal():
            yield OptionList(*(Option(Content(plain(r))) for r in self._viewing.rows), id="list")
            with VerticalScroll(id="look", can_focus=False):
                yield Static(id="wave")
                yield Static(id="words")
                yield Static(id="told")
        yield Static(id="notice", classes="quiet")
        yield Static(Content("   ".join(map(self._wording.part, _KEYS))), id="keys")

    def on_mount(self) -> None:
        """Begin with the first moment."""
        self.query_one(OptionList).highlighted = 0
        self.query_one(OptionList).focus()
        self.set_interval(POSITION_S, self._follow)

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Another moment was selected."""
        self._viewing.stop()
        self._at = event.option_index
        self._hear_again()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Enter plays it."""
        self.action_play()

    def action_play(self) -> None:
        """Play the moment in hand, or stop."""
        if self._viewing.position_s() is not None:
            self._viewing.stop()
            return
        self._notice(self._viewing.play(self._at))

    def action_every_engine(self) -> None:
        """Show every engine's hearing side by side, or only one's."""
        self._every = not self._every
        self._hear_again()

    def action_switch_colours(self) -> None:
        """Light for sun, dark for dusk."""
        self.theme = DUSK.name if self.theme == SUN.name else SUN.name

    def on_resize(self) -> None:
        """Draw the sound to the new width."""
        self.call_after_refresh(self._paint)

    def _hear_again(self) -> None:
        self._notice(self._wording.part(saying("replay-hearing")))
        self._hear(self._at, self._every)

    @work(thread=True, exclusive=True)
    def _hear(self, at: int, every: bool) -> None:
        look = self._viewing.look(at, every)
        self.call_from_thread(self._heard, at, every, look)

    def _heard(self, at: int, every: bool, look: Look) -> None:
        if (at, every) == (self._at, self._every):
            self._look = look
            self._notice(look.fault)
            self._paint()

    def _follow(self) -> None:
        """Move the playback mark."""
        position = self._viewing.position_s()
        if position != self._playing:
            self._playing = position
            self._paint_wave()

    def _notice(self, text: str) -> None:
        notice = self.query_one("#notice", Static)
        notice.update(Content(plain(text)))
        notice.set_class(not text, "quiet")

    @property
    def _width(self) -> int:
        return max(20, self.query_one("#look").scrollable_content_region.width)

    def _paint(self) -> None:
        self._paint_wave()
        self._painted = self._width
        self.call_after_refresh(self._fit)
        look, width = self._look, self._width
        blocks = [_block(hearing, look.seconds, width) for hearing in look.hearings]
        self.query_one("#words", Static).update(Content("\n").join(blocks))
        self.query_one("#told", Static).update(Content("\n".join(map(_placed, look.lines))))

    def _fit(self) -> None:
        """A scroll bar that came with what was painted takes room from it."""
        if self._painted != self._width:
            self._paint()

    def _paint_wave(self) -> None:
        look, width = self._look, self._width
        if not look.outline:
            self.query_one("#wave", Static).update("")
            return
        rows = [Content(row) for row in wave_rows(look.outline, width, WAVE_ROWS)]
        if self._playing is not None:
            at = column(self._playing, look.seconds, width)
            rows = [row.stylize("reverse", at, at + 1) for row in rows]
        rows.append(Content(ruler(look.seconds, width)))
        self.query_one("#wave", Static).update(Content("\n").join(rows))


def _block(hearing: Hearing, seconds: float, width: int) -> Content:
    """One engine's rows: its name and what it takes it for, the words in time, how sure of each."""
    sure = "" if hearing.confidence is None else f", {how_sure(round(hearing.confidence, 2))}"
    said = hearing.fault or hearing.told
    head = Content.assemble((f"{hearing.engine}{sure}:", "bold"), (f" {said}", ""))
    if not hearing.words:
        return head
    upper, lower = (_placed(row) for row in word_rows(hearing.words, seconds, width))
    return Content("\n").join(
        [
            head,
            Content.assemble((upper, "bold")),
            Content(lower),
            Content(times_told(hearing.words)),
        ]
    )


def _placed(row: str) -> str:
    """With leading spaces that wrapping does not remove."""
    bare = row.lstrip(" ")
    return "\u00a0" * (len(row) - len(bare)) + bare
