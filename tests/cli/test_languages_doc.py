"""docs/languages.md, done as it says: its files written, its commands run, its outputs compared.

The numbers are checked against ``num2words`` (lang="eo"), an outside library, by the page's own
check; the trees are invented.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from callout.journal.folder import open_survey
from callout.sound.sound_files import encode_flac
from callout.station.data import load_language
from callout.station.showing.station_view import view_of
from callout.station.station import Station
from callout.station.upkeep.clock import Clock
from callout.wording.language_files import load_wording

PAGE = (Path(__file__).parents[2] / "docs" / "languages.md").read_text(encoding="utf-8")
STEPS = PAGE.partition("## Adding one, step by step")[2].partition("## What stays English")[0]
BLOCK = re.compile(r"```([a-z]+)\n(.*?)```", re.DOTALL)
ROSTER = "plot,tag,species,date,value,unit\nK2,83,fago,2021-06-02,26.0,cm\nK2,84,fago,,,\n"


def files() -> dict[str, str]:
    """Every file that the page says to save, by the name in the text before its block."""
    found = {}
    for block in BLOCK.finditer(STEPS):
        if block.group(1) in ("jsgf", "ftl", "python"):
            (name,) = re.findall(r"`languages/([a-z.]+)`", STEPS[: block.start()])[-1:]
            found[name] = block.group(2)
    return found


def commands() -> list[tuple[str, str]]:
    """The indented lines between the blocks; the last before a block has its output, if shown."""
    found: list[tuple[str, str]] = []
    begins = 0
    for block in [*BLOCK.finditer(STEPS), None]:
        between = STEPS[begins : block.start() if block else len(STEPS)]
        found += [(line, "") for line in re.findall(r"^    (\S.*)", between, re.MULTILINE)]
        if block and block.group(1) in ("json", "text"):
            found[-1] = (found[-1][0], block.group(2))
        begins = block.end() if block else begins
    return found


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("languages")
    (made / "languages").mkdir()
    for name, text in files().items():
        (made / "languages" / name).write_text(text, encoding="utf-8")
    (made / "roster.csv").write_text(ROSTER, encoding="utf-8")
    return made


@pytest.fixture
def esperanto(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CALLOUT_GRAMMARS", str(folder / "languages"))


def test_the_page_has_files_and_commands_to_do():
    assert set(files()) == {"eo.jsgf", "check.py", "lacking.py", "eo.ftl"}
    assert len([shown for _, shown in commands() if shown]) == 4


def test_every_command_does_what_the_page_shows(folder: Path):
    tools = {"python ": f"{sys.executable} ", "callout ": f"{sys.executable} -m callout "}
    script = ["set -e"]
    for command, shown in commands():
        for name, tool in tools.items():
            command = tool + command.removeprefix(name) if command.startswith(name) else command
        if " listen " not in command:  # that takes a model for Esperanto
            silent = not shown and not command.startswith("export")
            script.append(f"{command} > /dev/null" if silent else command)
    done = subprocess.run(
        ["bash", "-c", "\n".join(script)], cwd=folder, capture_output=True, text=True, timeout=120,
        env={key: value for key, value in os.environ.items() if key != "CALLOUT_GRAMMARS"},
    )  # fmt: skip
    assert done.stderr == ""
    assert done.stdout == "".join(shown for _, shown in commands())
    assert 'language = "eo"' in (folder / "fen" / "survey.toml").read_text(encoding="utf-8")


@pytest.mark.usefixtures("esperanto")
def test_a_survey_of_that_language_is_worked_and_answered_in_it(folder: Path, tmp_path: Path):
    script = f"{sys.executable} -m callout new {tmp_path / 'fen'} --trees roster.csv --unit cm"
    subprocess.run(script.split(), cwd=folder, check=True, capture_output=True)
    station = Station(
        open_survey(tmp_path / "fen"),
        load_language("eo"),
        None,
        encode_flac,
        Clock().now,
        load_wording("eo"),
    )
    try:
        station.open("K2", "R.V.")
        station.type("arbo okdek tri diametro dudek tri komo ses")
        said = station.memory.said
        view = view_of(station, said=said, heard="", tone="ask", muted=False, faults=())
        assert view.said.startswith("83, 23.6, malpli je 2.4 en 5 jaroj, ")
        assert view.said.endswith("Akceptu?")
        station.type("akceptu")
        assert [item.tag for item in station.memory.saved.values()] == ["83"]
        assert station.wording.shown(*station.memory.said) == "Konservis 83, 23.6."
    finally:
        station.close()


@pytest.mark.usefixtures("esperanto")
def test_a_language_of_ones_own_comes_before_ours_and_an_unknown_one_is_told(folder: Path):
    (folder / "languages" / "ko.jsgf").write_text(
        "#JSGF V1.0 UTF-8 ko;\ngrammar mine;\npublic <callout> = mine {@kind:undo};\n",
        encoding="utf-8",
    )
    assert load_language("ko").spoken.words == {"mine"}
    assert load_wording("ko").voice == "ko", "what lies not beside it is ours"
    with pytest.raises(Exception, match="no grammar for language 'xx': there is en, eo, ko"):
        load_language("xx")
    (folder / "languages" / "ko.jsgf").unlink()
