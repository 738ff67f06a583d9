"""What a session remembers between two events: immutable values without behaviour."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from callout.core.checking.checks import FirstLimits, Rules
from callout.core.events import KeepMemo
from callout.core.meaning import Meaning
from callout.core.model import Plot, Reading, Warned
from callout.core.saying import Saying, Says
from callout.core.units import Scale, Unit
from callout.session.phase import Phase
from callout.session.records import Done, Saved


@dataclass(frozen=True)
class Pending:
    """A reading that was echoed and waits for its confirmation; never saved without it.

    ``instead_of`` is the reading already saved for the stem; ``hidden`` keeps its size unsaid, for
    a blind plot. A ``draft`` that is void takes it back, and ``stands`` then stands again.
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
        """Whether a plain yes is not enough: a warning stands, or something saved would change."""
        return (self.accept_word and bool(self.warned)) or self.instead_of is not None


@dataclass(frozen=True)
class Press:
    """A press of a tape that waits for its tree; the tape sent ``words`` at time ``at``."""

    value: Decimal
    unit: Unit
    scale: Scale | None
    device: str
    at: str
    words: str


@dataclass(frozen=True)
class Memory:
    """The whole state.

    ``saved`` holds this visit's current reading of every stem; ``done``, by plot, the entries that
    undo may take back, latest last; ``said`` the last question. ``named`` is the tree in hand,
    ``stem`` its stem if one was named, ``named_at`` when; ``press`` a press of a tape that waits
    for its tree. ``drafted`` is the reading last echoed for the tree in hand, whose stem, species
    and height a corrected size keeps; ``resume`` the phase to return to after a note, ``memo`` a
    typed note that was echoed. ``lost_tags`` holds, by plot and tag, the new tag reported for each
    lost one ('' for none) until a reading has it. ``elsewhere`` is the entry saved last in a plot
    other than the open one. ``treeless`` is the size called with no tree in hand, until anything
    else is said. While ``paused``, only the words that end the pause are taken from speech.
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
    done: Done = field(default_factory=Done)
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
        """The number of the pending echo; 0 if there is none."""
        if self.phase is Phase.MEMO and self.memo is not None:
            return self.memo.entry
        return self.pending.number if self.pending is not None else 0

    @property
    def asked_at(self) -> str:
        """When the pending echo was given; '' if there is none."""
        if self.phase is Phase.MEMO and self.memo is not None:
            return self.memo.at
        return (self.pending.asked_at or self.pending.draft.at) if self.pending is not None else ""

    @property
    def undoable(self) -> tuple[Reading, ...]:
        """The readings of the open plot that may be taken back, latest last."""
        return self.done.get(self.plot, ())

    @property
    def latest(self) -> Reading | None:
        """The reading saved last; None also if that was in another plot."""
        last = self.undoable[-1] if self.undoable else None
        return last if last is not None and last.entry > self.elsewhere else None

    def saved_elsewhere(self, here: str) -> int:
        """The entry saved last in any plot but ``here``; 0 for none."""
        return max((self.done.last(plot) for plot in self.done if plot != here), default=0)

    @property
    def listens_for_a_note(self) -> bool:
        """Whether whatever is said next is a note."""
        return self.phase is Phase.MEMO and self.memo is None


# A survey that sets no rules for its plots is from before there were any.
UNSAID = Rules(walk=False, accept_word=False, first=FirstLimits(), edition=1)


@dataclass(frozen=True)
class Survey:
    """What the session may look up: every plot by name, with its trees and settings.

    ``rules`` says by plot how it is checked and walked.
    """

    plots: Mapping[str, Plot]
    rules: Mapping[str, Rules] = field(default_factory=dict)

    def rules_of(self, plot: str) -> Rules:
        """The rules of ``plot``; the default ones if none were set."""
        return self.rules.get(plot, UNSAID)


def left_to_do(memory: Memory, plot: Plot) -> tuple[str, ...]:
    """Tags of the plot without a reading or status on this visit, in roster order."""
    done = memory.saved.trees(plot.settings.plot)
    return tuple(tag for tag in plot.order if tag not in done)
