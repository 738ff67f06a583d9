"""Replay finds every moment of a tree and what became of it; hearing again shows differences.

The survey and everything said in it are invented.
"""

from __future__ import annotations

import json
import re
from datetime import date, time
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from journal_tools import survey
from station_tools import BEGAN, LANGUAGE, ScriptedEngine, at_work, clock, sound

from callout.cli.main import main
from callout.journal.folder import SurveyFolder
from callout.lookback.otherwise import saved_otherwise
from callout.lookback.rehear import OTHER, SAME, SAVED_OTHER, SAVED_UNHEARD, WORDS, hear_again
from callout.lookback.replay import Moment, Wanted, chosen, moments
from callout.practice.demo import make_demo_survey
from callout.proof.verify import take_snapshot
from callout.sound import speaker
from callout.sound.frames import Samples
from callout.sound.sound_files import read_sound
from callout.station.data import data_folder

SPOKEN = (
    ("tree eighty three twenty four point six", 0.93),  # 4: flagged, it shrank
    ("accept", 0.99),  # 5
    ("tree ninety one twelve point nine", 0.61),  # 6
    ("accept", 0.97),  # 7
    ("tree eighty three twenty four point eight", 0.9),  # 8
    ("measured at one point five metres", 0.9),  # 9
    ("accept", 0.97),  # 10: supersedes 5
    ("undo", 0.98),  # 11
    ("accept", 0.99),  # 12: 5 stands again
    ("note", 0.9),  # 13
    ("", 0.0),  # 14: the note itself
)


@pytest.fixture
def folder(tmp_path: Path) -> SurveyFolder:
    made, engine = survey(tmp_path / "harrow"), ScriptedEngine()
    with at_work(made, engine, clock()) as station:
        station.open("K1", "R.V.")
        for mark, (words, confidence) in enumerate(SPOKEN):
            engine.next_words, engine.confidence = words, confidence
            station.hear(sound(mark))
    with at_work(made, engine, clock()) as station:
        station.open("K2", "M.O.")
        station.type("101 30.0")
        station.press("accept")
    return made


def found(folder: SurveyFolder, **wanted: Any) -> list[int]:
    everything = moments(take_snapshot(folder.database).entries)
    return [moment.entry for moment in chosen(everything, Wanted(**wanted))]


def by_entry(folder: SurveyFolder) -> dict[int, Moment]:
    return {item.entry: item for item in moments(take_snapshot(folder.database).entries)}


def test_the_moments_of_a_tree(folder: SurveyFolder) -> None:
    assert found(folder) == [*range(4, 15), 16, 17]
    assert found(folder, tree="83") == [4, 5, 8, 9, 10, 11, 12]
    assert found(folder, tree="91") == [6, 7]
    assert found(folder, tree="101", plot="K1") == []
    assert found(folder, who="M.O.") == [16, 17]
    assert found(folder, below=Decimal("0.9")) == [6, 14]
    assert found(folder, on=date(2026, 6, 2), tree="91") == [6, 7]
    assert found(folder, on=date(2026, 6, 3)) == []


def test_what_became_of_each(folder: SurveyFolder) -> None:
    all_of = by_entry(folder)
    assert all_of[4].saved is not None
    assert (all_of[4].saved.entry, all_of[4].saved.value) == (5, Decimal("24.6"))
    assert all_of[4].superseded_by == 10
    assert all_of[4].undone_by is None
    assert [all_of[n].saved.entry for n in (8, 9, 10)] == [10, 10, 10]  # type: ignore[union-attr]
    assert {all_of[n].undone_by for n in (8, 9, 10)} == {12}
    assert all_of[12].undoes == 10
    assert (all_of[14].memo, all_of[13].memo) == (True, False)
    assert found(folder, warning="") == [
        entry for entry, item in all_of.items() if item.saved and item.saved.warnings
    ]
    assert 8 in found(folder, warning="")


class OtherEar(ScriptedEngine):
    """Hears by the sound's own mark, from a table."""

    def __init__(self, words: dict[int, str]) -> None:
        super().__init__(name="other")
        self.words = {sound(mark).tobytes(): said for mark, said in words.items()}

    def hear(self, samples: Samples) -> Any:
        self.next_words = self.words[samples.tobytes()]
        return super().hear(samples)


def test_hearing_again_tells_where_it_differs(folder: SurveyFolder) -> None:
    words = {mark: said for mark, (said, _) in enumerate(SPOKEN)}
    words[0] = "tree eighty three thirty four point six"
    words[2] = ""
    words[4] = "tree eighty three is twenty four point eight"
    words[7] = "repeat"
    with folder.reading() as reader:
        plots = reader.plots()
    everything = moments(take_snapshot(folder.database).entries)
    ear = OtherEar(words)
    results = {
        again.moment.entry: again.severity
        for again in hear_again(everything, ear, LANGUAGE, plots, folder.audio)
    }
    assert results == {
        4: SAVED_OTHER, 5: SAME, 6: SAVED_UNHEARD, 7: SAME, 8: WORDS, 9: SAME, 10: SAME,
        11: OTHER, 12: SAME, 13: SAME,
    }  # fmt: skip
    assert len(ear.prepared) == 1, "a plot's callouts are prepared once"


def test_a_missing_sound_is_told_and_the_rest_is_heard(folder: SurveyFolder) -> None:
    everything = moments(take_snapshot(folder.database).entries)
    audio = everything[0].heard.audio
    assert audio is not None
    folder.audio.path(audio).unlink()
    with folder.reading() as reader:
        plots = reader.plots()
    words = {mark: said for mark, (said, _) in enumerate(SPOKEN)}
    results = list(hear_again(everything, OtherEar(words), LANGUAGE, plots, folder.audio))
    assert [bool(again.fault) for again in results] == [True, *[False] * 9]
    assert results[0].severity == SAVED_UNHEARD


def test_the_command_lists_and_refuses(
    folder: SurveyFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    path = str(folder.path)
    assert main(["replay", path, "--tree", "91"]) == 0
    out = capsys.readouterr().out
    for line in (
        "entry 6  2026-06-02T09:15:04.000+02:00  plot K1  R.V.  voice",
        "  heard      tree ninety one twelve point nine  (scripted (no sound): sure, 0.61)",
        "  meaning    reading tag 91 value 12.9",
        "  saved      entry 7: tree 91 12.9 in",
    ):
        assert line in out.splitlines(), out
    assert main(["replay", path, "--all", "--json"]) == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [line["entry"] for line in lines] == found(folder)
    assert lines[0]["superseded_by"] == 10
    for options in ([], ["--below", "2"], ["--tree", "91", "--below", "x"]):
        assert main(["replay", path, *options]) == 2
        assert capsys.readouterr().err.startswith("callout: ")
    folder.database.write_bytes(folder.database.read_bytes()[:5000])
    assert main(["replay", path, "--all"]) == 2
    assert "callout verify" in capsys.readouterr().err


def test_two_processes_hear_what_one_hears(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = make_demo_survey(tmp_path / "fen", BEGAN)
    walk = read_sound(data_folder("audio_fixtures") / "walk.flac")
    engine = ScriptedEngine()
    with at_work(folder, engine, clock()) as station:
        station.open("K1", "R.V.")
        for mark in range(12):
            engine.next_words = ("tree eighty three twenty four point six", "confirm")[mark % 2]
            station.hear(walk[mark * 24000 : (mark + 1) * 24000])
    options = ["replay", str(folder.path), "--all", "--json", "--engine", "pocketsphinx"]
    assert main(options) == 0
    alone = capsys.readouterr()
    assert main([*options, "--processes", "2"]) == 0
    together = capsys.readouterr()
    assert together.out == alone.out
    assert alone.out.count("\n") == 12
    assert main([*options, "--processes", "0"]) == 2


def test_play_gives_the_speaker_the_very_sound(
    folder: SurveyFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    played: list[Samples] = []

    class Recorder:
        def __init__(self, device: str | None) -> None:
            assert device is None

        def play(self, samples: Samples, wait: bool = True) -> speaker.Playback:
            played.append(samples)
            playback = speaker.Playback(samples)
            playback._done.set()
            return playback

        def close(self) -> None:
            """Nothing is open."""

    monkeypatch.setattr(speaker, "Speaker", Recorder)
    assert main(["replay", str(folder.path), "--tree", "91", "--play"]) == 0
    assert [item.tobytes() for item in played] == [sound(2).tobytes(), sound(3).tobytes()]


# ---- rulings ----


def rule(folder: SurveyFolder, *options: str) -> int:
    return main(["rule", str(folder.path), *options])


def test_rulings_stand_beside_the_reading(
    folder: SurveyFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    before = take_snapshot(folder.database)
    by = ("--who", "M.O.", "--reason")
    assert rule(folder, "--entry", "5", "--amended", "24.80", *by, "heard on the recording") == 0
    assert rule(folder, "--entry", "7", "--void", *by, "wrong tree") == 0
    assert rule(folder, "--entry", "7", "--stands", *by, "right after all") == 0
    after = take_snapshot(folder.database)
    assert after.tables == before.tables, "the originals stay"
    assert after.entries[: len(before.entries)] == before.entries
    assert main(["verify", str(folder.path)]) == 0
    capsys.readouterr()
    assert main(["readings", str(folder.path), "--format", "json"]) == 0
    rows = {row["tag"]: row for row in json.loads(capsys.readouterr().out)}
    assert rows["83"]["recorded"] == "24.6"
    assert rows["83"]["ruling"] == "amended to 24.8 in: heard on the recording (M.O.)"
    assert rows["91"]["ruling"] == "stands: right after all (M.O.)"
    assert rows["101"]["ruling"] == ""
    assert main(["replay", str(folder.path), "--tree", "91"]) == 0
    out = capsys.readouterr().out
    assert out.index("void: wrong tree") < out.index("stands: right after all")


def test_a_value_that_a_check_warns_of_is_taken_only_with_its_own_word(
    folder: SurveyFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ("--entry", "5", "--amended", "78.5", "--who", "M.O.", "--reason", "heard again")
    assert rule(folder, *asked) == 2
    assert "add --accept" in capsys.readouterr().err
    assert rule(folder, *asked, "--accept") == 0
    assert "amended to 78.5" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--entry", "4", "--void"), "entry 4 saved no reading"),
        (("--entry", "11", "--void"), "entry 11 saved no reading"),
        (("--entry", "5", "--amended", "-3"), "-3"),
        (("--entry", "5", "--amended", "0"), "outside 1.0 to"),
        (("--entry", "5", "--amended", "1890"), "outside 1.0 to"),
        (("--entry", "5", "--amended", "24.84"), "between two graduations of 0.1: 24.8"),
        (("--entry", "5", "--amended", "78.5"), "add --accept"),
        (("--entry", "5", "--amended", "big"), "big"),
        (("--entry", "5", "--void", "--reason", " "), "a reason is needed"),
        (("--entry", "5", "--void", "--reason", "two\nlines"), "one line"),
        (("--void",), "needs --entry"),
    ],
)
def test_rulings_that_cannot_be_taken(
    folder: SurveyFolder, options: tuple[str, ...], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    before = take_snapshot(folder.database)
    reason = () if "--reason" in options else ("--reason", "x")
    options = tuple(f"--amended={item}" if item == "-3" else item for item in options)
    if "--amended=-3" in options:
        options = tuple(item for item in options if item != "--amended")
    assert rule(folder, *options, *reason, "--who", "M.O.") == 2
    assert says in capsys.readouterr().err
    assert take_snapshot(folder.database) == before


def test_a_file_of_rulings_is_taken_whole_or_not_at_all(
    folder: SurveyFolder, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "rulings.json"
    good = {"entry": 5, "verdict": "stands", "value": None, "reason": "heard", "who": "M.O."}
    before = take_snapshot(folder.database)
    for text in (
        "", "[]", "{}", '{"rulings": []}', '{"rulings": [7]}', "\xff",
        json.dumps({"rulings": [good, {**good, "entry": 4}]}),
        json.dumps({"rulings": [{**good, "entry": True}]}),
        json.dumps({"rulings": [{**good, "verdict": "perhaps"}]}),
        json.dumps({"rulings": [{**good, "value": "24.8"}]}),
        json.dumps({"rulings": [{**good, "verdict": "amended", "value": 24.8}]}),
    ):  # fmt: skip
        file.write_text(text, encoding="latin-1")
        assert rule(folder, "--import", str(file)) == 2, text
        assert capsys.readouterr().err.count("\n") == 1
    assert take_snapshot(folder.database) == before
    amended = {**good, "entry": 7, "verdict": "amended", "value": "13.0"}
    file.write_text(json.dumps({"rulings": [good, amended]}))
    assert rule(folder, "--import", str(file)) == 0
    assert capsys.readouterr().out.count("ruled on entry") == 2


# ---- by time of day, by another graduation or grammar ----


def test_moments_by_time_of_day(folder: SurveyFolder) -> None:
    every = {entry: item.at[11:19] for entry, item in by_entry(folder).items()}
    times = sorted(set(every.values()))
    begin, until = times[1], times[-2]
    wanted = found(folder, begin=time.fromisoformat(begin), until=time.fromisoformat(until))
    assert wanted == [entry for entry, at in every.items() if begin <= at < until]
    assert wanted and len(wanted) < len(every)


def test_another_graduation_is_told_beside_each_and_changes_nothing(
    folder: SurveyFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    before = take_snapshot(folder.database)
    saved = {entry: item.saved for entry, item in by_entry(folder).items() if item.saved}
    others = saved_otherwise(before.entries, Decimal("0.5"))
    for entry, reading in saved.items():
        other = others[entry]
        if other is None or reading is None or reading.value is None or other.value is None:
            continue
        assert other.value % Decimal("0.5") == 0
        assert abs(other.value - reading.value) <= Decimal("0.25"), "the nearest half"
    assert main(["replay", str(folder.path), "--tree", "83", "--graduation", "0.5"]) == 0
    assert "  by 0.5     24.5 in" in capsys.readouterr().out
    assert main(["replay", str(folder.path), "--tree", "83", "--graduation", "none"]) == 2
    assert take_snapshot(folder.database) == before


def test_another_grammar_reads_the_recorded_words(
    folder: SurveyFolder, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A grammar without "tree" cannot read what was said; the survey's own gives the same."""
    text = (data_folder("grammars") / "en.jsgf").read_text(encoding="utf-8")
    own, other, none = tmp_path / "own.jsgf", tmp_path / "other.jsgf", tmp_path / "none.jsgf"
    own.write_text(text, encoding="utf-8")
    other.write_text(re.sub(r"\btree\b", "trunk", text), encoding="utf-8")
    none.write_text("no grammar", encoding="utf-8")
    replay = ["replay", str(folder.path), "--tree", "83", "--grammar"]
    assert main([*replay, str(own)]) == 0
    lines = [line for line in capsys.readouterr().out.splitlines() if "  grammar " in line]
    assert set(lines) == {"  grammar    the same"}
    assert main([*replay, str(other)]) == 0
    lines = [line for line in capsys.readouterr().out.splitlines() if "  grammar " in line]
    assert set(lines) > {"  grammar    the same"}, lines
    for bad in (none, tmp_path / "missing.jsgf"):
        assert main([*replay, str(bad)]) == 2
        assert capsys.readouterr().err.startswith("callout: ")
