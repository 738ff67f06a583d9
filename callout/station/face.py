"""What a station shows of itself, and what may be asked of it: the terminal's only view.

Plain values for a screen to paint; no widget, no SQL, no session internals.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from callout.grammar.words import MAX_CHARACTERS

MOST_TYPED = MAX_CHARACTERS
"""Of a typed line. A longer one is refused whole, never cut."""
MOST_KEYS = 400
"""Times of its keys, the newest; more tell nothing more about who typed."""

STARTING = "starting"
"""The phase of a view while there is no station yet: only what was typed is shown."""


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
    """Everything a screen shows. Sizes are text in the plot's own unit; ``waiting`` is the number

    of the echo that waits for its yes (0: none does), ``wants_accept`` that a plain yes does not
    save it.
    """

    plot: str
    who: str
    unit: str
    phase: str
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
    """The key of what was told first; ``saved 83`` where a reading was saved."""
    heard: str = ""
    tone: str = "told"
    left: tuple[str, ...] = ()
    next_tag: str = ""
    """The next tree of the list, where the walk goes by it."""
    done: int = 0
    total: int = 0
    recent: tuple[SavedLine, ...] = ()
    engine: str = ""
    muted: bool = False
    faults: tuple[str, ...] = ()
    about: str = ""
    """What the plot is: site, treatment, area, age, painted line."""
    talk: str = ""
    """``open`` or ``closed`` where a key opens the microphone, else nothing."""


@dataclass(frozen=True)
class Level:
    """The microphone's level, dBFS, and whether speech is being heard."""

    dbfs: float
    speaking: bool


Update = View | Level


class Face(Protocol):
    """A station as a screen sees it. Calls return at once; updates come to the listener,

    on a thread of the station's own.
    """

    def view(self) -> View:
        """The state as it stands."""

    def listen(self, listener: Callable[[Update], None]) -> None:
        """Tell ``listener`` of every change from now on."""

    def submit(self, text: str, waiting: int, keys_s: tuple[float, ...] = ()) -> None:
        """A callout that was typed; ``keys_s`` tells a device's typing from a person's.

        ``waiting`` as in ``press``: a typed "yes" is an answer too.
        """

    def press(self, kind: str, waiting: int) -> None:
        """A key for a command: confirm, accept, reject, undo, repeat, scratch, left, where, skip.

        ``waiting`` is that of the view which the person answers, 0 where it showed nothing that
        waits; an answer to anything else than what waits is refused.
        """

    def mute(self, muted: bool) -> None:
        """Silence or restore the spoken echo."""

    def talk(self) -> None:
        """The key that opens the microphone, where the survey has one."""
