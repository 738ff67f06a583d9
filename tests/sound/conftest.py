"""A private sound server with a loudspeaker that is looped back, and spoken callouts."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from callout.sound.frames import SAMPLE_RATE_HZ, Samples
from callout.sound.voice import Voice, VoiceSettings


def quiet(seconds: float) -> Samples:
    return np.zeros(round(seconds * SAMPLE_RATE_HZ), dtype=np.int16)


def with_noise(samples: Samples, dbfs: float) -> Samples:
    """White noise of that level over all of `samples`, the same each time."""
    sigma = 32768 * 10 ** (dbfs / 20)
    noise = np.random.default_rng(7).normal(0, sigma, samples.size)
    return np.clip(samples + noise, -32768, 32767).astype(np.int16)


def trimmed(samples: Samples) -> Samples:
    """Without the voice's own lead-in and tail, so that pauses put in are the pauses there."""
    loud = np.flatnonzero(np.abs(samples) > 330)
    return samples[loud[0] : loud[-1] + 1]


@pytest.fixture(scope="session")
def say() -> Voice:
    return Voice(VoiceSettings("en-us"))


class LoopedServer:
    """A pulseaudio of our own with a null sink; what it plays its monitor hears."""

    def __init__(self, folder: Path) -> None:
        self.address = f"unix:{folder / 's'}"
        self.process = subprocess.Popen(
            [
                "pulseaudio",
                "-n",
                "--daemonize=no",
                "--exit-idle-time=-1",
                "--use-pid-file=no",
                "--disable-shm=yes",
                f"-Lmodule-native-protocol-unix socket={folder / 's'} auth-anonymous=1",
                "-Lmodule-null-sink sink_name=one rate=16000 channels=1"
                " sink_properties=device.description=TrialOne",
                "-Lmodule-null-sink sink_name=two rate=48000 channels=2"
                " sink_properties=device.description=TrialTwo",
            ],
            env={**os.environ, "HOME": str(folder), "XDG_RUNTIME_DIR": str(folder)},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        until = time.monotonic() + 10
        while not (folder / "s").exists():
            if self.process.poll() is not None or time.monotonic() > until:
                self.stop()
                pytest.skip("pulseaudio is installed but did not start")
            time.sleep(0.05)
        time.sleep(0.3)

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait(10)


@pytest.fixture
def looped(monkeypatch: pytest.MonkeyPatch) -> Iterator[LoopedServer]:
    if shutil.which("pulseaudio") is None:
        pytest.skip("pulseaudio is not installed: nothing was played or captured")
    # A socket's path must be short, which pytest's own folders are not.
    with tempfile.TemporaryDirectory(prefix="co") as folder:
        server = LoopedServer(Path(folder))
        monkeypatch.setenv("PULSE_SERVER", server.address)
        yield server
        server.stop()
