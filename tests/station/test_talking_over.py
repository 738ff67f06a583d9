"""Talking over the voice, where hearing goes on: what counts, what cuts it, and when a yes does."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from journal_tools import survey
from station_tools import BEGAN, ScriptedEngine, at_work, said, spoken, told_by, wood

from callout.core.events import Heard
from callout.sound.endpoint import Endpointer
from callout.sound.frames import Samples, frames_of
from callout.sound.own.onset import Onset
from callout.sound.own.own_voice import OwnVoice
from callout.sound.voice import Voice
from callout.speech.engine import Candidate
from callout.station.done import Done
from callout.station.hearing.listening import Listening
from callout.station.speaking.spoken_turns import AGAIN
from callout.station.station import Station

NOT_TAKEN = "Something said over the voice was not taken: say it again."


class AtWork:
    """A station where 25.1 waits for its yes, and hearing goes on while the voice speaks."""

    def __init__(self, station: Station, engine: ScriptedEngine) -> None:
        self.station, self.engine, self.own = station, engine, OwnVoice()
        self.cuts: list[int] = []
        station.echo_times.hears_on()
        station.watch(lambda done: station.echo_times.told(done, station.memory))
        station.cut_voice = lambda: self.cuts.append(1)
        station.open("K1", "R.V.", BEGAN)
        self.done: list[Done] = told_by(station)
        station.type("83 25.1", BEGAN)
        self.asked = self.done[-1]
        self.listening = Listening(station, Endpointer(), BEGAN, 1e9, own=self.own)
        self.now_s = 0.0

    def hear(self, words: str, confidence: float = 0.9, loud: bool = False) -> list[Heard]:
        """Somebody says ``words``; what the station took of it. ``loud``: the voice yields at once.

        Else it is too quiet for that, and only the words may cut the voice.
        """
        self.engine.next_words, self.engine.confidence = words, confidence
        before = len(self.done)
        sound = spoken("no")[0]
        sound = sound if loud else (sound / 20 + wood(9)[: sound.size]).astype(np.int16)
        for frame in frames_of(sound, self.now_s):
            self.listening.take(frame)
            self.now_s = frame.end_s
        return [one.event for one in self.done[before:] if isinstance(one.event, Heard)]

    def number_spoken(self, at_s: float) -> None:
        self.station.echo_times.spoken(self.asked, BEGAN + timedelta(seconds=at_s))

    @property
    def saved(self) -> bool:
        return ("K1", "83", "") in self.station.memory.saved


@contextmanager
def speaking(
    folder: Path, engine: ScriptedEngine | None = None, lasts_s: float = 4.0
) -> Iterator[AtWork]:
    engine = engine or ScriptedEngine()
    with at_work(survey(folder / "harrow"), engine) as station:
        one = AtWork(station, engine)
        one.own.plays(wood(lasts_s), 0.0)
        yield one


@pytest.mark.parametrize("words", ["no", "wrong", "scratch that"])
def test_an_objection_cuts_the_voice_and_is_taken(tmp_path: Path, words: str) -> None:
    with speaking(tmp_path) as one:
        (event,) = one.hear(words)
        assert one.cuts == [1] and event.problem is None
        assert one.station.memory.pending is None


def test_a_correction_cuts_the_voice_and_is_echoed_anew(tmp_path: Path) -> None:
    with speaking(tmp_path) as one:
        one.hear("no twenty four point eight")
        assert one.cuts == [1]
        assert one.station.memory.pending is not None
        assert str(one.station.memory.pending.draft.value) == "24.8"


def test_a_yes_counts_only_after_the_number_was_spoken(tmp_path: Path) -> None:
    with speaking(tmp_path) as one:
        assert one.hear("yes") == [] and not one.saved and one.cuts == []
        assert said(one.done)[-2] == NOT_TAKEN
        one.number_spoken(0.4)  # the word begins at 1.0
        (event,) = one.hear("yes")
        assert event.problem is None and one.saved


@pytest.mark.parametrize("at_s", [0.95, 1.2, 3.0])
def test_a_yes_begun_before_the_number_was_spoken_never_counts(tmp_path: Path, at_s: float) -> None:
    """The word begins at 1.0 s of the stream; what is not surely after it is not taken."""
    with speaking(tmp_path) as one:
        one.number_spoken(at_s)
        assert one.hear("yes", loud=True) == [] and not one.saved


def test_a_yes_after_the_echo_counts_only_for_what_was_spoken(tmp_path: Path) -> None:
    with speaking(tmp_path, lasts_s=0.1) as one:
        one.hear("yes")
        assert not one.saved, "the voice was broken off before the number"


@pytest.mark.parametrize(
    "words", ["tree eighty three twenty five point one", "twenty five point one"]
)
def test_what_the_voice_itself_says_is_nobodys(tmp_path: Path, words: str) -> None:
    with speaking(tmp_path) as one:
        assert one.hear(words) == [] and one.cuts == []
        assert said(one.done)[-2] == NOT_TAKEN


def test_a_yes_that_came_too_soon_may_be_said_again(tmp_path: Path) -> None:
    """The sign that it was not taken is not the number: only what is being told counts."""
    with speaking(tmp_path) as one:
        one.hear("yes")
        one.station.echo_times.spoken(one.done[-1], BEGAN)
        one.hear("yes")
        assert not one.saved, "a sign is not the number"
        again = one.done[-1]  # it was told anew, since that yes was too soon as well
        one.station.echo_times.spoken(again, BEGAN + timedelta(seconds=one.now_s))
        one.hear("yes")
        assert one.saved


def test_a_doubt_over_the_voice_is_no_objection(tmp_path: Path) -> None:
    with speaking(tmp_path) as one:
        assert one.hear("no", confidence=0.4) == [] and one.cuts == []
        assert one.station.memory.pending is not None


@pytest.mark.parametrize("words, counts", [("no", True), ("yes", False)])
def test_of_what_is_likely_only_a_no_counts(tmp_path: Path, words: str, counts: bool) -> None:
    class Likely(ScriptedEngine):
        def hear(self, samples: Samples) -> tuple[Candidate, ...]:
            return tuple(replace(one, likely=one.meanings) for one in super().hear(samples))

    with speaking(tmp_path, Likely()) as one:
        one.number_spoken(0.4)
        assert bool(one.hear(words, confidence=0.4)) is counts and not one.saved
        assert bool(one.cuts) is counts


def test_noise_over_the_voice_is_nothing(tmp_path: Path) -> None:
    with speaking(tmp_path) as one:
        before = len(one.done)
        assert one.hear("") == [] and one.cuts == [] and len(one.done) == before


def test_what_was_asked_before_need_not_be_spoken_again(tmp_path: Path) -> None:
    """A reminder tells the same number anew; a yes over it answers the first."""
    with speaking(tmp_path) as one:
        one.number_spoken(0.4)
        one.station.time_out(BEGAN + timedelta(seconds=0.5))
        one.hear("yes")
        assert one.saved


def test_the_voice_yields_to_whoever_begins_to_speak_and_a_likely_no_then_counts(tmp_path: Path):
    with speaking(tmp_path) as one:
        (event,) = one.hear("no", confidence=0.4, loud=True)
        assert one.cuts == [1] and event.problem is None
        assert one.station.memory.pending is None


@pytest.mark.parametrize("words", ["yes", "wibble", "tree eighty three twenty five point one"])
def test_where_nothing_counts_what_waits_is_told_again_and_the_voice_yields_only_once(
    tmp_path: Path, words: str
) -> None:
    """Once: a voice that hears itself would else cut itself for ever."""
    with speaking(tmp_path, lasts_s=20.0) as one:
        assert one.hear(words, loud=True) == [] and not one.saved
        assert one.cuts == [1]
        assert said(one.done)[-2:] == [NOT_TAKEN, "Still waiting: 83, 25.1. Confirm?"]
        assert [effect.tone for effect in one.done[-1].effects] == [AGAIN, "ask"]
        again = one.done[-1]
        one.hear(words, loud=True)
        assert one.cuts == [1]
        one.station.echo_times.spoken(again, BEGAN + timedelta(seconds=one.now_s))
        one.hear("yes", loud=True)
        assert one.saved


def test_a_sound_too_short_for_a_word_has_what_waits_told_again(tmp_path: Path) -> None:
    with speaking(tmp_path) as one:
        one.listening._was_cut = True  # the voice yielded, and nothing came of it
        for frame in frames_of(wood(1)):
            one.listening.take(frame)
        assert said(one.done)[-2:] == [NOT_TAKEN, "Still waiting: 83, 25.1. Confirm?"]


def test_a_voice_has_a_pitch_and_noise_has_none() -> None:
    """Knocks, noise of one colour or another, and a voice while none of ours sounds: no onset."""
    rng = np.random.default_rng(4)
    noise = rng.normal(0, 3000, 16000)
    rumble = np.cumsum(noise - noise.mean())
    rumble *= 3000 / rumble.std()
    knock = noise * np.exp(-np.arange(16000) / 400)
    voice = Voice().say("no")

    def begins(sound: np.ndarray, sounds: bool = True) -> bool:
        onset = Onset()
        samples = np.concatenate([wood(1), sound.astype(np.int16), wood(1)])
        found = False
        for frame in frames_of(samples):
            found |= onset.take(frame, voiced=True, sounds=sounds)
        return found

    assert begins(voice) and not begins(voice, sounds=False)
    assert not any(map(begins, (noise, rumble, knock, voice / 60)))
