"""What a size that is called for the tree in hand keeps of what was said of that tree before."""

from __future__ import annotations

from dataclasses import replace

from callout.core.meaning import Meaning
from callout.core.statuses import Status
from callout.core.units import Scale
from callout.session.turn import Turn

MEASURABLE = (Status.LIVE, Status.DEAD_STANDING, Status.DEAD_DOWN)
"""What stands or lies in its place can be measured; what is gone cannot."""


def with_parts(turn: Turn) -> Meaning:
    """The size called, with everything but the size kept from the draft of the tree in hand."""
    draft, called = turn.memory.drafted, turn.meaning
    if draft is None:
        return replace(called, kind="reading", stem=called.stem or turn.memory.stem or None)
    same_tape = bool(draft.raw_scale) and called.kind != "press"
    return replace(
        called,
        kind="new" if draft.is_new else "reading",
        stem=draft.stem or None,
        species=draft.species or None,
        status=draft.status if draft.status in MEASURABLE else None,
        height_m=draft.height_m,
        scale=called.scale or (Scale(draft.raw_scale) if same_tape else None),
        unit=called.unit or (draft.raw_unit if same_tape else None),
    )
