"""A pause keeps no sound of what is said to others, and a plot is gone to by its name."""

from __future__ import annotations

from pathlib import Path

import pytest
from journal_tools import survey
from station_tools import ScriptedEngine, at_work, clock, said, saves, sound, told_by

from callout.sound.sound_files import encode_flac
from callout.station.data import load_language
from callout.station.station import Station


def entries(station: Station) -> int:
    return station._ledger.next_entry


def test_what_is_said_in_a_pause_is_neither_kept_nor_told(tmp_path: Path) -> None:
    folder, engine = survey(tmp_path / "harrow"), ScriptedEngine()
    with at_work(folder, engine) as station:
        station.open("K1", "R.V.")
        station.type("83 25.1")
        station.type("pause")
        done, before = told_by(station), entries(station)
        for words in ("confirm", "tree ninety one diameter twelve", "no"):
            engine.next_words = words
            station.hear(sound(1))
        assert (done, entries(station)) == ([], before)
        assert not list((tmp_path / "harrow").rglob("*.flac"))
        engine.next_words = "where was i"
        station.hear(sound(2))
        assert said(done)[-1].endswith("Confirm?")
        engine.next_words = "confirm"
        station.hear(sound(3))
        assert [item.reading.tag for item in saves(done)] == ["83"]


@pytest.mark.parametrize("line", ["plot k2", "go to plot K2", "Plot: K2"])
def test_a_plot_is_gone_to_by_its_name_and_what_waited_is_told(tmp_path: Path, line: str) -> None:
    folder = survey(tmp_path / "harrow")
    language = load_language("en", (), ("K1", "K2"))
    station = Station(folder, language, None, encode_flac, clock())
    station.open("K1", "R.V.")
    station.type("83 25.1")
    done = told_by(station)
    station.type(line)
    assert (station.memory.plot, station.memory.who) == ("K2", "R.V.")
    assert said(done)[-1].startswith("83, 25.1 was not saved. Plot K2.")
    station.type("plot K9")
    assert station.memory.plot == "K2"
    station.close()


@pytest.mark.parametrize("note", ["gone?", "right", "next", "dead wood on the ground", "why"])
def test_a_word_of_a_note_is_the_note(tmp_path: Path, note: str) -> None:
    with at_work(survey(tmp_path / "harrow")) as station:
        station.open("K1", "R.V.")
        station.type("83 note")
        station.type(note)
        assert station.memory.memo is not None
        assert station.memory.memo.words == note
