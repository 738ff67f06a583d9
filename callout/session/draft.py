"""From a meaning to the reading that would be recorded: scale, unit, graduation, warnings.

Only the checks look at the previous diameter, after the value to record is settled; in a blind plot
not before the reading is saved.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

from callout.core.checking import checks
from callout.core.checking.checks import Rules
from callout.core.errors import OperatorError
from callout.core.events import Heard
from callout.core.meaning import Meaning
from callout.core.model import Plot, PlotSettings, Reading, Tree, Warned
from callout.core.rounding import to_graduation
from callout.core.saying import saying
from callout.core.statuses import Status
from callout.core.told import side_told, unit_told
from callout.core.units import Scale, Unit, convert, diameter_from
from callout.session.records import key_of
from callout.session.state import Memory, Pending
from callout.session.tags import known_tags, lost_and_new


def recorded_value(raw: Decimal, raw_unit: Unit, scale: Scale, settings: PlotSettings) -> Decimal:
    """The diameter to record for a tape reading: girth over pi, unit, then graduation."""
    diameter = convert(diameter_from(raw, scale), raw_unit, settings.unit)
    return to_graduation(diameter, settings.graduation, settings.rounding)


def draft_reading(
    memory: Memory, plot: Plot, rules: Rules, event: Heard, meaning: Meaning, tag: str
) -> Pending:
    """The reading that ``meaning`` gives for tree ``tag``, with every warning about it."""
    scale = meaning.scale or plot.settings.scale
    tree = tree_of(plot, tag, meaning.species or "")
    is_new = meaning.kind == "new"
    raw_unit = meaning.unit or plot.settings.unit
    value = height_m = None
    if meaning.value is not None:
        value = recorded_value(meaning.value, raw_unit, scale, plot.settings)
        height_m = meaning.height_m or (None if rules.blind else carried_height_m(tree))
    tag_lost, new_tag = lost_and_new(memory, plot.settings.plot, tag)
    draft = Reading(
        entry=event.entry,
        at=event.at,
        plot=plot.settings.plot,
        tag=tag,
        species=meaning.species or tree.species,
        raw=meaning.value,
        raw_unit=raw_unit if meaning.value is not None else None,
        value=value,
        unit=plot.settings.unit,
        status=meaning.status or str(Status.LIVE),
        stem=meaning.stem or "",
        words=event.words,
        source=event.source,
        engine=event.engine,
        confidence=event.confidence,
        audio=event.audio,
        who=memory.who,
        height_m=height_m,
        is_new=is_new,
        tag_lost=tag_lost,
        new_tag=new_tag,
        raw_scale=scale.value if value is not None and rules.edition > 1 else "",
    )
    said = (
        checks.heard_unsurely(event.confidence),
        _measured_before(memory, rules, event, draft),
        _other_side(memory, meaning, plot, draft),
        _other_unit(memory, meaning, plot, draft),
        _beside_whole(memory, rules, draft),
        _old_tag(memory, event, draft),
    )
    return pending_of(memory, rules, draft, warnings_before(memory, plot, rules, draft, said))


def pending_of(memory: Memory, rules: Rules, draft: Reading, warned: tuple[Warned, ...]) -> Pending:
    """``draft`` as a pending reading, with what is already saved of its stem."""
    before = memory.saved.get(key_of(draft)) if rules.edition > 1 else None
    return Pending(draft, warned, rules.accept_word, before, hidden=rules.blind, asked_at=draft.at)


def amended(memory: Memory, plot: Plot, rules: Rules, pending: Pending, draft: Reading) -> Pending:
    """The pending reading with more said about it: checked again.

    Warnings about the words that were said with it stay.
    """
    before = warnings_before(memory, plot, rules, pending.draft)
    of_words = tuple(item for item in pending.warned if item not in before)
    now = warnings_before(memory, plot, rules, draft)
    return replace(pending, draft=draft, warned=(*of_words, *now), asked_at=draft.at)


def tree_of(plot: Plot, tag: str, species: str = "") -> Tree:
    """The roster's tree ``tag``, or one without earlier measurements."""
    return plot.trees.get(tag, Tree(plot.settings.plot, tag, species))


def carried_height_m(tree: Tree) -> Decimal | None:
    """The height at which the tree was measured last time, kept as the point of measurement."""
    try:
        return checks.last_height_m(tree)
    except OperatorError:
        return None  # not a number: the check of the height reports it


def warnings_before(
    memory: Memory, plot: Plot, rules: Rules, draft: Reading, said: tuple[Warned | None, ...] = ()
) -> tuple[Warned, ...]:
    """Every warning to give before the reading is confirmed; ``said`` are those about the words."""
    found = [
        _unknown_tag(memory, plot, draft),
        *said,
        _out_of_range(draft, plot.settings),
        checks.species_not_in_plot(draft.species, plot),
    ]
    if draft.value is not None:
        found.append(checks.beyond_species(draft.value, draft.unit, draft.species, rules))
    if not rules.blind:
        found.extend(warnings_of_history(memory, plot, rules, draft))
    return tuple(item for item in found if item is not None)


def warnings_of_history(
    memory: Memory, plot: Plot, rules: Rules, draft: Reading
) -> tuple[Warned, ...]:
    """The warnings from comparing the reading with the tree's earlier visits."""
    tree, settings = tree_of(plot, draft.tag), plot.settings
    found = [checks.dead_then_alive(tree, draft.status)]
    if draft.value is not None:
        found.append(checks.height_moved(draft.height_m, tree, settings, rules.limits))
        other = checks.other_standard(tree, settings)
        if other is not None and checks.standard_changed(plot) is None:
            found.append(other)
        if not draft.stem:  # the roster's size is of the whole tree
            on, before = date.fromisoformat(draft.at[:10]), _value_before(memory, draft)
            found.extend(_of_size(plot, rules, draft, on, before))
    return tuple(item for item in found if item is not None)


def _of_size(
    plot: Plot, rules: Rules, draft: Reading, on: date, before: Decimal | None
) -> tuple[Warned, ...]:
    assert draft.value is not None
    tree = tree_of(plot, draft.tag)
    if rules.first is not None:
        return checks.against_history_first(draft.value, draft.unit, on, tree, rules.first, before)
    called, alive = draft.raw or draft.value, draft.status == Status.LIVE
    return checks.against_history(
        plot, tree, draft.value, called, on, rules.limits, before, alive=alive
    )


def _value_before(memory: Memory, draft: Reading) -> Decimal | None:
    """The value saved last for another tree of this plot."""
    last = memory.latest
    if last is None or last.tag == draft.tag:
        return None
    return last.value


def _unknown_tag(memory: Memory, plot: Plot, draft: Reading) -> Warned | None:
    """A new tree measured again, to correct it, is not a second tree with that tag."""
    before = memory.saved.get(key_of(draft))
    if draft.is_new and before is not None and before.is_new:
        return None
    return checks.unknown_tag(draft.tag, known_tags(memory, plot), draft.is_new)


def _measured_before(memory: Memory, rules: Rules, event: Heard, draft: Reading) -> Warned | None:
    """No warning if only a size was said, to correct what was just saved: no tag was misheard."""
    if event.meanings and event.meanings[0].kind in ("amend", "size"):
        return None
    return checks.measured_before(memory.saved.get(key_of(draft)), draft.at[:10], rules.blind)


def _old_tag(memory: Memory, event: Heard, draft: Reading) -> Warned | None:
    """Only if the new tag is on record: while it is being reported, the old one is rightly said."""
    if (draft.plot, draft.tag) in memory.lost_tags:
        return None
    said = event.meanings[0].tag if event.meanings else None
    return checks.old_tag(said, draft.tag, draft.new_tag)


def _other_side(memory: Memory, meaning: Meaning, plot: Plot, draft: Reading) -> Warned | None:
    """Skipped for a pressed tape, which gives its side by its settings: nobody said it."""
    usual, last = plot.settings.scale, _read_alike(memory, draft)
    if meaning.scale is None or meaning.scale is usual or draft.source == "tape":
        return None
    if last is not None and last.raw_scale == draft.raw_scale:
        return None
    says = saying("warn-other-side", said=side_told(meaning.scale), usual=side_told(usual))
    return Warned("other side", says, saying("look-side"))


def _read_alike(memory: Memory, draft: Reading) -> Reading | None:
    """The reading saved just before in this plot, if the same person called it on the same day.

    Somebody who reads the other side of the tape, or another unit, and has accepted that for the
    tree before, is not asked again at each tree; the echo still gives both numbers.
    """
    last = memory.undoable[-1] if memory.undoable else None
    if last is None or not draft.raw_scale or last.raw is None:
        return None
    return last if _by_whom(last) == _by_whom(draft) else None


def _by_whom(reading: Reading) -> tuple[str, str, bool]:
    return reading.who, reading.at[:10], reading.source == "tape"


def _beside_whole(memory: Memory, rules: Rules, draft: Reading) -> Warned | None:
    """A stem of a tree that has a size of its own: another stem, or the whole tree?"""
    whole = memory.saved.stems(draft.plot, draft.tag).get("")
    if not draft.stem or whole is None or rules.edition == 1:
        return None
    what = saying("a-reading")
    if whole.value is not None and not rules.blind:
        what = saying("size", value=whole.value)
    says = saying("warn-beside-whole", what=what)
    return Warned("stem beside tree", says, saying("look-other-stem"))


def _other_unit(memory: Memory, meaning: Meaning, plot: Plot, draft: Reading) -> Warned | None:
    settings, last = plot.settings, _read_alike(memory, draft)
    if meaning.unit is None or meaning.unit is settings.unit:
        return None
    if last is not None and last.raw_unit is draft.raw_unit:
        return None
    says = saying("warn-other-unit", said=unit_told(meaning.unit), kept=unit_told(settings.unit))
    return Warned("other unit", says, saying("look-unit"))


def _out_of_range(draft: Reading, settings: PlotSettings) -> Warned | None:
    if draft.value is None or settings.smallest <= draft.value <= settings.largest:
        return None
    says = saying(
        "warn-out-of-range",
        least=settings.smallest,
        most=settings.largest,
        unit=unit_told(settings.unit, short=True),
    )
    return Warned("out of range", says, saying("look-point-right"))
