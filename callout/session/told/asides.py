"""Questions beside the work: what fits now, what comes next, what was last time; and pauses.

Nothing here changes a reading. The previous size is only told when asked for.
"""

from __future__ import annotations

from dataclasses import replace

from callout.core.events import Event, Heard
from callout.core.saying import Says, saying
from callout.core.told import unit_told
from callout.session.phase import Phase
from callout.session.state import Memory, left_to_do
from callout.session.told import echo
from callout.session.told.answers import where
from callout.session.turn import Result, Turn, asked
from callout.session.walk import next_tree

WAKES = frozenset({"resume", "where"})
"""The callouts taken in a pause. "Where was I" is one that every recogniser knows."""


def overheard(memory: Memory, event: Event) -> bool:
    """Whether this was spoken in a pause, to somebody else."""
    if not memory.paused or not isinstance(event, Heard) or event.source != "voice":
        return False
    kinds = [meaning.kind for meaning in event.meanings]
    return event.problem is not None or len(kinds) != 1 or kinds[0] not in WAKES


def pause(turn: Turn) -> Result:
    """Take nothing that is spoken from now on, until told to go on."""
    said = saying("paused")
    return asked(replace(turn.memory, paused=True), said, "told")


def resume(turn: Turn) -> Result:
    """Take speech again; a pending reading is still pending."""
    said = saying("goes-on") if turn.memory.paused else saying("was-not-paused")
    return asked(replace(turn.memory, paused=False), said, "told")


def where_now(turn: Turn) -> Result:
    """The plot, what was saved last, and what is under way; ends a pause."""
    return where(replace(turn, memory=replace(turn.memory, paused=False)))


def following(turn: Turn) -> Result:
    """The next tree of the list."""
    memory = turn.memory
    last = memory.undoable[-1].tag if memory.undoable else ""
    tag = next_tree(memory, turn.plot, memory.named or last)
    if tag is not None:
        return asked(memory, saying("next-asked", tag=turn.shown(tag)), "told")
    remaining = left_to_do(memory, turn.plot)
    end = (saying("end-of-list"),) if remaining else ()
    return asked(memory, (*end, echo.left(remaining)), "told")


def last_time(turn: Turn) -> Result:
    """The previous measurement of the tree named or in hand, unless the plot is blind."""
    tag = turn.meaning.tag or turn.memory.named
    if turn.rules.blind:
        return asked(turn.memory, saying("blind-not-told"), "refused")
    if tag is None:
        return asked(turn.memory, saying("no-tree-in-hand"), "refused")
    tree = turn.plot.trees.get(tag)
    if tree is None or tree.last is None:
        return asked(turn.memory, saying("no-last-time", tag=turn.shown(tag)), "told")
    size = saying("amount", value=tree.last.value, unit=unit_told(tree.last.unit))
    said = saying("last-time", tag=turn.shown(tag), size=size, year=str(tree.last.on.year))
    return asked(turn.memory, said, "told")


def why(turn: Turn) -> Result:
    """What is suspected of the pending reading, and what to look at: its echo in full."""
    pending = turn.memory.pending
    assert pending is not None
    if not pending.warned and pending.instead_of is None:
        return asked(turn.memory, saying("no-warning"), "told")
    return turn.memory, (echo.ask(*echo.question(pending)),)


def tag_corrected(turn: Turn) -> Result:
    """How a tag that was saved is put right; nothing is changed by saying it."""
    tag = turn.shown(str(turn.meaning.tag))
    return asked(turn.memory, saying("tag-corrected-by", tag=tag), "refused")


def what_fits(turn: Turn) -> Result:
    """The few callouts that fit this moment."""
    return asked(turn.memory, _fitting(turn.memory), "told")


def _fitting(memory: Memory) -> Says:
    if memory.paused:
        return (saying("help-paused"),)
    if memory.phase is Phase.MEMO:
        return (saying("help-note"),)
    if memory.pending is not None:
        return (saying("help-warned") if memory.pending.wants_accept else saying("help-pending"),)
    if memory.phase is Phase.NAMED:
        new = memory.drafted is not None and memory.drafted.is_new
        return (saying("help-new") if new else saying("help-named"),)
    return (saying("help-idle"),)


def no_such_plot(turn: Turn) -> Result:
    """A plot that the survey does not have; an existing one is opened before this is reached."""
    return asked(turn.memory, saying("no-such-plot", plot=turn.meaning.text or ""), "refused")
