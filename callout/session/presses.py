"""How a press of a digital tape meets its tree: a press is a callout like any other.

    the tree, then a press           a size for that tree, echoed
    a press, then the tree           the press waits and asks for its tree; then echoed
    a second press, same tape        the later takes the earlier's place
    a press of another tape          set aside: one reading is never swapped for another
    a press that carries a tag       for that tree, unless another one is in hand
    more than ``join_s`` apart       never joined: the press asks; a late tree asks for a press

Nothing here saves. Times stand on the events; a clock that went backwards joins nothing.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from callout.core.meaning import Meaning
from callout.core.saying import Says, saying
from callout.session.parts import with_parts
from callout.session.phase import Phase
from callout.session.propose import propose
from callout.session.state import Memory, Press
from callout.session.told import echo
from callout.session.turn import Result, Turn, asked


def pressed(turn: Turn) -> Result:
    """A tape was pressed: a size for the tree in hand, or one that waits for its tree."""
    if turn.edition == 1:  # joined outside the session then, and told by an entry of its own
        return asked(turn.memory, echo.whose(_press(turn)), "ask")
    press, other = _press(turn), _other_tape(turn)
    if other is not None:
        return _set_aside(turn, press, other)
    in_hand = turn.memory.named if _is_near(turn, turn.memory.named_at, press.at) else None
    busy = turn.memory.phase in (Phase.NAMED, Phase.PENDING)
    in_hand = in_hand if busy or turn.memory.phase is Phase.MEMO else None
    tag = turn.meaning.tag
    if tag and in_hand and tag != in_hand:
        said = saying(
            "press-other-tree", press=echo.pressed(press), tag=tag, named=turn.shown(in_hand)
        )
        return asked(turn.memory, said, "refused")
    if tag or in_hand:
        turn, dropped = let_press_go(turn)
        if tag and tag != in_hand:
            return propose(turn, tag, _as_reading(press), dropped)
        return propose(turn, str(in_hand), _with_parts(turn, press), dropped)
    return _wait(turn, press)


def _wait(turn: Turn, press: Press) -> Result:
    """No tree is in hand: the press waits, and replaces an earlier one."""
    before = turn.memory.press
    dropped = echo.dropped(before)
    memory = replace(turn.memory, press=press, reminded=0)
    said = (*dropped, echo.whose(press))
    if memory.pending is None:
        memory = replace(memory, said=said)
    return asked(memory, said, "ask")


def joined(turn: Turn, tag: str, stem: str = "") -> Result | None:
    """The waiting press, for the tree that was just named; None if none waits."""
    press = turn.memory.press
    if press is None or not _is_near(turn, press.at, turn.event.at):
        return None
    meaning = replace(_as_reading(press), stem=stem or None, species=turn.meaning.species)
    if turn.meaning.kind == "new":
        meaning = replace(meaning, kind="new")
    # The row keeps the words of the press; the name only says which tree it is for.
    event = replace(turn.event, source="tape", engine=press.device, words=press.words)
    taken = replace(turn, memory=replace(turn.memory, press=None), event=event)
    return propose(taken, tag, meaning)


def let_press_go(turn: Turn) -> tuple[Turn, Says]:
    """Drop a waiting press when a size comes another way, and say so."""
    press = turn.memory.press
    if press is None:
        return turn, ()
    return replace(turn, memory=replace(turn.memory, press=None)), echo.dropped(press)


def expired(memory: Memory, at: str, join_s: float) -> bool:
    """Whether the press has waited too long to be joined to any tree."""
    press = memory.press
    return press is not None and not _near(press.at, at, join_s)


def _press(turn: Turn) -> Press:
    meaning = turn.meaning
    assert meaning.value is not None
    unit = meaning.unit or turn.plot.settings.unit
    at = turn.event.pressed_at or turn.event.at
    return Press(meaning.value, unit, meaning.scale, turn.event.engine, at, turn.event.words)


def _as_reading(press: Press) -> Meaning:
    return Meaning("reading", None, press.value, press.unit, scale=press.scale)


def _with_parts(turn: Turn, press: Press) -> Meaning:
    """A press for the tree in hand keeps everything but the size of its draft."""
    return with_parts(replace(turn, meaning=replace(_as_reading(press), kind="press")))


def _other_tape(turn: Turn) -> str | None:
    """Another tape whose press was just taken, and still waits for its tree or its yes."""
    now = turn.event.pressed_at or turn.event.at
    press, pending = turn.memory.press, turn.waiting
    if press is not None and press.device != turn.event.engine:
        return press.device if _is_around(turn, press.at, now) else None
    if pending is not None and pending.draft.source == "tape":
        other = pending.draft.engine != turn.event.engine
        return pending.draft.engine if other and _is_around(turn, pending.asked_at, now) else None
    return None


def _set_aside(turn: Turn, press: Press, other: str) -> Result:
    if turn.memory.press is None:
        said = saying(
            "press-not-taken", press=echo.pressed(press), device=press.device, other=other
        )
        return asked(turn.memory, said, "refused")
    # Neither has a tree: nobody could tell which one the next tag is for.
    said = saying("press-both", other=other, device=press.device)
    return asked(replace(turn.memory, press=None), said, "refused")


def _is_near(turn: Turn, earlier: str, later: str) -> bool:
    return _near(earlier, later, float(turn.rules.join_s))


def _is_around(turn: Turn, one: str, other: str) -> bool:
    """Two tapes pressed at once may be reported in either order."""
    return _is_near(turn, one, other) or _is_near(turn, other, one)


def _near(earlier: str, later: str, join_s: float) -> bool:
    if not earlier:
        return False
    apart = datetime.fromisoformat(later) - datetime.fromisoformat(earlier)
    return timedelta(0) <= apart <= timedelta(seconds=join_s)
