"""What a session remembers between two events: immutable values, no behaviour of their own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

from callout.core.checks import FirstLimits, Rules
from callout.core.model import Plot, Reading, Warned


class Phase(Enum):
    """Where the dialogue stands."""

    CLOSED = "closed"
    IDLE = "idle"
    NAMED = "tree named"
    PENDING = "awaiting confirmation"
    MEMO = "listening for a note"


Key = tuple[str, str, str]
"""Plot, tag, and the stem's number ('' for a tree of one stem)."""


@dataclass(frozen=True)
class Pending:
    """A reading that was echoed and waits for its confirmation; never saved without it."""

    draft: Reading
    warned: tuple[Warned, ...]
    accept_word: bool

    @property
    def wants_accept(self) -> bool:
        """Whether a plain yes does not do: a warning stands, and takes a word of its own."""
        return self.accept_word and bool(self.warned)


@dataclass(frozen=True)
class Memory:
    """The whole state. ``saved`` holds this visit's current reading of every stem;

    ``undoable`` the entries that undo may take back, latest last; ``said`` the last question.
    ``drafted`` is the reading last echoed for the tree in hand, whose stem, species and height a
    corrected size keeps; ``resume`` the phase to go back to after a note. ``lost_tags`` holds by
    plot and tag what was said of tags that are lost ('' for no new one) until a reading has it.
    """

    phase: Phase = Phase.CLOSED
    plot: str = ""
    who: str = ""
    named: str | None = None
    pending: Pending | None = None
    saved: Mapping[Key, Reading] = field(default_factory=dict)
    undoable: tuple[Reading, ...] = ()
    said: str = ""
    reminded: int = 0
    skipped: tuple[str, ...] = ()
    drafted: Reading | None = None
    resume: Phase = Phase.IDLE
    lost_tags: Mapping[tuple[str, str], str] = field(default_factory=dict)


# A survey that says nothing of how its plots are walked is from before there were such rules.
UNSAID = Rules(walk=False, accept_word=False, first=FirstLimits())


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
    done = {tag for where, tag, _ in memory.saved if where == plot.settings.plot}
    return tuple(tag for tag in plot.trees if tag not in done)
