"""From a `View` to the words a screen shows: pure, without widgets or colour values.

Every status is a word as well as a tone, so that nobody has to tell colours apart in glare.
"""

from __future__ import annotations

from dataclasses import replace

from callout.core.statuses import in_words
from callout.station.face import STARTING, Level, SavedLine, View
from callout.terminal.plain import plain

WAITING = "awaiting confirmation"
IDLE = "idle"
NAMED = "tree named"
MEMO = "listening for a note"
TOO_LOUD_DBFS = -1.0
NO_SOUND_DBFS = -75.0
FLOOR_DBFS = -60.0

_UNITS = {"in": "inches", "cm": "centimetres", "mm": "millimetres"}
_REMEDIES = {"accept": "F4 = I looked at it", "mute": "F7 = voice off"}
_IDLE_WORDS = {"saved": "DONE", "refused": "REFUSED", "ask": "PLEASE ANSWER"}


def waits(view: View) -> bool:
    """Whether a reading on the screen waits for a yes or a no."""
    return view.phase == WAITING


def tone(view: View) -> str:
    """The style of the state: ``ask``, ``check``, ``saved``, ``refused`` or ``calm``."""
    if waits(view):
        return "check" if view.warnings else "ask"
    if view.phase in (NAMED, MEMO):
        return "refused" if view.tone == "refused" else "ask"
    if view.tone in _IDLE_WORDS:
        return view.tone
    return "check" if view.faults else "calm"


def state_word(view: View) -> str:
    """The state, in words that can be read from afar."""
    if view.phase == STARTING:
        return "STARTING: YOU CAN TYPE"
    if view.paused:
        heard = replace(view, paused=False)
        return f"PAUSED: {'F9 = GO ON' if view.phase == IDLE else state_word(heard)}"
    if waits(view):
        if view.wants_accept:
            return "CHECK, THEN ACCEPT?"
        return "CHECK, THEN CONFIRM?" if view.warnings else "CONFIRM?"
    if view.phase == NAMED:
        return "NOT SAVED. DIAMETER?" if view.tone == "refused" else "DIAMETER?"
    if view.phase == MEMO:
        return "NOTE: SPEAK NOW"
    if just_saved(view) is not None:
        return "SAVED"
    return _IDLE_WORDS.get(view.tone) or _resting(view)


def _resting(view: View) -> str:
    """Never "listening" if nothing is listening."""
    if view.faults:
        return "FAULT: SEE BELOW"
    return "LISTENING" if view.engine else "READY FOR TYPING"


def state_keys(view: View, typing: bool) -> str:
    """The keys that answer the state; different ones while a line is being typed."""
    if typing:
        return "Enter = send the line   Esc = clear it"
    if not waits(view):
        return "   ".join(_REMEDIES[kind] for kind in view.remedies)
    return "F4 = accept   Esc = no" if view.wants_accept else "Enter = yes   Esc = no"


def unit_name(view: View) -> str:
    """The plot's unit, written out if it is a usual one."""
    return _UNITS.get(view.unit, plain(view.unit, 16))


def just_saved(view: View) -> SavedLine | None:
    """The reading saved just now, until something newer is shown."""
    busy = waits(view) or view.phase in (NAMED, MEMO)
    if busy or view.tone != "saved" or not view.recent:
        return None
    newest = view.recent[0]
    tag = newest.tag.partition(" ")[0]
    return newest if view.answer == f"saved {tag}" else None


def at_rest(view: View) -> bool:
    """Whether nothing is pending, no tree is in hand and nothing was asked or refused."""
    return view.phase == IDLE and not waits(view) and view.tone in ("told", "rest")


def rested(view: View) -> View:
    """``view`` after what was saved has been shown long enough to be seen."""
    return replace(view, tone="rest", answer="")


def progress(view: View) -> str:
    """How much of the plot is done: ``12 of 300 done, 288 left``."""
    return f"{view.done} of {view.total} done, {len(view.left)} left"


def size(view: View) -> str:
    """The value or, if there is none, the tree's status."""
    return plain(view.value or in_words(view.status), 24)


def next_few(view: View, width: int, rows: int) -> str:
    """As many of the next tags as fit, then how many more."""
    if not view.left:
        return "nothing: every tree is accounted for" if view.total else "nothing"
    room = max(0, width * rows - len(" and 9999 more"))
    shown: list[str] = []
    for tag in view.left:
        cleaned = plain(tag, 16)
        room -= len(cleaned) + 2
        if room < 0:
            break
        shown.append(cleaned)
    more = len(view.left) - len(shown)
    return "  ".join(shown) + (f"  and {more} more" if more else "")


def level_word(level: Level) -> str:
    """What the level means, in a word or two."""
    if level.dbfs >= TOO_LOUD_DBFS:
        return "TOO LOUD"
    if not level.dbfs > NO_SOUND_DBFS:
        return "NO SOUND"
    return "speech" if level.speaking else "quiet"


def level_cells(level: Level, cells: int) -> int:
    """How many of ``cells`` the meter fills; none if the level is not a number."""
    if not level.dbfs > FLOOR_DBFS:
        return 0
    return min(cells, round((level.dbfs - FLOOR_DBFS) / -FLOOR_DBFS * cells))
