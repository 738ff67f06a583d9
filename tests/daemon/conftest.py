"""A real daemon in a process of its own, on the demo's survey, in folders of its own."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

import pytest
from daemon_tools import Shared, Start
from waiting import wait_for

from callout.daemon import remote
from callout.daemon.messages import Request
from callout.daemon.remote import ask
from callout.daemon.socket_place import socket_path
from callout.journal.folder import SurveyFolder
from callout.practice.demo import make_demo_survey


@contextmanager
def _places() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="co") as name, pytest.MonkeyPatch.context() as patch:
        folder = Path(name)
        (folder / "run").mkdir(mode=0o700)
        patch.setenv("XDG_RUNTIME_DIR", str(folder / "run"))
        patch.setenv("XDG_STATE_HOME", str(folder / "state"))
        patch.setenv("XDG_CONFIG_HOME", str(folder / "config"))
        patch.setattr(remote, "ANSWER_S", 60.0)
        # No sound server is asked: the daemon has no microphone and no loudspeaker here.
        patch.setenv("PULSE_SERVER", "unix:/nowhere")
        yield folder


@pytest.fixture
def places() -> Iterator[Path]:
    """Runtime, state and settings folders for one test; short, as a socket's path must be."""
    with _places() as folder:
        yield folder


@pytest.fixture
def fen(places: Path) -> SurveyFolder:
    return make_demo_survey(places / "fen", datetime.now().astimezone())


@contextmanager
def _starting(fen: SurveyFolder) -> Iterator[Start]:
    """Starts daemons, waits until they answer, and ends them afterwards."""
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


@pytest.fixture
def start(fen: SurveyFolder) -> Iterator[Start]:
    """Starts daemons on a survey of one test's own."""
    with _starting(fen) as started:
        yield started


@pytest.fixture(scope="module")
def _at_work() -> Iterator[Shared]:
    with _places() as places:
        fen = make_demo_survey(places / "fen", datetime.now().astimezone())
        with _starting(fen) as started:
            yield Shared(fen, started("--plot", "K1"), places)


@pytest.fixture
def shared(_at_work: Shared) -> Shared:
    """A daemon at work in plot K1, for tests that end with nothing waiting; each has its tree."""
    assert _at_work.process.poll() is None, "it has ended in a test before"
    return _at_work
