"""A voice that fails: tones stand for the echo, told once; what is cut short, and what waits.

Failures are invented: a voice that raises, one that hangs, one that gives silence.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

import in_english
import numpy as np
import pytest
from sound_tools import LoopedServer
from waiting import wait_for

from callout.core.errors import DeviceError
from callout.core.events import Say, TimedOut
from callout.core.saying import as_is, saying
from callout.sound import guarded_voice
from callout.sound.endpoint import Endpointer
from callout.sound.frames import Samples, Utterance
from callout.sound.guarded_voice import GuardedVoice
from callout.sound.microphone import Microphone
from callout.sound.speaker import Playback
from callout.sound.voice import Tone, Voice, VoiceSettings, beep
from callout.station.done import Done
from callout.station.speaking import spoken_echo as voice_module
from callout.station.speaking.spoken_echo import SpokenEcho
from callout.survey.config import Speaking

QUESTION = Say((as_is("83, 24.6. Confirm?"),), "ask")
WARNED = Say((as_is("83, 24.6, that is down 0.4."), saying("accept-asked")), "ask")
SAVED = Say((as_is("Saved 83, 24.6."),), "saved")
NEXT = Say((as_is("Next 84."),))


def answer(*parts: Say) -> Done:
    return Done(TimedOut(7, "2026-06-02T09:15:00+02:00"), parts)


def notice(text: str, tone: str = "told") -> Done:
    return Done(None, (Say((as_is(text),), tone),))


class FakeVoice:
    """Says a text as that many thousandths of a second of a level of its own."""

    fails: str | None = None

    def __init__(self, settings: VoiceSettings) -> None:
        if self.fails is not None:
            raise DeviceError(self.fails)

    def say(self, text: str) -> Samples:
        return np.full(len(text) * 16, 100 + len(text), dtype=np.int16)


class FakeSpeaker:
    """Notes what it plays; a sound lasts until ``go``, or as long as it takes."""

    def __init__(self, *_: object, **__: object) -> None:
        self.played: list[Samples] = []
        self.cut: list[Samples] = []
        self.hold = threading.Event()
        self.hold.set()
        made.append(self)

    def play(self, samples: Samples, wait: bool = True) -> Playback:
        playback = self._now = Playback(samples)
        self.played.append(samples)
        if wait:
            playback._done.set()
        else:
            threading.Thread(target=self._finish, args=(playback,), daemon=True).start()
        return playback

    def _finish(self, playback: Playback) -> None:
        self.hold.wait(60)
        playback._done.set()

    def stop(self) -> None:
        if not self._now.done:
            self.cut.append(self._now.samples)
            self._now._done.set()

    def close(self) -> None:
        """Nothing to give back."""

    @property
    def told(self) -> list[str]:
        """What was played: tones by name, words by their length."""
        tones = {beep(tone).tobytes(): tone.value for tone in Tone}
        return [tones.get(item.tobytes(), f"{item.size // 16} letters") for item in self.played]


made: list[FakeSpeaker] = []


@contextmanager
def echoing(monkeypatch: pytest.MonkeyPatch, fails: str | None) -> Iterator[SpokenEcho]:
    made.clear()
    monkeypatch.setattr(FakeVoice, "fails", fails)
    monkeypatch.setattr(guarded_voice.GuardedVoice.__init__, "__defaults__", (60.0, FakeVoice))
    monkeypatch.setattr(voice_module, "Speaker", FakeSpeaker)
    echo = SpokenEcho(Speaking(), Endpointer())
    yield echo
    echo.close()


def letters(*said: Say) -> list[str]:
    return [f"{len(in_english.told(item))} letters" for item in said]


@pytest.mark.parametrize(
    ("done", "tones"),
    [
        (answer(QUESTION), ["ask"]),
        (answer(WARNED), ["warn"]),
        (
            answer(
                Say((as_is("Not saved yet: down 0.4."), saying("say-accept-to-keep-it")), "ask")
            ),
            ["warn"],
        ),
        (answer(SAVED, NEXT), ["accept"]),
        (answer(Say((as_is("Not understood."),), "refused")), ["refuse"]),
        (notice("Not saved: the disk is full.", "refused"), ["refuse"]),
        (notice("The disk is slow."), ["warn"]),
        (answer(Say((as_is("Left: 84, 85."),))), ["tell"]),
    ],
)
def test_without_a_voice_tones_stand_for_the_words(
    monkeypatch: pytest.MonkeyPatch, done: Done, tones: list[str]
) -> None:
    faults: list[str | None] = []
    with echoing(monkeypatch, "The voice failed.") as echo:
        echo.on_fault(lambda says: faults.append(in_english.part(says) or None))
        echo.tell(done)
        echo.tell(done)
    assert made[0].told == tones * 2
    assert faults == ["no spoken echo: The voice failed. Beeps stand for it: look at the screen"], (
        "told once"
    )


def test_the_voice_comes_back_by_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    faults: list[str | None] = []
    with echoing(monkeypatch, "The voice failed.") as echo:
        echo.on_fault(lambda says: faults.append(in_english.part(says) or None))
        echo.tell(answer(QUESTION))
        wait_for(lambda: len(faults) == 1)
        monkeypatch.setattr(FakeVoice, "fails", None)
        echo.tell(answer(SAVED, NEXT))
        wait_for(lambda: len(faults) == 2)
    assert faults[1] is None
    assert made[0].told == ["ask", "accept", *letters(SAVED, NEXT)]


def test_a_voice_that_hangs_gives_no_sound_or_breaks_is_a_fault_each() -> None:
    hold = threading.Event()

    class Hangs(FakeVoice):
        def say(self, text: str) -> Samples:
            hold.wait(60)
            return super().say(text)

    class Silent(FakeVoice):
        def say(self, text: str) -> Samples:
            return np.zeros(100, dtype=np.int16)

    class Broken(FakeVoice):
        def say(self, text: str) -> Samples:
            raise ZeroDivisionError(text)

    def guarded(kind: type[FakeVoice], allowed_s: float = 60.0) -> GuardedVoice:
        return GuardedVoice(VoiceSettings(), allowed_s, kind)  # type: ignore[arg-type]

    hanging = guarded(Hangs, 0.1)
    for _ in range(2):
        with pytest.raises(DeviceError, match="hangs"):
            hanging.say("six")
    hold.set()
    hanging._allowed_s = 60.0
    wait_for(lambda: hanging._worker is not None and not hanging._worker.is_alive())
    assert hanging.say("six").size, "when it has come to itself, it speaks"
    with pytest.raises(DeviceError, match="voice-silent"):
        guarded(Silent).say("six")
    assert guarded(Silent).say(" ").size, "nothing to say is no fault"
    with pytest.raises(DeviceError, match="ZeroDivisionError"):
        guarded(Broken).say("six")


def test_parts_of_one_answer_never_cut_each_other(monkeypatch: pytest.MonkeyPatch) -> None:
    with echoing(monkeypatch, None) as echo:
        echo.tell(answer(SAVED, NEXT))
    assert made[0].told == ["accept", *letters(SAVED, NEXT)]
    assert made[0].cut == []


def test_of_what_was_said_over_the_voice_a_tone_tells_and_no_words(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    over = Done(None, (Say((saying("spoken-over"),), "over"), QUESTION))
    with echoing(monkeypatch, None) as echo:
        echo.tell(over)
        wait_for(lambda: bool(made and made[0].played))
        made[0].hold.clear()
        echo.tell(answer(NEXT))
        wait_for(lambda: len(made[0].played) == 2)
        echo.tell(over)
        echo.tell(answer(SAVED))  # overtakes the sign, which is still no words
        made[0].hold.set()
    assert made[0].told == ["over", *letters(NEXT), "accept", *letters(SAVED), "over"]


def test_the_sign_of_it_is_no_proof_that_the_voice_works(monkeypatch: pytest.MonkeyPatch) -> None:
    faults: list[str | None] = []
    with echoing(monkeypatch, "The voice failed.") as echo:
        echo.on_fault(lambda says: faults.append(in_english.part(says) or None))
        for done in (answer(QUESTION), Done(None, (Say((saying("spoken-over"),), "over"),))):
            echo.tell(done)
            wait_for(lambda: bool(made and made[0].played))
    assert made[0].told == ["ask", "over"]
    assert len(faults) == 1 and faults[0] is not None


def test_a_newer_answer_cuts_an_older_one_and_a_notice_waits(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    waiting = Say((as_is("Still waiting: 83, 24.6."), saying("confirm-asked")), "ask")
    with echoing(monkeypatch, None) as echo:
        echo.tell(answer(NEXT))
        wait_for(lambda: bool(made and made[0].played) and made[0]._now.done)
        speaker = made[0]
        speaker.hold.clear()
        echo.tell(answer(QUESTION))
        wait_for(lambda: len(speaker.played) == 2)
        told = notice("The microphone works again.")
        echo.tell(replace(told, effects=(*told.effects, waiting)))
        time.sleep(0.1)
        assert speaker.cut == []
        echo.tell(answer(SAVED))
        wait_for(lambda: len(speaker.cut) == 1)
        speaker.hold.set()
    # What waited waits no more: asking for it would ask for a yes to nothing.
    only = Say((as_is("The microphone works again."),))
    assert speaker.told == [*letters(NEXT, QUESTION), "accept", *letters(SAVED, only)]


def test_a_defect_of_the_loudspeaker_is_told_and_the_next_echo_is_spoken(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    faults: list[str | None] = []
    with echoing(monkeypatch, None) as echo:
        echo.on_fault(lambda says: faults.append(in_english.part(says) or None))
        monkeypatch.setattr(FakeSpeaker, "play", lambda *_, **__: 1 / 0)
        echo.tell(answer(QUESTION))
        wait_for(lambda: len(faults) == 1)
        monkeypatch.undo()
        monkeypatch.setattr(guarded_voice.GuardedVoice.__init__, "__defaults__", (60.0, FakeVoice))
        monkeypatch.setattr(voice_module, "Speaker", FakeSpeaker)
        echo.tell(answer(SAVED))
        wait_for(lambda: len(faults) == 2)
    assert faults[0] is not None and "ZeroDivisionError" in faults[0]
    assert faults[1] is None and made[-1].told == ["accept", *letters(SAVED)]


def test_muted_nothing_sounds(monkeypatch: pytest.MonkeyPatch) -> None:
    with echoing(monkeypatch, "The voice failed.") as echo:
        echo.mute(True)
        echo.tell(answer(QUESTION))
        time.sleep(0.05)
    assert made == []


def test_tones_differ_in_shape_and_reach_a_telephone_band() -> None:
    for tone in Tone:
        samples = beep(tone).astype(float)
        power = np.abs(np.fft.rfft(samples)) ** 2
        hertz = np.fft.rfftfreq(samples.size, 1 / 16_000)
        band = (hertz >= 300) & (hertz <= 3400)
        assert power[band].sum() > 0.3 * power.sum(), tone
    rhythms = {tone: _loud_pieces(beep(tone)) for tone in Tone}
    assert rhythms[Tone.ASK] == rhythms[Tone.ACCEPT] == 2
    assert rhythms[Tone.WARN] == 4
    assert rhythms[Tone.OVER] == 3
    assert rhythms[Tone.REFUSE] == rhythms[Tone.TELL] == 1
    assert beep(Tone.REFUSE).size > 2.5 * beep(Tone.TELL).size


def _loud_pieces(samples: Samples) -> int:
    """Notes, told by the dips between them."""
    whole = samples[: samples.size // 80 * 80]
    envelope = np.abs(whole).reshape(-1, 80).max(axis=1)
    loud = envelope > 0.7 * envelope.max()
    return int(loud[0]) + int(np.count_nonzero(np.diff(loud.astype(int)) == 1))


def test_no_tone_of_ours_is_ever_an_utterance(
    looped: LoopedServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    class NoVoice(Voice):
        def say(self, text: str) -> Samples:
            raise DeviceError("The voice failed.")

    monkeypatch.setattr(guarded_voice.GuardedVoice.__init__, "__defaults__", (60.0, NoVoice))
    gate, plain = Endpointer(), Endpointer()
    heard: list[Utterance] = []
    ungated: list[Utterance] = []
    microphone = Microphone("Monitor of TrialOne")

    def listen() -> None:
        for frame in microphone.frames():
            heard.extend(gate.push(frame))
            ungated.extend(plain.push(frame))

    thread = threading.Thread(target=listen, daemon=True)
    thread.start()
    time.sleep(0.3)
    echo = SpokenEcho(Speaking(speaker="TrialOne"), gate)
    echo.heard_by(microphone)
    for done in (answer(QUESTION), answer(WARNED), answer(SAVED), answer(NEXT), notice("Slow.")):
        echo.tell(done)
        time.sleep(1.2)
    echo.close()
    microphone.close()
    thread.join(60)
    assert ungated, "without the gate some tone would have passed for speech"
    assert heard == []
    assert gate.take_discarded() == []
