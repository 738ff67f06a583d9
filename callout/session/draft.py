"""From a meaning to the reading that would be recorded: scale, unit, graduation, warnings.

The former diameter is only looked at by the checks, after the value to record is settled.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from callout.core import checks
from callout.core.events import Heard
from callout.core.meaning import Meaning
from callout.core.model import Plot, PlotSettings, Reading, Tree, Warned
from callout.core.rounding import to_graduation
from callout.core.units import Scale, Unit, convert, diameter_from
from callout.session.state import Key, Memory, Pending


def recorded_value(raw: Decimal, raw_unit: Unit, scale: Scale, settings: PlotSettings) -> Decimal:
    """The diameter to record for a tape reading: girth over pi, unit, then graduation."""
    diameter = convert(diameter_from(raw, scale), raw_unit, settings.unit)
    return to_graduation(diameter, settings.graduation, settings.rounding)


def draft_reading(memory: Memory, plot: Plot, event: Heard, meaning: Meaning, tag: str) -> Pending:
    """The reading that ``meaning`` gives tree ``tag``, with every warning about it."""
    tree = plot.trees.get(tag, Tree(plot.settings.plot, tag, meaning.species or ""))
    is_new = meaning.kind == "new"
    raw_unit = meaning.unit or plot.settings.unit
    value = None
    if meaning.value is not None:
        scale = meaning.scale or plot.settings.scale
        value = recorded_value(meaning.value, raw_unit, scale, plot.settings)
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
        status=meaning.status or "live",
        stem=meaning.stem or "",
        words=event.words,
        source=event.source,
        engine=event.engine,
        confidence=event.confidence,
        audio=event.audio,
        who=memory.who,
        height_m=meaning.height_m,
        is_new=is_new,
    )
    return Pending(draft, _warnings(memory, plot, draft, meaning, tree))


def _warnings(
    memory: Memory, plot: Plot, draft: Reading, meaning: Meaning, tree: Tree
) -> tuple[Warned, ...]:
    found = [
        _unknown_tag(memory, plot, draft),
        checks.measured_before(memory.saved.get(key_of(draft)), draft.at[:10]),
        _other_unit(meaning, plot.settings),
        _out_of_range(draft, plot.settings),
    ]
    warned = [item for item in found if item is not None]
    if draft.value is not None and not draft.stem:
        on = date.fromisoformat(draft.at[:10])
        warned.extend(checks.against_history(draft.value, draft.unit, on, tree))
    return tuple(warned)


def _unknown_tag(memory: Memory, plot: Plot, draft: Reading) -> Warned | None:
    """A new tree measured again, to correct it, is no second tree of that tag."""
    before = memory.saved.get(key_of(draft))
    if draft.is_new and before is not None and before.is_new:
        return None
    return checks.unknown_tag(draft.tag, known_tags(memory, plot), draft.is_new)


def known_tags(memory: Memory, plot: Plot) -> set[str]:
    """Tags of the roster, and of the trees found on this visit."""
    here = plot.settings.plot
    return {*plot.trees, *(tag for where, tag, _ in memory.saved if where == here)}


def key_of(reading: Reading) -> Key:
    """What a reading is the reading of: one stem of one tree."""
    return (reading.plot, reading.tag, reading.stem)


def _other_unit(meaning: Meaning, settings: PlotSettings) -> Warned | None:
    if meaning.unit is None or meaning.unit is settings.unit:
        return None
    says = f"you said {meaning.unit.value}, this plot is kept in {settings.unit.value}"
    return Warned("other unit", says, "which unit does the tape show?")


def _out_of_range(draft: Reading, settings: PlotSettings) -> Warned | None:
    if draft.value is None or settings.smallest <= draft.value <= settings.largest:
        return None
    limits = f"{settings.smallest} to {settings.largest} {settings.unit.value}"
    return Warned("out of range", f"outside {limits}", "is the decimal point right?")
