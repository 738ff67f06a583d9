"""Lines typed letter by letter at any moment, and the same lines sent at once: the same journal.

    python tests/terminal/typing_lines.py --lines 10000

Two surveys alike are brought to the same moment; then a line goes to one key by key, at any speed,
through all that a screen's keys pass, and to the other whole. Lines and survey are invented.
"""

from __future__ import annotations

import argparse
import random
import string
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "station"))
sys.path.insert(0, str(Path(__file__).parents[1] / "journal"))

from journal_tools import survey
from station_tools import LANGUAGE, clock

from callout.journal.folder import SurveyFolder
from callout.sound.sound_files import encode_flac
from callout.station.face import MOST_TYPED, View
from callout.station.showing.station_view import view_of
from callout.station.station import Station
from callout.terminal.keyboard import Do, Keyboard, Submit

WORDS = (
    "undo", "accept", "yes", "no", "confirm", "skip", "repeat", "mute", "note", "help",
    "scratch that", "what's left", "where was I", "A12 30.4", "U7 24.6", "S4 12.1", "M91 9.9",
    "R83 25.1", "a", "u", "r", "s", "m", "/", "?", " ", "83 25.1", "91 12.9", "83 2.1", "24.6",
    "101 30.0", "tree 83",
    "new tree 205 8.1", "83 dead standing", "tag lost new tag 312", "correction 25.2", "83 25.1 in",
    "plot complete", "girth 70", "83 " + "9" * 27, "0", "-1", "83 0.0", "83,25.1",
)  # fmt: skip
ODD = "\u202e\u200b\xa0éßẞ١٢½🌲👩‍🌾\u0301·%'\"\\[]{}"
KEYS = string.ascii_letters + string.digits + string.punctuation + " "
NAMES = {" ": "space", "/": "slash", "?": "question_mark", ".": "full_stop"}


def line(chance: random.Random) -> str:
    """Something that somebody might type, or that a cat might."""
    kind = chance.randrange(6)
    if kind <= 2:
        return chance.choice(WORDS)
    if kind == 3:
        return f"{' ' * chance.randrange(3)}{chance.choice(WORDS)} {chance.choice(WORDS)}"
    if kind == 4:
        return "".join(chance.choice(KEYS) for _ in range(chance.randrange(1, 30)))
    pool = KEYS + ODD
    most = MOST_TYPED + 40 if chance.randrange(40) == 0 else 12
    return "".join(chance.choice(pool) for _ in range(chance.randrange(1, most)))


MOMENTS: dict[str, Callable[[Station], None]] = {
    "as it stands": lambda station: None,
    "a warned reading waits": lambda station: station.type("83 2.1"),
    "a reading waits": lambda station: station.type("91 12.9"),
    "a note is listened for": lambda station: station.press("note"),
    "just saved": lambda station: (station.type("83 25.1"), station.press("accept"))[0],
    "a tree is named": lambda station: station.type("tree 83"),
    "something was refused": lambda station: station.type("tree 7777 1"),
    "another plot": lambda station: station.open("K2", "R.V."),
    "this plot": lambda station: station.open("K1", "R.V."),
    "told of a fault": lambda station: station.say("the microphone is gone", "told"),
    "a long silence": lambda station: station.time_out(),
}


class Desk:
    """A screen's keys, without the screen, at one station."""

    def __init__(self, station: Station) -> None:
        self.station, self.now = station, 100.0

    def view(self) -> View:
        return view_of(self.station, said="", heard="", tone="told", muted=False, faults=())

    def letters(self, text: str, chance: random.Random) -> None:
        """Type ``text`` and Enter; the screen stands, is just starting, or lies under the help."""
        keyboard = Keyboard(covered=chance.randrange(4) == 0)
        view = self.view()
        keyboard.showed(view, self.now)
        self.now += chance.choice([0.0, 0.3, 5.0])
        for character in [*text, "\r"]:
            self.now += chance.choice([0.0, 0.01, 0.1, 0.9])
            name = "enter" if character == "\r" else NAMES.get(character, character)
            for asked in keyboard.key(name, character, view, self.now):
                if isinstance(asked, Submit):
                    self.station.type(asked.text, about=asked.waiting)
                else:
                    assert not isinstance(asked, Do) or asked.what == "uncover", (asked, text)


def at_once(station: Station, view: View, text: str) -> None:
    """The same, whole: what a program would send over the socket."""
    if text.strip() and len(text) <= MOST_TYPED:
        station.type(text.strip(), about=view.waiting)


def entries(folder: SurveyFolder) -> list[tuple[str, str, str]]:
    """All of the journal: kinds, times and bodies."""
    with folder.reading() as reader:
        return [(entry.kind, entry.at, entry.body) for entry in reader.entries()]


def differing(place: Path, lines: int, seed: int) -> list[str]:
    """Type so many lines both ways; what differed."""
    chance = random.Random(seed)
    folders = [survey(place / name) for name in ("letters", "whole")]
    one, other = (Station(folder, LANGUAGE, None, encode_flac, clock()) for folder in folders)
    desk, wrong = Desk(one), []
    try:
        for station in (one, other):
            station.open("K1", "R.V.")
        for _ in range(lines):
            moment, text = chance.choice(list(MOMENTS)), line(chance)
            for station in (one, other):
                MOMENTS[moment](station)
            view = desk.view()
            desk.letters(text, chance)
            at_once(other, view, text)
            if one.memory != other.memory:
                wrong.append(f"{moment}: {text!r}")
                break
    finally:
        one.close()
        other.close()
    if not wrong and entries(folders[0]) != entries(folders[1]):
        wrong.append("the journals differ")
    return wrong


def main() -> int:
    """Type many."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lines", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=83)
    args = parser.parse_args()
    memory = "/dev/shm" if Path("/dev/shm").is_dir() else None  # every line is a commit, or two
    with tempfile.TemporaryDirectory(dir=memory) as folder:
        wrong = differing(Path(folder), args.lines, args.seed)
    print("\n".join(wrong) or f"{args.lines} lines, letter by letter and at once: the same journal")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
