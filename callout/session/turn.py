"""One callout on its way through the session's table, and the plainest answer to it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

from callout.core.checking.checks import Rules
from callout.core.events import Effect, Heard, Say
from callout.core.meaning import Meaning
from callout.core.model import Plot
from callout.core.saying import Saying, Says
from callout.session.phase import Phase
from callout.session.state import Memory, Pending
from callout.session.tags import tag_shown
from callout.session.told import echo, note_echo


@dataclass(frozen=True)
class Turn:
    """One callout with exactly one meaning, and everything known when it arrives."""

    memory: Memory
    plot: Plot
    rules: Rules
    event: Heard
    meaning: Meaning
    treeless: Meaning | None = None
    """The size called just before, which still needs its tree."""

    @property
    def edition(self) -> int:
        """The edition of the dialogue's rules in force."""
        return self.rules.edition

    @property
    def waiting(self) -> Pending | None:
        """The pending reading, if it may be added to; an undo may not."""
        pending = self.memory.pending
        return None if pending is None or pending.draft.void else pending

    @property
    def shown(self) -> Callable[[str], str]:
        """Maps a roster tag to the tag that hangs on the tree now."""
        return partial(tag_shown, self.memory, self.plot.settings.plot)


Result = tuple[Memory, tuple[Effect, ...]]


def asked(memory: Memory, says: Saying | Says, tone: str) -> Result:
    """Say something and keep the state.

    A pending reading is echoed again, whole: a yes must answer the last thing that was heard.
    """
    said = says if isinstance(says, tuple) else (says,)
    if tone != "saved":
        said = (*said, *asked_now(memory))
    return memory, (Say(said, tone),)


def asked_now(memory: Memory) -> Says:
    """The whole question that is open now; empty if there is none.

    While a note is under way that is the note: a yes is not for the pending reading behind it.
    """
    if memory.phase is Phase.MEMO:
        return note_asked(memory)
    return echo.still_waiting(memory.pending) if memory.pending is not None else ()


def note_asked(memory: Memory) -> Says:
    """The question that the note under way waits on."""
    if memory.memo is not None:
        return note_echo.echoed(note_about(memory), memory.memo)
    return note_echo.whose(note_about(memory))


def note_about(memory: Memory) -> Saying:
    """Whose note it is."""
    shown = tag_shown(memory, memory.plot, memory.named) if memory.named else ""
    return note_echo.about(memory, memory.named, shown)


def refused(memory: Memory, rules: Rules, says: Saying) -> Result:
    """Say why nothing was done. No tree is in hand afterwards: it may have been about another."""
    return asked(out_of_hand(memory) if rules.edition > 1 else memory, says, "refused")


def out_of_hand(memory: Memory) -> Memory:
    """Leave no tree in hand; a pending reading stays pending.

    A note under way keeps the tree it was announced for; the tree is let go after it.
    """
    if memory.phase is Phase.MEMO:
        return replace(memory, resume=_unnamed(memory.resume), drafted=None)
    return replace(
        memory, phase=_unnamed(memory.phase), named=None, stem="", named_at="", drafted=None
    )


def _unnamed(phase: Phase) -> Phase:
    return Phase.IDLE if phase is Phase.NAMED else phase
