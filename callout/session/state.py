"""What a session remembers between two events: immutable values, no behaviour of their own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import Enum

from callout.core.checking.checks import FirstLimits, Rules
from callout.core.events import KeepMemo
from callout.core.meaning import Meaning
from callout.core.model import Plot, Reading, Warned
from callout.core.saying import Saying, Says
from callout.core.units import Scale, Unit
from callout.session.records import Saved


class Phase(Enum):
    """Where the dialogue stands."""

    CLOSED = "closed"
    IDLE = "idle"
    NAMED = "tree named"
    PENDING = "awaiting confirmation"
    MEMO = "listening for a note"


@dataclass(frozen=True)
class Pending:
    """A reading that was echoed and waits for its confirmation; never saved without it.

    ``instead_of`` is what is saved of the stem already; ``hidden`` keeps its size unsaid, as a
    blind plot wants. A ``draft`` that is void takes it back, and ``stands`` then stands again.
    ``asked_at`` is when the echo was given; ``height_said`` the height as it was called, in feet.
    """

    draft: Reading
    warned: tuple[Warned, ...]
    accept_word: bool
    instead_of: Reading | None = None
    hidden: bool = False
    stands: Reading | None = None
    asked_at: str = ""
    height_said: Saying | None = None

    @property
    def number(self) -> int:
        """The number of its echo: the entry that it was given for."""
        return self.draft.entry

    @property
    def wants_accept(self) -> bool:
        """Whether a plain yes does not do: a warning stands, or something saved would change."""
        return (self.accept_word and bool(self.warned)) or self.instead_of is not None


@dataclass(frozen=True)
class Press:
    """A press of a tape that waits for its tree: ``words`` were sent, ``at`` that time."""

    value: Decimal
    unit: Unit
    scale: Scale | None
    device: str
    at: str
    words: str


@dataclass(frozen=True)
class Memory:
    """The whole state. ``saved`` holds this visit's current reading of every stem;

    ``done``, by plot, the entries that undo may take back, latest last; ``said`` the last question.
    ``named`` is the tree in hand, ``stem`` its stem if one was named, ``named_at`` when; ``press``
    one of a tape that waits for its tree. ``drafted`` is the reading last echoed for the tree in
    hand, whose stem, species and height a corrected size keeps; ``resume`` the phase to go back to
    after a note, ``memo`` a typed note that was echoed. ``lost_tags`` holds by plot and tag what
    was said of tags that are lost ('' for no new one) until a reading has it. ``elsewhere`` is the
    entry saved last in another plot than the open one. ``treeless`` is the size that was called
    with no tree in hand, until anything else is said. While ``paused``, nothing that is spoken is
    taken but the words that end it.
    """

    phase: Phase = Phase.CLOSED
    plot: str = ""
    who: str = ""
    named: str | None = None
    stem: str = ""
    named_at: str = ""
    press: Press | None = None
    pending: Pending | None = None
    saved: Saved = field(default_factory=Saved)
    done: Mapping[str, tuple[Reading, ...]] = field(default_factory=dict)
    said: Says = ()
    reminded: int = 0
    skipped: tuple[str, ...] = ()
    drafted: Reading | None = None
    resume: Phase = Phase.IDLE
    memo: KeepMemo | None = None
    lost_tags: Mapping[tuple[str, str], str] = field(default_factory=dict)
    elsewhere: int = 0
    treeless: Meaning | None = None
    paused: bool = False

    @property
    def asking(self) -> int:
        """The number of the echo that waits for its yes; 0 where none does."""
        if self.phase is Phase.MEMO and self.memo is not None:
            return self.memo.entry
        return self.pending.number if self.pending is not None else 0

    @property
    def asked_at(self) -> str:
        """When that echo was given; '' where none waits."""
        if self.phase is Phase.MEMO and self.memo is not None:
            return self.memo.at
        return (self.pending.asked_at or self.pending.draft.at) if self.pending is not None else ""

    @property
    def undoable(self) -> tuple[Reading, ...]:
        """What was saved in the open plot and may be taken back, latest last."""
        return self.done.get(self.plot, ())

    @property
    def latest(self) -> Reading | None:
        """What was saved last; None also where that was in another plot."""
        last = self.undoable[-1] if self.undoable else None
        return last if last is not None and last.entry > self.elsewhere else None

    def saved_elsewhere(self, here: str) -> int:
        """The entry saved last in any plot but ``here``; 0 for none."""
        others = (own[-1].entry for plot, own in self.done.items() if own and plot != here)
        return max(others, default=0)

    @property
    def listens_for_a_note(self) -> bool:
        """Whether whatever is said next is a note."""
        return self.phase is Phase.MEMO and self.memo is None


# A survey that says nothing of how its plots are walked is from before there were such rules.
UNSAID = Rules(walk=False, accept_word=False, first=FirstLimits(), edition=1)


@dataclass(frozen=True)
class Survey:
    """What the session may look up: every plot by name, with its trees and settings.

    ``rules`` says by plot how it is checked and walked.
    """

    plots: Mapping[str, Plot]
    rules: Mapping[str, Rules] = field(default_factory=dict)

    def rules_of(self, plot: str) -> Rules:
        """How ``plot`` is checked and walked; the default limits where nothing was set."""
        return self.rules.get(plot, UNSAID)


def left_to_do(memory: Memory, plot: Plot) -> tuple[str, ...]:
    """Tags of the plot without a reading or status on this visit, in roster order."""
    done = memory.saved.trees(plot.settings.plot)
    return tuple(tag for tag in plot.order if tag not in done)
