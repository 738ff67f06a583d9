"""From a `View` to what a screen tells of it: pure sayings, without widgets, words or colours.

Every status is told as well as coloured, so that nobody has to tell colours apart in glare.
"""

from __future__ import annotations

from dataclasses import replace

from rich.cells import cell_len

from callout.core.saying import Saying, Says, as_is, saying
from callout.core.told import status_told, unit_told
from callout.core.units import Unit
from callout.station.face import Level, Phase, SavedLine, View
from callout.terminal.plain import plain

TOO_LOUD_DBFS = -1.0
NO_SOUND_DBFS = -75.0
FLOOR_DBFS = -60.0
TOO_LOUD, NO_SOUND = saying("level-loud"), saying("level-none")

_UNITS = frozenset(unit.value for unit in Unit)
_REMEDIES = {"accept": saying("keys-looked"), "mute": saying("keys-voice-off")}
_IDLE = {
    "saved": saying("state-done"),
    "refused": saying("state-refused"),
    "ask": saying("state-asked"),
}


def padded(text: str, cells: int) -> str:
    """``text`` with spaces up to ``cells`` columns; a wide character takes two."""
    return text + " " * (cells - cell_len(text))


def waits(view: View) -> bool:
    """Whether a reading on the screen waits for a yes or a no."""
    return view.phase is Phase.PENDING


def _in_hand(view: View) -> bool:
    return view.phase in (Phase.NAMED, Phase.MEMO)


def tone(view: View) -> str:
    """The style of the state: ``ask``, ``check``, ``saved``, ``refused`` or ``calm``."""
    if waits(view):
        return "check" if view.warnings else "ask"
    if _in_hand(view):
        return "refused" if view.tone == "refused" else "ask"
    if view.tone in _IDLE:
        return view.tone
    return "check" if view.faults else "calm"


def state(view: View) -> Saying:
    """The state, in words that can be read from afar."""
    if view.phase is Phase.STARTING:
        return saying("state-starting")
    if view.paused:
        heard = state(replace(view, paused=False))
        idle = view.phase is Phase.IDLE
        return saying("state-paused", state=saying("keys-go-on") if idle else heard)
    if waits(view):
        if view.wants_accept:
            return saying("state-check-accept")
        return saying("state-check-confirm") if view.warnings else saying("state-confirm")
    if view.phase is Phase.NAMED:
        refused = view.tone == "refused"
        return saying("state-named-refused") if refused else saying("state-named")
    if view.phase is Phase.MEMO:
        return saying("state-note")
    if just_saved(view) is not None:
        return saying("state-saved")
    return _IDLE.get(view.tone) or _resting(view)


def _resting(view: View) -> Saying:
    """Never "listening" if nothing is listening."""
    if view.faults:
        return saying("state-fault")
    return saying("state-listening") if view.engine else saying("state-typing")


def state_keys(view: View, typing: bool) -> Says:
    """The keys that answer the state; different ones while a line is being typed."""
    if typing:
        return (saying("keys-send"), saying("keys-clear"))
    if not waits(view):
        return tuple(_REMEDIES[kind] for kind in view.remedies)
    yes = saying("keys-accept") if view.wants_accept else saying("keys-yes")
    return (yes, saying("keys-no"))


def unit_name(view: View) -> Saying:
    """The plot's unit, written out if it is a usual one."""
    if view.unit in _UNITS:
        return unit_told(Unit(view.unit))
    return as_is(plain(view.unit, 16))


def just_saved(view: View) -> SavedLine | None:
    """The reading saved just now, until something newer is shown."""
    if waits(view) or _in_hand(view) or view.tone != "saved" or not view.recent:
        return None
    newest = view.recent[0]
    return newest if view.answer == f"saved {newest.tag}" else None


def at_rest(view: View) -> bool:
    """Whether nothing is pending, no tree is in hand and nothing was asked or refused."""
    return view.phase is Phase.IDLE and view.tone in ("told", "rest")


def rested(view: View) -> View:
    """``view`` after what was saved has been shown long enough to be seen."""
    return replace(view, tone="rest", answer="")


def size(view: View) -> Saying:
    """The value or, if there is none, the tree's status."""
    return as_is(plain(view.value, 24)) if view.value else status_told(plain(view.status, 24))


def level_told(level: Level) -> Saying:
    """What the level means, in a word or two."""
    if level.dbfs >= TOO_LOUD_DBFS:
        return TOO_LOUD
    if not level.dbfs > NO_SOUND_DBFS:
        return NO_SOUND
    return saying("level-speech") if level.speaking else saying("level-quiet")


def level_cells(level: Level, cells: int) -> int:
    """How many of ``cells`` the meter fills; none if the level is not a number."""
    if not level.dbfs > FLOOR_DBFS:
        return 0
    return min(cells, round((level.dbfs - FLOOR_DBFS) / -FLOOR_DBFS * cells))
