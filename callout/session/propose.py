"""Puts a reading to the measurer: echoed, pending, and with what it replaces."""

from __future__ import annotations

from dataclasses import replace

from callout.core.events import Say
from callout.core.meaning import Meaning
from callout.core.saying import Says, saying
from callout.session.draft import draft_reading
from callout.session.phase import Phase
from callout.session.records import key_of
from callout.session.sense import size_problem, stem_problem
from callout.session.state import Pending
from callout.session.told import echo
from callout.session.turn import Result, Turn, refused


def propose(turn: Turn, tag: str, meaning: Meaning | None = None, told: Says = ()) -> Result:
    """Echo a reading and wait. Another tree's pending reading is let go, and that is said."""
    meaning = meaning or turn.meaning
    if turn.edition > 1:
        here = turn.plot.settings.plot
        stems = turn.memory.saved.stems(here, tag)
        problem = size_problem(meaning, turn.plot.settings)
        problem = problem or stem_problem(meaning, stems, turn.shown(tag))
        if problem is not None:
            return refused(turn.memory, turn.rules, problem)
    pending = draft_reading(turn.memory, turn.plot, turn.rules, turn.event, meaning, tag)
    return put(turn, pending, told)


def put(turn: Turn, pending: Pending, told: Says = ()) -> Result:
    """Make ``pending`` the pending reading; ``told`` is said before its echo."""
    question = (*told, *echo.question(pending))
    before = turn.memory.pending
    if before is not None and _another(before, pending):
        question = (*echo.let_go(before), *question)
    memory = replace(
        turn.memory,
        phase=Phase.PENDING,
        pending=pending,
        named=pending.draft.tag,
        stem=pending.draft.stem,
        named_at=turn.event.pressed_at or turn.event.at,
        drafted=pending.draft,
        said=question,
        reminded=0,
    )
    return memory, (Say(question, "ask"),)


def _another(before: Pending, now: Pending) -> bool:
    return key_of(before.draft) != key_of(now.draft) or before.draft.void != now.draft.void


def which_tree(turn: Turn) -> Result:
    """A size with no tree in hand must not go to the tree that was saved last."""
    called = turn.meaning.value
    if turn.edition < 3 or called is None:
        return refused(turn.memory, turn.rules, saying("which-tree"))
    memory, effects = refused(turn.memory, turn.rules, saying("size-which-tree", size=called))
    return replace(memory, treeless=turn.meaning), effects
