"""Answers to questions; nothing here changes a reading.

The table in ``machine`` leads here. A pending reading is echoed again, whole.
"""

from __future__ import annotations

from callout.core.saying import saying
from callout.session.phase import Phase
from callout.session.state import left_to_do
from callout.session.told import echo
from callout.session.turn import Result, Turn, asked, note_asked

# When a plot is called complete too early, this many of the trees left are named.
_MOST_NAMED = 30


def repeat(turn: Turn) -> Result:
    """The last question, or the pending echo; a note that is under way comes first."""
    if turn.memory.phase is Phase.MEMO:
        return turn.memory, (echo.ask(*note_asked(turn.memory)),)
    if turn.memory.pending is not None:
        return turn.memory, (echo.ask(*echo.question(turn.memory.pending)),)
    return turn.memory, (echo.ask(*(turn.memory.said or (saying("nothing-to-repeat"),))),)


def left(turn: Turn) -> Result:
    """What is still to do in this plot."""
    return asked(turn.memory, echo.left(left_to_do(turn.memory, turn.plot)), "told")


def where(turn: Turn) -> Result:
    """The plot, what was saved last, and what is under way."""
    memory = turn.memory
    last = memory.undoable[-1] if memory.undoable else None
    in_hand = memory.named if memory.pending is None else None
    shown = turn.shown(in_hand) if in_hand else None
    return asked(memory, echo.where(memory.plot, last, shown, memory.press), "told")


def well(turn: Turn) -> Result:
    """Somebody who works alone answers that all is well; whoever asks keeps the time."""
    return asked(turn.memory, saying("all-well", time=turn.event.at[11:16]), "told")


def complete(turn: Turn) -> Result:
    """A plot is complete only when every tree is accounted for."""
    remaining = left_to_do(turn.memory, turn.plot)
    if remaining:
        return asked(
            turn.memory, (saying("not-complete"), echo.left(remaining, _MOST_NAMED)), "refused"
        )
    return asked(turn.memory, saying("all-accounted-for"), "saved")
