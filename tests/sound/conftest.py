"""The voice, and a sound server of our own where there is one."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from sound_tools import LoopedServer

from callout.sound.voice import Voice, VoiceSettings


@pytest.fixture(scope="session")
def say() -> Voice:
    return Voice(VoiceSettings("en-us"))


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
