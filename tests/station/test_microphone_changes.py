"""A microphone that becomes another, ends, or stays dumb: opened at once, told once, never joined.

Played microphones and invented callouts; the voice is espeak-ng's.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import in_english
import numpy as np
import pytest
from journal_tools import survey
from station_tools import BEGAN, ScriptedEngine, at_work, told_by
from waiting import wait_for

from callout.core.errors import DeviceError
from callout.core.events import Heard, Say
from callout.sound.endpoint import Endpointer
from callout.sound.frames import FRAME_S, SAMPLE_RATE_HZ, Frame, Samples, frames_of
from callout.sound.pulse import SleptError, SourceChangedError
from callout.sound.voice import Voice
from callout.speech.engine import Candidate
from callout.station.done import Done
from callout.station.hearing import ears, sound_watch
from callout.station.hearing import ears as ears_module
from callout.station.hearing import listening as listening_module
from callout.station.hearing.ears import Ears
from callout.station.hearing.listening import Listening
from callout.station.post import Post, Told, Work
from callout.station.speaking.silent_echo import SilentEcho
from callout.station.upkeep.clock import Clock
from callout.station.upkeep.faults import Faults

GONE = DeviceError("There is no microphone.")
CHANGED, SILENT, SLOW = (
    in_english.part(one) for one in (ears.CHANGED, sound_watch.SILENT, ears.SLOW)
)
WAS_CHANGED = SourceChangedError("The microphone 'headset' was changed.")


@dataclass
class Played:
    """Sends its sound, then fails as told, or simply ends."""

    sound: Samples
    then: DeviceError | None = None
    name: str = "headset"
    captured_s: float = 0.0
    now_s: float = 0.0

    def frames(self) -> Iterator[Frame]:
        for frame in frames_of(self.sound):
            self.captured_s = self.now_s = frame.end_s
            yield frame
        if self.then is not None:
            raise self.then

    def close(self) -> None:
        """Nothing to give back."""


@dataclass
class Day:
    """Opens what it was given, one after another; an error among them is an opening that fails."""

    given: list[Played | DeviceError]
    leaving: threading.Event = field(default_factory=threading.Event)
    said: list[str] = field(default_factory=list)
    shown: list[tuple[str, str | None]] = field(default_factory=list)
    opened: int = 0

    def open(self) -> Played:
        if not self.given:
            self.leaving.set()
            raise GONE
        found = self.given.pop(0)
        if isinstance(found, DeviceError):
            raise found
        self.opened += 1
        return found


@dataclass
class KeepsSound(ScriptedEngine):
    """Notes how long each utterance was."""

    lasted_s: list[float] = field(default_factory=list)

    def hear(self, samples: Samples) -> tuple[Candidate, ...]:
        self.lasted_s.append(samples.size / SAMPLE_RATE_HZ)
        return super().hear(samples)


@pytest.fixture(autouse=True)
def soon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ears_module, "_SOON_S", 0.0)
    monkeypatch.setattr(ears_module, "RETRY_S", 0.0)
    # However slow the machine, nothing but what a test does lasts too long.
    monkeypatch.setattr(ears_module, "_CHANGE_S", 60.0)
    monkeypatch.setattr(listening_module, "_SLOW_S", 60.0)


def wood(seconds: float) -> Samples:
    size = round(seconds * SAMPLE_RATE_HZ)
    return np.random.default_rng(83).normal(0, 20, size).astype(np.int16)


def spoken(text: str) -> Samples:
    words = Voice().say(text)
    loud = np.flatnonzero(np.abs(words) > 330)
    return words[loud[0] : loud[-1] + 1] + wood(60)[: loud[-1] + 1 - loud[0]]


def hear(day: Day, folder: Path, engine: ScriptedEngine) -> list[Done]:
    """The whole day, through real endpointing and a real station."""
    with at_work(survey(folder / "harrow"), engine) as station:
        done = told_by(station)
        station.open("K1", "R.V.", BEGAN)
        faults = Faults(
            lambda says: day.said.append(in_english.part(says)),
            lambda name, says: day.shown.append((name, in_english.part(says) or None)),
        )
        listening = Listening(station, Endpointer(), BEGAN, 1e9)
        Ears(listening, SilentEcho(), faults, Clock(), day.open).run(day.leaving)
    return done


@pytest.mark.parametrize("then", [WAS_CHANGED, None], ids=["changed", "ended"])
@pytest.mark.parametrize("away", [0, 2], ids=["there at once", "away for a moment"])
def test_half_a_callout_is_never_joined_to_what_comes_after(
    tmp_path: Path, then: DeviceError | None, away: int
) -> None:
    first, second = spoken("tree eighty three, diameter twenty"), spoken("four point six")
    engine = KeepsSound()
    before = np.concatenate([wood(1), first])
    after = np.concatenate([second, wood(2)])
    day = Day([Played(before, then), *[GONE] * away, Played(after), Played(wood(1))])
    done = hear(day, tmp_path, engine)
    says = [in_english.told(one) for item in done for one in item.effects if isinstance(one, Say)]
    assert day.opened == 3
    assert not any(isinstance(item.event, Heard) for item in done)
    assert engine.lasted_s == [], "neither half, nor both, is read as a value"
    assert any("ound was lost" in text for text in says), "and it is asked for again"
    assert [text for text in day.said if text == CHANGED] == [CHANGED], "told once"
    assert day.said[0] == CHANGED, "no fault was told of a moment's absence"


def test_changed_between_callouts_the_next_is_heard_whole(tmp_path: Path) -> None:
    callout = spoken("tree eighty three, diameter twenty four point six")
    engine = KeepsSound()
    heard = np.concatenate([wood(1), callout, wood(2)])
    hear(Day([Played(heard, WAS_CHANGED), Played(heard, WAS_CHANGED)]), tmp_path, engine)
    whole_s = callout.size / SAMPLE_RATE_HZ
    assert len(engine.lasted_s) == 4, "each at its short pause, and at its end"
    assert all(whole_s < lasted_s < whole_s + 1.5 for lasted_s in engine.lasted_s)


def test_changed_and_gone_for_good_is_the_one_fault(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ears_module, "_CHANGE_S", 0.05)
    monkeypatch.setattr(ears_module, "_SOON_S", 0.01)
    day = Day([Played(wood(1), WAS_CHANGED), *[GONE] * 12, Played(wood(1), GONE)])
    hear(day, tmp_path, ScriptedEngine())
    assert day.said[0] == "There is no microphone. Typing goes on."
    assert day.said.count("the microphone works again") == 1
    assert CHANGED not in day.said, "that it is there again says all"


def test_a_loose_plug_that_changes_all_the_time_is_told_once_a_minute(tmp_path: Path) -> None:
    day = Day([Played(wood(0.3), WAS_CHANGED) for _ in range(30)])
    hear(day, tmp_path, ScriptedEngine())
    assert day.opened == 30
    assert day.said.count(CHANGED) == 1


def test_one_that_stays_dumb_is_never_said_to_work_again(tmp_path: Path) -> None:
    """Muted for a minute: opened anew every quarter of one, and still the same state."""
    dumb = np.zeros(SAMPLE_RATE_HZ * 20, dtype=np.int16)
    day = Day([Played(dumb), Played(dumb), Played(dumb), Played(wood(3))])
    hear(day, tmp_path, ScriptedEngine())
    assert [says for _, says in day.shown if says != SILENT][:1] == [None]
    assert day.said[:2] == [SILENT, "the microphone works again"]
    assert day.shown[:2] == [("microphone", SILENT), ("microphone", None)]


def test_the_stream_is_one(tmp_path: Path) -> None:
    seen: list[float] = []
    take: Callable[[Listening, Frame], None] = Listening.take

    def noted(listening: Listening, frame: Frame) -> None:
        seen.append(frame.start_s)
        take(listening, frame)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Listening, "take", noted)
        hear(
            Day([Played(wood(1), WAS_CHANGED), Played(wood(1), WAS_CHANGED)]),
            tmp_path,
            ScriptedEngine(),
        )
    steps = np.diff(seen)
    assert steps.min() > 0 and np.count_nonzero(steps > FRAME_S * 1.5) == 1


def test_of_sleep_only_the_clock_tells(tmp_path: Path) -> None:
    day = Day([Played(wood(1), SleptError("The machine slept.")), Played(wood(1), GONE)])
    hear(day, tmp_path, ScriptedEngine())
    assert day.said[0] == "There is no microphone. Typing goes on."


def test_of_a_recording_no_slowness_is_told_and_nothing_is_left_running(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ears_module, "SLOW_S", 0.05)
    callout = np.concatenate([wood(1), spoken("tree eighty three"), wood(2)])
    shown: list[tuple[str, str | None]] = []
    engine = KeepsSound()
    folder = survey(tmp_path / "harrow")
    with at_work(folder, engine) as station:
        post = Post(folder, station, Clock(), Work("K1", "R.V.", frames_of(callout), silent=True))
        post.begin(
            Told(fault=lambda name, says: shown.append((name, in_english.part(says) or None)))
        )
        post.listen(threading.Event())
        time.sleep(0.2)
        post.close()
    assert len(engine.lasted_s) == 2, "at its short pause, and at its end"
    assert "recogniser" not in dict(shown)
    assert not [one for one in threading.enumerate() if isinstance(one, threading.Timer)]


def test_a_recogniser_that_takes_long_is_told_of_while_it_does(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ears_module, "SLOW_S", 0.05)
    callout = np.concatenate([wood(1), spoken("tree eighty three"), wood(2)])
    day = Day([Played(callout), Played(callout)])
    told_while: list[bool] = []

    class Slow(ScriptedEngine):
        def hear(self, samples: Samples) -> tuple[Candidate, ...]:
            if not told_while:
                wait_for(lambda: SLOW in day.said)
                monkeypatch.setattr(ears_module, "SLOW_S", 60.0)
            told_while.append(SLOW in day.said)
            return super().hear(samples)

    hear(day, tmp_path, Slow())
    assert len(told_while) >= 2 and all(told_while)
    assert day.said[:2] == [SLOW, "the recogniser works again"]
    assert [says for name, says in day.shown if name == "recogniser"] == [SLOW, None]
