"""A device that pauses shows as a gap, lateness does not. Times are invented."""

from __future__ import annotations

import time
from collections.abc import Iterable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from callout.sound import microphone as microphone_module
from callout.sound.endpoint import Endpointer, Reason
from callout.sound.frames import FRAME_S, Frame
from callout.sound.microphone import Microphone
from callout.sound.pauses import LEAST_PAUSE_S, Pauses
from callout.sound.pulse import SleptError

BLOCK = 480


def missing(times: Iterable[float]) -> list[float]:
    """Seconds missing before each block of 30 ms."""
    pauses = Pauses()
    return [pauses.take(at, BLOCK) / 16_000 for at in times]


def test_time_in_which_nothing_was_captured_is_missing() -> None:
    before = [n * FRAME_S for n in range(100)]
    after = [before[-1] + 1.5 + n * FRAME_S for n in range(1, 100)]
    found = missing(before + after)
    assert sum(found) == pytest.approx(1.5, abs=0.01)
    owned = found.index(max(found)) - len(before)
    assert owned <= 5, "known within a few blocks"


def test_what_comes_late_by_fits_and_starts_is_not_missing() -> None:
    """A machine so busy that it needs three turns to fetch what waited."""
    before = [n * FRAME_S for n in range(100)]
    late = before[-1] + 0.9
    times = list(before)
    for turn, blocks in enumerate((12, 12, 12)):
        times += [late + turn * 0.15 + n * 0.001 for n in range(blocks)]
    end = times[-1]
    times += [end + n * FRAME_S for n in range(1, 100)]
    assert sum(missing(times)) < 0.25


def test_two_pauses_are_two_gaps() -> None:
    times, at = [], 0.0
    for pause in (0.8, 2.0, 0.0):
        times += [at + n * FRAME_S for n in range(50)]
        at = times[-1] + FRAME_S + pause
    assert [round(item, 1) for item in missing(times) if item] == [0.8, 2.0]


def test_what_comes_late_and_in_a_hurry_is_not_missing() -> None:
    before = [n * FRAME_S for n in range(100)]
    late = before[-1] + 1.2
    waited = [late + n * 0.001 for n in range(40)]
    after = [late + n * FRAME_S for n in range(1, 100)]
    assert sum(missing(before + waited + after)) == 0


@given(st.lists(st.floats(0, LEAST_PAUSE_S - FRAME_S), max_size=200))
def test_an_uneven_stream_has_no_gaps(late: list[float]) -> None:
    assert sum(missing(n * FRAME_S + by for n, by in enumerate(late))) == 0


def test_asleep_the_stream_ends_there(monkeypatch: pytest.MonkeyPatch) -> None:
    slept = [5.0]
    monkeypatch.setattr(microphone_module, "slept_s", lambda: slept[0])
    with Microphone("null") as microphone:
        frames = microphone.frames()
        next(frames)
        slept[0] += 2400
        with pytest.raises(SleptError):
            for _ in range(10):
                next(frames)


def test_paused_in_mid_word_nothing_is_joined(monkeypatch: pytest.MonkeyPatch) -> None:
    """The device goes on where it stopped, 40 seconds later; the stream's own time shows it."""
    now = [1000.0]
    monkeypatch.setattr(microphone_module, "slept_s", lambda: 0.0)
    monkeypatch.setattr(microphone_module, "seconds_with_sleep", lambda: now[0])
    microphone = Microphone("null")
    microphone._running = True  # blocks are fed by hand: no device runs
    rng = np.random.default_rng(83)
    for number in range(120):
        now[0] += FRAME_S + (40.0 if number == 60 else 0.0)
        loud = 4000 if 30 <= number < 80 else 30
        tone = np.sin(np.arange(BLOCK) * (0.05 + 0.002 * (number % 7))) * loud
        microphone._sink.send((tone + rng.normal(0, 10, BLOCK)).astype("<i2").tobytes())
    frames: list[Frame] = []
    for frame in microphone.frames():
        frames.append(frame)
        if len(frames) == 119:
            break
    microphone.close()
    endpointer = Endpointer()
    whole = [one for frame in frames for one in endpointer.push(frame)]
    steps = np.diff([frame.start_s for frame in frames])
    assert steps.max() == pytest.approx(40, abs=1)
    assert all(one.duration_s < 1.5 for one in whole)
    assert Reason.GAP in [item.reason for item in endpointer.take_discarded()]


def test_the_clock_of_pauses_goes_on_in_real_time() -> None:
    before = microphone_module.seconds_with_sleep()
    time.sleep(0.02)
    assert 0.01 < microphone_module.seconds_with_sleep() - before < 60
