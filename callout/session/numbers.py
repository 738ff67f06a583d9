"""A number called alone: the size of the tree in hand or, with none in hand, a tag.

The plot decides what it may be, never a tree's previous size.
"""

from __future__ import annotations

from dataclasses import replace

from callout.core.meaning import Meaning
from callout.core.saying import saying
from callout.session import calls
from callout.session.draft import recorded_value
from callout.session.propose import which_tree
from callout.session.tags import known_tags
from callout.session.turn import Result, Turn, asked


def alone(turn: Turn) -> Result:
    """With no tree in hand: the tag of one, else a size that asks for its tree."""
    tag = _as_tag(turn)
    if tag is None:
        return which_tree(turn)
    return calls.named_only(replace(turn, meaning=Meaning("tree", tag)))


def for_tree_in_hand(turn: Turn) -> Result:
    """A corrected size for the tree in hand; after saving it supersedes, once confirmed.

    If no tree of the plot can have that size but one has that tag, the session asks which is meant.
    """
    tag = _as_tag(turn)
    if tag is None or _in_range(turn):
        return calls.amend(turn)
    which = saying("size-or-tree", size=str(turn.meaning.value), tag=tag)
    return asked(turn.memory, which, "refused")


def _as_tag(turn: Turn) -> str | None:
    """The number as a tag of the plot; None if it is none, or was called as a size."""
    meaning = turn.meaning
    if turn.edition < 3 or meaning.value is None or meaning.implied:
        return None
    if meaning.unit is not None or meaning.scale is not None or meaning.stem:
        return None
    tag = f"{meaning.value:f}"
    return tag if tag in known_tags(turn.memory, turn.plot) else None


def _in_range(turn: Turn) -> bool:
    settings, called = turn.plot.settings, turn.meaning.value
    assert called is not None
    size = recorded_value(called, settings.unit, settings.scale, settings)
    return settings.smallest <= size <= settings.largest
