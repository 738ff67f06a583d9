"""Answers to questions and notes: nothing here touches a reading.

Which callout leads here is for the table in ``machine``.
"""

from __future__ import annotations

from dataclasses import replace

from callout.core.events import Heard, KeepMemo, Say
from callout.session import echo
from callout.session.state import Memory, Phase, left_to_do
from callout.session.tags import tag_shown
from callout.session.turn import Result, Turn, asked

# A plot called complete too early: so many of the trees left are named.
_MOST_NAMED = 30


def repeat(turn: Turn) -> Result:
    return turn.memory, (Say(turn.memory.said or "Nothing to repeat.", "ask"),)


def left(turn: Turn) -> Result:
    return turn.memory, (Say(echo.left(left_to_do(turn.memory, turn.plot))),)


def where(turn: Turn) -> Result:
    last = [item for item in turn.memory.undoable if item.plot == turn.memory.plot][-1:]
    said = f"Plot {turn.memory.plot}. "
    said += f"Last saved {echo.told(last[0])}. " if last else "Nothing saved yet. "
    if turn.memory.pending:
        said += f"Waiting: {echo.question(turn.memory.pending)}"
    elif turn.memory.named:
        shown = tag_shown(turn.memory, turn.memory.plot, turn.memory.named)
        said += f"In hand: tree {shown}."
    return turn.memory, (Say(said.strip()),)


def well(turn: Turn) -> Result:
    """The answer of somebody who works alone; whoever asks keeps the time."""
    return asked(turn.memory, "good, all well at " + turn.event.at[11:16], "told")


def note(turn: Turn) -> Result:
    said = "Note: speak now."
    back = turn.memory.resume if turn.memory.phase is Phase.MEMO else turn.memory.phase
    return replace(turn.memory, phase=Phase.MEMO, resume=back), (Say(said, "ask"),)


def memo(memory: Memory, event: Heard) -> Result:
    """Whatever is said now is kept as sound, and is no callout."""
    memo = KeepMemo(event.entry, event.at, memory.named, event.audio, event.words)
    about = f" about tree {tag_shown(memory, memory.plot, memory.named)}" if memory.named else ""
    return replace(memory, phase=memory.resume), (memo, Say(f"Note kept{about}.", "saved"))


def complete(turn: Turn) -> Result:
    """A plot is complete only when every tree is accounted for."""
    remaining = left_to_do(turn.memory, turn.plot)
    if remaining:
        return asked(turn.memory, f"not complete. {echo.left(remaining, _MOST_NAMED)}", "refused")
    return asked(turn.memory, "every tree of this plot is accounted for", "saved")
