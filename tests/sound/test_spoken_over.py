"""Whether somebody spoke over the voice: never by our own echo, mostly where somebody did.

The loudspeaker is simulated (`loudspeaker`), the voice is the one that is used, the words are
people's where their recordings are at hand. Figures of many more echoes: docs/sound.md.
"""

from __future__ import annotations

import os
from dataclasses import replace

import numpy as np
import pytest
from loudspeaker import LEAD_S, SAID, Taken, signs, taken
from people import words_of_people

from callout.sound.endpoint import Endpointer
from callout.sound.frames import FRAME_S, SAMPLE_RATE_HZ, Frame, Samples, frames_of
from callout.sound.own.spoken_over import SpokenOver
from callout.sound.voice import Tone, Voice, VoiceSettings, beep

# Echoes are made and heard in a third of a second each; more by CALLOUT_ECHO_ROUNDS=100.
ROUNDS = int(os.environ.get("CALLOUT_ECHO_ROUNDS", "2"))


@pytest.fixture(scope="module")
def spoken() -> list[Samples]:
    return [Voice(VoiceSettings("en-us")).say(text) for text in SAID]


@pytest.fixture(scope="module")
def said() -> list[np.ndarray]:
    """What is said over it: people's words, or another voice's."""
    people = words_of_people()
    other = Voice(VoiceSettings("en-gb-scotland"))
    return people or [other.say(word) / 32768.0 for word in ("no", "yes", "stop")]


def test_a_loudspeaker_s_own_echo_is_nobody(spoken: list[Samples]) -> None:
    """Couplings from -40 to -10 dB, wind in gusts among the noises."""
    rng = np.random.default_rng(11)
    echoes = [taken(words, rng, rng.uniform(-40.0, -10.0)) for words in spoken * ROUNDS]
    assert sum(signs(echo) for echo in echoes) == 0


@pytest.mark.parametrize(("coupling_db", "least"), [(-60.0, 0.8), (-30.0, 0.7), (-20.0, 0.55)])
def test_somebody_who_speaks_over_it_is_mostly_noticed(
    spoken: list[Samples], said: list[np.ndarray], coupling_db: float, least: float
) -> None:
    """-60 dB stands for a headset: nothing of the voice comes back over the noise."""
    rng = np.random.default_rng(12)
    found = [
        signs(taken(words, rng, coupling_db, said[int(rng.integers(len(said)))]))
        for words in [item for item in spoken if item.size > 1.5 * SAMPLE_RATE_HZ] * ROUNDS
    ]
    assert max(found) == 1, "once an echo at most"
    assert np.mean(found) >= least


def test_how_much_comes_back_is_remembered(spoken: list[Samples]) -> None:
    """What comes back 27 dB louder than ever is more likely somebody than our own voice."""
    for known, expected in ((4, 1), (0, 0)):
        rng = np.random.default_rng(13)
        over = SpokenOver()
        assert sum(signs(taken(words, rng, -35.0), over) for words in spoken[3 : 3 + known]) == 0
        assert signs(taken(spoken[1], rng, -8.0), over) == expected


def test_a_voice_that_grows_louder_is_ours_all_the_same(spoken) -> None:
    rng = np.random.default_rng(14)
    over = SpokenOver()
    levels = [-35.0] * 4 + [-26.0] * 4
    echoes = [taken(spoken[n % 4], rng, level) for n, level in enumerate(levels)]
    assert sum(signs(echo, over) for echo in echoes) == 0


def heard(item: Taken, over: SpokenOver, *, gap_at_s: float | None = None) -> int:
    """As ``signs``, with what was played told by the test, and sound lost where it says so."""
    ears, found = Endpointer(), 0
    ears.mute(item.at_s + item.played.size / SAMPLE_RATE_HZ, item.at_s)
    for frame in frames_of(item.heard):
        if gap_at_s is not None and frame.start_s > gap_at_s:
            frame = Frame(frame.samples, frame.start_s + 3 * FRAME_S)
        ears.push(frame)
        told = over.take(
            frame, voiced=ears.voiced, echo=ears.muted(frame), goes_on=ears.begun_under_echo
        )
        found += told is not None
    return found + (over.finish() is not None)


@pytest.fixture
def over_it(spoken, said) -> Taken:
    """A word over a long echo in a headset, which is noticed."""
    item = taken(spoken[1], np.random.default_rng(15), -60.0, said[0], -18.0)
    assert signs(item) == 1
    return item


def test_nothing_is_looked_for_over_tones_alone(over_it: Taken) -> None:
    """So a sign that is a tone never leads to another."""
    over = SpokenOver()
    tone = replace(over_it, played=np.tile(beep(Tone.OVER), 14))
    over.plays(tone.played, LEAD_S, words=False)
    assert heard(tone, over) == 0


def test_a_tone_before_the_words_hides_nothing_after_it(over_it: Taken) -> None:
    over = SpokenOver()
    tone = beep(Tone.ACCEPT)
    over.plays(tone, LEAD_S - 1.0, words=False)
    over.plays(over_it.played, LEAD_S)
    assert heard(over_it, over) == 1


def test_an_echo_with_a_gap_in_its_sound_is_not_judged_before_the_gap(over_it: Taken) -> None:
    over = SpokenOver()
    over.plays(over_it.played, LEAD_S)
    ends_s = LEAD_S + over_it.played.size / SAMPLE_RATE_HZ
    assert heard(over_it, over, gap_at_s=ends_s) == 0


def test_frames_that_must_not_be_heard_are_not_judged(over_it: Taken) -> None:
    over = SpokenOver()
    over.plays(over_it.played, LEAD_S)
    for frame in frames_of(over_it.heard):
        over.take(frame, voiced=True, echo=frame.start_s > LEAD_S, goes_on=False)
    over.pass_over(Frame(np.zeros(480, dtype=np.int16), 0.0))
    assert over.finish() is None


def test_a_voice_that_is_cut_short_sounds_no_longer_than_that(spoken, said) -> None:
    """After an answer overtook it: what was to follow is no excuse for what is heard then."""
    rng = np.random.default_rng(16)
    whole = max(spoken, key=len)
    item = taken(whole[: whole.size // 3], rng, -20.0)
    for told, least in ((True, 1), (False, 0)):
        over = SpokenOver()
        over.plays(np.rint(whole * (item.played.std() / whole.std())).astype(np.int16), LEAD_S)
        stops_s = LEAD_S + item.played.size / SAMPLE_RATE_HZ
        if told:
            over.ends(stops_s)
        late = replace(item, heard=item.heard.copy(), played=whole)
        word = np.rint(said[0] / np.abs(said[0]).max() * 9000).astype(np.int16)
        at = round((stops_s + 1.0) * SAMPLE_RATE_HZ)
        room = late.heard[at : at + word.size]
        room += word[: room.size]
        assert heard(late, over) >= least


def test_an_utterance_that_the_echo_cut_off_is_told_once_it_ends(spoken) -> None:
    item = taken(spoken[0], np.random.default_rng(17), -60.0)
    over = SpokenOver()
    over.plays(item.played, LEAD_S)
    over.cut()
    assert heard(item, over) == 0, "before the echo it is another's"
    over = SpokenOver()
    over.plays(item.played, LEAD_S)
    found, began = [], True
    for frame in frames_of(item.heard):
        echo = LEAD_S <= frame.start_s < LEAD_S + 2.0
        if echo and began:
            over.cut()
        began = not echo
        found.append(over.take(frame, voiced=False, echo=echo, goes_on=False))
    assert sum(one is not None for one in found) == 1
