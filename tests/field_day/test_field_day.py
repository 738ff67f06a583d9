"""A day on an invented site, walked from end to end through the real station, typed.

Three plots of 100 trees, K1 in inches, three earlier visits. Faults are planted; each must be told
before anything is saved. The table is printed with ``pytest -s``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

import pytest
from invented_site import UNITS, Standing, make_site, write_roster
from planted import KINDS, Fault, plant
from station_tools import at_work, clock, said, told_by

from callout.core.model import PlotSettings
from callout.core.units import Unit
from callout.journal.folder import SurveyFolder, make_survey
from callout.journal.reader import current
from callout.station.station import Station
from callout.station.upkeep.recall import remember
from callout.survey.config import measuring_from
from callout.survey.roster import read_roster

NUMBERS = (2026, 7)
LEFT_FOR_LAST = 3  # trees of each plot that the walk leaves out


@dataclass
class Day:
    """What happened: faults caught (by what was suspected) or missed, and good ones questioned."""

    folder: SurveyFolder
    site: list[Standing]
    faults: dict[int, Fault]
    caught: Counter[tuple[str, str]] = field(default_factory=Counter)
    missed: list[Fault] = field(default_factory=list)
    good: int = 0
    questioned: Counter[str] = field(default_factory=Counter)
    refusals: list[str] = field(default_factory=list)
    resumed: int = 0


def make_folder(site: list[Standing], where: Path) -> SurveyFolder:
    roster = where / "roster.csv"
    write_roster(site, roster)
    trees = read_roster(roster, UNITS, Unit.CENTIMETRE)
    measuring = measuring_from("", {"unit": "cm"}, PlotSettings(plot=""))
    inches = measuring_from("K1", {"unit": "in", "breast_height": "1.37"}, measuring)
    return make_survey(
        where / "harrow-fen", trees, measuring, {"K1": inches}, clock()().isoformat()
    )


def truth(item: Standing) -> str:
    told = "dead standing" if item.today is None else str(item.today)
    return f"{item.tree.tag} {told}"


def call_out_badly(day: Day, station: Station, fault: Fault) -> None:
    """Say the fault; whoever is warned says it again, whoever is not would have saved it."""
    done = told_by(station)
    station.type(fault.typed)
    pending = station.memory.pending
    if pending is None:
        assert "ask" not in [getattr(effect, "tone", "") for effect in done[-1].effects]
        day.caught[fault.kind, "refused"] += 1
        return
    suspected = [item.check for item in pending.warned]
    if not suspected:
        day.missed.append(fault)
    else:
        day.caught[fault.kind, fault.kind if fault.kind in suspected else suspected[0]] += 1
    station.type("scratch that")


def call_out(day: Day, station: Station, item: Standing) -> None:
    station.type(truth(item))
    pending = station.memory.pending
    assert pending is not None, truth(item)
    if item.today is not None:
        day.good += 1
        day.questioned.update(warned.check for warned in pending.warned)
    station.press("accept")
    assert station.memory.pending is None


def walk(day: Day) -> None:
    """Every plot in order; the station is closed in the middle of each, a reading waiting."""
    now = clock()
    for plot in UNITS:
        places = [n for n, item in enumerate(day.site) if item.tree.plot == plot]
        half = len(places) // 2
        with at_work(day.folder, now=now) as station:
            station.open(plot, "R.V.")
            for place in places[:half]:
                visit(day, station, place)
            station.type(truth(day.site[places[half]]))
            waiting = station.memory
        with at_work(day.folder, now=now) as station:
            assert station.memory == waiting
            done = told_by(station)
            station.open(plot, "M.O.")
            assert said(done)[0].startswith("Still waiting: ")
            day.resumed += 1
            station.press("accept")
            for place in places[half + 1 : -LEFT_FOR_LAST]:
                visit(day, station, place)
            station.type("plot complete")
            day.refusals.append(said(done)[-1])
            for place in places[-LEFT_FOR_LAST:]:
                visit(day, station, place)
            station.type("plot complete")
            day.refusals.append(said(done)[-1])


def visit(day: Day, station: Station, place: int) -> None:
    if place in day.faults:
        call_out_badly(day, station, day.faults[place])
    call_out(day, station, day.site[place])


@pytest.fixture(scope="module", params=NUMBERS)
def day(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Day]:
    site = make_site(request.param)
    faults = plant(site, request.param)
    # The tree at which the station is closed is called out once and rightly.
    for plot in range(len(UNITS)):
        faults.pop(plot * 100 + 50, None)
    found = Day(make_folder(site, tmp_path_factory.mktemp("day")), site, faults)
    walk(found)
    yield found


def test_every_planted_fault_is_caught_before_saving(day):
    print("\n  planted           caught  by that name  missed")
    for kind in KINDS:
        by = {name: n for (one, name), n in day.caught.items() if one == kind}
        missed = sum(fault.kind == kind for fault in day.missed)
        others = ", ".join(f"{name} {n}" for name, n in by.items() if name != kind)
        print(f"  {kind:17} {sum(by.values()):6}  {by.get(kind, 0):12}  {missed:6}  {others}")
        assert sum(by.values()) + missed >= 3, "planted often enough to mean something"
    assert day.missed == []
    assert sum(day.caught.values()) == len(day.faults)


def test_good_readings_of_the_day_are_left_alone(day):
    share = sum(day.questioned.values()) / day.good
    print(f"\n  {day.good} good readings, questioned: {dict(day.questioned)}, {share:.2%}")
    assert share <= 0.02


def test_every_tree_is_accounted_for_with_its_true_value(day):
    with day.folder.reading() as reader:
        standing = {(item.plot, item.tag): item for item in current(reader.readings())}
    assert len(standing) == len(day.site) == 300
    for item in day.site:
        saved = standing[item.tree.plot, item.tree.tag]
        assert saved.value == item.today
        assert saved.unit is item.unit
        assert saved.status == ("live" if item.today is not None else "dead_standing")


def test_no_plot_was_complete_too_early(day):
    early, done = day.refusals[::2], day.refusals[1::2]
    assert len(early) == len(done) == 3
    for plot, refused in zip(UNITS, early, strict=True):
        tags = [item.tree.tag for item in day.site if item.tree.plot == plot][-LEFT_FOR_LAST:]
        assert refused == f"Not complete. 3 left: {', '.join(tags)}."
    assert set(done) == {"Every tree of this plot is accounted for."}


def test_the_journal_replays_to_the_same_day(day):
    assert day.resumed == 3
    with day.folder.reading() as reader:
        _, memory = remember(reader)
        standing = current(reader.readings())
    assert sorted(item.entry for item in memory.saved.values()) == [item.entry for item in standing]
    assert all(isinstance(item.value, Decimal) for item in standing if item.status == "live")
