"""``callout doctor`` on machines that lack something: the right diagnosis, and the right code.

Disks, homes, terminals, clocks and models are real ones, made bad. The tests' own machine has no
sound (``tests/conftest.py``). Cases are invented.
"""

from __future__ import annotations

import fcntl
import io
import json
import os
import re
import struct
import termios
import tomllib
from datetime import datetime
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from command_tools import run_callout
from journal_tools import fill, mounted, remount_read_only

from callout.cli.main import main
from callout.doctor import means as tried
from callout.doctor import surroundings
from callout.doctor.finding import Finding, State, looked, works
from callout.doctor.means import Means
from callout.journal.folder import SurveyFolder
from callout.practice.demo import make_demo_survey
from callout.survey.config import Listening, Speaking


@pytest.fixture
def fen(tmp_path: Path) -> SurveyFolder:
    return make_demo_survey(tmp_path / "fen", datetime.now().astimezone())


@pytest.fixture
def hears(monkeypatch: pytest.MonkeyPatch) -> None:
    """The slow parts, which have tests of their own below, work."""
    monkeypatch.setattr(tried, "recogniser", lambda means, said: works("recogniser", "hears"))
    monkeypatch.setattr(tried, "radio", lambda: works("radio", "listens"))


def page(capfd: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, dict[str, Finding]]:
    """The code and, by name, what was found."""
    code = main(["doctor", "--json", *map(str, arguments)])
    told = json.loads(capfd.readouterr().out)
    found = {
        one["name"]: Finding(one["name"], State[one["state"].upper()], one["found"], one["do"])
        for one in told["findings"]
    }
    assert code == State[told["state"].upper()] == max(one.state for one in found.values())
    assert all(one.do for one in found.values() if one.state), "what is wrong says what to do"
    return code, found


def test_a_machine_without_sound_and_without_a_terminal_can_work_with_less(tmp_path: Path) -> None:
    ran = run_callout("doctor", cwd=tmp_path, stdin=-3)  # DEVNULL
    assert (ran.code, ran.err) == (1, "")
    lines = re.findall(r"^(works|LESS|BROKEN) +(.{13}) ", ran.out, re.MULTILINE)
    state = {name.strip(): one for one, name in lines}
    assert {name for name, one in state.items() if one == "LESS"} - {"radio"} == {
        "microphone", "speaker", "terminal",
    }  # fmt: skip
    # The real recogniser, in its own process, heard what the real voice said.
    assert re.search(r"^works +recogniser +.* hears what the voice says$", ran.out, re.MULTILINE)
    assert ran.out.endswith("Work can begin, with less: see LESS above.\n")


@pytest.mark.usefixtures("hears")
def test_a_survey_that_asks_for_nothing_special(
    fen: SurveyFolder, capfd: pytest.CaptureFixture[str]
) -> None:
    code, found = page(capfd, fen.path)
    assert code == 1, found
    for name in ("settings", "clock", "disk", "home", "permissions", "letters", "voice"):
        assert found[name].state is State.WORKS, found[name]


@pytest.mark.usefixtures("hears")
def test_a_survey_that_cannot_be_read(
    fen: SurveyFolder, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    fen.settings.write_text('[listening]\nengine = "parrot"\n[measuring\n')
    code, found = page(capfd, fen.path)
    assert code == 2
    assert "survey.toml" in found["settings"].found
    code, found = page(capfd, tmp_path / "nowhere")
    assert code == 2
    assert "not a survey folder" in found["settings"].found


@pytest.mark.usefixtures("hears")
def test_a_full_disk_then_a_read_only_one(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    with mounted(tmp_path / "disk", "size=4m") as disk:
        folder = make_demo_survey(disk / "fen", datetime.now().astimezone())
        assert page(capfd, folder.path)[1]["disk"].state is State.LESS, "4 MB are little"
        fill(disk)
        code, found = page(capfd, folder.path)
        assert (code, found["disk"].state) == (2, State.BROKEN)
        assert "No space left" in found["disk"].found
        assert "free space" in found["disk"].do
        remount_read_only(disk)
        code, found = page(capfd, folder.path)
        assert code == 2
        assert "Read-only file system" in found["disk"].found


@pytest.mark.usefixtures("hears")
def test_a_read_only_home_costs_comfort_only(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    with mounted(tmp_path / "home", "size=1m") as home:
        remount_read_only(home)
        monkeypatch.setenv("HOME", str(home))
        monkeypatch.chdir(tmp_path)
        code, found = page(capfd)
    assert (code, found["home"].state) == (1, State.LESS)
    assert "Read-only file system" in found["home"].found
    assert found["disk"].state is State.WORKS


def test_models_and_engines_that_are_not_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "am").mkdir()
    (tmp_path / "am" / "final.mdl").write_bytes(b"no model")
    found = tried.recogniser(Means(listening=Listening("vosk", str(tmp_path))), None)
    assert found.state is State.BROKEN
    assert str(tmp_path) in found.found and "survey.toml" in found.do
    monkeypatch.setenv("CALLOUT_VOSK_MODEL", "/no/such/model")
    found = tried.recogniser(Means(), None)
    assert found.state is State.BROKEN
    assert "/no/such/model" in found.found and "unset CALLOUT_VOSK_MODEL" in found.do
    assert tried.recogniser(Means(listening=Listening("parrot")), None).state is State.BROKEN


def test_a_recogniser_that_hears_something_else_is_told() -> None:
    found = tried.recogniser(Means(listening=Listening("pocketsphinx")), np.zeros(16000, np.int16))
    assert found.state is State.LESS
    assert "heard no callout" in found.found and tried.SENTENCE in found.found


def test_without_a_voice(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    found, said = tried.voice(Means(speaking=Speaking(voice="nobody")))
    assert (found.state, said) == (State.LESS, None)
    assert "nobody" in found.found
    # Its data gone, as after an installation that broke off.
    monkeypatch.setattr("callout.sound.espeak._started", lambda: _espeak_anew())
    monkeypatch.setattr("espeakng_loader.get_data_path", lambda: str(tmp_path))
    found, said = tried.voice(Means())
    assert (found.state, said) == (State.LESS, None)
    assert str(tmp_path) in found.found and "tones" in found.do


def _espeak_anew() -> object:
    from callout.sound.espeak import Espeak

    return Espeak()


def test_a_clock_that_lost_its_time(fen: SurveyFolder) -> None:
    assert surroundings.clock(fen).state is State.WORKS
    made = fen.settings.stat().st_mtime
    found = surroundings.clock(fen, made - 3600)
    assert found.state is State.BROKEN and "last entry" in found.found
    found = surroundings.clock(None, 0.0)  # as boards without a battery begin
    assert found.state is State.BROKEN and "installed" in found.found


def test_a_survey_open_to_others(fen: SurveyFolder) -> None:
    assert surroundings.permissions(fen).state is State.WORKS
    fen.database.chmod(0o644)
    found = surroundings.permissions(fen)
    assert found.state is State.LESS
    assert "journal.db" in found.found and found.do == f"chmod -R go= {fen.path}"


@pytest.mark.parametrize(
    ("size", "kind", "state", "says"),
    [
        ((80, 24), "xterm-256color", State.WORKS, "80x24"),
        ((60, 24), "xterm-256color", State.LESS, "60x24"),
        ((80, 24), "dumb", State.LESS, "dumb"),
        ((120, 40), "linux", State.WORKS, "16 colours"),
    ],
)
def test_terminals(
    size: tuple[int, int], kind: str, state: State, says: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    ours, theirs = os.openpty()
    try:
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", size[1], size[0], 0, 0))
        monkeypatch.setattr("sys.__stdout__", SimpleNamespace(fileno=lambda: theirs))
        found = surroundings.terminal({"TERM": kind})
        assert (found.state, says in found.found) == (state, True), found
    finally:
        os.close(ours)
        os.close(theirs)


def test_letters_that_cannot_be_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    assert surroundings.letters().found == "UTF-8"
    monkeypatch.setattr("sys.stdout", io.TextIOWrapper(io.BytesIO(), encoding="ascii"))
    found = surroundings.letters()
    assert found.state is State.LESS
    assert "ascii" in found.found and "LC_ALL=C.UTF-8" in found.do


def test_a_fault_in_looking_hides_nothing_else() -> None:
    def fails() -> Finding:
        raise RuntimeError("a driver\nof somebody's")

    found = looked("radio", fails)
    assert found.state is State.BROKEN and "RuntimeError: a driver" in found.found


def test_it_knows_every_extra_that_a_user_may_install_and_the_readme_tells_them() -> None:
    root = Path(__file__).parents[2]
    declared = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    ours = {"benchmark", "quality", "test", "test-heavy"}  # for those who change it
    assert set(declared["optional-dependencies"]) - ours == set(surroundings.EXTRAS)
    readme = (root / "README.md").read_text(encoding="utf-8")
    for name, needs in surroundings.EXTRAS.items():
        assert f"| `pip install '.[{name}]'` | " in readme
        asked = {re.split(r"[\[>]", one)[0] for one in declared["optional-dependencies"][name]}
        assert {one.replace("-", "_") for one in asked} == set(needs), name
