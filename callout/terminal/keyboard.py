"""What each key does: keys and views in, requests to the station out. Pure; time is passed in.

A key with a character never does anything else, whatever the state of the dialogue, so that a line
typed letter by letter is the same as the line sent at once. Other keys act: Enter and Esc on an
empty line, function keys, and a presenter's Page Down and Page Up.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from callout.core.saying import Saying, saying
from callout.station.face import MOST_KEYS, MOST_TYPED, View
from callout.terminal.key_guard import KeyGuard
from callout.terminal.labels import waits
from callout.terminal.typed_line import TypedLine

COMMANDS = {
    "f1": "help",
    "f3": "repeat",
    "f4": "accept",
    "f5": "skip",
    "f6": "talk",
    "f7": "mute",
    "f8": "undo",
    "f9": "pause",
    "f10": "next",
    "f12": "plot",
    "pagedown": "confirm",
    "pageup": "reject",
}
ON_EMPTY_LINE = {"enter": "confirm", "escape": "reject"}
TOO_SOON = saying("notice-too-soon")
NOTHING_WAITS = saying("notice-nothing-waits")
TOO_LONG = saying("notice-too-long", count=MOST_TYPED)
_YES = ("confirm", "accept")
_OWN = ("help", "talk", "mute")
# A line end typed before the screen was ready arrives as the latter.
_ENTER = ("enter", "ctrl+j")


@dataclass(frozen=True)
class Submit:
    """Send a typed line; ``waiting`` is the pending reading shown when the line was begun."""

    text: str
    waiting: int
    keys_s: tuple[float, ...]


@dataclass(frozen=True)
class Press:
    """Send a command; ``waiting`` is the pending reading shown."""

    kind: str
    waiting: int


@dataclass(frozen=True)
class Do:
    """An action of the screen itself: ``help``, ``talk``, ``mute`` or ``uncover``."""

    what: str


@dataclass(frozen=True)
class Notice:
    """Say why a key did nothing."""

    says: Saying


Asked = Submit | Press | Do | Notice


class Keyboard:
    """The typed line, and what was seen of pending readings.

    ``plot`` is the word that a line begins with to go to another plot. ``covered``: the safety
    lines or the help lie over the screen. Any key takes them away; only a key with a character
    does more.
    """

    def __init__(self, plot: str = "plot", covered: bool = False) -> None:
        self._plot = f"{plot} "
        self.line = TypedLine()
        self.covered = covered
        self._guard = KeyGuard()
        self._shown: View | None = None
        self._keys_s: deque[float] = deque(maxlen=MOST_KEYS)
        self._begun_with = 0

    def showed(self, view: View, now: float) -> None:
        """``view`` was painted, at ``now`` seconds."""
        self._shown = view
        self._guard.showed(view, now)

    def uncovered(self, now: float) -> None:
        """The cover is gone: the pending reading is seen from now on."""
        self.covered = False
        self._guard.uncovered(now)

    def knows(self, name: str, character: str | None) -> bool:
        """Whether the key does anything here."""
        editing = ("left", "right", "home", "end", "backspace", "delete")
        named = name in COMMANDS or name in ON_EMPTY_LINE or name in _ENTER or name in editing
        return named or bool(_typed(name, character))

    def key(self, name: str, character: str | None, newest: View, now: float) -> list[Asked]:
        """A key by the terminal's name, with its character.

        ``newest`` is the station's latest view, painted or not.
        """
        name = "enter" if name in _ENTER else name
        typed = _typed(name, character)
        if self.covered:
            self.uncovered(now)
            self._guard.fresh(name, now)  # a held key acts no more
            return [Do("uncover"), *(self._put(typed, now) if typed else ())]
        if typed:
            return self._put(typed, now)
        if name in COMMANDS:
            return self._command(name, COMMANDS[name], newest, now)
        if self.line.text:
            return self._edit(name, now)
        if name in ON_EMPTY_LINE:
            return self._command(name, ON_EMPTY_LINE[name], newest, now)
        return []

    def paste(self, text: str, now: float) -> list[Asked]:
        """The first line of ``text`` goes in; a line break neither sends nor confirms."""
        lines = text.splitlines()
        asked: list[Asked] = []
        if self.covered:
            self.uncovered(now)
            asked.append(Do("uncover"))
        return [*asked, *self._put(lines[0].replace("\t", " "), now)] if lines else asked

    def _put(self, text: str, now: float) -> list[Asked]:
        if not self.line.text:
            self._keys_s.clear()
            self._begun_with = self._waiting()
        self._keys_s.append(now)
        self.line = self.line.put(text)
        return []

    def _edit(self, name: str, now: float) -> list[Asked]:
        line = self.line
        if name == "enter":
            return self._send(now)
        moves = {"left": line.at - 1, "right": line.at + 1, "home": 0, "end": len(line.text)}
        if name in moves:
            self.line = line.moved(moves[name])
        elif name == "escape":
            self._guard.fresh(name, now)  # if held, it must not say no as well
            self.line = TypedLine()
        elif name == "backspace":
            self.line = line.without_last()
        elif name == "delete":
            self.line = line.without_next()
        return []

    def _send(self, now: float) -> list[Asked]:
        """Send the line and empty it; the Enter that sent it must not confirm too, if held."""
        self._guard.fresh("enter", now)
        line, self.line = self.line, TypedLine()
        self._keys_s.append(now)
        if line.too_long:
            return [Notice(TOO_LONG)]
        text = line.text.strip()
        return [Submit(text, self._begun_with, tuple(self._keys_s))] if text else []

    def _command(self, name: str, kind: str, newest: View, now: float) -> list[Asked]:
        """Let through once, however long the key is held."""
        if not self._guard.fresh(name, now):
            return [Notice(TOO_SOON)] if kind in _YES and waits(newest) else []
        if kind in _OWN:
            self.covered = kind == "help"
            return [Do(kind)]
        if kind == "plot":
            return [] if self.line.text else self._put(self._plot, now)
        if kind == "pause" and newest.paused:
            kind = "resume"
        if kind not in _YES:
            return [Press(kind, self._waiting())]
        if not waits(newest):
            looked = kind == "accept" and "accept" in newest.remedies
            return [Press(kind, 0) if looked else Notice(NOTHING_WAITS)]
        if not self._guard.seen(newest, now):
            return [Notice(TOO_SOON)]
        return [Press(kind, self._waiting())]

    def _waiting(self) -> int:
        """The number of the reading shown as pending, whatever is pending by now; 0 for none."""
        return self._shown.waiting if self._shown is not None else 0


def _typed(name: str, character: str | None) -> str:
    """The character a key adds to the line, or ''; a tab is a space between two words."""
    if name == "tab":
        return " "
    if character is None or len(character) != 1 or character < " " or "\x7f" <= character < "\xa0":
        return ""
    return character
