"""``listen --headless`` on the recorded walk, and what ``readings`` and ``demo`` make of it.

What must be saved stands in the recording's sidecar; all of it is invented.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import film
import numpy as np
import pytest
import soundfile
import soxr
from command_tools import called, run_callout

from callout.journal.folder import SurveyFolder
from callout.sound.frames import SAMPLE_RATE_HZ
from callout.sound.sound_files import read_sound
from callout.station.data import data_folder

FIXTURES = data_folder("audio_fixtures")
WALK = FIXTURES / "walk.flac"
SAVED: dict[str, str] = json.loads((FIXTURES / "walk.json").read_text(encoding="utf-8"))["saved"]
# The contract: what must be told of every current reading.
CONTRACT = {
    "plot", "tag", "raw", "recorded", "unit", "time", "engine", "confidence", "audio", "who",
    "warnings", "status", "species",
}  # fmt: skip


def as_sidecar(rows: list[dict[str, Any]]) -> dict[str, str]:
    """Tag to value, or to status where a tree was not measured."""
    return {row["tag"]: row["recorded"] or row["status"].replace("_", " ") for row in rows}


def test_the_walk_saves_exactly_what_its_sidecar_says(walked: Any) -> None:
    _, ran = walked
    assert (ran.code, ran.err) == (0, "")
    lines = ran.lines
    saved = [line for line in lines if line["event"] == "saved"]
    assert as_sidecar(saved) == SAVED
    assert len(saved) == len(SAVED), "each tree once"
    events = [line["event"] for line in lines]
    ready = lines[events.index("ready")]
    assert events.index("ready") < events.index("heard")
    assert ready["engine"] == "pocketsphinx"
    assert ready["model"]
    assert lines[-1] == {"event": "stopped"}


def test_every_saved_reading_was_echoed_first_and_told_after(walked: Any) -> None:
    _, ran = walked
    events = [line for line in ran.lines if line["event"] in ("heard", "said", "saved")]
    for at, line in enumerate(events):
        if line["event"] != "saved":
            continue
        confirm, asked, told = events[at - 1], events[at - 2], events[at + 1]
        assert [item["kind"] for item in confirm["meanings"]] in (["confirm"], ["accept"])
        assert (asked["event"], asked["tone"]) == ("said", "ask")
        assert line["tag"] in asked["text"]
        assert (line["recorded"] or "dead standing") in asked["text"]
        assert (told["event"], told["tone"]) == ("said", "saved")


def test_json_lines_hold_exact_text_and_no_binary_floats(walked: Any) -> None:
    _, ran = walked
    for line in ran.lines:
        for key in ("raw", "recorded", "confidence"):
            assert isinstance(line.get(key), str | None), line
        for meaning in line.get("meanings", ()):
            assert isinstance(meaning["value"], str | None)


@pytest.fixture(scope="module")
def rows(walked: Any) -> list[dict[str, Any]]:
    folder, _ = walked
    ran = called("readings", folder.path, "--format", "json")
    assert (ran.code, ran.err) == (0, "")
    told: list[dict[str, Any]] = json.loads(ran.out)
    return told


def test_readings_as_json(walked: Any, rows: list[dict[str, Any]]) -> None:
    folder: SurveyFolder = walked[0]
    assert as_sidecar(rows) == SAVED
    lines = (FIXTURES / "harrow_fen.csv").read_text(encoding="utf-8").splitlines()
    roster = [row[1] for row in csv.reader(lines) if row[0] == "K1"]
    assert [row["tag"] for row in rows] == roster, "in the roster's order"
    for row in rows:
        assert set(row) >= CONTRACT
        when = datetime.fromisoformat(row["time"])
        assert when.utcoffset() == timedelta(0), "UTC, with its offset"
        assert row["time"].endswith("+00:00")
        assert row["who"] == "R.V."
        assert row["unit"] == "in"
        assert "pocketsphinx" in row["engine"]
        assert 0 < float(row["confidence"]) <= 1
        sound = (folder.path / "audio" / f"{row['audio']}.flac").read_bytes()
        assert hashlib.sha256(sound).hexdigest() == row["audio"]
    by_tag = {row["tag"]: row for row in rows}
    assert by_tag["83"]["warnings"] == ["shrunk"], "25.0 five years ago, 24.6 now"
    assert by_tag["78"]["recorded"] == by_tag["78"]["raw"] == ""
    assert by_tag["61"]["warnings"] == []


def test_readings_as_csv_say_the_same(
    walked: Any, callout: Any, rows: list[dict[str, Any]]
) -> None:
    folder, _ = walked
    ran = callout("readings", folder.path)
    assert (ran.code, ran.err) == (0, "")
    table = list(csv.DictReader(io.StringIO(ran.out)))
    assert len(table) == len(rows)
    for cells, row in zip(table, rows, strict=True):
        expected = {key: str(value) for key, value in row.items()}
        expected["warnings"] = "; ".join(row["warnings"])
        expected["notes"] = "; ".join(row["notes"])
        assert cells == expected


def test_the_sound_kept_is_the_callout_itself(walked: Any, rows: list[dict[str, Any]]) -> None:
    folder: SurveyFolder = walked[0]
    walk = read_sound(WALK)
    for row in rows[:3]:
        samples, rate_hz = soundfile.read(
            io.BytesIO(folder.audio.read(row["audio"])), dtype="int16"
        )
        assert rate_hz == SAMPLE_RATE_HZ
        # The utterance lies in the recording, sample for sample.
        windows = np.flatnonzero(walk[: len(walk) - len(samples)] == samples[0])
        assert any(np.array_equal(walk[at : at + len(samples)], samples) for at in windows)


def test_readings_of_an_unmeasured_survey_are_a_header_and_an_empty_list(
    callout: Any, fen: SurveyFolder
) -> None:
    assert json.loads(callout("readings", fen.path, "--format", "json").out) == []
    ran = callout("readings", fen.path)
    assert set(ran.out.strip().split(",")) >= CONTRACT
    assert ran.out.count("\n") == 1


def first_trees(path: Path, rate_hz: int, channels: int, subtype: str) -> Path:
    """The walk's first sixteen seconds at another rate (resampled by soxr) and shape."""
    samples = read_sound(WALK)[: 16 * SAMPLE_RATE_HZ].astype(np.float32) / 32768
    other = soxr.resample(samples, SAMPLE_RATE_HZ, rate_hz)
    soundfile.write(path, np.column_stack([other] * channels), rate_hz, subtype=subtype)
    return path


@pytest.mark.parametrize(
    ("name", "rate_hz", "channels", "subtype"),
    [("a.wav", 96000, 2, "PCM_24"), ("a.flac", 44100, 2, "PCM_16"), ("a.wav", 48000, 1, "FLOAT")],
)
def test_other_rates_and_channels_give_the_same_readings(
    name: str, rate_hz: int, channels: int, subtype: str,
    callout: Any, own_fen: SurveyFolder, tmp_path: Path,
) -> None:  # fmt: skip
    path = first_trees(tmp_path / name, rate_hz, channels, subtype)
    ran = callout("listen", own_fen.path, "--headless", "--audio", path)
    assert (ran.code, ran.err) == (0, "")
    saved = as_sidecar([line for line in ran.lines if line["event"] == "saved"])
    assert len(saved) >= 2
    assert saved.items() <= SAVED.items()


def test_transcribe_gives_one_json_line_an_utterance(
    callout: Any, fen: SurveyFolder, tmp_path: Path
) -> None:
    path = first_trees(tmp_path / "first.wav", 96000, 2, "PCM_16")
    ran = callout("transcribe", path, "--survey", fen.path, "--engine", "pocketsphinx")
    assert (ran.code, ran.err) == (0, "")
    before = 0.0
    for line in ran.lines:
        assert {"file", "start", "end", "words", "confidence", "meanings"} <= set(line)
        assert line["file"] == str(path)
        assert before <= line["start"] < line["end"] <= 16.1
        assert 0 <= line["confidence"] <= 1
        before = line["end"] - 0.5  # the next one's pre-roll may reach back
    found = {
        item["tag"]: item["value"]
        for line in ran.lines
        for item in line["meanings"]
        if item["kind"] == "reading"
    }
    assert found.items() <= SAVED.items()
    assert len(found) >= 2


def test_transcribe_takes_several_files_and_stops_at_a_bad_one(
    callout: Any, tmp_path: Path
) -> None:
    good = first_trees(tmp_path / "good.flac", 16000, 1, "PCM_16")
    ran = callout("transcribe", good, tmp_path / "none.wav")
    assert ran.code == 2
    assert "none.wav" in ran.err
    assert ran.err.count("\n") == 1
    assert {line["file"] for line in ran.lines} <= {str(good)}


def test_demo_does_the_main_job_and_prints_its_table(callout: Any, tmp_path: Path) -> None:
    ran = run_callout("demo", env={"TMPDIR": str(tmp_path)})
    assert (ran.code, ran.err) == (0, "")
    assert film.agrees(ran.out), f"the README's film shows another demo: {film.UPDATE}=1, and look"
    for tag, value in SAVED.items():
        assert f"{tag}, {value}" in ran.out, "echoed"
    assert "│ 83 " in ran.out
    assert "shrunk" in ran.out
    (journal,) = tmp_path.glob("*/*/journal.db")
    made = journal.parent
    for place in (made / "survey.toml", journal, made / "audio"):
        assert str(place) in ran.out
    again = callout("readings", made, "--format", "json")
    assert as_sidecar(json.loads(again.out)) == SAVED


def test_demo_goes_where_it_is_told_and_never_over_something(
    callout: Any, own_fen: SurveyFolder
) -> None:
    ran = callout("demo", "--into", own_fen.path)
    assert ran.code == 2
    assert "exists already" in ran.err
    with own_fen.reading() as reader:
        assert reader.readings() == []
