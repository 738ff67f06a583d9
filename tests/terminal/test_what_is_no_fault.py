"""What the screen tells apart: a fault, what is only good to know, a pause, the speaking voice."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import fake_face as scripted
from journal_tools import survey
from screenshots import shot
from station_tools import at_work

from callout.core.saying import as_is
from callout.daemon.messages import told_from, update_line
from callout.station.presenter import StationFace
from callout.terminal.labels import state_word


def test_species_that_cannot_be_heard_are_no_fault() -> None:
    view = replace(scripted.IDLE, hints=("closed cannot hear beech: type it",))
    for size in ((80, 24), (40, 12)):
        svg = shot(view, size).replace("&#160;", " ")
        assert "FAULT" not in svg
        assert "Note: closed cannot hear" in svg
    assert state_word(view) == "LISTENING"


def test_a_pause_and_the_voice_are_shown() -> None:
    assert state_word(replace(scripted.IDLE, paused=True)).startswith("PAUSED")
    assert state_word(replace(scripted.PENDING, paused=True)) == "PAUSED: CONFIRM?"
    svg = shot(replace(scripted.IDLE, sounding=True), (100, 30)).replace("&#160;", " ")
    assert "VOICE SPEAKING" in svg


def test_a_station_tells_them_apart(tmp_path: Path) -> None:
    with at_work(survey(tmp_path / "fen")) as station:
        station.open("K1", "R.V.")
        face = StationFace(station, lambda muted: None)
        face.fault("words", as_is("cannot hear beech"))
        face.fault("microphone", as_is("no sound"))
        face.sounding(True)
        station.type("pause")
        view = face.view()
        face.close()
    assert (view.hints, view.faults) == (("cannot hear beech",), ("no sound",))
    assert (view.paused, view.sounding) == (True, True)
    assert told_from(update_line(view))["view"] == view
