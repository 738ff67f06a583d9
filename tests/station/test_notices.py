"""What a start asks to be looked at, told until it is answered by a word that is journalled.

All invented; that boards lose their clock when the battery is out is common practice.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path

import in_english
import pytest
from journal_tools import survey
from station_tools import at_work

from callout.cli.main import main
from callout.core.errors import DeviceError
from callout.core.model import PastMeasurement, PlotSettings, Tree
from callout.core.saying import Saying, saying
from callout.core.units import Unit
from callout.journal.folder import SurveyFolder, make_survey
from callout.journal.holder import machine_id
from callout.station import build
from callout.station.post import Post, Told, Work
from callout.station.station import Station
from callout.station.upkeep.clock import Clock
from callout.station.upkeep.rebuild import steps
from callout.station.upkeep.verifying import verify_survey


@pytest.fixture
def fen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> SurveyFolder:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    return survey(tmp_path / "fen")


Shown = dict[str, str]


@contextmanager
def begun(folder: SurveyFolder) -> Iterator[tuple[Station, Shown]]:
    """A post at work without sound, and what it shows as standing."""
    shown: Shown = {}

    def fault(name: str, says: Saying | None) -> None:
        shown.pop(name, None)
        if says is not None:
            shown[name] = in_english.part(says)

    clock = Clock()
    with at_work(folder, None, clock.now) as station:
        post = Post(folder, station, clock, Work("K1", "R.V.", frames=(), silent=True))
        try:
            post.begin(Told(fault=fault))
            yield station, shown
        finally:
            post.close()


def noted(folder: SurveyFolder) -> list[dict[str, object]]:
    with folder.reading() as reader:
        return [entry.content for entry in reader.of_kind("noted")]


def edit(folder: SurveyFolder, old: str, new: str) -> None:
    text = folder.settings.read_text()
    assert old in text
    folder.settings.write_text(text.replace(old, new, 1))


def test_nothing_is_asked_where_nothing_changed(fen: SurveyFolder) -> None:
    for _ in range(2):
        with begun(fen) as (station, shown):
            assert shown == {}
            station.type("accept")
    assert noted(fen) == []


def test_settings_edited_by_hand_are_told_until_accepted(fen: SurveyFolder) -> None:
    with begun(fen):
        pass
    edit(fen, 'unit = "in"', 'unit = "cm"')
    for _ in range(2):  # and again at the next start, where nobody answered
        with begun(fen) as (station, shown):
            assert "unit = cm, was in (K1)" in shown["settings"]
            station.type("91 12.9")  # a yes to a reading is none to this
            station.press("accept", about=station.memory.asking)
            assert "settings" in shown
    with begun(fen) as (station, shown):
        station.type("accept")
        assert "settings" not in shown
    (body,) = noted(fen)
    assert body["who"] == "R.V."
    with begun(fen) as (station, shown):
        assert shown == {}
    with fen.reading() as reader:
        assert [entry.kind for entry in reader.entries()].count("noted") == 1
        assert list(steps(reader.entries()))[-1].memory.plot == "K1", "and it can be replayed"
    assert verify_survey(fen).faults == []


def test_the_word_for_warnings_and_a_limit_are_told(fen: SurveyFolder) -> None:
    with begun(fen):
        pass
    with fen.settings.open("a") as file:
        file.write('\n[checks]\naccept_word = false\nshrink_sd = "3.5"\n')
    with begun(fen) as (_, shown):
        assert "accept_word = false, was true (*)" in shown["settings"]
        assert "shrink_sd = 3.5, was 3.6 (*)" in shown["settings"]


def test_a_clock_before_the_rosters_own_dates(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    ahead = datetime.now().astimezone().date() + timedelta(days=400)
    past = (PastMeasurement(ahead, Decimal("25.0"), Unit.CENTIMETRE),)
    now = datetime.now().astimezone().isoformat(timespec="milliseconds")
    trees = (Tree("K1", "83", "beech", past), Tree("K1", "91", "oak"))
    folder = make_survey(tmp_path / "fen", trees, PlotSettings(plot=""), {}, now)
    with begun(folder) as (_, shown):
        assert f"the survey knows {ahead.isoformat()} already" in shown["clock"]


def test_a_clock_before_the_last_session(fen: SurveyFolder) -> None:
    ahead = datetime.now().astimezone() + timedelta(days=3)
    with at_work(fen, None, lambda: ahead) as station:
        station.open("K1", "R.V.")
    with begun(fen) as (station, shown):
        assert f"the survey knows {ahead:%Y-%m-%d %H:%M} already" in shown["clock"]
        station.type("accept")
        assert "clock" not in shown


def test_a_survey_of_another_machine_until_it_is_taken_over(
    fen: SurveyFolder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with begun(fen) as (_, shown):
        assert shown == {}
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "another"))
    for _ in range(2):
        with begun(fen) as (_, shown):
            assert "another machine held this survey last" in shown["holder"]
    edit(fen, 'unit = "in"', 'unit = "cm"')  # its entry does not take the survey over
    with begun(fen) as (station, shown):
        assert set(shown) == {"holder", "settings"}
        station.press("accept")
        assert shown == {}
    with begun(fen) as (_, shown):
        assert shown == {}
    assert noted(fen)[0]["machine"] == machine_id()
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    with begun(fen) as (_, shown):
        assert set(shown) == {"holder"}, "given back, it is another's for us"


def test_through_the_command(
    fen: SurveyFolder, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def without(order: object) -> None:
        raise DeviceError(saying("recogniser-down"))

    monkeypatch.setattr(build, "ApartEngine", without)  # starting one takes seconds
    with begun(fen):
        pass
    edit(fen, 'unit = "in"', 'unit = "cm"')
    monkeypatch.setattr(sys, "stdin", io.StringIO("accept\n"))
    assert main(["listen", str(fen.path), "--headless", "--typed", "--plot", "K1"]) == 0
    told = capsys.readouterr().out
    assert "the settings were changed: unit = cm, was in (K1). Look, then say accept" in told
    assert told.index("settings were changed") < told.index('"Noted')
