"""Ways to run the command, and surveys to run it on."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest
from command_tools import Ran, Run, run_callout

from callout.cli.main import main
from callout.journal.folder import SurveyFolder
from callout.practice.demo import make_demo_survey
from callout.station.data import data_folder

WALK = data_folder("audio_fixtures") / "walk.flac"


@pytest.fixture
def callout(capfd: pytest.CaptureFixture[str]) -> Run:
    """Runs the command within this process, which is quicker; nothing but its exit is changed."""

    def run(*arguments: object) -> Ran:
        try:
            code = main([str(item) for item in arguments])
        except SystemExit as leaving:
            code = leaving.code if isinstance(leaving.code, int) else 1
        told = capfd.readouterr()
        return Ran(code, told.out, told.err)

    return run


@pytest.fixture(autouse=True)
def same_handlers() -> Iterator[None]:
    """A command sets what SIGTERM does; the tests' own process takes that back."""
    before = signal.getsignal(signal.SIGTERM)
    yield
    signal.signal(signal.SIGTERM, before)


@pytest.fixture(scope="session")
def fen(tmp_path_factory: pytest.TempPathFactory) -> SurveyFolder:
    """The demo's survey, untouched; for commands that only read it."""
    return make_demo_survey(tmp_path_factory.mktemp("fen") / "fen", datetime.now().astimezone())


@pytest.fixture
def own_fen(tmp_path: Path) -> SurveyFolder:
    """The demo's survey, for one test alone."""
    return make_demo_survey(tmp_path / "fen", datetime.now().astimezone())


@pytest.fixture(scope="session")
def walked(tmp_path_factory: pytest.TempPathFactory) -> tuple[SurveyFolder, Ran]:
    """The demo's survey after the walk went through ``listen``, and what that printed."""
    folder = make_demo_survey(tmp_path_factory.mktemp("walk") / "fen", datetime.now().astimezone())
    ran = run_callout(
        "listen", folder.path, "--headless", "--audio", WALK, "--engine", "pocketsphinx",
        "--who", "R.V.",
    )  # fmt: skip
    return folder, ran
