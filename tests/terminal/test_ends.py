"""How a screen starts and ends at a real terminal (a pty): sound, planted defects, a signal.

The survey is the demo's (invented).
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest
from real_terminal import PYTHON, Terminal, started

from callout.cli.crashes import CODE
from callout.journal.folder import SurveyFolder
from callout.practice.demo import make_demo_survey
from callout.station.data import data_folder

WALK = data_folder("audio_fixtures") / "walk.flac"
ENGINE = ("--engine", "auto")
PLANT = """
import sys
from {module} import {name} as broken
def fails(self, *given, **more):
    raise ValueError("planted in {name}")
broken.{method} = fails
from callout.cli.main import main
sys.exit(main(sys.argv[1:]))
"""


@pytest.fixture
def fen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[SurveyFolder]:
    (tmp_path / "XDG_STATE_HOME").mkdir(mode=0o700)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "XDG_STATE_HOME"))
    monkeypatch.setenv("PULSE_SERVER", "unix:/nowhere")
    # Short, as a socket's path must be.
    with tempfile.TemporaryDirectory(prefix="co") as run:
        monkeypatch.setenv("XDG_RUNTIME_DIR", run)
        yield make_demo_survey(tmp_path / "fen", datetime.now().astimezone())


def log_of(tmp_path: Path) -> str:
    return (tmp_path / "XDG_STATE_HOME" / "callout" / "crashes.log").read_text(encoding="utf-8")


def test_the_screen_starts_with_sound(fen: SurveyFolder, tmp_path: Path) -> None:
    # Fifty of them: python tests/terminal/real_terminal.py --starts 50
    for _ in range(2):
        assert started(fen.path, WALK, tmp_path / "XDG_STATE_HOME", "auto") == ""


@pytest.mark.parametrize(
    ("module", "name", "method"),
    [
        ("callout.terminal.widgets.meter", "Meter", "show"),
        ("callout.terminal.station_screen", "StationScreen", "compose"),
        ("callout.station.post", "Post", "listen"),
        ("callout.station.post", "Post", "begin"),
    ],
)
def test_a_defect_ends_in_a_sentence_a_log_and_its_code(
    fen: SurveyFolder, tmp_path: Path, module: str, name: str, method: str
) -> None:
    program = PLANT.format(module=module, name=name, method=method)
    screen = Terminal(
        ["listen", str(fen.path), "--audio", str(WALK), *ENGINE],
        program=[sys.executable, "-P", "-c", program],
    )
    if method == "listen":  # a thread's defect is shown until the person leaves
        assert screen.wait_for_text("BEFORE YOU START")
        screen.press(b" ")
    assert screen.wait_for_text("defect")
    if method == "listen":
        screen.press(b"\x11")
    assert screen.end() == CODE
    assert screen.sound()
    told = screen.output.decode(errors="replace")
    assert f"a defect of this program ended it (ValueError: planted in {name})" in told
    assert "Traceback" not in told
    assert f"planted in {name}" in log_of(tmp_path)
    assert "Traceback" in log_of(tmp_path)
    assert (tmp_path / "XDG_STATE_HOME/callout/crashes.log").stat().st_mode & 0o077 == 0


def test_a_signal_leaves_the_terminal_sound(fen: SurveyFolder) -> None:
    screen = Terminal(["listen", str(fen.path), "--audio", str(WALK), *ENGINE])
    assert screen.wait_for_text("BEFORE YOU START")
    os.kill(screen.pid, signal.SIGTERM)
    assert screen.end() in (130, -signal.SIGTERM)
    assert screen.sound()
    assert b"Traceback" not in screen.output


@pytest.mark.parametrize("command", ["daemon", "readings"])
def test_a_defect_of_other_commands_is_told_alike(
    fen: SurveyFolder, tmp_path: Path, command: str
) -> None:
    where = {
        "daemon": ("callout.daemon.work", "Daemon", "_begin"),
        "readings": ("callout.journal.reader", "JournalReader", "entries"),
    }
    module, name, method = where[command]
    program = PLANT.format(module=module, name=name, method=method)
    ended = subprocess.run(
        [sys.executable, "-P", "-c", program, command, str(fen.path)],
        capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    assert ended.returncode == CODE
    assert "a defect of this program ended it" in ended.stderr
    assert "Traceback" not in ended.stderr
    assert f"planted in {name}" in log_of(tmp_path)


def test_what_is_typed_before_the_screen_stands_is_not_cut(fen: SurveyFolder) -> None:
    subprocess.run([*PYTHON, "listen", str(fen.path), "--headless", "--typed"], input=b"",
                   capture_output=True, timeout=300, check=True)  # fmt: skip
    screen = Terminal(["listen", str(fen.path), "--audio", str(WALK), *ENGINE])
    # Whole words, while it loads and while it paints; the safety lines lie over it at first.
    for piece in (b"U7", b" 24", b".6 ", b"su", b"ch"):
        screen.read(0.4)
        screen.press(piece)
    assert screen.wait_for_text("\x1b[?1049h")
    screen.press(b" words\r")

    def heard(_: bytes) -> bool:
        with fen.reading() as reader:
            words = [one.content.get("words") for one in reader.entries() if one.kind == "heard"]
        return "U7 24.6 such words" in words

    assert screen.wait_for(heard)
    screen.press(b"\x11")
    assert screen.end() == 0
