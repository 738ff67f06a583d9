"""``callout soundcheck`` with stand-ins for microphone and loudspeaker, and over a real server.

The devices and their names are invented; what the measurer says is spoken by espeak-ng.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from callout.cli.desk import soundcheck_command
from callout.core.errors import DeviceError
from callout.journal.folder import SurveyFolder
from callout.practice.demo import make_demo_survey
from callout.sound.frames import SAMPLE_RATE_HZ, Samples
from callout.sound.own.sound_trial import Taken
from callout.sound.voice import Voice, VoiceSettings


@dataclass
class StandIn:
    """A microphone that hears ``back_db`` of what is played, and then what is said."""

    back_db: float = -120.0
    noise_dbfs: float = -65.0
    says: list[str] = field(default_factory=lambda: [soundcheck_command.PHRASE])
    mics: list[str] = field(default_factory=lambda: ["Fern headset", "Built in"])

    def microphones(self) -> list[str]:
        return self.mics

    def speakers(self) -> list[str]:
        return ["Fern headset"]

    def take(self, seconds: float, play: Samples | None = None) -> Taken:
        size = round(seconds * SAMPLE_RATE_HZ)
        heard = np.random.default_rng(4).normal(0, 32768 * 10 ** (self.noise_dbfs / 20), size)
        if play is not None:
            back = play[: size - 10_000] * 10 ** (self.back_db / 20)
            heard[10_000 : 10_000 + back.size] += back
        elif seconds == soundcheck_command._SAID_S and self.says:
            said = Voice(VoiceSettings("en-us", 160)).say(self.says.pop(0))
            heard[16_000 : 16_000 + said.size] += said
        heard = np.clip(heard, -32768, 32767).astype(np.int16)
        return Taken(heard, np.zeros(0, np.int16) if play is None else play, 8_000)


@pytest.fixture
def folder(tmp_path: Path) -> SurveyFolder:
    return make_demo_survey(tmp_path / "fen", datetime.now().astimezone())


def check(callout: Any, monkeypatch: pytest.MonkeyPatch, devices: StandIn, *more: object) -> Any:
    monkeypatch.setattr(soundcheck_command, "_devices", lambda microphone, speaker: devices)
    return callout("soundcheck", *more)


def test_a_headset_is_told_and_written(callout: Any, monkeypatch: Any, folder: Any) -> None:
    text = folder.settings.read_text(encoding="utf-8")
    ran = check(callout, monkeypatch, StandIn(), folder.path, "--microphone", "Fern", "--yes")
    assert (ran.code, ran.err) == (0, "")
    for line in ("microphones:\n  Fern headset\n  Built in\n", "speakers:\n  Fern headset\n",
                 "noise: -65 dBFS\n", "nothing of it comes back",
                 "heard: tree twelve three point four", "duplex: headset"):  # fmt: skip
        assert line in ran.out, ran.out
    config = folder.config()
    assert (config.listening.microphone, config.listening.duplex) == ("Fern", "headset")
    kept = folder.settings.read_text(encoding="utf-8")
    assert kept.count("#") == text.count("#"), "the comments stay"


def test_a_loudspeaker_is_told_with_its_delay(callout: Any, monkeypatch: Any, folder: Any) -> None:
    pytest.importorskip("pywebrtc_audio")
    ran = check(callout, monkeypatch, StandIn(back_db=-20.0), folder.path, "--yes")
    assert ran.code == 0 and "voice: comes back at -20 dB, 125 ms late\n" in ran.out, ran.out
    assert folder.config().listening.duplex == "loudspeaker"


def test_unasked_nothing_is_written(callout: Any, monkeypatch: Any, folder: Any) -> None:
    before = folder.settings.read_bytes()
    monkeypatch.setattr(soundcheck_command, "yes", lambda question: False)
    ran = check(callout, monkeypatch, StandIn(), folder.path, "--no-callout")
    assert ran.code == 0 and ran.out.endswith("Nothing was written.\n")
    assert folder.settings.read_bytes() == before
    assert check(callout, monkeypatch, StandIn(), "--no-callout").code == 0, (
        "no survey, no question"
    )


def test_what_was_not_heard_is_asked_for_again_and_told(callout: Any, monkeypatch: Any) -> None:
    ran = check(callout, monkeypatch, StandIn(says=["", soundcheck_command.PHRASE]))
    assert ran.code == 0 and "heard nothing" in ran.out
    ran = check(callout, monkeypatch, StandIn(says=["good morning", "good morning"]))
    assert ran.code == 1 and "was not heard" in ran.out


def test_a_dead_microphone_is_one_plain_line(callout: Any, monkeypatch: Any, folder: Any) -> None:
    class Dead(StandIn):
        def take(self, seconds: float, play: Samples | None = None) -> Taken:
            return Taken(np.zeros(16_000, np.int16), np.zeros(0, np.int16), 0)

    class Gone(StandIn):
        def microphones(self) -> list[str]:
            raise DeviceError("there is no sound system")

    before = folder.settings.read_bytes()
    for devices, told in ((Dead(), "only silence"), (Gone(), "no sound system")):
        ran = check(callout, monkeypatch, devices, folder.path, "--yes")
        assert ran.code != 0 and told in ran.err and ran.err.count("\n") == 1
    assert folder.settings.read_bytes() == before


def test_only_listed(callout: Any, monkeypatch: Any) -> None:
    ran = check(callout, monkeypatch, StandIn(mics=[]), "--list")
    assert ran.out == "microphones:\n  none\nspeakers:\n  Fern headset\n"
