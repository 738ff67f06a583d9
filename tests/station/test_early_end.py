"""What is whole is taken at a short pause, through real endpointing and a real station.

The callouts are invented; the recogniser is scripted, so what it hears at each pause is known.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from journal_tools import survey
from station_tools import BEGAN, ScriptedEngine, at_work, spoken, told_by, wood

from callout.core.events import Heard
from callout.journal.folder import SurveyFolder
from callout.sound.endpoint import Endpointer, Reason
from callout.sound.endpoint_settings import EndpointSettings
from callout.sound.frames import FRAME_S, SAMPLE_RATE_HZ, Samples, frames_of
from callout.sound.sound_files import decode_flac
from callout.speech.engine import Candidate, candidate_of
from callout.station.hearing import listening as listening_module
from callout.station.hearing.listening import Listening

CALLOUT = "tree eighty three twenty four point six"


@pytest.fixture(autouse=True)
def at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A busy machine's recogniser is not held to be a slow one."""
    monkeypatch.setattr(listening_module, "_SLOW_S", 60.0)


@dataclass
class Hears(ScriptedEngine):
    """Hears ``script`` in order, the last of it again and again; notes how long each sound was."""

    script: list[str] = field(default_factory=list)
    asked_s: list[float] = field(default_factory=list)
    slow_s: float = 0.0

    def hear(self, samples: Samples) -> tuple[Candidate, ...]:
        time.sleep(self.slow_s)
        self.asked_s.append(samples.size / SAMPLE_RATE_HZ)
        words = self.script[min(len(self.asked_s), len(self.script)) - 1].split()
        found = candidate_of(self.prepared[-1], words, self.confidence)
        return (found,) if found.meanings else ()


def heard(
    folder: Path, engine: Hears, sound: Samples, typed: str = "", before: int = 3
) -> list[Heard]:
    """What the station took of the sound, as it came, after so many sizes of another tree."""
    folder.mkdir(exist_ok=True)
    with at_work(survey(folder / "harrow"), engine) as station:
        station.open("K1", "R.V.", BEGAN)
        for size in range(before):
            station.type(f"91 12.{size}", BEGAN)
            station.type("accept", BEGAN)
        if typed:
            station.type(typed, BEGAN)
        done = told_by(station)
        listening = Listening(station, Endpointer(), BEGAN, 1e9)
        for frame in frames_of(sound):
            listening.take(frame)
        listening.finish()
    return [item.event for item in done if isinstance(item.event, Heard)]


def ended_s(event: Heard) -> float:
    return (datetime.fromisoformat(event.at) - BEGAN).total_seconds()


def test_a_whole_callout_ends_after_a_short_pause_and_keeps_what_was_decoded(
    tmp_path: Path,
) -> None:
    sound, end_s = spoken(CALLOUT)
    engine = Hears(script=[CALLOUT])
    (event,) = heard(tmp_path, engine, sound)
    assert event.meanings[0].value == Decimal("24.6")
    assert 0.0 < ended_s(event) - end_s <= 0.33, "the common second, times of whole milliseconds"
    (asked_s,) = engine.asked_s
    kept = decode_flac(SurveyFolder(tmp_path / "harrow").audio.read(str(event.audio)))
    assert kept.size == round(asked_s * SAMPLE_RATE_HZ), "what is kept is what was heard"


@pytest.mark.parametrize(
    "at_pause",
    ["tree eighty three", "tree eighty three twenty four", "", "no"],
    ids=["a tag", "no point yet", "no callout", "a no, and a size may follow"],
)
def test_what_may_go_on_waits_for_the_long_pause(tmp_path: Path, at_pause: str) -> None:
    sound, end_s = spoken("tree eighty three, diameter twenty", "four point six", pause_s=0.5)
    engine = Hears(script=[at_pause, CALLOUT])
    (event,) = heard(tmp_path, engine, sound)
    assert event.words == CALLOUT and len(engine.asked_s) == 2
    assert ended_s(event) - end_s <= 0.33


@pytest.mark.parametrize(("before", "waits"), [(0, True), (2, True), (3, False)])
def test_a_unit_may_follow_until_a_few_sizes_were_in_the_plot_s_own(
    before: int, waits: bool, tmp_path: Path
) -> None:
    """Who reads another unit says so at the first tree; it must not fall under the echo."""
    sound, end_s = spoken(CALLOUT)
    (event,) = heard(tmp_path, Hears(script=[CALLOUT]), sound, before=before)
    assert (ended_s(event) - end_s > 0.6) is waits


def test_what_is_not_sure_waits(tmp_path: Path) -> None:
    sound, end_s = spoken(CALLOUT)
    engine = Hears(script=[CALLOUT], confidence=0.4)
    (event,) = heard(tmp_path, engine, sound)
    assert ended_s(event) - end_s > 0.6
    assert event.problem is not None


def test_a_yes_while_a_warned_reading_waits_may_become_an_accept(tmp_path: Path) -> None:
    sound, end_s = spoken("yes")
    (event,) = heard(tmp_path / "plain", Hears(script=["yes"]), sound, typed="83 25.1")
    assert ended_s(event) - end_s <= 0.33
    (event,) = heard(tmp_path / "warned", Hears(script=["yes"]), sound, typed="83 19.1")
    assert ended_s(event) - end_s > 0.6


def test_a_note_is_never_ended_early(tmp_path: Path) -> None:
    sound, end_s = spoken(CALLOUT)
    (event,) = heard(tmp_path, Hears(script=[CALLOUT]), sound, typed="83 note")
    assert ended_s(event) - end_s > 0.6


def test_a_slow_recogniser_is_not_asked_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(listening_module, "_SLOW_S", 0.4)
    sound, _ = spoken(CALLOUT)
    engine = Hears(script=["tree eighty three"], slow_s=0.45)
    assert len(heard(tmp_path, engine, np.concatenate([sound, sound]))) == 2
    assert len(engine.asked_s) == 3, "at the first pause, and at each end"


def test_nothing_is_looked_at_that_will_be_set_aside() -> None:
    """A knock, and what was begun under an echo."""
    knock = wood(2)
    knock[16000:17000] += np.random.default_rng(1).integers(-8000, 8000, 1000).astype(np.int16)
    assert pauses(Endpointer(), knock) == []
    under_echo = Endpointer()
    under_echo.mute(1.2, 0.0)
    assert pauses(under_echo, spoken(CALLOUT)[0]) == []
    assert {item.reason for item in under_echo.take_discarded()} == {Reason.ECHO}


def test_each_pause_is_told_once_and_its_end_starts_the_next(tmp_path: Path) -> None:
    sound, _ = spoken("tree eighty three", "twenty four", "point six", pause_s=0.4)
    assert len(pauses(Endpointer(), sound)) == 3
    assert pauses(Endpointer(EndpointSettings(whole_after_s=0.9)), sound) == []
    endpointer, found = Endpointer(), list[float]()
    for frame in frames_of(sound):
        found += [one.start_s for one in endpointer.push(frame)]
        if (one := endpointer.so_far()) is not None:
            found.append(one.start_s)
            endpointer.end()
    assert len(found) == 3 and endpointer.take_discarded() == []
    assert min(np.diff(found)) > 0.4


def pauses(endpointer: Endpointer, sound: Samples) -> list[float]:
    found = []
    for frame in frames_of(sound):
        endpointer.push(frame)
        if (one := endpointer.so_far()) is not None:
            assert abs(one.end_s - frame.end_s) < FRAME_S / 2
            found.append(one.end_s)
    return found
