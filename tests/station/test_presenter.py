"""What a screen is told: a station's face with tapes that fail, recover and run low (invented)."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest
from journal_tools import survey
from station_tools import LANGUAGE, ScriptedEngine
from waiting import wait_for

from callout.core.saying import Saying, as_is
from callout.sound.sound_files import encode_flac
from callout.station.face import Level, Update, View
from callout.station.showing.presenter import StationFace
from callout.station.station import Station


@pytest.fixture
def station(tmp_path: Path) -> Iterator[Station]:
    def now() -> datetime:
        return datetime.now().astimezone()

    made = Station(survey(tmp_path / "s"), LANGUAGE, ScriptedEngine(), encode_flac, now)
    made.open("K1", "R.V.")
    yield made
    made.close()


def test_batteries_and_faults_are_shown_and_go_again(station: Station) -> None:
    face = StationFace(station, lambda muted: None)
    face.battery("tape", 87)
    face.fault("tape", as_is("tape: lost, looking for it"))
    assert face.view().engine.endswith("tape: battery 87 %")
    assert face.view().faults == ("tape: lost, looking for it",)
    face.battery("tape", 12)
    face.fault("tape", None)
    assert face.view().engine.count("battery") == 1
    assert face.view().engine.endswith("tape: battery 12 %")
    assert face.view().faults == ()


def test_a_fault_told_while_the_view_is_made_disturbs_nothing(
    station: Station, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Devices tell theirs on threads of their own: a daemon that started refused who asked then."""
    face = StationFace(station, lambda muted: None)
    face.fault("tape", as_is("tape: lost, looking for it"))
    part = StationFace._part

    def meanwhile(self: StationFace, says: Saying) -> str:
        face.fault("microphone", as_is("There is no microphone."))
        return part(self, says)

    monkeypatch.setattr(StationFace, "_part", meanwhile)
    assert face.view().faults == ("tape: lost, looking for it",)
    assert len(face.view().faults) == 2


def test_what_is_typed_is_shown_waiting_then_saved(station: Station) -> None:
    told: list[Update] = []
    face = StationFace(station, lambda muted: None)
    face.listen(told.append)
    tag = next(iter(station.plot.trees))
    face.submit(f"{tag} 24.6", 0)
    wait_for(lambda: face.view().waiting)
    face.press("accept", face.view().waiting)
    face.level(-20.0, True)
    face.close()
    views = [item for item in told if isinstance(item, View)]
    assert any(view.tag == tag and view.value == "24.6" and view.waiting for view in views)
    assert views[-1].recent[0].tag == tag
    assert Level(-20.0, True) in told
    assert tag not in views[-1].left


def test_a_key_that_answers_an_older_echo_saves_nothing(station: Station) -> None:
    face = StationFace(station, lambda muted: None)
    first, second = list(station.plot.trees)[:2]
    station.type(f"{first} 24.6")
    seen = face.view().waiting
    station.type(f"{second} 20.1")
    face.press("confirm", seen)
    face.close()
    assert face.view().recent == ()
    assert face.view().tag == second
    assert face.view().heard == "yes", "a key is shown by the word for it"
