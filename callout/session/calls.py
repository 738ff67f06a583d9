"""Callouts about a tree: its size, status, height of measurement and tag.

Each handler returns a pending reading, or asks for what is missing. Saving is in ``saving``,
presses of a tape are in ``presses``.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from callout.core.events import Say
from callout.core.meaning import Meaning
from callout.core.model import Reading
from callout.core.rounding import Rounding, to_graduation
from callout.core.saying import Says, as_is, saying
from callout.core.statuses import Status
from callout.core.units import Scale, Unit
from callout.session.draft import amended, pending_of
from callout.session.parts import MEASURABLE, with_parts
from callout.session.phase import Phase
from callout.session.presses import joined, let_press_go
from callout.session.propose import propose, put, which_tree
from callout.session.sense import height_problem, height_said
from callout.session.state import Pending
from callout.session.tags import held, known_tags, last_reading, lost_and_new, tags_on_hold
from callout.session.told import echo
from callout.session.told.asides import tag_corrected
from callout.session.turn import Result, Turn, asked, refused

_CENTIMETRE = Decimal("0.01")

# ---- sizes ----


def reading(turn: Turn) -> Result:
    """A size for the tree named, or for the one in hand; a status just given to it stays."""
    tag = turn.meaning.tag or turn.memory.named
    if tag is None:
        return which_tree(turn)
    if turn.meaning.bare and turn.memory.phase is not Phase.IDLE and tag != turn.memory.named:
        # "Nineteen, um, twenty" may be the size of the tree in hand, repeated.
        return asked(turn.memory, saying("say-tree-word", tag=turn.shown(tag)), "refused")
    turn, dropped = let_press_go(turn)
    meaning, status = turn.meaning, _status_told(turn, tag)
    if status != meaning.status:
        meaning = replace(meaning, status=status)
    draft = turn.memory.drafted
    if draft is not None and draft.is_new and draft.value is None and draft.tag == tag:
        meaning = replace(meaning, kind="new", species=meaning.species or draft.species or None)
    return propose(turn, tag, meaning, dropped)


def _status_told(turn: Turn, tag: str) -> str | None:
    """The status given just before ("dead standing"), if its pending reading still lacks a size."""
    pending = turn.waiting
    if turn.meaning.status or pending is None or pending.draft.value is not None:
        return turn.meaning.status
    same = (pending.draft.tag, pending.draft.stem) == (tag, turn.meaning.stem or "")
    return pending.draft.status if same and pending.draft.status in MEASURABLE else None


def other_tag(turn: Turn) -> Result:
    """What waits is of another tree: its size is told again with that tag, and asked for anew."""
    pending, mistaken = turn.waiting, turn.meaning.not_tag
    if pending is None or pending.draft.void or pending.draft.is_new or pending.draft.raw is None:
        return tag_corrected(turn)
    draft = pending.draft
    if mistaken is not None and mistaken not in (draft.tag, turn.shown(draft.tag)):
        return tag_corrected(turn)
    size = replace(
        turn.meaning,
        kind="reading",
        not_tag=None,
        value=draft.raw,
        unit=draft.raw_unit,
        scale=Scale(draft.raw_scale) if draft.raw_scale else None,
    )
    return reading(replace(turn, meaning=size))


def named_only(turn: Turn) -> Result:
    """A tag alone, or with a stem: wait for its diameter, or take the press that waits."""
    tag = turn.meaning.tag or turn.memory.named
    if tag is None:
        return which_tree(turn)
    if tag not in known_tags(turn.memory, turn.plot):
        return refused(turn.memory, turn.rules, saying("no-such-tree", tag=tag))
    stem = turn.meaning.stem or ""
    if turn.treeless is not None:  # the answer to "which tree?"
        return propose(turn, tag, replace(turn.treeless, kind="reading", stem=stem or None))
    if (taken := joined(turn, tag, stem)) is not None:
        return taken
    if turn.memory.press is None:
        return wait_for_size(turn, tag, stem)
    late = echo.too_late(turn.memory.press)
    turn, _ = let_press_go(turn)
    return wait_for_size(turn, tag, stem, (late,))


def wait_for_size(turn: Turn, tag: str, stem: str = "", told: Says = ()) -> Result:
    """Take the tree in hand and ask for its diameter."""
    species = turn.plot.trees[tag].species if tag in turn.plot.trees else ""
    lost, new = lost_and_new(turn.memory, turn.plot.settings.plot, tag)
    shown = new or tag
    name = saying("tree-stem", tag=shown, stem=stem) if stem else saying("tree", tag=shown)
    parts = (name, *_of_tag(tag, lost, new), *([as_is(species)] if species else []))
    in_hand = saying("tree-in-hand", parts=parts)
    said = (*told, *echo.let_go(turn.memory.pending), in_hand, saying("diameter-asked"))
    memory = replace(
        turn.memory,
        phase=Phase.NAMED,
        named=tag,
        stem=stem,
        named_at=turn.event.at,
        pending=None,
        drafted=None,
        said=said,
        reminded=0,
    )
    return memory, (Say(said, "ask"),)


def _of_tag(tag: str, lost: bool, new: str) -> Says:
    if not lost:
        return ()
    return (saying("tag-was", tag=tag) if new else saying("tag-lost"),)


def new_tree(turn: Turn) -> Result:
    """A tree that the roster lacks: tag and diameter together, or the size from the tape."""
    tag = str(turn.meaning.tag)
    if turn.meaning.value is None:
        return joined(turn, tag) or _new_named(turn, tag)
    turn, dropped = let_press_go(turn)
    return propose(turn, tag, told=dropped)


def _new_named(turn: Turn, tag: str) -> Result:
    """A new tree by its tag alone: ask for its diameter or, if it is dead, propose that."""
    if turn.edition < 3:
        return refused(turn.memory, turn.rules, saying("new-tree-together"))
    if tag in known_tags(turn.memory, turn.plot):
        return refused(turn.memory, turn.rules, saying("tag-in-plot", tag=tag))
    here, event = turn.plot.settings, turn.event
    draft = Reading(
        event.entry,
        event.at,
        here.plot,
        tag,
        turn.meaning.species or "",
        unit=here.unit,
        words=event.words,
        source=event.source,
        who=turn.memory.who,
        is_new=True,
    )
    return _new_in_hand(replace(turn, memory=wait_for_size(turn, tag)[0]), draft)


def _new_in_hand(turn: Turn, draft: Reading) -> Result:
    parts = (saying("tree", tag=draft.tag), *([as_is(draft.species)] if draft.species else []))
    called = saying("new-tree-in-hand", parts=parts)
    said = (*echo.let_go(turn.waiting), called, saying("diameter-asked"))
    return replace(turn.memory, drafted=draft, said=said), (Say(said, "ask"),)


def species(turn: Turn) -> Result:
    """The species of the new tree in hand, or of one saved today; the roster's stand."""
    memory, name = turn.memory, turn.meaning.species
    in_hand = memory.phase in (Phase.NAMED, Phase.PENDING)
    draft = memory.drafted if turn.meaning.tag in (None, memory.named) else None
    if not name:
        return asked(memory, saying("which-species"), "refused")
    if draft is None or not draft.is_new or not in_hand:
        return _species_again(turn, name)
    if turn.waiting is not None:
        return _amended(turn, species=name)
    return _new_in_hand(turn, replace(draft, species=name))


def _species_again(turn: Turn, name: str) -> Result:
    """A new tree saved today, with another species: echoed again, and to be confirmed again."""
    memory, here = turn.memory, turn.plot.settings.plot
    tag = turn.meaning.tag or memory.named
    saved = last_reading(memory, here, tag) if tag is not None else None
    if turn.edition < 4 or turn.waiting is not None or saved is None or not saved.is_new:
        return asked(memory, saying("species-of-new"), "refused")
    draft = replace(saved, entry=turn.event.entry, at=turn.event.at, species=name)
    return put(turn, pending_of(memory, turn.rules, draft, ()))


def amend(turn: Turn) -> Result:
    """A corrected size for the tree in hand; after saving it supersedes, once confirmed.

    Only the size is corrected: the stem, the species, the status of a tree that can be measured and
    the height of measurement stay, and so do unit and side of the tape unless they are said.
    """
    tag = turn.memory.named
    if tag is None:
        return which_tree(turn)
    turn, dropped = let_press_go(turn)
    return propose(turn, tag, with_parts(turn), dropped)


def height(turn: Turn) -> Result:
    """The height of measurement of the pending reading."""
    if turn.edition == 1:
        return _amended(turn, height_m=turn.meaning.height_m)
    problem = height_problem(turn.meaning, turn.rules.limits)
    if problem is not None:
        return asked(turn.memory, problem, "refused")
    if turn.waiting is None or turn.memory.named is None or turn.waiting.draft.value is None:
        return refused(turn.memory, turn.rules, saying("height-needs-size"))
    metres = turn.meaning.height_m
    assert metres is not None
    kept = to_graduation(metres, _CENTIMETRE, Rounding.NEAREST) if _in_feet(turn) else metres
    waiting = replace(turn.waiting, height_said=height_said(turn.meaning))
    return _amended(turn, waiting=waiting, height_m=kept)


def _in_feet(turn: Turn) -> bool:
    return turn.meaning.height_unit is Unit.FOOT


def _amended(
    turn: Turn, told: Says = (), waiting: Pending | None = None, **parts: object
) -> Result:
    """The pending reading with some parts changed: a new question, so a new number."""
    pending = waiting or turn.waiting
    assert pending is not None
    at = turn.event.at if turn.edition > 1 else pending.draft.at
    draft = replace(pending.draft, entry=turn.event.entry, at=at, **parts)  # type: ignore[arg-type]
    kept = amended(turn.memory, turn.plot, turn.rules, pending, draft)
    return put(turn, kept, told)


# ---- statuses ----


def status(turn: Turn) -> Result:
    """Dead, cut, missing. The reading keeps its stem and, unless the tree is gone, its size."""
    in_hand = turn.memory.named if turn.memory.phase is not Phase.IDLE else None
    tag = turn.meaning.tag or in_hand
    if tag is None:
        return which_tree(turn)
    pending, state = turn.waiting, turn.meaning.status or str(Status.LIVE)
    stem = turn.meaning.stem
    if pending is None or pending.draft.tag != tag or stem not in (None, pending.draft.stem):
        return propose(turn, tag, _status_of(turn, tag))
    if pending.draft.value is None or state in MEASURABLE:
        return _amended(turn, status=state)
    told = (saying("size-dropped", size=pending.draft.value),)
    bare = replace(pending, height_said=None)
    gone = {"value": None, "raw": None, "raw_unit": None, "raw_scale": "", "height_m": None}
    return _amended(turn, told, bare, status=state, **gone)


def _status_of(turn: Turn, tag: str) -> Meaning:
    """A refused size is gone, but the stem and whether the tree is new are kept."""
    draft, stem = turn.memory.drafted, turn.meaning.stem or turn.memory.stem or None
    if turn.memory.phase is not Phase.NAMED or turn.memory.named != tag:
        return turn.meaning
    if draft is None or draft.tag != tag or stem not in (None, draft.stem):
        return replace(turn.meaning, stem=stem)
    kind = "new" if draft.is_new else "status"
    return replace(turn.meaning, kind=kind, stem=draft.stem or None, species=draft.species or None)


# ---- tags ----


def lost_tag(turn: Turn) -> Result:
    """The tag is lost, and perhaps a new one put on: recorded in the tree's reading.

    The pending one, else the one saved on this visit; without either, the diameter is asked for.
    """
    memory, here = turn.memory, turn.plot.settings.plot
    in_hand = memory.named if memory.phase is not Phase.IDLE else None
    tag, new = turn.meaning.tag or in_hand, turn.meaning.new_tag or ""
    if tag is None:
        return refused(memory, turn.rules, saying("which-tree-lost"))
    if tag not in (known := known_tags(memory, turn.plot)):
        return refused(memory, turn.rules, saying("read-old-tag", tag=tag))
    if new and (new in known or new in tags_on_hold(memory, turn.plot)):
        return refused(memory, turn.rules, saying("tag-in-plot", tag=new))
    turn = replace(turn, memory=held(memory, here, tag, new))
    if turn.waiting is not None and turn.waiting.draft.tag == tag:
        return _amended(turn, tag_lost=True, new_tag=new)
    saved = last_reading(memory, here, tag)
    # In a blind plot it may be another measurer's, and is not shown.
    if saved is None or turn.rules.blind:
        return wait_for_size(turn, tag)
    return _saved_again(turn, saved, new)


def _saved_again(turn: Turn, saved: Reading, new: str) -> Result:
    """The reading saved today with its new tag: echoed again, and to be confirmed again."""
    draft = replace(saved, entry=turn.event.entry, at=turn.event.at, tag_lost=True, new_tag=new)
    return put(turn, pending_of(turn.memory, turn.rules, draft, ()))
