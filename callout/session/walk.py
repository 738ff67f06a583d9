"""The order of the walk: which tree comes next, and which were passed over.

The order is the roster's: that of the last visit or of the tags. Pure; no wording here.
"""

from __future__ import annotations

from itertools import islice

from callout.core.model import Plot, Reading, Tree
from callout.session.state import Memory


def next_tree(memory: Memory, plot: Plot, after: str) -> str | None:
    """The first tree after ``after`` in the list that has no reading or status yet.

    A tree that is not in the list, a new one, does not change the place in the walk. Trees skipped
    aloud are left out.
    """
    place = _place(plot, after)
    if place is None:
        place = _last_place(memory.undoable, plot)
    done, skipped = memory.saved.trees(plot.settings.plot), set(memory.skipped)
    order = islice(plot.order, place + 1 if place is not None else 0, None)
    return next((tag for tag in order if tag not in done and tag not in skipped), None)


def passed_over(memory: Memory, plot: Plot, tag: str) -> tuple[str, ...]:
    """Trees without a status between the one saved last and ``tag``, if the walk went forward.

    Trees skipped aloud are left out.
    """
    place, before = _place(plot, tag), _last_place(memory.undoable, plot)
    if place is None or before is None:
        return ()
    done, skipped = memory.saved.trees(plot.settings.plot), set(memory.skipped)
    between = plot.order[before + 1 : place]
    return tuple(tag for tag in between if tag not in done and tag not in skipped)


def _place(plot: Plot, tag: str) -> int | None:
    return plot.places.get(tag)


def _last_place(saved: tuple[Reading, ...], plot: Plot) -> int | None:
    """The place in the list of the tree saved last."""
    for item in reversed(saved):
        if item.plot == plot.settings.plot and (place := _place(plot, item.tag)) is not None:
            return place
    return None


def tree_in_hand(memory: Memory, plot: Plot) -> Tree | None:
    """The roster's tree that the dialogue is about, if any."""
    tag = memory.pending.draft.tag if memory.pending else memory.named
    return plot.trees.get(tag) if tag else None
