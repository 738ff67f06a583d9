"""What a newcomer meets first: ``callout`` alone, each help's example, completion, the manual."""

from __future__ import annotations

import argparse
import io
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
import yaml
from command_tools import Run

from callout.cli.commands import COMMANDS, build_parser
from callout.cli.desk.completion_command import SHELLS, completion, manual
from callout.cli.main import main
from callout.practice.demo import make_demo_survey
from callout.sound.sound_files import encode_flac
from callout.sound.voice import Voice

# Without a terminal: what the refusal itself says to give.
ALSO = {"listen": ("--headless", "--typed")}
# With nothing at work, and no office to be reached.
CODES = {"daemon": 1, "push": 2}
# Run by tests of their own, and too slow to be run twice.
ELSEWHERE = {
    "demo": "cli/test_listen.py", "doctor": "doctor/test_doctor.py",
    "report": "reports/test_report_commands.py", "soundcheck": "cli/test_soundcheck.py",
    "office": "office/test_office_page.py",
}  # fmt: skip


def test_callout_alone_says_what_to_do_first_in_five_lines(callout: Run) -> None:
    ran = callout()
    assert (ran.code, ran.err, ran.out.count("\n")) == (0, "", 5)
    for line in ("callout demo", "callout doctor", "callout new", "callout --help"):
        assert line in ran.out
    assert max(map(len, ran.out.splitlines())) <= 100


def test_what_an_extra_brings_is_named_where_it_is_missing(place: Path, tmp_path: Path) -> None:
    hidden = "import sys; sys.modules['scipy'] = None; from callout.cli.main import run; run()"
    report = ["report", str(place / "HARROW"), "--out", str(tmp_path / "out")]
    ran = subprocess.run(
        [sys.executable, "-c", hidden, *report], capture_output=True, text=True, check=False
    )
    assert (ran.returncode, ran.stdout) == (2, "")
    assert ran.stderr == "callout: report needs more: pip install 'callout[reports]'\n"


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with what the examples name: invented surveys, walked a little, and a roster."""
    path = tmp_path_factory.mktemp("examples")
    folder = make_demo_survey(path / "HARROW", datetime.now().astimezone())
    with pytest.MonkeyPatch.context() as here:
        here.setattr("sys.stdin", io.StringIO("61 19.2\nconfirm\n"))
        typed = ("--headless", "--typed")
        assert main(["listen", str(folder.path), *typed]) == 0
    shutil.copytree(folder.path, path / "HARROW-2")
    (path / "new").mkdir()
    roster = "plot,tag,species,date,diameter_cm\nK1,83,ACRU,2021-06-02,61.2\n"
    (path / "last-time.csv").write_text(roster)
    (path / "new" / "trees.csv").write_text("plot,tag,species\nK1,83,ACRU\n")
    said = Voice().say("tree sixty one, nineteen point two")
    (path / "callout.wav").write_bytes(encode_flac(said))
    return path


@pytest.mark.parametrize("command", [name for name in COMMANDS if name not in ELSEWHERE])
def test_the_example_of_each_help_does_what_it_says(
    command: str, place: Path, callout: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(place / "new" if command == "new" else place)
    monkeypatch.setattr("sys.stdin", io.StringIO("66 10.1\nconfirm\n"))
    ran = callout(*shlex.split(COMMANDS[command].example), *ALSO.get(command, ()))
    assert ran.code == CODES.get(command, 0), ran
    assert ran.out if ran.code < 2 else ran.err.count("\n") == 1, ran


def test_the_readmes_day_runs_as_written(
    callout: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin", io.StringIO("83 24.6\nconfirm\n"))
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    day = text.partition("## A day's work\n")[2].partition("\nSay ")[0]
    lines = [line.strip() for line in day.splitlines() if line.startswith("    ")]
    assert len(lines) == 4
    for line in lines:
        program, *words = shlex.split(line, comments=True)
        if program != "callout":
            subprocess.run(["sh", "-c", line], check=True)
            continue
        ran = callout(*words, *ALSO.get(words[0], ()))
        assert (ran.code, ran.err) == (0, ""), line
    assert "K1,83," in ran.out and "24.6" in ran.out


@pytest.mark.parametrize("command", COMMANDS)
def test_each_help_shows_its_example_whole_and_says_what_it_does(
    command: str, callout: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    ran = callout(command, "--help")
    about = COMMANDS[command]
    assert f"Example: callout {about.example}\n" in ran.out
    assert about.does[1:] in " ".join(ran.out.split())


def test_examples_that_run_elsewhere_do() -> None:
    for command, test in ELSEWHERE.items():
        assert f'"{command}"' in (Path(__file__).parents[1] / test).read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def parser() -> Iterator[argparse.ArgumentParser]:
    yield build_parser(*COMMANDS)


@pytest.mark.parametrize("shell", SHELLS)
def test_completion_knows_every_command_and_is_read_by_its_shell(
    shell: str, parser: argparse.ArgumentParser, tmp_path: Path
) -> None:
    script = completion(parser, shell)
    for command in COMMANDS:
        assert re.search(rf"\b{command}\b", script)
    assert "--engine" in script or "-l engine" in script
    if shutil.which(shell):
        path = tmp_path / "script"
        path.write_text(script)
        read = subprocess.run([shell, "-n", path], capture_output=True, text=True)
        assert (read.returncode, read.stderr) == (0, "")


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash on this machine")
@pytest.mark.parametrize(
    ("line", "offers"),
    [
        ("callout ver", ["verify"]),
        ("callout verify --se", ["--seal", "--seals"]),
        ("callout completion f", ["fish"]),
        ("callout readings HAR", ["HARROW"]),
    ],
)
def test_bash_completes(
    line: str, offers: list[str], parser: argparse.ArgumentParser, tmp_path: Path
) -> None:
    (tmp_path / "completion.bash").write_text(completion(parser, "bash"))
    (tmp_path / "HARROW").mkdir()
    ask = (
        f"source ./completion.bash; COMP_LINE={line!r}; COMP_WORDS=({line}); "
        "COMP_CWORD=$((${#COMP_WORDS[@]}-1)); _shtab_callout; printf '%s\\n' \"${COMPREPLY[@]}\""
    )
    told = subprocess.run(["bash", "-c", ask], cwd=tmp_path, capture_output=True, text=True)
    assert (sorted(set(told.stdout.split())), told.stderr) == (offers, "")


def test_the_manual_page_has_each_command_its_example_and_what_codes_mean(
    parser: argparse.ArgumentParser, tmp_path: Path
) -> None:
    page = manual(parser)
    plain = page.replace("\\-", "-").replace("\\", "")
    for command, about in COMMANDS.items():
        assert about.does in plain
        assert f"Example: callout {about.example}".replace("\\", "") in plain, command
    assert ".SH EXIT STATUS" in page and "CALLOUT_VOSK_MODEL" in plain
    assert manual(build_parser(*COMMANDS)) == page, "printed another day it is the same"
    if shutil.which("man"):
        (tmp_path / "callout.1").write_text(page, encoding="utf-8")
        shown = subprocess.run(
            ["man", "--warnings", "-l", "callout.1"], cwd=tmp_path, capture_output=True, text=True
        )
        assert (shown.returncode, shown.stderr) == (0, "")


def test_what_a_forge_reads_can_be_read_and_names_what_is_there() -> None:
    """Forms, workflows and pre-commit: as YAML. No forge has ever run them (docs/systems.md)."""
    root = Path(__file__).parents[2]
    forms = sorted((root / ".github").rglob("*.yml"))
    assert len(forms) >= 5
    read = {path.name: yaml.safe_load(path.read_text(encoding="utf-8")) for path in forms}
    for name in ("fault.yml", "wish.yml", "tape.yml"):
        assert all(part["type"] == "markdown" or part["id"] for part in read[name]["body"])
    jobs = read["tests.yml"]["jobs"]
    commands = [step["run"] for job in jobs.values() for step in job["steps"] if "run" in step]
    scripts = {word for line in commands for word in line.split() if word.startswith(".ci/")}
    assert scripts == {".ci/run", ".ci/packages"}
    rooms = {word for line in commands for word in line.split() if word.startswith("tests/")}
    assert rooms and all((root / path).exists() for path in (*scripts, *rooms))
    pythons = {str(one) for job in jobs.values() for one in _matrix(job, "python")}
    systems = {one for job in jobs.values() for one in _matrix(job, "system")}
    assert pythons == {"3.11", "3.12", "3.13"}
    assert systems | {jobs["suite"]["runs-on"]} == {
        "ubuntu-latest", "macos-latest", "windows-latest",
    }  # fmt: skip
    hooks = yaml.safe_load((root / ".pre-commit-config.yaml").read_text(encoding="utf-8"))
    assert [hook["id"] for hook in hooks["repos"][0]["hooks"]][:2] == ["ruff-check", "ruff-format"]


def _matrix(job: dict[str, Any], name: str) -> list[str]:
    found: list[str] = job.get("strategy", {}).get("matrix", {}).get(name, [])
    return found
