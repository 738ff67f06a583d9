"""A station's public face: what it shows, and what may be asked of it.

Plain values for a screen to paint; no widget, no SQL, no session internals.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from callout.grammar.words import MAX_CHARACTERS
from callout.session.phase import Phase as Phase

MOST_TYPED = MAX_CHARACTERS
"""Characters of a typed line. A longer one is refused whole, never cut."""
MOST_KEYS = 400
"""How many key times are kept, the newest; more would not help to tell who typed."""


@dataclass(frozen=True)
class SavedLine:
    """One saved reading for the list of the last few: all text, ready to show."""

    tag: str
    told: str
    unit: str
    time: str
    warned: bool


@dataclass(frozen=True)
class View:
    """Everything a screen shows; what a station tells is in the survey's language.

    Sizes are text in the plot's own unit, ``status`` is by its name in journals. ``waiting`` is the
    number of the pending echo (0: none), ``wants_accept`` says that a plain yes does not save it.
    """

    plot: str
    who: str
    unit: str
    phase: Phase
    waiting: int = 0
    tag: str = ""
    species: str = ""
    value: str = ""
    status: str = ""
    before: str = ""
    change: str = ""
    warnings: tuple[str, ...] = ()
    wants_accept: bool = False
    looks: tuple[str, ...] = ()
    said: str = ""
    answer: str = ""
    """The key of the first message; ``saved 83``, as ``recent`` has it, if a reading was saved."""
    heard: str = ""
    tone: str = "told"
    left: tuple[str, ...] = ()
    next_tag: str = ""
    """The next tree of the list, if the plot is walked by it."""
    done: int = 0
    total: int = 0
    recent: tuple[SavedLine, ...] = ()
    engine: str = ""
    muted: bool = False
    faults: tuple[str, ...] = ()
    remedies: tuple[str, ...] = ()
    """What a key does about the faults: ``accept`` (they were looked at), ``mute`` (the voice)."""
    hints: tuple[str, ...] = ()
    """What is good to know, and no fault."""
    paused: bool = False
    """Whether nothing spoken is taken."""
    sounding: bool = False
    """Whether the voice speaks."""
    about: str = ""
    """A description of the plot: site, treatment, area, age, painted line."""
    talk: str = ""
    """``open`` or ``closed`` if a key opens the microphone, else ''."""


@dataclass(frozen=True)
class Level:
    """The microphone's level, dBFS, and whether speech is being heard."""

    dbfs: float
    speaking: bool


Update = View | Level


class Face(Protocol):
    """A station as a screen sees it.

    Calls return at once; the listener is called with updates, on a thread of the station's own.
    """

    def view(self) -> View:
        """The present state."""

    def listen(self, listener: Callable[[Update], None]) -> None:
        """Call ``listener`` on every change from now on."""

    def submit(self, text: str, waiting: int, keys_s: tuple[float, ...] = ()) -> None:
        """A callout that was typed; ``keys_s`` tells a device's typing from a person's.

        ``waiting`` as in ``press``: a typed "yes" is an answer too.
        """

    def press(self, kind: str, waiting: int) -> None:
        """A key for a command: confirm, accept, reject, undo, repeat, skip, pause, resume, next.

        ``waiting`` is that of the view which the person answers, 0 if it showed nothing pending; an
        answer to anything but the pending echo is refused.
        """

    def mute(self, muted: bool) -> None:
        """Silence or restore the spoken echo."""

    def talk(self) -> None:
        """The key that opens the microphone, if the survey has one."""
