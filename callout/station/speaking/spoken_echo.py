"""The spoken echo: says the session's words, and keeps the microphone from hearing them.

Speaking happens on a thread of its own, so that hearing never waits for it. `spoken_turns` decides
what is said next and what is cut short. Without a voice, tones stand for the words and the words
are on the screen; without a loudspeaker, only the screen goes on. Either is reported once.
"""

from __future__ import annotations

import threading
import time

import numpy as np

from callout.core.errors import CalloutError
from callout.core.events import Say
from callout.core.saying import Saying, Says, as_is, saying
from callout.sound.endpoint import Endpointer
from callout.sound.frames import SAMPLE_RATE_HZ, Samples
from callout.sound.guarded_voice import GuardedVoice
from callout.sound.own.own_voice import OwnVoice
from callout.sound.own.spoken_over import SpokenOver
from callout.sound.speaker import Speaker
from callout.sound.voice import Tone, VoiceSettings, beep, without_silence
from callout.station.done import Done
from callout.station.speaking.how_much import length_of, rate_of
from callout.station.speaking.silent_echo import (
    Echo,
    SilentEcho,
    StreamClock,
    TellFault,
    TellSounding,
    TellSpoken,
)
from callout.station.speaking.spoken_turns import AGAIN, OVER, SpokenTurn, SpokenTurns
from callout.survey.config import Speaking
from callout.wording.language_files import english
from callout.wording.wording import Wording

_LONGEST_ECHO_S = 60.0
# A sound leaves the device later than it was handed over (docs/sound.md).
_LEAVES_S = 0.15
_TONES = {"saved": Tone.ACCEPT, "refused": Tone.REFUSE}
"""Before the words."""
_QUESTIONS = ("confirm-asked", "accept-asked")
_ACCEPTS = frozenset(
    {"accept-asked", "say-accept-to-keep", "say-accept-to-keep-it", "say-accept-to-undo"}
)


class SpokenEcho:
    """Speaks through espeak-ng and a loudspeaker, opened when first needed."""

    def __init__(
        self,
        speaking: Speaking,
        endpointer: Endpointer,
        wording: Wording | None = None,
        over: SpokenOver | None = None,
        own: OwnVoice | None = None,
    ) -> None:
        """``own``: hearing goes on meanwhile, and is told what sounds; else the gate is closed."""
        self._speaking, self._endpointer = speaking, endpointer
        self._ear, self._gated = own or over or SpokenOver(), own is None
        self._tell_spoken: TellSpoken = lambda done: None
        self._last: Done | None = None
        self._turn: SpokenTurn | None = None
        self._broken_off: SpokenTurn | None = None
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
        self._last = done
        if self._muted:
            self._tell_spoken(done)  # it is on the screen, and nothing else tells it
        else:
            self._sayings.put(done)

    def mute(self, muted: bool) -> None:
        """Stop at once, or speak again from the next echo on."""
        self._muted = muted
        if muted and self._speaker is not None:
            self._speaker.stop()
        if muted:
            self._tell_spoken(self._last)

    def cut(self) -> None:
        """Break off what is being said: somebody objects."""
        self._broken_off = self._turn

    def speak_by(self, speaking: Speaking) -> None:
        """From the next echo on say as much, and as fast, as ``speaking`` tells."""
        if rate_of(speaking) != rate_of(self._speaking):
            self._voice = None
        self._speaking = speaking

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

    def on_spoken(self, tell: TellSpoken) -> None:
        """Tell ``tell`` what has been spoken, but for the bare question."""
        self._tell_spoken = tell

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
            self._turn = turn
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
            if not self._overtaken:
                self._tell_spoken(turn.of)
            self._turn = None

    @property
    def _overtaken(self) -> bool:
        """Whether what is being said is out of date, or somebody objected to it."""
        return self._sayings.overtaken or self._broken_off is self._turn

    def _say(self, turn: SpokenTurn) -> Saying | None:
        """Say it, or play tones if the voice fails, then why. CalloutError: no loudspeaker."""
        speaker, why = self._loudspeaker(), None
        for part in turn.parts:
            if self._muted or self._broken_off is turn:
                break
            if part.tone == AGAIN:
                self._beep(speaker, Tone.OVER)
                continue
            if self._by_tone(part, turn, speaker):
                continue
            try:
                pieces = self._pieces(part.says)
            except CalloutError as error:
                why = error.saying
                tone = tone_alone(part, turn)
                if tone is not None:
                    self._beep(speaker, tone)
                continue
            if part.tone in _TONES:
                self._beep(speaker, _TONES[part.tone])
            self._play(speaker, pieces, turn)
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

    def _play(self, speaker: Speaker, pieces: list[Samples], turn: SpokenTurn) -> None:
        words = np.concatenate(pieces)
        if self._overtaken or not len(words):
            return
        self._words_sound = True
        spoken_s = pieces[0].size / SAMPLE_RATE_HZ + _LEAVES_S
        playback, began = speaker.play(words, wait=False), time.monotonic()
        while not playback.done:
            if self._overtaken:
                speaker.stop()
            elif len(pieces) > 1 and time.monotonic() - began > spoken_s:
                self._tell_spoken(turn.of)
            threading.Event().wait(0.02)
        playback.wait()

    def _pieces(self, says: Says) -> list[Samples]:
        """The words; where hearing goes on, all but the bare question apart from that."""
        if self._gated or len(says) < 2 or says[-1].key not in _QUESTIONS:
            return [self._spoken(says)]
        return [self._spoken(says[:-1]), self._spoken(says[-1:])]

    def _spoken(self, says: Says) -> Samples:
        if self._voice is None:
            chosen = self._speaking.voice
            # A language has a voice of its own, unless the survey's settings name one.
            name = self._wording.voice if chosen == Speaking.voice else ""
            settings = VoiceSettings(name or chosen, rate_of(self._speaking))
            self._voice = GuardedVoice(settings)
        text = self._wording.spoken(*says, length=length_of(self._speaking))
        return without_silence(self._voice.say(text)) if text else np.zeros(0, np.int16)

    def _loudspeaker(self) -> Speaker:
        if self._speaker is None:
            name = self._speaking.speaker or None
            self._speaker = Speaker(name, on_start=self._gate, on_end=self._ungate)
        return self._speaker

    def _gate(self, samples: Samples) -> None:
        self._sounding = True
        self._tell_sounding(True)
        if self._microphone is not None:
            self._ear.plays(samples, self._microphone.captured_s, words=self._words_sound)
        self._close_gate(samples.size / SAMPLE_RATE_HZ)

    def _close_gate(self, lasts_s: float) -> None:
        if self._microphone is not None and self._gated:
            # From what was captured so far: nothing of the echo may slip in before the gate.
            ends_s = self._microphone.now_s + lasts_s
            self._endpointer.mute(ends_s, self._microphone.captured_s)

    def _ungate(self) -> None:
        self._sounding = False
        self._tell_sounding(False)
        if self._microphone is not None:
            if self._gated:
                self._endpointer.unmute(self._microphone.now_s)
            self._ear.ends(self._microphone.now_s)

    def _report(self, fault: Saying | None) -> None:
        if fault != self._fault:
            self._fault = fault
            self._tell_fault(fault)


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
    own: OwnVoice | None = None,
) -> Echo:
    """The spoken echo in ``wording``, or a silent one; ``own`` or ``over`` is told what sounds."""
    return SilentEcho() if silent else SpokenEcho(speaking, endpointer, wording, over, own)
