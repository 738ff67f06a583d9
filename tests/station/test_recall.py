"""A restart brings back the very memory that was live, whatever was said, typed or pressed."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from datetime import datetime
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from journal_tools import survey
from station_tools import ScriptedEngine, at_work, clock, said, sound, told_by

from callout.core.errors import OperatorError
from callout.journal.folder import SurveyFolder
from callout.journal.reader import current
from callout.session.phase import Phase
from callout.station.scopes import plot_to_begin
from callout.station.station import Station
from callout.station.upkeep.recall import remember

TYPED = (
    "83 24.6", "83 3.1", "91 12.25", "tree ninety one", "12.9", "correction 13.1", "101 5",
    "tree eighty three twenty four point six", "eighty three twenty", "83 dead standing",
    "new tree two oh five, eight point one", "new tree eighty three eight point one",
    "tree 91 missing", "new tree 205 8.1", "205 8.2", "tree 83 63.5 cm",
    "measured at 1.5 metres", "stem 2 diameter 4.5", "no such words", "-3", "", "83 24.60",
    "tree 83 24 point, no wait, 26", "plot complete", "é 83", "83 9999",
)  # fmt: skip
KEYS = ("confirm", "accept", "reject", "undo", "skip", "repeat", "scratch", "left", "where", "note")
SPOKEN = (
    "tree eighty three twenty four point six", "confirm", "no", "undo", "note", "cough",
    "tree ninety one twelve point nine", "tree eighty three twenty", "tree ninety one",
)  # fmt: skip

# What survives a power cut is no matter here, and forcing to a real disk is slow.
MEMORY_DISK = "/dev/shm" if Path("/dev/shm").is_dir() else None

typed = st.tuples(st.just("type"), st.sampled_from(TYPED))
# Confirmations weigh more, or little would ever be saved.
pressed = st.tuples(st.just("press"), st.sampled_from((*KEYS, "confirm", "confirm", "undo")))
spoken = st.tuples(st.just("hear"), st.sampled_from(SPOKEN))
opened = st.tuples(st.just("open"), st.sampled_from(("K1", "K2")))
silence = st.just(("time_out", ""))
restart = st.just(("restart", ""))
steps = st.lists(typed | pressed | pressed | spoken | silence | opened | restart, max_size=30)


def do(station: Station, engine: ScriptedEngine, step: tuple[str, str], mark: int) -> None:
    kind, words = step
    if kind == "type":
        station.type(words)
    elif kind == "press":
        station.press(words)
    elif kind == "open":
        station.open(words, "M.O.")
    elif kind == "time_out":
        station.time_out()
    elif kind == "hear":
        engine.next_words = words
        station.hear(sound(mark))


def work(folder: SurveyFolder, now: Callable[[], datetime], part: list[tuple[str, str]]) -> None:
    """Do these steps, then hold memory and journal against one another."""
    engine = ScriptedEngine()
    with at_work(folder, engine, now) as station:
        station.open(plot_to_begin(station.survey.plots, station.memory, None), "R.V.")
        for mark, step in enumerate(part):
            do(station, engine, step, mark)
        with folder.reading() as reader:
            survey_back, memory_back = remember(reader)
            rows = reader.readings()
        assert memory_back == station.memory
        assert repr(memory_back) == repr(station.memory), "the same to the last digit"
        assert survey_back == station.survey
        assert {item.entry: item for item in current(rows)} == {
            item.entry: item for item in station.memory.saved.values()
        }, "the table of readings is what the session remembers"


@settings(max_examples=100, deadline=None)
@given(steps)
def test_recall_equals_live_memory(done: list[tuple[str, str]]) -> None:
    with tempfile.TemporaryDirectory(dir=MEMORY_DISK) as name:
        folder, now = survey(Path(name) / "harrow"), clock()
        parts: list[list[tuple[str, str]]] = [[]]
        for step in done:
            if step[0] == "restart":
                parts.append([])
            else:
                parts[-1].append(step)
        for part in parts:
            work(folder, now, part)


@pytest.fixture
def folder(tmp_path: Path) -> SurveyFolder:
    return survey(tmp_path / "harrow")


def test_a_pending_reading_waits_for_the_next_start(folder: SurveyFolder) -> None:
    with at_work(folder) as station:
        station.open("K1", "R.V.")
        station.type("83 25.1")
        waiting = station.memory.pending
    assert waiting is not None
    with at_work(folder) as station:
        assert station.memory.pending == waiting
        assert plot_to_begin(station.survey.plots, station.memory, None) == "K1"
        done = told_by(station)
        station.open("K1", "R.V.")
        assert said(done)[0].startswith("Still waiting: 83, 25.1")
        station.press("confirm")
        assert said(done)[-2:] == ["Saved 83, 25.1.", "Next 91."]


def test_what_waits_keeps_its_plot_even_where_nothing_else_is_left(folder: SurveyFolder) -> None:
    with at_work(folder) as station:
        station.open("K2", "R.V.")
        for text in ("101 30.0", "101 31.0"):
            station.type(text)
            station.press("confirm" if text == "101 30.0" else "where")
        assert station.memory.pending is not None
    with at_work(folder) as station:
        assert plot_to_begin(station.survey.plots, station.memory, None) == "K2"


def edit(folder: SurveyFolder, old: str, new: str) -> None:
    text = folder.settings.read_text(encoding="utf-8")
    assert old in text
    folder.settings.write_text(text.replace(old, new), encoding="utf-8")


def test_settings_edited_between_starts_are_journalled_and_old_values_keep_theirs(
    folder: SurveyFolder,
) -> None:
    # 24.96 is 25.0 to the nearest 0.1 and 24.9 down (common practice).
    with at_work(folder) as station:
        station.open("K1", "R.V.")
        station.type("83 24.96")
        station.press("confirm")
    edit(folder, 'rounding = "nearest"', 'rounding = "down"')
    with at_work(folder) as station:
        station.open("K1", "R.V.")
        station.type("91 24.96")
        station.press("confirm")
        live = station.memory
    with at_work(folder) as station, folder.reading() as reader:
        assert station.memory == live
        kinds = [entry.kind for entry in reader.entries()]
        assert kinds.count("settings") == 2, "once at the making, once for the edit"
        values = {item.tag: item.value for item in reader.readings()}
    assert values == {"83": Decimal("25.0"), "91": Decimal("24.9")}


def test_settings_that_cannot_be_used_are_refused_and_the_lock_is_given_back(
    folder: SurveyFolder,
) -> None:
    whole = folder.settings.read_text(encoding="utf-8")
    edit(folder, 'rounding = "nearest"', 'rounding = "up"')
    with pytest.raises(OperatorError, match="rounding"), at_work(folder):
        pass
    folder.settings.write_text(whole, encoding="utf-8")
    with at_work(folder) as station:
        assert station.memory.phase is Phase.CLOSED
