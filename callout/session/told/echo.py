"""The echo: what the second person calls back across the plot, as sayings.

Values arrive settled. Whatever will be stored is in the echo, in the order in which it is called.
Each saying is made where it is used, so that a test finds its key.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from callout.core.events import Say
from callout.core.model import Reading, Warned
from callout.core.saying import Saying, Says, as_is, saying
from callout.core.statuses import Status
from callout.core.told import status_told, unit_told
from callout.core.units import Scale
from callout.session.state import Pending, Press

# Numbers with these endings sound alike in wind, and are also echoed digit by digit.
_ALIKE = frozenset(
    ending for digit in range(3, 10) for ending in (f"1{digit}", f"{digit}0")
)  # teens and tens
_MEASURED_BEFORE = ("measured today", "measured this visit")


def told(reading: Reading, height_said: Saying | None = None) -> Saying:
    """The tree and all that is stored of it, e.g. ``83, 24.6`` or ``40, dead standing``.

    A tree whose tag was replaced is called by its present tag: ``312, was 40, 24.6``.
    """
    return _listed(_tree(reading), *_rest(reading, height_said))


def _listed(*parts: Saying) -> Saying:
    return saying("reading", parts=parts)


def _rest(reading: Reading, height_said: Saying | None = None) -> Says:
    """Everything but the tree."""
    parts = []
    if reading.tag_lost:
        new = reading.new_tag
        parts.append(saying("tag-was", tag=reading.tag) if new else saying("tag-lost"))
    if reading.is_new and reading.species:
        parts.append(as_is(reading.species))
    return (*parts, *_what(reading, height_said))


def _tree(reading: Reading) -> Saying:
    if reading.stem:
        return saying("tag-stem", tag=reading.tag_now, stem=reading.stem)
    return saying("tag", tag=reading.tag_now)


def _what(reading: Reading, height_said: Saying | None = None) -> Says:
    """The size as called and as kept, the height, and the status."""
    if reading.value is None:
        return (status_told(reading.status),)
    parts = [_size(reading)]
    if reading.height_m:
        parts.append(_height(reading.height_m, height_said))
    if reading.status != Status.LIVE:
        parts.append(status_told(reading.status))
    return tuple(parts)


def _height(height_m: Decimal, called: Saying | None) -> Saying:
    if called is None:
        return saying("measured-at", height=height_m)
    return saying("measured-at-called", called=called, height=height_m)


def _size(reading: Reading) -> Saying:
    """The number called first; then the diameter recorded, if different."""
    raw, value, raw_unit = reading.raw, reading.value, reading.raw_unit
    assert value is not None
    kept = saying("size", value=value)
    if raw is None or raw_unit is None or not reading.raw_scale:
        return kept  # from before readings recorded the side of the tape
    other_unit = raw_unit is not reading.unit
    called = saying("size", value=_padded(raw, value))
    if other_unit:
        kept = saying("amount", value=value, unit=unit_told(reading.unit))
        called = saying("amount", value=_padded(raw, value), unit=unit_told(raw_unit))
    if reading.raw_scale == Scale.GIRTH.value:
        return saying("size-girth", called=called, kept=kept)
    if not other_unit and raw == value:
        return kept
    return saying("size-kept-as", called=called, kept=kept)


def _padded(raw: Decimal, value: Decimal) -> Decimal:
    """``raw`` with at least the decimal places of the recorded value: "girth 90" becomes 90.0."""
    fewer = int(raw.as_tuple().exponent) > int(value.as_tuple().exponent)
    return raw.quantize(value) if fewer else raw


def _spelt(reading: Reading) -> Says:
    """Sixteen and sixty, 116 and 160: such a tag or size is also said digit by digit."""
    parts = []
    if _sounds_alike(reading.tag_now):
        parts.append(saying("spelt-tag", figures=" ".join(reading.tag_now)))
    whole = str(reading.value).partition(".")[0]
    if reading.value is not None and _sounds_alike(whole):
        parts.append(saying("spelt-size", figures=" ".join(whole)))
    return tuple(parts)


def _sounds_alike(figures: str) -> bool:
    return figures[-2:] in _ALIKE


def _looks(warned: Sequence[Warned]) -> Says:
    """What to look at, each once."""
    return tuple(dict.fromkeys(item.look for item in warned if item.look is not None))


# ---- a reading that waits ----


def question(pending: Pending) -> Says:
    """The echo that asks for confirmation: value, what is suspected, what to look at."""
    return (_body(pending), *_looks(pending.warned), asks(pending))


def still_waiting(pending: Pending) -> Says:
    """The whole echo again, after something else was said."""
    return again(question(pending))


def again(says: Says) -> Says:
    """What was asked, asked again."""
    return (saying("still-waiting", what=says[0]), *says[1:]) if says else ()


def _body(pending: Pending) -> Saying:
    """All that a yes would store, and what is suspected of it."""
    draft, before = pending.draft, pending.instead_of
    if draft.void:
        return saying("undo", reading=told(draft), then=_hereafter(pending))
    warned = [item for item in pending.warned if not before or item.check not in _MEASURED_BEFORE]
    main = told(draft, pending.height_said)
    if before is not None:
        main = _again(pending, before)
    if draft.is_new:
        main = saying("new-tree", reading=main)
    return saying("echo", parts=(main, *_spelt(draft), *(item.says for item in warned)))


def _again(pending: Pending, before: Reading) -> Saying:
    """Which saved reading this one replaces."""
    draft = pending.draft
    tree, now = _tree(draft), _listed(*_rest(draft, pending.height_said))
    if pending.hidden:
        return saying("reading-instead", tree=tree, now=now, before=saying("reading-before"))
    if _what(draft) == _what(before):  # only the tag changes
        return saying("reading-again", tree=tree, now=now)
    return saying("reading-instead", tree=tree, now=now, before=_listed(*_what(before)))


def _hereafter(pending: Pending) -> Saying:
    """The reading that stands again after an undo."""
    if pending.stands is None:
        return saying("nothing-stands")
    if pending.hidden:
        return saying("stands-again", reading=saying("reading-before"))
    return saying("stands-again", reading=_listed(*_what(pending.stands)))


def asks(pending: Pending) -> Saying:
    """What is asked of the measurer: a yes, or the word that a warning needs."""
    return saying("accept-asked") if pending.wants_accept else saying("confirm-asked")


def not_yet(pending: Pending) -> Says:
    """A plain yes where it is not enough: the echo again, and what is needed."""
    value = pending.draft.value
    ends = saying("say-accept-to-keep-it")
    if value is not None:
        ends = saying("say-accept-to-keep", size=value)
    if pending.draft.void:
        ends = saying("say-accept-to-undo")
    return (saying("not-saved-yet", what=_body(pending)), *_looks(pending.warned), ends)


def let_go(pending: Pending | None) -> Says:
    """A pending reading that is dropped is reported, never lost in silence."""
    if pending is None:
        return ()
    if pending.draft.void:
        return (saying("was-not-undone", reading=told(pending.draft)),)
    return (saying("was-not-saved", reading=told(pending.draft)),)


# ---- what was done ----


def saved(reading: Reading) -> Saying:
    """Said only after the reading is on disk."""
    return saying("saved", reading=told(reading))


def undone(reading: Reading, stands: Reading | None, hidden: bool) -> Says:
    """Said only after the undo is on disk."""
    said = saying("undone", reading=told(reading))
    if stands is None:
        return (said,)
    if hidden:  # in a blind plot it may be another measurer's
        return said, saying("before-of-stands-again", tag=reading.tag_now)
    return said, saying("stands-again", reading=told(stands))


def late(reading: Reading, warned: Sequence[Warned]) -> Says:
    """What the checks of a blind plot found, told after the reading is saved."""
    found = tuple(item.says for item in warned)
    return (saying("look-again", tag=reading.tag_now, warnings=found), *_looks(warned))


def walk(passed: Sequence[str], following: str | None, remaining: Sequence[str]) -> Says:
    """The trees passed over, and the next tree of the list."""
    over = (saying("passed-over", tags=listed(passed)),) if passed else ()
    if following is not None:
        # Where trees were passed over, the walk is out of order; the brief form says so too.
        return (*over, saying("next-asked" if over else "next-tree", tag=following))
    return (*over, *([saying("end-of-list")] if remaining else []), left(remaining))


def left(tags: Sequence[str], most: int = 5) -> Saying:
    """What is still to do, the first few by name."""
    if not tags:
        return saying("nothing-left")
    return saying("left", count=len(tags), tags=listed(tags, most))


def listed(tags: Sequence[str], most: int = 5) -> Saying:
    """Tags by name, at most ``most`` of them, and how many more."""
    named = ", ".join(tags[:most])
    if len(tags) <= most:
        return saying("tags", tags=named)
    return saying("tags-more", tags=named, more=len(tags) - most)


def rejected(shown: str, also_tag: bool) -> Says:
    """After a no: the tree is still in hand."""
    if also_tag:
        return saying("not-saved"), saying("say-tree-and-tag-again", tag=shown)
    return saying("not-saved"), saying("say-tree-again", tag=shown)


def where(plot: str, last: Reading | None, in_hand: str | None, press: Press | None) -> Says:
    """The plot, what was saved last, and what is under way except for a pending reading."""
    parts = [saying("plot", plot=plot)]
    parts.append(saying("last-saved", reading=told(last)) if last else saying("nothing-saved-yet"))
    if in_hand:
        parts.append(saying("in-hand", tag=in_hand))
    if press is not None:
        parts.append(whose(press))
    return tuple(parts)


def ask(*says: Saying) -> Say:
    """A question, said and shown."""
    return Say(says, "ask")


# ---- presses of a tape ----


def pressed(press: Press) -> Saying:
    """A press, by what the tape showed."""
    unit = unit_told(press.unit, short=True)
    if press.scale is Scale.GIRTH:
        return saying("press-girth", value=press.value, unit=unit)
    return saying("press", value=press.value, unit=unit)


def whose(press: Press) -> Saying:
    """A press with no tree in hand."""
    return saying("press-which-tree", press=pressed(press))


def dropped(press: Press | None) -> Says:
    """A waiting press is dropped, said before what follows."""
    return (saying("press-dropped", press=pressed(press)),) if press is not None else ()


def too_late(press: Press) -> Saying:
    """No tree was named in time."""
    return saying("press-too-late", press=pressed(press))
