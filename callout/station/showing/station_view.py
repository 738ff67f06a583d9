"""A station's state as the values that a screen paints."""

from __future__ import annotations

from datetime import datetime

from callout.core.checking.checks import change_since, shown
from callout.core.model import Plot, Reading, Tree
from callout.core.rounding import to_graduation
from callout.core.saying import Saying, Says, saying
from callout.core.told import about_told, status_told
from callout.session.state import Memory, Pending, left_to_do
from callout.session.tags import tag_shown
from callout.session.walk import next_tree, tree_in_hand
from callout.station.face import SavedLine, View
from callout.station.station import Station
from callout.wording.wording import Wording

RECENT = 8


def view_of(
    station: Station, *, said: Says, heard: str, tone: str, muted: bool, faults: tuple[str, ...]
) -> View:
    """A station's state as plain text in the plot's own unit."""
    memory, plot = station.memory, station.plot
    pending = memory.pending
    warned = pending.warned if pending else ()
    tree = tree_in_hand(memory, plot)
    left = left_to_do(memory, plot)
    engine = station.engine
    blind = station.survey.rules_of(memory.plot).blind
    wording, about = station.wording, about_told(plot.settings)
    return View(
        plot=memory.plot,
        who=memory.who,
        unit=plot.settings.unit.value,
        about="" if about is None else wording.part(about),
        phase=memory.phase,
        waiting=memory.asking,
        tag=_tag(memory, pending, wording),
        species=pending.draft.species if pending else (tree.species if tree else ""),
        value=_text(pending.draft) if pending else "",
        status=pending.draft.status if pending else "",
        before="" if blind else _before(tree),
        change="" if blind else _change(pending, tree, plot, wording),
        warnings=tuple(wording.part(item.says) for item in warned),
        wants_accept=pending is not None and pending.wants_accept,
        looks=tuple(wording.part(item.look) for item in warned if item.look),
        said=wording.shown(*said),
        answer=_answer(said, wording),
        heard=heard,
        tone=tone,
        left=left,
        next_tag=_next(memory, plot) if station.survey.rules_of(memory.plot).walk else "",
        done=len(plot.trees) - len(left),
        total=len(plot.trees),
        recent=_recent(memory, wording),
        engine=f"{engine.name}: {engine.model}" if engine else "",
        muted=muted,
        faults=faults,
    )


def _next(memory: Memory, plot: Plot) -> str:
    """The next tree of the list, by its present tag."""
    last = memory.undoable[-1].tag if memory.undoable else ""
    tag = next_tree(memory, plot, last)
    return tag_shown(memory, memory.plot, tag) if tag is not None else ""


def _answer(said: Says, wording: Wording) -> str:
    """The key of the first message; with the tag and stem, if that was saved."""
    if not said:
        return ""
    reading = said[0]["reading"] if said[0].key == "saved" else None
    parts = reading["parts"] if isinstance(reading, Saying) else ()
    first = parts[0] if isinstance(parts, tuple) and parts else None
    return f"saved {wording.part(first)}" if first is not None else said[0].key


def _tag(memory: Memory, pending: Pending | None, wording: Wording) -> str:
    if pending is None:
        return tag_shown(memory, memory.plot, memory.named) if memory.named else ""
    return _tree(pending.draft, wording)


def _tree(reading: Reading, wording: Wording) -> str:
    """The tag, and the stem if it has one."""
    if not reading.stem:
        return reading.tag_now
    return wording.part(saying("tag-stem", tag=reading.tag_now, stem=reading.stem))


def _text(reading: Reading) -> str:
    return "" if reading.value is None else str(reading.value)


def _before(tree: Tree | None) -> str:
    if tree is None or tree.last is None:
        return ""
    last = tree.last
    return f"{last.value} {last.unit.value}, {last.on.isoformat()}"


def _change(pending: Pending | None, tree: Tree | None, plot: Plot, wording: Wording) -> str:
    if pending is None or pending.draft.value is None or tree is None or tree.last is None:
        return ""
    settings = plot.settings
    change = change_since(pending.draft.value, settings.unit, tree.last)
    size = to_graduation(abs(change), settings.graduation, settings.rounding)
    if size == 0:
        return wording.part(saying("change-none"))
    told = shown(size)
    return wording.part(
        saying("change-up", size=told) if change > 0 else saying("change-down", size=told)
    )


def _recent(memory: Memory, wording: Wording) -> tuple[SavedLine, ...]:
    here = [item for item in memory.undoable if item.plot == memory.plot]
    return tuple(_line(item, wording) for item in reversed(here[-RECENT:]))


def _line(reading: Reading, wording: Wording) -> SavedLine:
    return SavedLine(
        tag=_tree(reading, wording),
        told=_text(reading) or wording.part(status_told(reading.status)),
        unit=reading.unit.value if reading.value is not None else "",
        time=datetime.fromisoformat(reading.at).strftime("%H:%M"),
        warned=bool(reading.warnings),
    )
