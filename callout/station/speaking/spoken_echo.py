"""The spoken echo: says the session's words, and keeps the microphone from hearing them.

Speaking happens on a thread of its own, so that hearing never waits for it. `spoken_turns` decides
what is said next and what is cut short. Without a voice, tones stand for the words and the words
are on the screen; without a loudspeaker, only the screen goes on. Either is reported once.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Protocol

import numpy as np

from callout.core.errors import CalloutError
from callout.core.events import Say
from callout.core.saying import Saying, Says, as_is, saying
from callout.sound.endpoint import Endpointer
from callout.sound.frames import SAMPLE_RATE_HZ, Samples
from callout.sound.guarded_voice import GuardedVoice
from callout.sound.speaker import Speaker
from callout.sound.spoken_over import SpokenOver
from callout.sound.voice import Tone, VoiceSettings, beep
from callout.station.done import Done
from callout.station.speaking.spoken_turns import OVER, SpokenTurn, SpokenTurns
from callout.survey.config import Speaking
from callout.wording.language_files import english
from callout.wording.wording import Length, Wording

TellFault = Callable[[Saying | None], None]
TellSounding = Callable[[bool], None]


class StreamClock(Protocol):
    """The position of a microphone's stream, in seconds: now, and as far as was captured."""

    @property
    def now_s(self) -> float: ...
    @property
    def captured_s(self) -> float: ...


_LONGEST_ECHO_S = 60.0
BRIEF_WORDS_A_MINUTE = 200
_TONES = {"saved": Tone.ACCEPT, "refused": Tone.REFUSE}
"""The time before the words."""
_ACCEPTS = frozenset(
    {"accept-asked", "say-accept-to-keep", "say-accept-to-keep-it", "say-accept-to-undo"}
)


class Echo(Protocol):
    """Something that says what a station did."""

    def tell(self, done: Done) -> None:
        """Say the effects of one event; returns at once."""

    def mute(self, muted: bool) -> None:
        """Be silent, or speak again."""

    def heard_by(self, microphone: StreamClock) -> None:
        """Gate this microphone, which could hear the echo."""

    def on_fault(self, tell: TellFault) -> None:
        """Whom to tell when the voice fails (what is wrong) or works again (None)."""

    def on_sounding(self, tell: TellSounding) -> None:
        """Whom to tell when the loudspeaker begins (True) and ends (False)."""

    def close(self) -> None:
        """Stop speaking."""


class SilentEcho:
    """Says nothing: for files read faster than speech."""

    def tell(self, done: Done) -> None:
        """Nothing to say aloud."""

    def mute(self, muted: bool) -> None:
        """Silent as it is."""

    def heard_by(self, microphone: StreamClock) -> None:
        """Nothing to hear."""

    def on_fault(self, tell: TellFault) -> None:
        """Nothing can fail."""

    def on_sounding(self, tell: TellSounding) -> None:
        """Nothing sounds."""

    def close(self) -> None:
        """Nothing to stop."""


class SpokenEcho:
    """Speaks through espeak-ng and a loudspeaker, opened when first needed."""

    def __init__(
        self,
        speaking: Speaking,
        endpointer: Endpointer,
        wording: Wording | None = None,
        over: SpokenOver | None = None,
    ) -> None:
        self._speaking, self._endpointer = speaking, endpointer
        self._over = over or SpokenOver()
        self._words_sound = False
        self._wording = wording or english()
        self._muted = speaking.muted
        self._tell_fault: TellFault = lambda says: None
        self._microphone: StreamClock | None = None
        self._tell_sounding: TellSounding = lambda sounding: None
        self._fault: Saying | None = None
        self._sounding = False
        self._voice: GuardedVoice | None = None
        self._speaker: Speaker | None = None
        self._sayings = SpokenTurns()
        self._thread = threading.Thread(target=self._work, name="echo", daemon=True)
        self._thread.start()

    def tell(self, done: Done) -> None:
        """Say the effects of one event; returns at once."""
        if not self._muted:
            self._sayings.put(done)

    def mute(self, muted: bool) -> None:
        """Stop at once, or speak again from the next echo on."""
        self._muted = muted
        if muted and self._speaker is not None:
            self._speaker.stop()

    def heard_by(self, microphone: StreamClock) -> None:
        """Gate this microphone while speaking."""
        self._microphone = microphone
        if self._sounding:
            self._close_gate(_LONGEST_ECHO_S)  # it began before the microphone did

    def on_fault(self, tell: TellFault) -> None:
        """Call ``tell`` when the voice fails or works again."""
        self._tell_fault = tell

    def on_sounding(self, tell: TellSounding) -> None:
        """Call ``tell`` when the loudspeaker begins and ends; it must not call the echo."""
        self._tell_sounding = tell

    def close(self) -> None:
        """Finish what is being said, then stop."""
        self._sayings.close()
        self._thread.join(timeout=10)
        if self._speaker is not None:
            self._speaker.close()

    def _work(self) -> None:
        while (turn := self._sayings.take()) is not None:
            if self._muted:
                continue
            try:
                if any(part.tone == OVER for part in turn.parts):
                    # Words would only provoke more words over them: they are on the screen.
                    self._beep(self._loudspeaker(), Tone.OVER)
                    continue
                without_voice = self._say(turn)
                self._report(without_voice and saying("no-echo-beeps", why=without_voice))
            except CalloutError as error:
                self._speaker = None  # reopened for the next echo: it may have been unplugged
                self._report(saying("no-echo", why=error.saying))
            except Exception as error:  # a defect must not silence the rest of the day
                self._speaker = self._voice = None
                self._report(saying("no-echo", why=as_is(repr(error))))

    def _say(self, turn: SpokenTurn) -> Saying | None:
        """Say it, or play tones if the voice fails, then why. CalloutError: no loudspeaker."""
        speaker, why = self._loudspeaker(), None
        for part in turn.parts:
            if self._muted:
                break
            if self._by_tone(part, turn, speaker):
                continue
            try:
                words = self._spoken(part.says)
            except CalloutError as error:
                why = error.saying
                tone = tone_alone(part, turn)
                if tone is not None:
                    self._beep(speaker, tone)
                continue
            if part.tone in _TONES:
                self._beep(speaker, _TONES[part.tone])
            self._play(speaker, words)
        return why

    def _by_tone(self, part: Say, turn: SpokenTurn, speaker: Speaker) -> bool:
        """Play the tone that replaces all of this part, if the listener chose so; else False."""
        tones = self._speaking.echo == "tones" and not turn.notice and part.tone != "refused"
        tone = tone_alone(part, turn)
        if not tones or tone is Tone.WARN:
            return False
        if tone is not None:
            self._beep(speaker, tone)
        return True

    def _beep(self, speaker: Speaker, tone: Tone) -> None:
        self._words_sound = False
        speaker.play(beep(tone))

    def _play(self, speaker: Speaker, words: Samples) -> None:
        if self._sayings.overtaken or not len(words):
            return
        self._words_sound = True
        playback = speaker.play(words, wait=False)
        while not playback.done:
            if self._sayings.overtaken:
                speaker.stop()
            threading.Event().wait(0.02)
        playback.wait()

    def _spoken(self, says: Says) -> Samples:
        if self._voice is None:
            chosen = self._speaking.voice
            # A language has a voice of its own, unless the survey's settings name one.
            name = self._wording.voice if chosen == Speaking.voice else ""
            settings = VoiceSettings(name or chosen, rate_of(self._speaking))
            self._voice = GuardedVoice(settings)
        text = self._wording.spoken(*says, length=length_of(self._speaking))
        return self._voice.say(text) if text else np.zeros(0, np.int16)

    def _loudspeaker(self) -> Speaker:
        if self._speaker is None:
            name = self._speaking.speaker or None
            self._speaker = Speaker(name, on_start=self._gate, on_end=self._ungate)
        return self._speaker

    def _gate(self, samples: Samples) -> None:
        self._sounding = True
        self._tell_sounding(True)
        if self._microphone is not None:
            self._over.plays(samples, self._microphone.captured_s, words=self._words_sound)
        self._close_gate(samples.size / SAMPLE_RATE_HZ)

    def _close_gate(self, lasts_s: float) -> None:
        if self._microphone is not None:
            # From the last captured time on: nothing of the echo may slip in before the gate.
            ends_s = self._microphone.now_s + lasts_s
            self._endpointer.mute(ends_s, self._microphone.captured_s)

    def _ungate(self) -> None:
        self._sounding = False
        self._tell_sounding(False)
        if self._microphone is not None:
            self._endpointer.unmute(self._microphone.now_s)
            self._over.ends(self._microphone.now_s)

    def _report(self, fault: Saying | None) -> None:
        if fault != self._fault:
            self._fault = fault
            self._tell_fault(fault)


def length_of(speaking: Speaking) -> Length:
    """How much of each saying is spoken."""
    return Length.FULL if speaking.echo == "full" else Length.BRIEF


def rate_of(speaking: Speaking) -> int:
    """Words a minute: few words are understood as well a little faster (our assumption)."""
    if speaking.echo == "full":
        return speaking.words_a_minute
    return max(speaking.words_a_minute, BRIEF_WORDS_A_MINUTE)


def tone_alone(part: Say, turn: SpokenTurn) -> Tone | None:
    """The tone for these words if there is no voice.

    What only accompanies an answer ("Next 84.") has none, so that one answer is one signal.
    """
    if turn.notice:
        return Tone.WARN if part is turn.parts[0] else None
    if part.tone == "ask":
        return Tone.WARN if _ACCEPTS.intersection(one.key for one in part.says) else Tone.ASK
    alone = all(other.tone == "told" for other in turn.parts)
    return _TONES.get(part.tone, Tone.TELL if alone else None)


def make_echo(
    speaking: Speaking,
    endpointer: Endpointer,
    silent: bool,
    wording: Wording | None = None,
    over: SpokenOver | None = None,
) -> Echo:
    """The spoken echo in ``wording``, or a silent one; ``over`` is told what is played."""
    return SilentEcho() if silent else SpokenEcho(speaking, endpointer, wording, over)
