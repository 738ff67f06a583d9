"""The echo is spoken in the survey's language, by that language's voice unless another is set."""

from __future__ import annotations

import numpy as np
import pytest

from callout.core.events import Say, TimedOut
from callout.core.saying import as_is, saying
from callout.sound.endpoint import Endpointer
from callout.sound.frames import Samples
from callout.sound.voice import VoiceSettings
from callout.station.done import Done
from callout.station.speaking import spoken_echo
from callout.survey.config import Speaking
from callout.wording.language_files import load_wording

ASKED = Say((as_is("83, 24.6."), saying("confirm-asked")), "ask")


class Playback:
    """Over at once."""

    done = True

    def wait(self) -> None:
        """Nothing to wait for."""


class Loudspeaker:
    """Takes samples and plays none."""

    def __init__(self, *_: object, **__: object) -> None:
        """Any loudspeaker."""

    def play(self, samples: Samples, wait: bool = True) -> Playback:
        return Playback()

    def close(self) -> None:
        """Nothing to close."""


@pytest.mark.parametrize(
    ("code", "chosen", "spoken"),
    [
        ("ko", Speaking(), ("ko", "83, 24 점 6. 확인?")),
        ("ko", Speaking(voice="ko+f3"), ("ko+f3", "83, 24 점 6. 확인?")),
        ("en", Speaking(), ("en", "83, 24.6. Confirm?")),
        ("en", Speaking(voice="en-us"), ("en-us", "83, 24.6. Confirm?")),
    ],
)
def test_words_and_voice(monkeypatch, code, chosen, spoken):
    said: list[tuple[str, str]] = []

    class Speaks:
        def __init__(self, settings: VoiceSettings) -> None:
            self._name = settings.name

        def say(self, text: str) -> Samples:
            said.append((self._name, text))
            return np.zeros(160, dtype=np.int16)

    monkeypatch.setattr(spoken_echo, "GuardedVoice", Speaks)
    monkeypatch.setattr(spoken_echo, "Speaker", Loudspeaker)
    echo = spoken_echo.make_echo(chosen, Endpointer(), False, load_wording(code))
    echo.tell(Done(TimedOut(1, "2026-06-02T09:15:00+02:00"), (ASKED,)))
    echo.close()
    assert said == [spoken]
