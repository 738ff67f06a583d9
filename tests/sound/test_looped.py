"""Speaker, microphone and the half-duplex gate over a real sound server (pulseaudio)."""

from __future__ import annotations

import threading
import time

import numpy as np
import pytest
from sound_tools import LoopedServer, best_match, trimmed
from waiting import wait_for

from callout.core.errors import DeviceError
from callout.sound import microphone as microphone_module
from callout.sound.endpoint import Endpointer
from callout.sound.frames import SAMPLE_RATE_HZ, Frame, Samples, Utterance
from callout.sound.microphone import Microphone
from callout.sound.sound_devices import list_microphones, list_speakers
from callout.sound.speaker import Speaker
from callout.sound.voice import Tone, Voice, beep

TRIES = 3
"""A busy machine drops sound now and then."""


def capture(microphone: Microphone, into: list[Frame]) -> threading.Thread:
    thread = threading.Thread(target=lambda: into.extend(microphone.frames()), daemon=True)
    thread.start()
    return thread


def test_devices_are_listed_and_chosen_by_part_of_their_name(looped: LoopedServer) -> None:
    assert [d.name for d in list_speakers()] == ["TrialOne", "TrialTwo"]
    assert {d.name for d in list_microphones()} == {"Monitor of TrialOne", "Monitor of TrialTwo"}
    with pytest.raises(DeviceError, match="'Monitor of TrialOne', 'Monitor of TrialTwo'"):
        Microphone("trial")
    with pytest.raises(DeviceError, match=r"none-called.*radio.*'TrialOne'"):
        Speaker("radio")


@pytest.mark.parametrize("device", ["TrialOne", "TrialTwo"])
def test_what_is_played_is_what_is_captured(looped: LoopedServer, say: Voice, device: str) -> None:
    spoken = say.say("tree eighty three, twenty four point six")
    for _ in range(TRIES):
        if played_and_captured(device, spoken) > 0.98:
            return
    # The stereo sink runs at 48 kHz, so its sound is resampled twice: alike, not equal.
    raise AssertionError(f"captured sound differs from what was played, {TRIES} times")


def played_and_captured(device: str, spoken: Samples) -> float:
    """How alike they are, 0 to 1; all else is asserted."""
    marks: list[str] = []
    frames: list[Frame] = []
    with Microphone(f"Monitor of {device}") as microphone:
        thread = capture(microphone, frames)
        speaker = Speaker(
            device, lambda sound: marks.append(f"{sound.size / 16000:.1f}"),
            lambda: marks.append("end"),
        )  # fmt: skip
        wait_for(lambda: len(frames) > 10)
        speaker.play(spoken)
        assert marks == [f"{spoken.size / 16000:.1f}", "end"]
        ended_s = microphone.now_s + 0.3
        wait_for(lambda: frames[-1].end_s > ended_s)
        speaker.close()
    thread.join(60)
    if microphone.lost_s:
        return 0.0  # the machine was too busy to capture it all
    starts = np.array([frame.start_s for frame in frames])
    assert np.allclose(np.diff(starts), 0.03)
    # By the time play() returned, all of it had sounded: the gate may go by that.
    heard = np.concatenate([frame.samples for frame in frames if frame.end_s <= ended_s])
    alike, lag = best_match(heard, spoken)
    assert alike < 0.9 or lag + spoken.size < heard.size
    return alike


def test_a_sound_can_be_stopped_and_replaced(looped: LoopedServer) -> None:
    ends: list[bool] = []
    speaker = Speaker("TrialOne", on_end=lambda: ends.append(True))
    long = np.tile(beep(Tone.REFUSE), 400)
    began = time.monotonic()
    first = speaker.play(long, wait=False)
    assert not first.done
    second = speaker.play(long, wait=False)
    assert first.done and not second.done
    third = speaker.play(beep(Tone.ACCEPT), wait=False)
    assert second.done
    third.wait()
    speaker.play(long, wait=False)
    time.sleep(0.2)
    speaker.stop()
    assert len(ends) == 4
    assert time.monotonic() - began < long.size / 16000, "sooner than any long one lasts: minutes"
    speaker.close()


def test_the_tools_own_echo_is_never_an_utterance(looped: LoopedServer, say: Voice) -> None:
    echo = say.say("eighty three, twenty four point six, save?")
    answer = trimmed(say.say("yes"))
    for _ in range(TRIES):
        heard, ungated, discarded = echoed_and_answered(echo, answer)
        assert all(u.samples.size < echo.size for u in heard), "the echo, gated, is none"
        alike = [best_match(u.samples, answer)[0] > 0.98 for u in heard]
        # Without the gate the tool would have heard itself, and run the answer into it.
        if (alike, [u.samples.size > echo.size for u in ungated]) == ([True], [True]):
            assert discarded == []
            return
    raise AssertionError(f"the answer was not heard as it was said, {TRIES} times")


def echoed_and_answered(
    echo: Samples, answer: Samples
) -> tuple[list[Utterance], list[Utterance], list[object]]:
    """What is heard with the gate, and without it; and what the gate discarded."""
    with Microphone("Monitor of TrialOne") as microphone:
        gate = Endpointer()
        plain = Endpointer()
        heard: list[Utterance] = []
        ungated: list[Utterance] = []
        taken_s = [0.0]

        def listen() -> None:
            for frame in microphone.frames():
                heard.extend(gate.push(frame))
                ungated.extend(plain.push(frame))
                taken_s[0] = frame.end_s

        def pause(seconds: float) -> None:
            until_s = microphone.now_s + seconds
            wait_for(lambda: taken_s[0] > until_s)

        thread = threading.Thread(target=listen, daemon=True)
        thread.start()
        speaker = Speaker(
            "TrialOne",
            on_start=lambda sound: gate.mute(
                microphone.now_s + sound.size / SAMPLE_RATE_HZ, microphone.captured_s
            ),
            on_end=lambda: gate.unmute(microphone.now_s),
        )
        # The answer comes from another speaker, so that no gate is told of it.
        person = Speaker("TrialOne")
        pause(0.3)
        speaker.play(echo)
        pause(0.6)
        person.play(answer)
        pause(1.2)
        speaker.close()
        person.close()
    thread.join(60)
    return heard, ungated, list(gate.take_discarded())


def test_a_server_that_goes_away_is_told_plainly(
    looped: LoopedServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    # As where the sound system tells nothing of its sources.
    monkeypatch.setattr(microphone_module, "watch_source", lambda choice: None)
    microphone = Microphone("Monitor of TrialOne", stalled_after_s=2.5)
    frames = microphone.frames()
    next(frames)
    looped.stop()
    with pytest.raises(DeviceError, match=r"microphone-stalled.*2\.5"):
        for _ in frames:
            pass
    microphone.close()
    with pytest.raises(DeviceError, match=r"no-sound-system|none-there"):
        Microphone()
    with pytest.raises(DeviceError, match=r"no-sound-system|none-there"):
        Speaker()


def test_a_reader_that_falls_behind_shows_as_a_gap(looped: LoopedServer) -> None:
    with Microphone("Monitor of TrialOne", queue_s=0.3) as microphone:
        frames = microphone.frames()
        first = next(frames)
        wait_for(lambda: microphone.captured_s > first.end_s + 1.0)
        late = [next(frames) for _ in range(30)]
        assert microphone.lost_s > 0.3
    jumps = np.diff([first.start_s, *(frame.start_s for frame in late)])
    assert jumps.max() > 0.3 and jumps.min() > 0.029
