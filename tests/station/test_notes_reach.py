"""A note that was spoken reaches the readings, the review page, the replay and what is exported."""

from __future__ import annotations

import base64
import json
from datetime import datetime
from pathlib import Path

import pytest
from station_tools import BEGAN, ScriptedEngine, at_work, sound

from callout.cli.main import main
from callout.crews.place import read_place
from callout.journal.folder import SurveyFolder
from callout.practice.demo import make_demo_survey
from callout.reports.survey_frames import notes_of


@pytest.fixture
def noted(tmp_path: Path) -> SurveyFolder:
    """A reading and a spoken note about its tree, then one about the plot."""
    folder = make_demo_survey(tmp_path / "fen", datetime.now().astimezone())
    engine = ScriptedEngine()
    with at_work(folder, engine) as station:
        station.open("K2", "R.V.", BEGAN)
        station.type("107 23.9")
        station.press("confirm")
        station.type("107 note")
        engine.next_words = ""  # whatever is said now is no callout, and is the note
        station.hear(sound(7))
        station.type("101 note")
        station.hear(sound(8))
    return folder


def test_a_spoken_note_reaches_every_table(noted, capsys, tmp_path) -> None:
    with noted.reading() as reader:
        first, second = reader.memos()
    assert (first["tag"], second["tag"]) == ("107", "101")
    capsys.readouterr()
    assert main(["readings", str(noted.path), "--format", "json"]) == 0
    told = capsys.readouterr()
    (row,) = json.loads(told.out)
    assert row["notes"] == [f"spoken, sound {first['audio'][:12]}"]
    assert told.err == f"note about tree 101 of plot K2: spoken, sound {second['audio'][:12]}\n"

    page = tmp_path / "page.html"
    assert main(["review", str(noted.path), "--out", str(page)]) == 0
    text = page.read_text(encoding="utf-8")
    assert f"Note: spoken, sound {first['audio'][:12]}" in text
    flac = base64.b64encode(noted.audio.read(first["audio"])).decode("ascii")
    assert flac in text, "it can be played"
    assert f'aria-label="Play note {first["entry"]}"' in text

    capsys.readouterr()
    assert main(["replay", str(noted.path), "--tree", "107", "--json"]) == 0
    assert first["audio"] in capsys.readouterr().out

    frame = notes_of(read_place(noted.path))
    assert list(frame["tag"]) == ["107", "101"]
