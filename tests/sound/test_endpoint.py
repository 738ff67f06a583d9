"""Endpointing on spoken callouts: espeak-ng speaks them, so the true edges are known."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pytest
from sound_tools import quiet, trimmed, with_noise

from callout.core.errors import OperatorError, ProgrammerError
from callout.sound.endpoint import Endpointer, Reason
from callout.sound.endpoint_settings import EndpointSettings
from callout.sound.frames import FRAME_S, Frame, Samples, Utterance, frames_of
from callout.sound.noise import NoiseFloor
from callout.sound.voice import Voice

NOISES_DBFS = [None, -70.0, -50.0, -42.0]


def joined(*parts: Samples) -> Samples:
    return np.concatenate(parts)


def run(endpointer: Endpointer, frames: Iterable[Frame]) -> list[Utterance]:
    out = [utterance for frame in frames for utterance in endpointer.push(frame)]
    return out + endpointer.flush()


def heard(samples: Samples, settings: EndpointSettings | None = None) -> list[Utterance]:
    return run(Endpointer(settings), frames_of(samples))


def noisy(samples: Samples, dbfs: float | None) -> Samples:
    return samples if dbfs is None else with_noise(samples, dbfs)


@pytest.mark.parametrize("noise_dbfs", NOISES_DBFS)
def test_a_pause_inside_a_callout_does_not_split_it(say: Voice, noise_dbfs: float | None) -> None:
    tree = trimmed(say.say("tree eighty three"))
    figure = trimmed(say.say("twenty four point six"))
    sound = joined(quiet(0.6), tree, quiet(0.5), figure, quiet(1.0))
    found = heard(noisy(sound, noise_dbfs))
    assert len(found) == 1
    assert found[0].start_s <= 0.6
    assert found[0].end_s >= 0.6 + (tree.size + figure.size) / 16000 + 0.5


@pytest.mark.parametrize("noise_dbfs", NOISES_DBFS)
def test_two_callouts_stay_apart_and_whole(say: Voice, noise_dbfs: float | None) -> None:
    one = trimmed(say.say("tree eighty three, twenty four point six"))
    two = trimmed(say.say("tree six, nineteen point nine"))
    sound = joined(quiet(0.6), one, quiet(1.2), two, quiet(1.2))
    found = heard(noisy(sound, noise_dbfs))
    one_end = 0.6 + one.size / 16000
    two_start = one_end + 1.2
    assert len(found) == 2
    assert found[0].start_s <= 0.6 and one_end <= found[0].end_s <= two_start
    assert one_end <= found[1].start_s <= two_start
    assert found[1].end_s >= two_start + two.size / 16000


@pytest.mark.parametrize("word", ["yes", "no", "six", "eight", "save", "stop"])
def test_one_short_word_is_an_utterance(say: Voice, word: str) -> None:
    spoken = trimmed(say.say(word))
    found = heard(with_noise(joined(quiet(0.6), spoken, quiet(1.0)), -60))
    assert len(found) == 1
    assert found[0].start_s <= 0.6 and found[0].end_s >= 0.6 + spoken.size / 16000


def test_samples_are_the_streams_own_and_times_agree(say: Voice) -> None:
    sound = with_noise(joined(quiet(0.6), say.say("tree six, nine point one"), quiet(1.0)), -60)
    (found,) = heard(sound)
    first = round(found.start_s * 16000)
    assert np.array_equal(found.samples, sound[first : first + found.samples.size])
    assert found.end_s - found.start_s == pytest.approx(found.duration_s)


@pytest.mark.parametrize("dbfs", [-70.0, -50.0, -40.0, -30.0])
def test_steady_noise_alone_is_no_utterance(dbfs: float) -> None:
    found = heard(with_noise(quiet(20), dbfs))
    # The detector learns loud noise from its first frames, and may call those speech.
    assert [u for u in found if u.end_s > 1.0] == []
    assert dbfs > -35 or found == []


def test_a_knock_is_set_aside_as_too_short() -> None:
    knock = quiet(3.0)
    burst = np.random.default_rng(11).normal(0, 9000, 960).astype(np.int16)
    knock[16_000 : 16_000 + burst.size] = burst
    endpointer = Endpointer(EndpointSettings(shortest_s=0.3))
    assert run(endpointer, frames_of(knock)) == []
    assert {d.reason for d in endpointer.take_discarded()} <= {Reason.TOO_SHORT}


def test_speech_past_the_longest_is_never_given_out_in_part(say: Voice) -> None:
    long = trimmed(say.say("one hundred and twenty four point six " * 4))
    after = trimmed(say.say("tree six"))
    endpointer = Endpointer(EndpointSettings(longest_s=3.0))
    found = run(endpointer, frames_of(joined(quiet(0.6), long, quiet(1.2), after, quiet(1.0))))
    assert [d.reason for d in endpointer.take_discarded()] == [Reason.TOO_LONG]
    assert len(found) == 1 and found[0].start_s > 0.6 + long.size / 16000
    assert endpointer.take_discarded() == []


def test_echo_frames_never_enter_an_utterance(say: Voice) -> None:
    echo, answer = say.say("eighty three, twenty four point six"), trimmed(say.say("yes"))
    echo_end = 0.6 + echo.size / 16000
    sound = joined(quiet(0.6), echo, quiet(0.5), answer, quiet(1.0))
    endpointer = Endpointer()
    endpointer.mute(echo_end, from_s=0.6)
    found = run(endpointer, frames_of(sound))
    assert len(found) == 1
    assert echo_end + 0.3 <= found[0].start_s <= echo_end + 0.5
    assert endpointer.take_discarded() == []


def test_what_an_echo_breaks_into_is_dropped_and_said_so(say: Voice) -> None:
    spoken = trimmed(say.say("tree one hundred and eighty three, twenty four point six"))
    endpointer = Endpointer()
    frames = list(frames_of(joined(quiet(0.6), spoken, quiet(1.0))))
    endpointer.mute(1.7, from_s=1.4)
    assert run(endpointer, frames) == []
    reasons = [d.reason for d in endpointer.take_discarded()]
    # Once for the part before the echo, once for the part still being said after it.
    assert reasons == [Reason.ECHO, Reason.ECHO]


def test_an_echo_that_is_stopped_early_opens_the_gate_early(say: Voice) -> None:
    answer = trimmed(say.say("twenty four point six"))
    frames = list(frames_of(joined(quiet(2.0), answer, quiet(1.0))))
    shut, opened = Endpointer(), Endpointer()
    for endpointer in (shut, opened):
        endpointer.mute(10.0, from_s=0.5)
    opened.unmute(1.0)
    assert run(shut, frames) == []
    assert [u.start_s > 1.3 for u in run(opened, frames)] == [True]


def test_nothing_is_joined_over_lost_sound(say: Voice) -> None:
    spoken = trimmed(say.say("tree one hundred and eighty three, twenty four point six"))
    frames = list(frames_of(joined(quiet(0.6), spoken, quiet(1.0))))
    endpointer = Endpointer()
    found = run(endpointer, frames[:50] + frames[60:])
    assert found == []
    assert [d.reason for d in endpointer.take_discarded()] == [Reason.GAP, Reason.GAP]


def test_speech_that_opens_the_stream_is_kept_and_flush_ends_it(say: Voice) -> None:
    spoken = trimmed(say.say("tree six, nine point one"))
    endpointer = Endpointer()
    frames = list(frames_of(spoken))
    assert [u for frame in frames for u in endpointer.push(frame)] == []
    assert endpointer.speaking
    (found,) = endpointer.flush()
    assert found.start_s == 0.0 and found.samples.size >= spoken.size
    assert not endpointer.speaking and endpointer.flush() == []


def test_cutting_the_same_stream_twice_gives_the_same(say: Voice) -> None:
    spoken = say.say("tree six, nine point one")
    sound = with_noise(joined(quiet(0.6), spoken, quiet(1.0), spoken, quiet(1.0)), -50)
    first, second = heard(sound), heard(sound)
    assert [(u.start_s, u.end_s) for u in first] == [(u.start_s, u.end_s) for u in second]
    assert all(np.array_equal(a.samples, b.samples) for a, b in zip(first, second, strict=True))


def test_the_noise_floor_follows_the_noise() -> None:
    endpointer = Endpointer()
    for frame in frames_of(with_noise(quiet(20), -45)):
        endpointer.push(frame)
    assert endpointer.noise_floor_dbfs == pytest.approx(-45, abs=1.5)


@pytest.mark.parametrize(
    "bad",
    [
        {"hang_over_s": 0.0},
        {"vad_mode": 4},
        {"vad_mode": 1.5},
        {"longest_s": 1e9},
        {"pre_roll_s": float("nan")},
        {"onset_voiced_s": 0.3},
        {"gate_over_floor_db": True},
        {"shortest_s": "0.1"},
    ],
)
def test_settings_out_of_range_are_refused(bad: dict[str, object]) -> None:
    with pytest.raises(OperatorError, match=next(iter(bad))):
        EndpointSettings(**bad)  # type: ignore[arg-type]


def test_a_frame_of_another_shape_is_a_defect() -> None:
    with pytest.raises(ProgrammerError):
        Frame(np.zeros(479, dtype=np.int16), 0.0)
    with pytest.raises(ProgrammerError):
        Frame(np.zeros(480, dtype=np.float32), 0.0)  # type: ignore[arg-type]
    assert pytest.approx(0.03) == FRAME_S


@pytest.mark.parametrize("window_s", [1.0, 2.5, 10.0])
def test_the_noise_floor_is_the_tenth_percentile_of_the_window(window_s: float) -> None:
    """numpy's percentile is the judge, to the last bit; equal levels come again and again."""
    settings = EndpointSettings(floor_window_s=window_s)
    floor, rng = NoiseFloor(settings), np.random.default_rng(83)
    levels = [settings.floor_first_dbfs] * 15
    for places in rng.integers(0, 12, 700).tolist():
        levels.append(round(rng.normal(-60.0, 10.0), places))
        floor.hear(levels[-1])
        assert floor.floor_dbfs == float(
            np.percentile(levels[-settings.floor_window_frames :], 10.0)
        )
