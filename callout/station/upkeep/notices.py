"""What a start asks to be looked at: settings changed, a wrong clock, another machine's survey.

Repeated at every start until somebody accepts it with the word for warnings; that is an entry of
its own, and the next start compares with it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields
from datetime import datetime, timedelta
from enum import Enum
from typing import Any

from callout.core.checking.checks import Rules
from callout.core.events import Effect, Event, Heard, Say
from callout.core.model import PlotSettings
from callout.core.saying import Saying, as_is, saying
from callout.journal.codec import KINDS, settings_from
from callout.journal.holder import MACHINE, NOTED, holder_in, machine_id
from callout.journal.reader import Entry, JournalReader
from callout.session.state import Memory, Survey
from callout.survey.check_settings import rules_in

Append = Callable[[str, str, dict[str, Any]], object]
SETTINGS, CLOCK, HOLDER = "settings", "clock", "holder"
_SLACK = timedelta(minutes=10)
_MOST_TOLD = 4
# Made by the rules themselves, or shown as a table of its own.
_NOT_SET = frozenset({"edition", "first", "largest_cm", "limits"})


def notices(reader: JournalReader, survey: Survey, now: datetime) -> dict[str, Saying]:
    """The present notices, by name. Called before the new session is opened."""
    found: dict[str, Saying | None] = {
        SETTINGS: _changed(reader, survey),
        CLOCK: _clock(reader, survey, now),
        HOLDER: _holder(reader),
    }
    return {name: says for name, says in found.items() if says is not None}


class Noting:
    """The notices of a start that nobody has answered yet."""

    def __init__(self) -> None:
        self._told: Mapping[str, Saying] = {}
        self._tell: Callable[[], None] = lambda: None

    def ask(self, told: Mapping[str, Saying], tell: Callable[[], None]) -> None:
        """These were told; ``tell`` is called once the answer is in the journal."""
        self._told, self._tell = told, tell

    def answered_by(self, event: Event, memory: Memory) -> bool:
        """Whether ``event`` is the answer: the word for warnings, while nothing else is pending."""
        if not self._told or not isinstance(event, Heard) or memory.asking:
            return False
        return [one.kind for one in event.meanings] == ["accept"]

    def done(self, append: Append, at: str, who: str) -> tuple[Effect, ...]:
        """Journal that it was looked at, by whom; from now on this machine holds the survey.

        Raises StorageError; then it is still asked.
        """
        what = {name: says.as_json() for name, says in self._told.items()}
        append(at, NOTED, {"what": what, "who": who, MACHINE: machine_id()})
        self._told = {}
        self._tell()
        return (Say((saying("noted"),), "saved"),)


# ---- settings ----


def _changed(reader: JournalReader, survey: Survey) -> Saying | None:
    known = _looked_at(reader)
    if known is None:
        return None
    before = settings_from(known.content)
    rules = rules_in(known.content)
    found: dict[str, list[str]] = {}
    for name, plot in survey.plots.items():
        if name not in before:
            continue
        for line in _lines(before[name], plot.settings, rules.get(name), survey.rules.get(name)):
            found.setdefault(line, []).append(name)
    if not found:
        return None
    told = [f"{line} ({_plots(names, survey)})" for line, names in found.items()]
    more = f"; {len(told) - _MOST_TOLD} more" if len(told) > _MOST_TOLD else ""
    return saying("settings-changed", what=as_is("; ".join(told[:_MOST_TOLD]) + more))


def _looked_at(reader: JournalReader) -> Entry | None:
    """The settings in force when somebody last accepted a notice, or first worked with them."""
    since = reader.latest(NOTED) or reader.first(KINDS)
    if since is None:
        return None
    before = [entry for entry in reader.of_kind("settings") if entry.seq < since.seq]
    return before[-1] if before else None


def _lines(
    before: PlotSettings, now: PlotSettings, ruled: Rules | None, rules: Rules | None
) -> Iterator[str]:
    yield from _differing(before, now, frozenset())
    if ruled is not None and rules is not None:
        yield from _differing(ruled, rules, _NOT_SET)
        yield from _differing(ruled.limits, rules.limits, frozenset())


def _differing(before: Any, now: Any, but: frozenset[str]) -> Iterator[str]:
    for item in fields(before):
        was, is_ = getattr(before, item.name), getattr(now, item.name)
        if was != is_ and item.name not in but:
            yield f"{item.name} = {_text(is_)}, was {_text(was)}"


def _text(value: object) -> str:
    if isinstance(value, Enum):
        return str(value.value)
    return str(value).lower() if isinstance(value, bool) else str(value)


def _plots(names: list[str], survey: Survey) -> str:
    if len(names) == len(survey.plots):
        return "*"
    return names[0] if len(names) == 1 else f"{names[0]} + {len(names) - 1}"


# ---- clock ----


def _clock(reader: JournalReader, survey: Survey, now: datetime) -> Saying | None:
    """Before a measurement of the roster, or before the newest entry of a session."""
    days = [plot.newest for plot in survey.plots.values() if plot.newest is not None]
    newest = max(days, default=None)
    if newest is not None and now.date() < newest:
        return saying("clock-before", now=f"{now:%Y-%m-%d %H:%M}", known=newest.isoformat())
    worked = [entry for kind in KINDS if (entry := reader.latest(kind)) is not None]
    at = max((datetime.fromisoformat(entry.at) for entry in worked), default=None)
    if at is not None and now < at - _SLACK:
        return saying("clock-before", now=f"{now:%Y-%m-%d %H:%M}", known=f"{at:%Y-%m-%d %H:%M}")
    return None


# ---- holder ----


def _holder(reader: JournalReader) -> Saying | None:
    told = [entry for kind in ("settings", NOTED) if (entry := reader.latest(kind)) is not None]
    newest = max(told, key=lambda entry: entry.seq, default=None)
    holder = holder_in(newest.content) if newest is not None else ""
    here = machine_id()
    return saying("holder-other") if holder and here and holder != here else None
