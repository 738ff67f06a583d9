"""A word said while the voice echoes: a sign that it was not taken, and never an answer.

Through ``listen --headless --audio --played``. The callouts are those of the recorded walk, the
echo a synthetic voice as a loudspeaker without a headset gives it back; all invented.
"""

from __future__ import annotations

import itertools
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from command_tools import Ran, called

from callout.journal.folder import SurveyFolder
from callout.sound.endpoint import Endpointer
from callout.sound.frames import SAMPLE_RATE_HZ, Samples, frames_of
from callout.sound.sound_files import read_sound
from callout.sound.voice import Voice
from callout.station.data import data_folder

FIXTURES = data_folder("audio_fixtures")
SAID: list[str] = json.loads((FIXTURES / "walk.json").read_text(encoding="utf-8"))["said"]
BACK_S, COUPLING = 0.12, 0.1  # 20 dB below what is played


@pytest.fixture(scope="module")
def callouts() -> dict[str, Samples]:
    """The walk's utterances by what was said; of what was said twice the last."""
    ears = Endpointer()
    cut = (ears.push(frame) for frame in frames_of(read_sound(FIXTURES / "walk.flac")))
    found = [*itertools.chain.from_iterable(cut), *ears.flush()]
    assert len(found) == len(SAID)
    return {said: item.samples for said, item in zip(SAID, found, strict=True)}


@pytest.fixture(scope="module")
def voice() -> Voice:
    return Voice()


class Scene:
    """Two tracks of one length: what the microphone took, and what the loudspeaker played."""

    def __init__(self) -> None:
        self._parts: list[tuple[float, np.ndarray, bool]] = []
        self.now_s = 1.0

    def says(self, samples: Samples, at_s: float | None = None) -> None:
        """Somebody speaks, now or at that time; then a pause."""
        begins_s = self.now_s if at_s is None else at_s
        self._parts.append((begins_s, samples.astype(np.float64), False))
        if at_s is None:
            self.now_s += samples.size / SAMPLE_RATE_HZ + 1.0

    def echoes(self, samples: Samples) -> float:
        """The tool speaks; from when."""
        begins_s = self.now_s
        self._parts.append((begins_s, samples.astype(np.float64), True))
        self.now_s += samples.size / SAMPLE_RATE_HZ + 0.6
        return begins_s

    def keep(self, folder: Path) -> tuple[Path, Path]:
        """The two files."""
        size = round((self.now_s + 1.0) * SAMPLE_RATE_HZ)
        heard = np.random.default_rng(5).normal(0.0, 8.0, size)
        played = np.zeros(size)
        for begins_s, samples, ours in self._parts:
            if ours:
                _add(played, samples, begins_s)
            _add(heard, samples * (COUPLING if ours else 1.0), begins_s + BACK_S * ours)
        paths = folder / "heard.flac", folder / "played.flac"
        for path, track in zip(paths, (heard, played), strict=True):
            soundfile.write(path, np.clip(track, -32768, 32767).astype(np.int16), SAMPLE_RATE_HZ)
        return paths


def _add(track: np.ndarray, samples: np.ndarray, at_s: float) -> None:
    at = round(at_s * SAMPLE_RATE_HZ)
    track[at : at + samples.size] += samples[: track.size - at]


def listened(fen: SurveyFolder, paths: Sequence[Path]) -> Ran:
    return called(
        "listen", fen.path, "--headless", "--audio", paths[0], "--played", paths[1],
        "--engine", "pocketsphinx", "--who", "R.V.",
    )  # fmt: skip


def signs(lines: Sequence[dict[str, Any]]) -> int:
    return sum(line.get("tone") == "over" for line in lines)


@pytest.mark.parametrize("word", ["no", "confirm"])
def test_a_word_over_the_echo_is_told_and_answers_nothing(
    tmp_path: Path, own_fen: SurveyFolder, callouts: dict[str, Samples], voice: Voice, word: str
) -> None:
    """Neither a no nor a yes; said again after the echo, a no rejects."""
    scene = Scene()
    scene.says(callouts["tree sixty one, eighteen point six"])
    began_s = scene.echoes(voice.say("Tree 61, 18 point 6 inches. Confirm?"))
    scene.says(callouts[word], began_s + 0.8)
    scene.says(callouts["no"])
    scene.says(callouts["tree seventy two, twelve point two"])
    scene.echoes(voice.say("Tree 72, 12 point 2 inches. Confirm?"))
    scene.says(callouts["confirm"])
    ran = listened(own_fen, scene.keep(tmp_path))
    assert ran.code == 0, ran.err
    assert signs(ran.lines) == 1
    told = next(line for line in ran.lines if line.get("tone") == "over")
    assert told["text"] == "Something said over the voice was not taken: say it again."
    heard = [line["words"] for line in ran.lines if line["event"] == "heard"]
    assert len(heard) == 4 and heard[1] == "no" and heard[3] == "confirm", heard
    at = ran.lines.index(told)
    before, after = ran.lines[:at], ran.lines[at:]
    assert not any(line["event"] == "saved" for line in before)
    assert "Still waiting" in after[1]["text"] and after[1]["tone"] == "ask"
    assert any(line["event"] == "set_aside" and "echo" in line["reason"] for line in before)
    saved = [line for line in ran.lines if line["event"] == "saved"]
    assert [(line["tag"], line["recorded"]) for line in saved] == [("72", "12.2")]
    rejected = [line for line in after if line["event"] == "said" and line["tone"] == "refused"]
    assert rejected, "the no that was said again rejects"


def test_our_own_voice_is_no_word_over_it(
    tmp_path: Path, own_fen: SurveyFolder, callouts: dict[str, Samples], voice: Voice
) -> None:
    scene = Scene()
    scene.says(callouts["tree sixty one, eighteen point six"])
    for again in (
        "Tree 61, 18 point 6 inches. Confirm?",
        "Still waiting: 61, 18 point 6. Confirm?",
    ):
        scene.echoes(voice.say(again))
    scene.says(callouts["confirm"])
    ran = listened(own_fen, scene.keep(tmp_path))
    assert ran.code == 0, ran.err
    assert signs(ran.lines) == 0
    assert sum(line["event"] == "saved" for line in ran.lines) == 1


def test_what_was_played_goes_with_a_recording(tmp_path: Path, own_fen: SurveyFolder) -> None:
    scene = Scene()
    paths = scene.keep(tmp_path)
    survey = str(own_fen.path)
    for wrong in (
        ("listen", survey, "--headless", "--typed", "--played", paths[1]),
        ("listen", survey, "--headless", "--audio", paths[0], "--realtime", "--played", paths[1]),
    ):
        ran = called(*wrong)
        assert ran.code == 2 and "--played goes with --audio" in ran.err
    ran = called(
        "listen", survey, "--headless", "--audio", paths[0], "--played", tmp_path / "none.wav"
    )
    assert ran.code == 2 and "none.wav" in ran.err
