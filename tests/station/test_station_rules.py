"""The [checks] table at work: a blind plot, its face, the walk, and that replay knows the rules."""

from __future__ import annotations

from pathlib import Path

import pytest
from journal_tools import survey
from station_tools import at_work, said, saves, told_by

from callout.journal.folder import SurveyFolder
from callout.station.showing.station_view import view_of
from callout.station.upkeep.recall import remember


@pytest.fixture
def folder(tmp_path: Path) -> SurveyFolder:
    return survey(tmp_path / "harrow")


def set_checks(folder: SurveyFolder, text: str) -> None:
    with folder.settings.open("a", encoding="utf-8") as file:
        file.write(f"\n{text}\n")


def test_a_blind_plot_shows_and_says_nothing_before_saving(folder: SurveyFolder) -> None:
    set_checks(folder, "[checks.plots.K1]\nblind = true")
    with at_work(folder) as station:
        station.open("K1", "R.V.")
        done = told_by(station)
        station.type("83 24.3")
        view = view_of(station, said="", heard="", tone="", muted=False, faults=())
        assert (view.before, view.change, view.warnings) == ("", "", ())
        assert said(done)[-1] == "83, 24.3. Confirm?"
        station.press("confirm")
        assert said(done)[-1].startswith("Look again at 83: that is down 0.7 in 5 years.")
        assert saves(done)[-1].reading.warnings == ("shrunk",)
        memory = station.memory
    with folder.reading() as reader:
        assert remember(reader)[1] == memory
    set_checks(folder, "walk = false")
    with folder.reading() as reader:
        assert remember(reader)[1] == memory, "rules count from the entry that records them"
    with at_work(folder) as station:
        assert station.memory == memory
        assert not station.survey.rules_of("K1").walk


def test_a_new_survey_needs_no_second_settings_entry(folder: SurveyFolder) -> None:
    with folder.reading() as reader:
        before = len(list(reader.entries()))
    with at_work(folder):
        pass
    with folder.reading() as reader:
        assert len(list(reader.entries())) == before
        survey_now, _ = remember(reader)
    assert survey_now.rules_of("K1").walk
    assert survey_now.rules_of("K1").largest_cm, "red oak and beech are in the table that ships"
