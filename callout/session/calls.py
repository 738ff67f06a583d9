"""What may be called of a tree: its size, its status, its height of measurement, its tag.

Each answers with a reading that waits, or asks for what is lacking. Saving is for ``machine``.
"""

from __future__ import annotations

from dataclasses import replace

from callout.core.events import Say
from callout.core.meaning import Meaning
from callout.core.model import Reading
from callout.session.draft import amended
from callout.session.propose import let_go, propose, put, which_tree
from callout.session.state import Pending, Phase
from callout.session.tags import (
    held,
    known_tags,
    last_reading,
    lost_and_new,
    tags_on_hold,
)
from callout.session.turn import Result, Turn, asked

# What stands at the tree's place can be measured; what is gone cannot.
_MEASURABLE = ("live", "dead_standing", "dead_down")


# ---- sizes ----


def reading(turn: Turn) -> Result:
    """A size for the tree named, or for the one in hand; its status, if just told, stays."""
    tag = turn.meaning.tag or turn.memory.named
    if tag is None:
        return which_tree(turn)
    return propose(turn, tag, replace(turn.meaning, status=_status_told(turn, tag)))


def _status_told(turn: Turn, tag: str) -> str | None:
    """ "Dead standing" that waits without a size is what the size now belongs to."""
    pending = turn.memory.pending
    if turn.meaning.status or pending is None or pending.draft.value is not None:
        return turn.meaning.status
    same = (pending.draft.tag, pending.draft.stem) == (tag, turn.meaning.stem or "")
    return pending.draft.status if same and pending.draft.status in _MEASURABLE else None


def named_only(turn: Turn) -> Result:
    """A tag on its own: wait for its diameter."""
    tag = str(turn.meaning.tag)
    if tag not in known_tags(turn.memory, turn.plot):
        said = f"no tree {tag} in this plot: a new one is called new tree"
        return asked(turn.memory, said, "refused")
    return _wait_for_size(turn, tag)


def _wait_for_size(turn: Turn, tag: str) -> Result:
    species = turn.plot.trees[tag].species if tag in turn.plot.trees else ""
    lost, new = lost_and_new(turn.memory, turn.plot.settings.plot, tag)
    parts = [f"Tree {new or tag}", _of_tag(tag, lost, new), species]
    said = let_go(turn.memory.pending) + ", ".join(part for part in parts if part) + ". Diameter?"
    memory = replace(
        turn.memory,
        phase=Phase.NAMED,
        named=tag,
        pending=None,
        drafted=None,
        said=said,
        reminded=0,
    )
    return memory, (Say(said, "ask"),)


def _of_tag(tag: str, lost: bool, new: str) -> str:
    if not lost:
        return ""
    return f"was {tag}" if new else "tag lost"


def pressed(turn: Turn) -> Result:
    """A digital tape was pressed with no tree in hand: it waits at the desk for its tag."""
    unit = turn.meaning.unit.value if turn.meaning.unit else ""
    return asked(turn.memory, f"tape {turn.meaning.value} {unit}: which tree?", "ask")


def new_tree(turn: Turn) -> Result:
    """A tree that the roster lacks: tag and diameter come together."""
    if turn.meaning.value is None:
        return asked(turn.memory, "say new tree, its tag and its diameter together", "refused")
    return propose(turn, str(turn.meaning.tag))


def amend(turn: Turn) -> Result:
    """A corrected size for the tree in hand; after saving it supersedes, once confirmed.

    Only the size was corrected: the stem, the species, the status of a tree that can be measured
    and the height of measurement stay.
    """
    tag, draft = turn.memory.named, turn.memory.drafted
    if tag is None:
        return which_tree(turn)
    if draft is None:
        return propose(turn, tag)
    same = replace(
        turn.meaning,
        kind="new" if draft.is_new else "reading",
        stem=draft.stem or None,
        species=draft.species or None,
        status=draft.status if draft.status in _MEASURABLE else None,
        height_m=draft.height_m,
    )
    return propose(turn, tag, same)


def height(turn: Turn) -> Result:
    """The height of measurement belongs to the reading that waits."""
    assert turn.memory.pending is not None
    return _amended(turn, height_m=turn.meaning.height_m)


def _amended(turn: Turn, told: str = "", **parts: object) -> Result:
    """The reading that waits, changed in some parts: a new question, so a new number."""
    pending = turn.memory.pending
    assert pending is not None
    draft = replace(pending.draft, entry=turn.event.entry, **parts)  # type: ignore[arg-type]
    kept = amended(turn.memory, turn.plot, turn.rules, pending, draft)
    return put(turn, kept, told)


# ---- statuses ----


def status(turn: Turn) -> Result:
    """Dead, cut, missing. What waits keeps its stem and, unless the tree is gone, its size."""
    in_hand = turn.memory.named if turn.memory.phase is not Phase.IDLE else None
    tag = turn.meaning.tag or in_hand
    if tag is None:
        return which_tree(turn)
    pending, state = turn.memory.pending, turn.meaning.status or "live"
    if pending is None or pending.draft.tag != tag:
        return propose(turn, tag, _with_parts(turn, tag))
    if pending.draft.value is None or state in _MEASURABLE:
        return _amended(turn, status=state)
    told = f"{pending.draft.value} is dropped. "
    return _amended(turn, told, status=state, value=None, raw=None, raw_unit=None, height_m=None)


def _with_parts(turn: Turn, tag: str) -> Meaning:
    """A size that was refused is gone; that it was a new tree, or which stem, is not."""
    draft = turn.memory.drafted
    if turn.memory.phase is not Phase.NAMED or draft is None or draft.tag != tag:
        return turn.meaning
    kind = "new" if draft.is_new else "status"
    stem, species = draft.stem or None, draft.species or None
    return replace(turn.meaning, kind=kind, stem=stem, species=species)


# ---- tags ----


def lost_tag(turn: Turn) -> Result:
    """The tag is lost, and perhaps a new one put on: it goes into the tree's reading.

    Into the one that waits, else into what was saved of the tree on this visit, else its diameter
    is asked for.
    """
    memory, here = turn.memory, turn.plot.settings.plot
    in_hand = memory.named if memory.phase is not Phase.IDLE else None
    tag, new = turn.meaning.tag or in_hand, turn.meaning.new_tag or ""
    if tag is None:
        return asked(memory, "which tree? say tree, its old tag, and tag lost", "refused")
    if tag not in known_tags(memory, turn.plot):
        return asked(memory, f"no tree {tag} in this plot: read the old tag again", "refused")
    if new and new in known_tags(memory, turn.plot) | tags_on_hold(memory, turn.plot):
        return asked(memory, f"tag {new} is in this plot already: read it again", "refused")
    turn = replace(turn, memory=held(memory, here, tag, new))
    if memory.pending is not None and memory.pending.draft.tag == tag:
        return _amended(turn, tag_lost=True, new_tag=new)
    saved = last_reading(memory, here, tag)
    # In a blind plot it may be another measurer's, and is not told.
    if saved is None or turn.rules.blind:
        return _wait_for_size(turn, tag)
    return _saved_again(turn, saved, new)


def _saved_again(turn: Turn, saved: Reading, new: str) -> Result:
    """What was saved today, with its new tag: said again, and to be confirmed again."""
    draft = replace(saved, entry=turn.event.entry, at=turn.event.at, tag_lost=True, new_tag=new)
    return put(turn, Pending(draft, (), turn.rules.accept_word))
