"""The whole way through a real capture device: a null sink's monitor is the microphone.

The walk and the callouts are invented, spoken by synthetic voices.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import threading
import time
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from sound_tools import LoopedServer, best_match
from sound_tools import looped as looped
from waiting import wait_for

from callout.journal.folder import open_survey
from callout.journal.reader import current
from callout.practice.demo import make_demo_survey
from callout.sound.frames import SAMPLE_RATE_HZ, Samples
from callout.sound.sound_files import decode_flac, read_sound
from callout.sound.speaker import Speaker
from callout.station.data import data_folder

FIXTURES = data_folder("audio_fixtures")
TRIES = 3
"""A busy machine drops sound now and then."""


class Listener:
    """A real ``callout listen --headless`` on the loop's microphone."""

    def __init__(self, survey: Path, *options: str) -> None:
        command = [sys.executable, "-m", "callout", "listen", str(survey), "--headless"]
        self.process = subprocess.Popen(
            [*command, "--plot", "K1", "--who", "R.V.", *options],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self.lines: list[dict[str, Any]] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.append(json.loads(line))

    def wait_for(self, event: str) -> dict[str, Any]:
        wait_for(lambda: self.events(event))
        return self.events(event)[-1]

    def hears(self, number: int, *words: str) -> bool:
        """Whether all of these words are among what is heard as the so manyth."""
        with contextlib.suppress(AssertionError):
            wait_for(lambda: len(self.events("heard")) >= number, seconds=30)
            return all(word in self.events("heard")[number - 1]["words"] for word in words)
        return False

    def events(self, kind: str) -> list[dict[str, Any]]:
        return [line for line in self.lines if line.get("event") == kind]

    def stop(self) -> str:
        """End it as a service manager would; everything is given up in order."""
        self.process.send_signal(signal.SIGTERM)
        with self.process:
            try:
                self.process.wait(120)
            finally:
                self.process.kill()
                self._reader.join(60)
            assert self.process.stderr is not None
            return self.process.stderr.read()

    def wait_for_quiet(self, echoes: int) -> None:
        """Wait until so many sounds of the echo have ended, and their tail has passed."""
        wait_for(lambda: sum(line["sounding"] is False for line in self.events("echo")) >= echoes)
        time.sleep(1.0)


def play(samples: Samples) -> None:
    speaker = Speaker()
    try:
        speaker.play(samples)
    finally:
        speaker.close()


def callouts(count: int) -> Samples:
    """The walk's first ``count`` utterances: its pauses are silences of over a second."""
    walk = read_sound(FIXTURES / "walk.flac")
    frames = np.abs(walk[: len(walk) // 160 * 160].astype(np.int32)).reshape(-1, 160).max(axis=1)
    loud = np.flatnonzero(frames > 1500)
    gaps = np.flatnonzero(np.diff(loud) > 100)
    return walk[: (int(loud[gaps[count - 1]]) + 60) * 160]


def test_the_walk_through_a_microphone_saves_exactly_its_readings(
    looped: LoopedServer, tmp_path: Path
) -> None:
    walk = json.loads((FIXTURES / "walk.json").read_text())
    # With a repair and a no; CALLOUT_WHOLE_WALK=1 plays the rest too, two minutes of it.
    count = len(walk["said"]) if os.environ.get("CALLOUT_WHOLE_WALK") else 10
    sound = read_sound(FIXTURES / "walk.flac") if count > 10 else callouts(count)
    spoken = dict(list(walk["saved"].items())[: 4 if count == 10 else None])
    for number in range(TRIES):
        if _walked(tmp_path / f"s{number}", sound, spoken) == spoken:
            return
    raise AssertionError(f"the walk was not saved as it was spoken, {TRIES} times")


def _walked(path: Path, sound: Samples, spoken: dict[str, str]) -> dict[str, str]:
    """What is saved of the recorded walk, played to the microphone at its own speed."""
    make_demo_survey(path, datetime.now().astimezone())
    listener = Listener(path, "--mute")
    listener.wait_for("listening")
    time.sleep(0.5)
    play(np.concatenate([sound, np.zeros(SAMPLE_RATE_HZ, dtype=np.int16)]))
    with contextlib.suppress(AssertionError):  # what was captured with gaps is asked for again
        wait_for(lambda: _saved(path) == spoken, seconds=30, every_s=0.3)
    assert "Traceback" not in listener.stop()
    _check_wrong_ones(path, sound, spoken)
    return _saved(path)


def _saved(path: Path) -> dict[str, str]:
    with open_survey(path).reading() as reader:
        return {
            item.tag: str(item.value) if item.value is not None else item.status_told
            for item in current(reader.readings())
        }


def _check_wrong_ones(path: Path, sound: Samples, spoken: dict[str, str]) -> None:
    """A value that was not spoken is wrong, unless its sound came with gaps."""
    folder = open_survey(path)
    saved = _saved(path)
    with folder.reading() as reader:
        for item in current(reader.readings()):
            if spoken.get(item.tag) != saved[item.tag]:
                heard = decode_flac(folder.audio.read(str(item.audio)))
                assert best_match(sound, heard)[0] < 0.9, f"{item.tag} {saved[item.tag]}"


def test_the_echo_is_never_taken_for_a_callout(looped: LoopedServer, tmp_path: Path) -> None:
    """The echo sounds on the very sink the microphone listens to, "confirm" and all."""
    for number in range(TRIES):
        if _called_and_confirmed(tmp_path / f"s{number}"):
            return
    raise AssertionError(f"the callouts were not heard whole, {TRIES} times")


def _called_and_confirmed(path: Path) -> bool:
    """False where what was played came with gaps, as a busy machine's sound server gives it."""
    make_demo_survey(path, datetime.now().astimezone())
    listener = Listener(path)
    try:
        listener.wait_for("listening")
        listener.wait_for_quiet(1)  # the opening words were spoken aloud
        assert listener.events("heard") == []
        play(callouts(1))
        if not listener.hears(1, "tree sixty one", "eighteen", "six"):
            return False
        listener.wait_for_quiet(2)  # "61, 18.6, size 1 8. Confirm?" sounded in the microphone
        assert len(listener.events("heard")) == 1, listener.lines
        confirm = callouts(2)[len(callouts(1)) :]
        play(np.concatenate([confirm, np.zeros(SAMPLE_RATE_HZ, dtype=np.int16)]))
        if not listener.hears(2, "confirm"):
            return False
        assert listener.wait_for("saved")["recorded"] == "18.6"
        listener.wait_for_quiet(4)  # a tone and "Saved 61, 18.6." sounded too
        assert len(listener.events("heard")) == 2, listener.lines
        return True
    finally:
        assert "Traceback" not in listener.stop()
