"""Reads a survey or a united site in the same way: its plots, and every current reading.

Readings keep their recorder. If two recorders measured one tree, both readings are here; people
rule which one to use. Reads only.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from callout.core.model import Plot, PlotSettings, Reading, Tree
from callout.crews.recorder import SHORT_LETTERS, Recorder, recorder_of
from callout.crews.site import Site, is_site
from callout.crews.site_rulings import in_utc, office_rulings
from callout.journal.codec import settings_from
from callout.journal.earlier import Row, earlier_rows
from callout.journal.folder import SurveyFolder, open_survey
from callout.journal.reader import JournalReader, current
from callout.journal.rulings import Ruling, rulings


@dataclass(frozen=True)
class Standing:
    """A current reading of its recorder's journal, with the newest ruling on it.

    ``first`` is the entry that the reading began with, before any correction (0: its own);
    ``settings`` are the plot's at the time of confirmation (None: not known).
    """

    recorder: str
    reading: Reading
    ruling: Ruling | None = None
    first: int = 0
    settings: PlotSettings | None = None

    @property
    def key(self) -> tuple[str, str, str]:
        """The stem that was measured."""
        return self.reading.plot, self.reading.tag, self.reading.stem

    @property
    def name(self) -> str:
        """Its name for people: its recorder and its entry there."""
        return f"{self.recorder[:SHORT_LETTERS]}:{self.reading.entry}"

    @property
    def lasting_name(self) -> str:
        """Its name in exports: the same after corrections, and unique to its recorder."""
        return f"{self.recorder}:{self.first or self.reading.entry}"

    @property
    def void(self) -> bool:
        """Whether it was ruled void."""
        return self.ruling is not None and self.ruling.verdict == "void"


@dataclass(frozen=True)
class Place:
    """The content of a survey or a united site.

    ``notes`` say where recorders' plots differ; ``earlier`` holds what the survey was started with
    beyond its roster, one row each, texts by column. ``origin`` is the SHA-256 of a journal's first
    entry: surveys copied from one folder share it. ``memos`` are the notes kept, one row each, with
    their ``recorder``.
    """

    plots: Mapping[str, Plot]
    standing: Sequence[Standing]
    recorders: Sequence[Recorder]
    united: bool
    notes: Sequence[str] = ()
    earlier: Sequence[Row] = ()
    origin: str = ""
    memos: Sequence[Mapping[str, Any]] = ()


@dataclass(frozen=True)
class _Read:
    """The content of one journal.

    ``since`` is when its plots were last recorded, ``begun`` its first entry's time and hash.
    """

    recorder: Recorder | None
    since: str
    plots: Mapping[str, Plot]
    standing: list[Standing]
    earlier: list[Row]
    begun: tuple[str, str]
    memos: list[Mapping[str, Any]]


def read_place(path: Path) -> Place:
    """The survey or united site at ``path``. Raises OperatorError if there is neither."""
    if not is_site(path):
        read = _read(open_survey(path))
        known = [read.recorder] if read.recorder else []
        return Place(
            read.plots,
            read.standing,
            known,
            united=False,
            earlier=read.earlier,
            origin=read.begun[1],
            memos=read.memos,
        )
    held = Site(path).held()
    crews = [_read(item.folder) for item in held if not item.recorder.office]
    crews.sort(key=lambda read: (read.since, read.recorder.id if read.recorder else ""))
    office = office_rulings(held)
    standing = [
        replace(item, ruling=office.get((item.recorder, item.reading.entry), item.ruling))
        for read in crews
        for item in read.standing
    ]
    standing.sort(key=lambda item: (in_utc(item.reading.at), item.recorder, item.reading.entry))
    plots, notes = united_plots([read.plots for read in crews])
    rows = {tuple(sorted(row.items())): row for read in crews for row in read.earlier}
    return Place(
        plots,
        standing,
        [item.recorder for item in held],
        united=True,
        notes=notes,
        earlier=list(rows.values()),
        origin=min((read.begun for read in crews), default=("", ""))[1],
        memos=[memo for read in crews for memo in read.memos],
    )


def _read(folder: SurveyFolder) -> _Read:
    with folder.reading() as reader:
        recorder = recorder_of(reader.entries())
        name, ruled = recorder.id if recorder else "", rulings(reader)
        readings = reader.readings()
        first = first_entries(readings)
        then = _settings_then(reader)
        standing = [
            Standing(name, item, ruled.get(item.entry), first[item.entry], then(item))
            for item in current(readings)
        ]
        memos: list[Mapping[str, Any]] = [{"recorder": name, **memo} for memo in reader.memos()]
        begun = next(reader.entries(), None)
        return _Read(
            recorder,
            _since(reader),
            reader.plots(),
            standing,
            earlier_rows(reader),
            (in_utc(begun.at), begun.hash) if begun else ("", ""),
            memos,
        )


def _settings_then(reader: JournalReader) -> Callable[[Reading], PlotSettings | None]:
    """A function that gives the settings of a reading's plot at the time of confirmation."""
    told = reader.of_kind("settings")
    entries = [entry.seq for entry in told]
    plots = [settings_from(entry.content) for entry in told]

    def then(reading: Reading) -> PlotSettings | None:
        at = bisect_right(entries, reading.entry) - 1
        return plots[at].get(reading.plot) if at >= 0 else None

    return then


def first_entries(readings: Sequence[Reading]) -> dict[int, int]:
    """For each reading's entry the entry that it began with, traced back through corrections."""
    found: dict[int, int] = {}
    for item in readings:  # oldest first, so that a superseded one is already known
        found[item.entry] = found.get(item.supersedes or 0, item.entry)
    return found


def _since(reader: JournalReader) -> str:
    settings = reader.latest("settings")
    return in_utc(settings.at) if settings else ""


# ---- plots of several recorders ----


def united_plots(told: Sequence[Mapping[str, Plot]]) -> tuple[dict[str, Plot], list[str]]:
    """The plots and trees of several surveys, the newest last; and where they differ.

    The newest survey's settings and species count; every earlier measurement of any is kept.
    """
    plots: dict[str, Plot] = {}
    notes: dict[str, None] = {}
    for name, plot in (pair for plots_told in reversed(told) for pair in plots_told.items()):
        newer = plots.get(name)
        if newer is None:
            plots[name] = plot
            continue
        notes.update(dict.fromkeys(_differences(newer.settings, plot.settings)))
        trees = dict(newer.trees)
        for tag, tree in plot.trees.items():
            trees[tag] = _both(trees[tag], tree) if tag in trees else tree
        plots[name] = replace(newer, trees=trees)
    return plots, list(notes)


def _both(newer: Tree, older: Tree) -> Tree:
    past = sorted({*newer.past, *older.past}, key=lambda item: (item.on, str(item.value)))
    return replace(
        newer,
        species=newer.species or older.species,
        past=tuple(past),
        extra={**older.extra, **newer.extra},
    )


def _differences(newer: PlotSettings, older: PlotSettings) -> list[str]:
    return [
        f"plot {newer.plot}: {told} is {getattr(newer, name)} with one recorder and "
        f"{getattr(older, name)} with another; the newer stands"
        for name, told in (
            ("unit", "unit"),
            ("breast_height_m", "height of measurement"),
            ("rounding", "rounding"),
            ("graduation", "graduation"),
            ("area_ha", "area"),
            ("treatment", "treatment"),
            ("site", "site"),
            ("shape", "shape"),
            ("established", "age"),
            ("paint_line", "paint line"),
        )
        if getattr(newer, name) != getattr(older, name)
    ]
