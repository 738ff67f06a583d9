"""A journal made anew from the sound alone: the same where the sound says the same.

The sound is the demo's walk, taken in by the real command and the real recogniser.
"""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest
import soundfile
from journal_tools import survey
from station_tools import BEGAN, at_work, clock

from callout.cli.main import main
from callout.core.model import Reading
from callout.journal.folder import SurveyFolder
from callout.lookback.comparing import differences
from callout.practice.demo import make_demo_survey
from callout.proof.verify import take_snapshot
from callout.station.data import data_folder

WALK = data_folder("audio_fixtures") / "walk.flac"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> SurveyFolder:
    """The walk, with the whole session kept, typed corrections after it."""
    made = make_demo_survey(tmp_path_factory.mktemp("sound") / "fen", BEGAN)
    text = made.settings.read_text(encoding="utf-8")
    for old, new in (("whole_session = false", "whole_session = true"), ("_s = 60", "_s = 10")):
        assert old in text
        text = text.replace(old, new)
    made.settings.write_text(text, encoding="utf-8")
    words = ("listen", made.path, "--headless", "--audio", WALK, "--who", "R.V.", "--plot", "K1")
    assert main([str(word) for word in (*words, "--engine", "closed")]) == 0
    return made


def standing(folder: SurveyFolder) -> list[Reading]:
    with folder.reading() as reader:
        return reader.readings()


def test_the_session_was_kept_and_sealed(
    folder: SurveyFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    assert main(["verify", str(folder.path)]) == 0
    assert ", 1 seal, " in capsys.readouterr().out
    seconds = sum(
        float(entry.content["seconds"])
        for entry in take_snapshot(folder.database).entries
        if entry.kind == "session_sound"
    )
    assert seconds == pytest.approx(soundfile.info(WALK).duration, abs=0.03)


@pytest.mark.parametrize("source", ["callouts", "session"])
def test_the_sound_gives_the_same_readings(
    folder: SurveyFolder, tmp_path: Path, source: str, capsys: pytest.CaptureFixture[str]
) -> None:
    into = tmp_path / "anew"
    words = ["rebuild", str(folder.path), "--into", str(into), "--from-sound", source]
    assert main([*words, "--engine", "closed"]) == 0
    told = capsys.readouterr().out
    assert "12 trees the same, 0 differ" in told
    then, now = standing(folder), standing(SurveyFolder(into))
    assert [(item.tag, item.value, item.status, item.warnings) for item in then] == [
        (item.tag, item.value, item.status, item.warnings) for item in now
    ]
    assert main(["verify", str(into)]) == 0, "a journal like any other"


def test_another_sound_is_another_reading_and_an_answer_to_nothing_saves_nothing(
    folder: SurveyFolder, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A survey whose recorded words are not what its sound says, made by silencing one sound."""
    copy = SurveyFolder(Path(shutil.copytree(folder.path, tmp_path / "copy")))
    reading = next(item for item in standing(copy) if item.tag == "83" and not item.void)
    path = copy.audio.path(str(reading.audio))
    path.unlink()
    into = tmp_path / "anew"
    words = ["rebuild", str(copy.path), "--into", str(into), "--from-sound", "callouts"]
    assert main([*words, "--engine", "closed"]) == 1
    told = capsys.readouterr().out
    assert f"tree K1 83: kept {reading.value} in (entry {reading.entry}), from the sound " in told
    assert "1 sound gone" in told and "11 trees the same, 1 differ" in told


def test_typing_is_taken_as_recorded_or_left_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made = survey(tmp_path / "harrow")
    with at_work(made, None, clock()) as station:
        station.open("K1", "R.V.")
        station.type("91 12.9")
        station.press("confirm")
    words = ["rebuild", str(made.path), "--from-sound", "callouts", "--engine", "closed"]
    assert main([*words, "--into", str(tmp_path / "a")]) == 0
    assert "2 without sound taken as recorded" in capsys.readouterr().out
    assert main([*words, "--into", str(tmp_path / "b"), "--sound-only"]) == 1
    assert "kept 12.9 in" in capsys.readouterr().out
    assert main([*words, "--into", str(tmp_path / "a")]) == 2, "it exists already"
    session = [*words[:3], "session", "--into", str(tmp_path / "c")]
    assert main(session) == 2 and "kept no whole session" in capsys.readouterr().err
    assert not (tmp_path / "c").exists()
    assert main([*words[:2], "--into", str(tmp_path / "d"), "--sound-only"]) == 2


def test_differences_are_sorted_worst_first(folder: SurveyFolder) -> None:
    kept = [item for item in standing(folder) if item.value is not None and not item.void]
    first, second, third, *rest = [item for item in kept if item.supersedes is None]
    anew = [replace(first, value=first.value + 1), replace(second, value=second.value + 9), *rest]
    same, found = differences([first, second, third, *rest], anew)
    assert [item.tree[1] for item in found] == [second.tag, first.tag, third.tag]
    assert same == len({(item.plot, item.tag) for item in rest})
