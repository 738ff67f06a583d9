"""What the screen tells apart: a fault, what is only good to know, a pause, the speaking voice."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import fake_face as scripted
from in_english import part
from journal_tools import survey
from screenshots import shot
from station_tools import at_work

from callout.core.saying import as_is
from callout.daemon.messages import told_from, update_line
from callout.session.phase import Phase
from callout.station.face import View
from callout.station.showing.presenter import StationFace
from callout.terminal.keyboard import NOTHING_WAITS, Keyboard, Notice, Press
from callout.terminal.labels import state, state_keys


def test_species_that_cannot_be_heard_are_no_fault() -> None:
    view = replace(scripted.IDLE, hints=("closed cannot hear beech: type it",))
    for size in ((80, 24), (40, 12)):
        svg = shot(view, size).replace("&#160;", " ")
        assert "FAULT" not in svg
        assert "Note: closed cannot hear" in svg
    assert part(state(view)) == "LISTENING"


def test_a_pause_and_the_voice_are_shown() -> None:
    assert part(state(replace(scripted.IDLE, paused=True))).startswith("PAUSED")
    assert part(state(replace(scripted.PENDING, paused=True))) == "PAUSED: CONFIRM?"
    assert "READY" not in shot(replace(scripted.IDLE, paused=True), (80, 24))
    svg = shot(replace(scripted.IDLE, sounding=True), (100, 30)).replace("&#160;", " ")
    assert "VOICE SPEAKING" in svg


def test_a_start_shows_nothing_that_is_not_known_yet() -> None:
    starting = View(plot="", who="", unit="", phase=Phase.STARTING, about="harrow")
    for size in ((80, 24), (40, 12)):
        svg = shot(starting, size).replace("&#160;", " ")
        assert "STARTING" in svg
        assert not any(word in svg for word in ("READY", "LEFT", "SAVED"))


def test_what_a_key_does_about_a_fault_is_told_beside_it(tmp_path: Path) -> None:
    with at_work(survey(tmp_path / "fen")) as station:
        station.open("K1", "R.V.")
        face = StationFace(station, lambda muted: None)
        face.fault("voice", as_is("the voice fails"))
        face.fault("settings", as_is("the settings were changed"))
        assert face.view().remedies == ("accept", "mute")
        view = face.view()
        face.close()
    assert [*map(part, state_keys(view, False))] == ["F4 = I looked at it", "F7 = voice off"]
    assert [*map(part, state_keys(view, True))] == ["Enter = send the line", "Esc = clear it"]
    keys = Keyboard()
    keys.showed(view, 0.0)
    assert keys.key("f4", None, view, 9.0) == [Press("accept", 0)]
    plain = replace(view, remedies=())
    assert keys.key("f4", None, plain, 19.0) == [Notice(NOTHING_WAITS)]


def test_keys_for_a_pause_the_next_tree_and_another_plot() -> None:
    keys = Keyboard()
    keys.showed(scripted.IDLE, 0.0)
    assert keys.key("f9", None, scripted.IDLE, 1.0) == [Press("pause", 0)]
    paused = replace(scripted.IDLE, paused=True)
    assert keys.key("f9", None, paused, 5.0) == [Press("resume", 0)]
    assert keys.key("f10", None, scripted.IDLE, 9.0) == [Press("next", 0)]
    assert keys.key("f12", None, scripted.IDLE, 13.0) == [] and keys.line.text == "plot "
    assert keys.key("f12", None, scripted.IDLE, 17.0) == [] and keys.line.text == "plot "


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
