"""A real daemon in a process of its own, on the demo's survey, in folders of its own."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest
from daemon_tools import Start
from waiting import wait_for

from callout.daemon import remote
from callout.daemon.messages import Request
from callout.daemon.remote import ask
from callout.daemon.socket_place import socket_path
from callout.journal.folder import SurveyFolder
from callout.practice.demo import make_demo_survey


@pytest.fixture
def places(monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """Runtime, state and settings folders for one test; short, as a socket's path must be."""
    with tempfile.TemporaryDirectory(prefix="co") as name:
        folder = Path(name)
        (folder / "run").mkdir(mode=0o700)
        monkeypatch.setenv("XDG_RUNTIME_DIR", str(folder / "run"))
        monkeypatch.setenv("XDG_STATE_HOME", str(folder / "state"))
        monkeypatch.setenv("XDG_CONFIG_HOME", str(folder / "config"))
        monkeypatch.setattr(remote, "ANSWER_S", 60.0)
        # No sound server is asked: the daemon has no microphone and no loudspeaker here.
        monkeypatch.setenv("PULSE_SERVER", "unix:/nowhere")
        yield folder


@pytest.fixture
def fen(places: Path) -> SurveyFolder:
    return make_demo_survey(places / "fen", datetime.now().astimezone())


@pytest.fixture
def start(fen: SurveyFolder) -> Iterator[Start]:
    """Starts daemons, waits until they answer, and ends them after the test."""
    running: list[subprocess.Popen[bytes]] = []

    def started(*options: str, **env: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-W", "error", "-m", "callout", "daemon", str(fen.path)]
        process = subprocess.Popen(
            [*command, "--engine", "pocketsphinx", "--who", "R.V.", *options],
            env={**os.environ, **env}, stderr=subprocess.PIPE,
        )  # fmt: skip
        running.append(process)
        view = Request("view")
        wait_for(lambda: process.poll() is not None or ask(socket_path(fen.path), view) is not None)
        return process

    yield started
    for process in running:
        process.kill()
        process.wait(60)
        assert process.stderr is not None
        process.stderr.close()
