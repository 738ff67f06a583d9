"""Sounds made for tests, and a private sound server whose loudspeakers are looped back."""

from __future__ import annotations

import os
import subprocess
import time
from pathlib import Path

import numpy as np
import pytest

from callout.sound.frames import SAMPLE_RATE_HZ, Samples


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

    def pactl(self, *asked: str) -> str:
        """What pactl answers; its errors are the test's."""
        done = subprocess.run(
            ["pactl", "-s", self.address, *asked], capture_output=True, text=True, check=True
        )
        return done.stdout.strip()

    def sink(self, name: str, described: str, rate_hz: int, channels: int) -> None:
        """A loudspeaker, whose monitor is a microphone; one of that name is taken away first."""
        for line in self.pactl("list", "short", "modules").splitlines():
            if f"sink_name={name} " in line:
                self.pactl("unload-module", line.split()[0])
        self.pactl(
            "load-module", "module-null-sink", f"sink_name={name}", f"rate={rate_hz}",
            f"channels={channels}", f"sink_properties=device.description={described}",
        )  # fmt: skip
