"""What of the states that come and go is spoken: never too often, and never the wrong one last.

All invented; that a day's time zone may change under a program is common practice.
"""

from __future__ import annotations

import os
import time
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import in_english
import pytest
from hypothesis import given
from hypothesis import strategies as st
from journal_tools import survey
from station_tools import ScriptedEngine, at_work, clock, said, told_by
from waiting import wait_for

from callout.core.events import Say
from callout.core.saying import as_is, saying
from callout.devices.measurement import DeviceNotice, NoticeKind
from callout.grammar.automaton import Automaton
from callout.sound.sound_files import encode_flac
from callout.station import post as post_module
from callout.station.data import load_language
from callout.station.post import Post, Told, Work
from callout.station.showing.presenter import StationFace
from callout.station.speaking.spoken_turns import SpokenTurns, is_notice
from callout.station.station import Station
from callout.station.upkeep.clock import Clock
from callout.station.upkeep.faults import AGAIN_S, SPACE, Faults


class Board:
    """Faults with a clock that is turned by hand."""

    def __init__(self) -> None:
        self.now = 0.0
        self.said: list[str] = []
        self.faults = Faults(
            lambda says: self.said.append(in_english.part(says)),
            lambda name, says: None,
            lambda: self.now,
        )


def test_how_it_rests_is_spoken_though_it_came_and_went_before() -> None:
    board = Board()
    board.faults.report("microphone", as_is("it is gone"))
    board.now = 10
    board.faults.report("microphone", None)
    board.now = 20
    board.faults.report("microphone", as_is("it is gone"))
    board.faults.catch_up()
    assert board.said == ["it is gone", "the microphone works again"]
    board.now = AGAIN_S + 1
    for _ in range(3):
        board.faults.catch_up()
    assert board.said[2:] == ["it is gone"], "the last word is the true one"


def test_what_came_and_went_in_silence_is_not_spoken_of_later() -> None:
    board = Board()
    for _ in range(20):
        board.faults.report("microphone", as_is("it is gone"))
        board.faults.report("microphone", None)
        board.now += 1
    board.now += 2 * AGAIN_S
    board.faults.catch_up()
    assert board.said == ["it is gone", "the microphone works again"]


@given(
    st.lists(
        st.tuples(st.sampled_from(["x", "y", None]), st.floats(0, 100), st.booleans()), max_size=30
    )
)
def test_once_at_rest_the_last_word_is_the_true_one(
    reports: list[tuple[str | None, float, bool]],
) -> None:
    board = Board()
    says: str | None = None
    for says, after_s, catches_up in reports:
        before = len(board.said)
        board.faults.report("voice", as_is(says) if says else None)
        board.now += after_s
        if catches_up:
            board.faults.catch_up()
        assert len(board.said) <= before + 2
    board.now += AGAIN_S + 1
    board.faults.catch_up()
    well = "the voice works again"
    assert (board.said or [well])[-1] == (says or well)


def test_room_on_the_disk_is_worded_as_room() -> None:
    board = Board()
    board.faults.report(SPACE, as_is("the disk is nearly full: under 1 MB left"))
    board.faults.report(SPACE, None)
    assert board.said[-1] == "there is room on the disk again"


def test_another_time_zone_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    if not hasattr(time, "tzset"):
        pytest.skip("no time zones to set here")
    told: list[str] = []
    at_s = datetime(2026, 6, 2, 9, tzinfo=UTC).timestamp()
    try:
        monkeypatch.setenv("TZ", "UTC")
        clock = Clock(lambda: at_s, lambda: 0.0, lambda: 0.0)
        clock.on_zone(told.append)
        before = clock.now()
        clock.now()
        monkeypatch.setenv("TZ", "Asia/Seoul")
        assert clock.now() == before, "the same moment, told otherwise"
        clock.now()
    finally:
        monkeypatch.undo()
        time.tzset()
    assert told == ["+09:00"], os.environ.get("TZ")


def test_a_tape_that_is_lost_is_spoken_of_and_so_is_its_return(tmp_path: Path) -> None:
    folder = survey(tmp_path / "harrow")
    shown: list[str] = []
    with at_work(folder, ScriptedEngine()) as station:
        done = told_by(station)
        post = Post(folder, station, Clock(), Work("K1", "R.V.", frames=(), silent=True))
        post.begin(Told(device=lambda notice: shown.append(in_english.part(notice.says))))
        for kind, text in (
            (NoticeKind.SEARCHING, "tape: looking for it"),
            (NoticeKind.CONNECTED, "tape: connected"),
            (NoticeKind.LOST, "tape: link lost"),
            (NoticeKind.SEARCHING, "tape: not in range; switch it on"),
            (NoticeKind.CONNECTED, "tape: connected"),
            (NoticeKind.BATTERY, "tape: battery 40 %"),
        ):
            post._tape(DeviceNotice("tape", kind, as_is(text), datetime.now(UTC)))
        post.close()
    assert len(shown) == 6
    aloud = [text for text in said(done) if "ape" in text]
    assert aloud == ["Tape: link lost.", "The tape works again."]


class DeafToBeech(ScriptedEngine):
    """Has no word for one species."""

    def unknown_words(self, spoken: Automaton) -> tuple[str, ...]:
        return ("beech",)


def test_species_that_cannot_be_heard_are_shown_for_a_while_and_not_spoken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Only new trees need their names: that is no fault to stand on the screen all day."""
    monkeypatch.setattr(post_module, "CHECK_S", 0.02)
    monkeypatch.setattr(post_module, "NAMES_SHOWN_S", 0.1)
    shown: list[tuple[str, str | None]] = []
    folder, language = survey(tmp_path / "harrow"), load_language("en", ("beech",))
    with closing(Station(folder, language, DeafToBeech(), encode_flac, clock())) as station:
        done = told_by(station)
        post = Post(folder, station, Clock(), Work("K1", "R.V.", frames=(), silent=True))
        post.begin(
            Told(fault=lambda name, says: shown.append((name, in_english.part(says) or None)))
        )
        wait_for(lambda: ("words", None) in shown)
        post.close()
    (first, last) = [item for item in shown if item[0] == "words"]
    assert "cannot hear beech" in str(first[1]) and last[1] is None
    assert not [text for text in said(done) if "beech" in text]


def test_the_screen_shows_a_lost_tape_until_it_is_back(tmp_path: Path) -> None:
    with at_work(survey(tmp_path / "harrow"), ScriptedEngine()) as station:
        shown: list[str | None] = []
        takes = StationFace(station, lambda quiet: None).notice(
            lambda name, says: shown.append(in_english.part(says) or None)
        )
        lost, there = (
            saying("tape-link-lost", device="tape"),
            saying("tape-connected", device="tape"),
        )
        takes(DeviceNotice("tape", NoticeKind.LOST, lost, datetime.now(UTC)))
        takes(DeviceNotice("tape", NoticeKind.CONNECTED, there, datetime.now(UTC)))
    assert shown == ["tape: link lost", None]


def test_a_notice_of_a_fault_is_known_from_an_answer(tmp_path: Path) -> None:
    with at_work(survey(tmp_path / "harrow"), ScriptedEngine()) as station:
        done = told_by(station)
        station.open("K1", "R.V.")
        station.say(as_is("the microphone is gone"), "told")
        station.say(as_is("sound was lost: say it again"))
        station.type("83 25.1")
        station.say(as_is("the microphone works again"), "told")
        station.time_out()
    assert [is_notice(one) for one in done] == [False, True, False, False, True, False]
    # An answer that overtakes the notice leaves of it what is still true.
    sayings = SpokenTurns()
    sayings.put(done[4])
    sayings.put(done[3])
    taken = [sayings.take(), sayings.take()]
    assert taken[0] is not None and taken[0].parts == done[3].effects
    assert taken[1] is not None and taken[1].parts == (Say((as_is("the microphone works again"),)),)
