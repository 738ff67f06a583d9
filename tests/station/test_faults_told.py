"""What is told of faults: each once; clocks that jump; sound that cannot be heard.

Levels are invented; what a muted microphone sends (digital silence) is common practice.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path

import in_english
import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from journal_tools import survey
from station_tools import BEGAN, ScriptedEngine, at_work, said, sound, told_by

from callout.core.errors import DeviceError
from callout.core.saying import as_is
from callout.core.told import span_told
from callout.sound.endpoint import Endpointer
from callout.sound.frames import FRAME_S, Frame, Samples, frames_of
from callout.station.hearing.ears import Ears
from callout.station.hearing.listening import Listening
from callout.station.hearing.sound_watch import DISTANT, LOUD, SILENT, SoundWatch
from callout.station.post import nearly_full
from callout.station.speaking.silent_echo import SilentEcho
from callout.station.upkeep.clock import Clock
from callout.station.upkeep.faults import AGAIN_S, Faults

# ---- told once ----


@dataclass
class Heard:
    """Whom faults are told."""

    said: list[str] = field(default_factory=list)
    shown: list[tuple[str, str | None]] = field(default_factory=list)
    now: float = 0.0

    def board(self) -> Faults:
        return Faults(
            lambda says: self.said.append(in_english.part(says)),
            lambda name, says: self.shown.append((name, in_english.part(says) or None)),
            lambda: self.now,
        )


def test_a_state_is_spoken_once_and_shown_while_it_lasts() -> None:
    heard = Heard()
    board = heard.board()
    for _ in range(5):
        board.report("microphone", as_is("it is gone"))
    assert board.now == {"microphone": as_is("it is gone")}
    for _ in range(5):
        board.report("microphone", None)
    assert heard.said == ["it is gone", "the microphone works again"]
    assert heard.shown == [("microphone", "it is gone"), ("microphone", None)]


def test_a_loose_plug_is_shown_every_time_and_spoken_once_a_minute() -> None:
    heard = Heard()
    board = heard.board()
    for _ in range(100):
        board.report("microphone", as_is("it is gone"))
        board.report("microphone", None)
    assert len(heard.said) == 2
    assert len(heard.shown) == 200
    heard.now = AGAIN_S + 1
    board.report("microphone", as_is("it is gone"))
    assert len(heard.said) == 3


@given(st.lists(st.tuples(st.sampled_from("ab"), st.sampled_from(["x", "y", None])), max_size=30))
def test_what_is_shown_is_what_is_wrong(reports: list[tuple[str, str | None]]) -> None:
    heard, wrong = Heard(), {}
    board = heard.board()
    for name, says in reports:
        board.report(name, as_is(says) if says else None)
        wrong[name] = says
    shown = dict(heard.shown)
    now = {name: in_english.part(says) for name, says in board.now.items()}
    assert {name: says for name, says in wrong.items() if says} == now
    assert {name: says for name, says in shown.items() if says} == now


def test_little_room_on_the_disk_is_told_step_by_step() -> None:
    assert nearly_full(10**10) is None
    assert in_english.part(nearly_full(99_000_000)) == "the disk is nearly full: under 100 MB left"
    assert nearly_full(60_000_000) == nearly_full(99_000_000), "not at every megabyte"
    assert in_english.part(nearly_full(0)) == "the disk is nearly full: under 1 MB left"


# ---- clocks ----


@dataclass
class Hands:
    """Three clocks of a machine, turned by hand."""

    wall: float = 1_780_000_000.0
    steady: float = 1000.0
    awake: float = 1000.0

    def go(self, seconds: float) -> None:
        self.wall, self.steady, self.awake = (
            self.wall + seconds, self.steady + seconds, self.awake + seconds,
        )  # fmt: skip

    def clock(self) -> tuple[Clock, list[str]]:
        made = Clock(lambda: self.wall, lambda: self.steady, lambda: self.awake)
        news: list[str] = []
        made.on_move(lambda by: news.append(f"moved {by.total_seconds():+.0f}"))
        made.on_sleep(lambda lasted: news.append(f"slept {lasted.total_seconds():.0f}"))
        return made, news


def test_a_clock_that_is_set_is_noticed_and_one_that_is_nudged_is_not() -> None:
    hands = Hands()
    clock, news = hands.clock()
    before = clock.now()
    for _ in range(1000):
        hands.go(3.6)
        hands.wall += 0.0018  # 500 ppm: the most a network clock corrects (from memory)
        clock.now()
    assert news == []
    hands.wall -= 3600
    assert clock.now() < before + timedelta(seconds=3700)
    hands.wall += 7200
    clock.now()
    clock.now()
    assert news == ["moved -3600", "moved +7200"]


def test_sleep_is_told_and_is_no_jump() -> None:
    hands = Hands()
    clock, news = hands.clock()
    hands.wall, hands.steady = hands.wall + 2400, hands.steady + 2400
    clock.now()
    assert news == ["slept 2400"]
    assert in_english.part(span_told(timedelta(seconds=2400))) == "40 minutes"
    assert in_english.part(span_told(timedelta(hours=-1))) == "1 hour"
    assert in_english.part(span_told(timedelta(days=3, minutes=61))) == "3 days 1 hour 1 minute"


def test_a_yes_begun_before_the_echo_is_refused_though_the_clock_jumped_between(
    tmp_path: Path,
) -> None:
    engine = ScriptedEngine()
    with at_work(survey(tmp_path / "harrow"), engine) as station:
        done = told_by(station)
        station.open("K1", "R.V.", BEGAN)
        station.type("83 25.1", BEGAN + timedelta(seconds=10))
        station.type("83 26.1", BEGAN + timedelta(seconds=20))
        hour = timedelta(hours=1)
        station.clock_moved(hour)
        engine.next_words = "confirm"
        # Begun two seconds before 26.1 was typed, by the new clock; ended after it.
        began, ended = BEGAN + hour + timedelta(seconds=18), BEGAN + hour + timedelta(seconds=22)
        station.hear(sound(1), ended, began)
        assert ("K1", "83", "") not in station.memory.saved
        assert "That has changed." in said(done)[-1]
        station.hear(sound(2), ended + timedelta(seconds=4), ended + timedelta(seconds=3))
        assert str(station.memory.saved[("K1", "83", "")].value) == "26.1"


def test_set_back_the_clock_keeps_nobody_from_confirming(tmp_path: Path) -> None:
    engine = ScriptedEngine()
    with at_work(survey(tmp_path / "harrow"), engine) as station:
        station.open("K1", "R.V.", BEGAN)
        station.type("83 25.1", BEGAN + timedelta(seconds=10))
        station.clock_moved(timedelta(hours=-5))
        engine.next_words = "confirm"
        began = BEGAN + timedelta(hours=-5, seconds=14)
        station.hear(sound(1), began + timedelta(seconds=1), began)
        assert str(station.memory.saved[("K1", "83", "")].value) == "25.1"


# ---- levels ----


def noise(dbfs: float, seconds: float, mark: int = 1) -> Samples:
    size = round(seconds * 16_000)
    floats = np.random.default_rng(mark).standard_normal(size) * 32768 * 10 ** (dbfs / 20)
    return np.clip(np.rint(floats), -32768, 32767).astype(np.int16)


def feed(watch: SoundWatch, samples: Samples) -> None:
    for frame in frames_of(samples):
        watch.frame(frame.samples)


def test_a_muted_microphone_is_noticed_within_seconds_and_a_quiet_one_is_not() -> None:
    watch = SoundWatch()
    feed(watch, noise(-80, 600))  # a quiet wood through a good microphone: still some bits
    assert watch.wrong is None
    feed(watch, np.zeros(16_000 * 3, dtype=np.int16))
    assert watch.wrong is None
    feed(watch, np.zeros(16_000 * 2, dtype=np.int16))
    assert watch.wrong == SILENT
    feed(watch, noise(-60, 0.03))
    assert watch.wrong is None


def test_a_headset_that_sends_silence_between_words_is_named_more_and_more_seldom() -> None:
    watch, times = SoundWatch(), 0
    for number in range(60):
        feed(watch, np.zeros(16_000 * 10, dtype=np.int16))
        times += watch.wrong == SILENT
        feed(watch, noise(-30, 2, number))
    assert times == 1


def test_clipped_and_distant_are_said_after_a_few_and_taken_back() -> None:
    watch = SoundWatch()
    loud = np.clip(noise(-3, 2).astype(np.int32) * 4, -32768, 32767).astype(np.int16)
    for _ in range(3):
        assert watch.wrong is None
        watch.utterance(loud, -60)
    assert watch.wrong == LOUD
    watch.utterance(noise(-25, 2), -60)
    assert watch.wrong is None
    for _ in range(3):
        watch.utterance(noise(-40, 2), -45)
    assert watch.wrong == DISTANT
    watch.utterance(noise(-25, 2), -45)
    assert watch.wrong is None


# ---- a microphone that goes and comes ----


class FakeMicrophone:
    """Sends what it was given, then fails as an unplugged one does."""

    def __init__(self, name: str, samples: Samples) -> None:
        self.name, self._samples = name, samples
        self.closed = False
        self.captured_s = self.now_s = 0.0

    def frames(self) -> Iterator[Frame]:
        for frame in frames_of(self._samples):
            self.captured_s = self.now_s = frame.end_s
            yield frame
        raise DeviceError(f"The microphone '{self.name}' has sent nothing for 3 s.")

    def close(self) -> None:
        self.closed = True


def test_a_microphone_comes_back_in_one_stream_and_is_told_once(
    tmp_path: Path, monkeypatch: object
) -> None:
    import callout.station.hearing.ears as ears_module

    heard, leaving = Heard(), threading.Event()
    opened: list[FakeMicrophone | None] = [
        FakeMicrophone("headset", noise(-50, 3)), None, None,
        FakeMicrophone("headset", noise(-50, 6)), FakeMicrophone("built in", noise(-50, 2)),
    ]  # fmt: skip
    used = [item for item in opened if item is not None]
    seen: list[Frame] = []

    def open_next() -> FakeMicrophone:
        if not opened:
            leaving.set()
            raise DeviceError("There is no microphone.")
        found = opened.pop(0)
        if found is None:
            raise DeviceError("There is no microphone.")
        return found

    before, ears_module.RETRY_S = ears_module.RETRY_S, 0.0
    try:
        with at_work(survey(tmp_path / "harrow"), ScriptedEngine()) as station:
            station.open("K1", "R.V.")
            listening = Listening(station, Endpointer(), BEGAN, 1e9)
            take = listening.take
            listening.take = lambda frame: (seen.append(frame), take(frame))[1]  # type: ignore
            ears = Ears(listening, SilentEcho(), heard.board(), Clock(), open_next)
            ears.run(leaving)
    finally:
        ears_module.RETRY_S = before
    assert all(item.closed for item in used)
    steps = np.diff([frame.start_s for frame in seen])
    assert len(seen) == round(3 / FRAME_S) + round(6 / FRAME_S) + 67
    assert min(steps) > 0, "time goes on"
    assert sum(steps > FRAME_S * 1.5) == 2, "a gap shows at each change, and nowhere else"
    assert heard.said.count("the microphone works again") == 1
    assert len(heard.said) == 3, heard.said  # one sent nothing; works again; the other sent nothing
    shown = [says for name, says in heard.shown if says and "no microphone" in says]
    assert shown, "what is shown is how things stand"
