"""The echo voice, the tones, and working without sound hardware."""

from __future__ import annotations

import threading

import espeakng_loader
import numpy as np
import pytest
from sound_tools import trimmed

from callout.core.errors import DeviceError, OperatorError
from callout.sound import espeak as espeak_module
from callout.sound.frames import Samples, level_dbfs
from callout.sound.microphone import Microphone
from callout.sound.sound_devices import NULL_DEVICE
from callout.sound.speaker import Speaker
from callout.sound.voice import Tone, Voice, VoiceSettings, beep


def alike(one: Samples, two: Samples) -> bool:
    """Same length within 3 % and level within 1 dB: espeak-ng is not bit for bit the same."""
    same_length = abs(one.size - two.size) < 0.03 * two.size
    return same_length and abs(level_dbfs(one) - level_dbfs(two)) < 1.0


def test_a_sentence_is_alike_each_time(say: Voice) -> None:
    first = say.say("eighty three, twenty four point six")
    say.say("something longer was said in between, at length")
    assert alike(first, say.say("eighty three, twenty four point six"))
    assert first.dtype == np.int16 and 1.0 < first.size / 16000 < 4.0


def test_rate_and_volume_do_what_they_say(say: Voice) -> None:
    text = "tree two hundred six, eighteen point three"
    slow = Voice(VoiceSettings("en-us", words_per_minute=110)).say(text)
    fast = Voice(VoiceSettings("en-us", words_per_minute=220)).say(text)
    assert 1.6 < trimmed(slow).size / trimmed(fast).size < 2.4
    soft = Voice(VoiceSettings("en-us", volume_percent=50)).say(text)
    assert 3.0 < level_dbfs(say.say(text)) - level_dbfs(soft) < 9.0


def test_threads_take_turns(say: Voice) -> None:
    texts = ["six", "sixty one point nine", "tree four hundred and twelve"] * 4
    alone = {text: say.say(text) for text in texts}
    together: list[bool] = []

    def work(text: str) -> None:
        together.append(alike(say.say(text), alone[text]))

    threads = [threading.Thread(target=work, args=(text,)) for text in texts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert together == [True] * len(texts)


def test_nothing_to_say_is_no_sound(say: Voice) -> None:
    assert say.say("  ").size == 0
    assert say.say("six\0seven").size > say.say("six").size


@pytest.mark.parametrize("name", ["en-gb", "en-us", "en-us+f3"])
def test_the_voices_we_name_are_there(name: str) -> None:
    assert level_dbfs(Voice(VoiceSettings(name)).say("six")) > -40
    assert VoiceSettings().name == "en-gb"


def test_a_voice_that_is_not_there_is_refused() -> None:
    with pytest.raises(DeviceError, match=r"voice-unknown.*zz-none"):
        Voice(VoiceSettings("zz-none"))


def test_a_library_that_is_not_there_is_a_device_error(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(espeakng_loader, "get_library_path", lambda: "/nowhere/lib.so")
    monkeypatch.setattr(espeak_module, "_started", espeak_module.Espeak)
    with pytest.raises(DeviceError, match="cannot be loaded"):
        Voice()
    monkeypatch.setattr(espeakng_loader, "get_data_path", lambda: "/nowhere")
    with pytest.raises(DeviceError, match="data is missing"):
        Voice()


@pytest.mark.parametrize("bad", [{"words_per_minute": 5}, {"volume_percent": 900}, {"name": ""}])
def test_voice_settings_out_of_range_are_refused(bad: dict[str, object]) -> None:
    with pytest.raises(OperatorError):
        VoiceSettings(**bad)  # type: ignore[arg-type]


def test_tones_are_short_unlike_and_do_not_click() -> None:
    tones = [beep(kind) for kind in Tone]
    for tone in tones:
        assert 0.05 < tone.size / 16000 < 0.4
        assert np.abs(tone).max() <= 32767 // 2 + 1
        assert abs(int(tone[0])) < 200 and abs(int(tone[-1])) < 200
        # No step greater than the steepest sine of these notes can make (2 pi f A / rate).
        assert np.abs(np.diff(tone.astype(int))).max() <= 2 * np.pi * 990 / 16000 * 16384 * 1.05
    assert len({tone.tobytes() for tone in tones}) == len(list(Tone))
    spectrum = np.abs(np.fft.rfft(beep(Tone.REFUSE)))
    assert abs(np.argmax(spectrum) * 16000 / beep(Tone.REFUSE).size - 220) < 4


def test_without_hardware_the_null_backend_must_be_asked_for() -> None:
    with Microphone(NULL_DEVICE) as microphone:
        frames = microphone.frames()
        first = [next(frames) for _ in range(5)]
    assert all(not frame.samples.any() for frame in first)
    assert list(frames) == []
    speaker = Speaker(NULL_DEVICE)
    assert speaker.play(beep(Tone.ASK)).done
    speaker.close()


def test_no_sound_system_is_told_plainly(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("callout.sound.sound_devices._REAL", [])
    monkeypatch.setattr("miniaudio.Devices", lambda backends: (_ for _ in ()).throw(_no_sound()))
    with pytest.raises(DeviceError, match="no-sound-system"):
        Microphone()


def _no_sound() -> Exception:
    import miniaudio

    return miniaudio.MiniaudioError("cannot init context")
