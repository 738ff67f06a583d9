"""A reminder repeats the echo: a yes begun before it answers the same row."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from journal_tools import survey
from station_tools import BEGAN, ScriptedEngine, at_work, said, saves, sound, told_by

ECHOED = BEGAN + timedelta(seconds=1)
REMINDED = ECHOED + timedelta(seconds=20)


@pytest.mark.parametrize("began_s", [1, 19, 20, 21, 25])
def test_a_yes_spoken_over_a_reminder_saves_what_was_echoed(tmp_path: Path, began_s: int) -> None:
    engine = ScriptedEngine()
    with at_work(survey(tmp_path / "harrow"), engine) as station:
        station.open("K1", "R.V.", BEGAN)
        station.type("83 25.1", ECHOED)
        done = told_by(station)
        station.time_out(REMINDED)
        assert said(done)[-1] == "Still waiting: 83, 25.1. Confirm?"
        engine.next_words = "confirm"
        ended = REMINDED + timedelta(seconds=6)
        station.hear(sound(1), ended, ECHOED + timedelta(seconds=began_s))
        assert [(save.reading.tag, str(save.reading.value)) for save in saves(done)] == [
            ("83", "25.1")
        ]


@pytest.mark.parametrize("how", ["key", "typed"])
def test_a_screen_painted_before_a_reminder_still_answers(tmp_path: Path, how: str) -> None:
    with at_work(survey(tmp_path / "harrow")) as station:
        station.open("K1", "R.V.", BEGAN)
        station.type("83 25.1", ECHOED)
        seen = station.memory.asking
        done = told_by(station)
        station.time_out(REMINDED)
        assert station.memory.asking == seen > 0
        if how == "key":
            station.press("confirm", about=seen)
        else:
            station.type("yes", about=seen)
        assert [save.reading.tag for save in saves(done)] == ["83"]


def test_a_yes_begun_before_a_changed_echo_is_refused(tmp_path: Path) -> None:
    """The other side: what was echoed anew has a number of its own."""
    with at_work(survey(tmp_path / "harrow")) as station:
        station.open("K1", "R.V.", BEGAN)
        station.type("83 25.1", ECHOED)
        seen = station.memory.asking
        station.type("correction 25.2", REMINDED)
        done = told_by(station)
        station.press("confirm", about=seen)
        assert saves(done) == []
        assert said(done)[-1].startswith("That has changed.")
