"""A scripted station for the terminal's tests: keeps a view, records what it was asked for.

All data is invented (site "Harrow Fen").
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from callout.core.saying import saying
from callout.session.phase import Phase
from callout.station.face import SavedLine, Update, View
from callout.station.showing.safety import CAUTION
from callout.terminal.app import CalloutApp
from callout.wording.language_files import load_wording

TAGS = tuple(str(number) for number in range(1, 301))
RECENT = (
    SavedLine("82", "18.2", "in", "10:42", False),
    SavedLine("81", "31.7", "in", "10:40", True),
    SavedLine("80", "dead standing", "", "10:38", False),
    SavedLine("79", "9.0", "in", "10:37", False),
)
IDLE = View(
    plot="K1",
    who="R.V.",
    unit="in",
    phase=Phase.IDLE,
    said="Plot K1. 218 left: 83, 84, 85, 86, 87 and 213 more.",
    left=TAGS[82:],
    done=82,
    total=300,
    recent=RECENT,
    engine="pocketsphinx, English, plot grammar of 300 tags",
)
PENDING = replace(
    IDLE,
    phase=Phase.PENDING,
    tag="83",
    species="Quercus rubra",
    value="25.4",
    before="25.0 in, 2019-06-04",
    change="up 0.4",
    said="83, 25.4. Confirm?",
    heard="tree eighty three twenty five point four",
    tone="ask",
)
WARNED = replace(
    PENDING,
    value="24.6",
    change="down 0.4",
    wants_accept=True,
    warnings=("that is down 0.4",),
    looks=("tape slack or twisted? above the paint line?",),
    said="83, 24.6, that is down 0.4. Tape slack or twisted? above the paint line? Accept?",
    heard="tree eighty three twenty four point six",
)
SAVED = replace(
    IDLE,
    said="Saved 83, 25.4.",
    heard="confirm",
    tone="saved",
    answer="saved 83",
    left=TAGS[83:],
    done=83,
    recent=(SavedLine("83", "25.4", "in", "10:44", False), *RECENT),
)
ASKED = replace(
    IDLE,
    said="Tree 83 with 20, or tree 8320? Say tree, then number, then size.",
    heard="tree eighty three twenty",
    tone="ask",
)
REFUSED = replace(IDLE, said="Nothing waits for confirmation.", heard="confirm", tone="refused")
NAMED = replace(
    IDLE, phase=Phase.NAMED, tag="83", species="Quercus rubra", before="25.0 in, 2019-06-04",
    said="Tree 83, Quercus rubra. Diameter?", heard="tree eighty three", tone="ask",
)  # fmt: skip
DEAD = replace(
    PENDING, tag="140", value="", status="dead_standing", before="12.1 in, 2019-06-04", change="",
    said="140, dead standing. Confirm?", heard="tree one forty dead standing",
)  # fmt: skip
FAULTY = replace(
    IDLE, muted=True,
    faults=("microphone gone: plug it in again, typing still works", "disk nearly full: 12 MB"),
)  # fmt: skip
CROWDED = replace(
    WARNED, tag="1283", value="124.6", unit="cm", species="Fraxinus pennsylvanica",
    wants_accept=True,
    warnings=(
        "already 124.9 today", "you said in, this plot is kept in cm",
        "outside 1.0 to 99.9 cm", "that is up 99.6",
    ),
    looks=(
        "is this the right tag?", "which unit does the tape show?",
        "is the decimal point right?", "is this the right tree?",
    ),
    faults=("microphone gone: plug it in again",),
)  # fmt: skip


CAUTIONS = (*CAUTION, saying("all-voices-kept"))


def screen(
    face: FakeFace,
    safety: bool = False,
    clock: Callable[[], float] = lambda: 100.0,
    language: str = "en",
) -> CalloutApp:
    """The app that shows ``face``, the cautions first if ``safety``."""
    return CalloutApp(face, load_wording(language), CAUTIONS if safety else (), clock)


class FakeFace:
    """Stands still unless told to ``become`` another view; keeps every call in ``asked``."""

    def __init__(self, view: View = IDLE) -> None:
        self.now = view
        self.asked: list[tuple[str, object]] = []
        self.answered: list[int] = []
        self.listeners: list[Callable[[Update], None]] = []

    def view(self) -> View:
        return self.now

    def listen(self, listener: Callable[[Update], None]) -> None:
        self.listeners.append(listener)

    def tell(self, update: Update) -> None:
        if isinstance(update, View):
            self.now = update
        for listener in self.listeners:
            listener(update)

    def submit(self, text: str, waiting: int, keys_s: tuple[float, ...] = ()) -> None:
        self.asked.append(("submit", text))
        self.answered.append(waiting)

    def press(self, kind: str, waiting: int) -> None:
        self.asked.append(("press", kind))
        self.answered.append(waiting)

    def talk(self) -> None:
        self.asked.append(("talk", None))
        self.tell(replace(self.now, talk="open" if self.now.talk == "closed" else "closed"))

    def mute(self, muted: bool) -> None:
        self.asked.append(("mute", muted))
        self.tell(replace(self.now, muted=muted))
