"""What goes into a session and what comes out of it.

Events carry their own time and journal entry number, so that feeding the same events to a fresh
session gives the same effects. Effects tell the edges what to do; nothing here does it.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from callout.core.meaning import Meaning
from callout.core.model import Reading
from callout.core.saying import Saying, Says


@dataclass(frozen=True)
class Opened:
    """A person starts (or resumes) work in a plot. ``at`` is ISO 8601 with offset."""

    entry: int
    at: str
    plot: str
    who: str


@dataclass(frozen=True)
class Heard:
    """A callout from any source: ``voice``, ``typed``, ``key`` or ``tape``.

    ``meanings`` holds the one meaning, or several possible ones, or none; ``problem`` says why none
    could be taken. ``confidence`` runs from 0 to 1. ``audio`` is the sound's SHA-256. ``about`` is
    the number of the echo that this answers, that is, of the entry the echo was given for; 0 if no
    echo was waiting, None if the sender did not say. ``pressed_at`` is when a tape was pressed, if
    before ``at``; ``engine`` then names the tape.
    """

    entry: int
    at: str
    source: str
    words: str
    meanings: tuple[Meaning, ...]
    problem: Saying | None = None
    engine: str = ""
    confidence: Decimal | None = None
    audio: str | None = None
    about: int | None = None
    pressed_at: str | None = None


@dataclass(frozen=True)
class TimedOut:
    """Nothing was said for a while after the session's last question."""

    entry: int
    at: str


Event = Opened | Heard | TimedOut


@dataclass(frozen=True)
class Say:
    """Tell this, one sentence each.

    ``tone``: ``ask``, ``saved``, ``refused``, ``told``, or ``over`` (speech over our own voice).
    """

    says: Says
    tone: str = "told"


@dataclass(frozen=True)
class Save:
    """Make this reading durable, before anything is said about it."""

    reading: Reading


@dataclass(frozen=True)
class KeepMemo:
    """A note about ``tag`` (None: about the plot): the sound ``audio``, or ``words`` if typed."""

    entry: int
    at: str
    tag: str | None
    audio: str | None
    words: str


Effect = Say | Save | KeepMemo
