"""Puts a reading before the measurer: echoed, waiting, and what it takes the place of told."""

from __future__ import annotations

from dataclasses import replace

from callout.core.events import Say
from callout.core.meaning import Meaning
from callout.session import echo
from callout.session.draft import draft_reading, key_of
from callout.session.state import Pending, Phase
from callout.session.turn import Result, Turn, asked


def propose(turn: Turn, tag: str, meaning: Meaning | None = None) -> Result:
    """Echo a reading and wait. Another tree's pending reading is let go, and that is said."""
    pending = draft_reading(
        turn.memory, turn.plot, turn.rules, turn.event, meaning or turn.meaning, tag
    )
    return put(turn, pending)


def put(turn: Turn, pending: Pending, told: str = "") -> Result:
    """``pending`` waits from now on; ``told`` is said before its echo."""
    question = told + echo.question(pending)
    before = turn.memory.pending
    if before is not None and key_of(before.draft) != key_of(pending.draft):
        question = f"{let_go(before)}{question}"
    memory = replace(
        turn.memory,
        phase=Phase.PENDING,
        pending=pending,
        named=pending.draft.tag,
        drafted=pending.draft,
        said=question,
        reminded=0,
    )
    return memory, (Say(question, "ask"),)


def let_go(pending: Pending | None) -> str:
    """A reading that is dropped unconfirmed is said to be, never lost in silence."""
    return f"{echo.told(pending.draft)} was not saved. " if pending is not None else ""


def which_tree(turn: Turn) -> Result:
    """A size with no tree in hand must not fall to the tree that was saved last."""
    return asked(turn.memory, "which tree? say tree and its tag", "refused")
