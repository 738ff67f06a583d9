"""Sounds made for tests, and a private sound server whose loudspeakers are looped back."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from waiting import wait_for

from callout.sound import pulse
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


def best_match(heard: Samples, played: Samples) -> tuple[float, int]:
    """Greatest normalised correlation and its lag in samples (numpy's own FFT)."""
    size = 1 << int(np.ceil(np.log2(heard.size + played.size)))
    spectrum = np.fft.rfft(heard.astype(float), size) * np.conj(
        np.fft.rfft(played.astype(float), size)
    )
    correlation = np.fft.irfft(spectrum, size)[: heard.size - played.size + 1]
    lag = int(np.argmax(correlation))
    piece = heard[lag : lag + played.size].astype(float)
    played_energy = float(np.linalg.norm(played.astype(float)))
    return float(correlation[lag] / (np.linalg.norm(piece) * played_energy + 1e-9)), lag


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
        wait_for(lambda: self._stands() or self.process.poll() is not None)
        if self.process.poll() is not None:
            pytest.skip("pulseaudio is installed but did not start")

    def _stands(self) -> bool:
        """Whether its microphones are there: they come a moment after it answers."""
        command = ["pactl", "-s", self.address, "list", "short", "sources"]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        return "two.monitor" in done.stdout

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait(60)

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


@pytest.fixture
def looped(monkeypatch: pytest.MonkeyPatch) -> Iterator[LoopedServer]:
    if shutil.which("pulseaudio") is None:
        pytest.skip("pulseaudio is not installed: nothing was played or captured")
    # A socket's path must be short, which pytest's own folders are not.
    with tempfile.TemporaryDirectory(prefix="co") as folder:
        server = LoopedServer(Path(folder))
        monkeypatch.setenv("PULSE_SERVER", server.address)
        monkeypatch.setattr(pulse, "ALLOWED_S", 30.0)
        yield server
        server.stop()
