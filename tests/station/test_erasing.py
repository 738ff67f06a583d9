"""Sound removed by order: the readings stay, verify says by whose order, crashes finish later."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from journal_tools import survey
from station_tools import BEGAN, ScriptedEngine, at_work, clock, sound
from test_session_sound import listening, noise, segments

from callout.cli.main import main
from callout.core.errors import StorageError
from callout.journal.folder import SurveyFolder
from callout.journal.removals import KIND, removed_in
from callout.journal.session_sound import SPOOL
from callout.journal.writer import JournalWriter
from callout.office.erasing import Which, erase
from callout.proof.verify import take_snapshot, verify_journal
from callout.sound.coarser import pcm_within
from callout.sound.frames import frames_of
from callout.station.upkeep.tidy import tidy

ORDER = ("--reason", "asked to", "--who", "Office")


@pytest.fixture
def folder(tmp_path: Path) -> SurveyFolder:
    """R.V. speaks two readings, M.O. one; each with a session's sound."""
    made, engine, now = survey(tmp_path / "harrow"), ScriptedEngine(), clock()
    spoken = {
        "R.V.": ("tree eighty three twenty four point six", "tree ninety one twelve point nine"),
        "M.O.": ("tree ninety one thirteen point one",),
    }
    mark = 0
    for day, (who, all_words) in enumerate(spoken.items()):
        with at_work(made, engine, now) as station:
            station.open("K1", who)
            for words in all_words:
                engine.next_words, mark = words, mark + 1
                station.hear(sound(mark))
                station.press("accept")  # a second size of a day is questioned
            engine.next_words = ""
            ears = listening(made, station)
            ears.anchor(BEGAN + timedelta(days=day, hours=1))
            ears.run(frames_of(noise(1, mark=day)))
    return made


def rows(folder: SurveyFolder) -> Any:
    return take_snapshot(folder.database).tables


def audio(folder: SurveyFolder) -> set[str]:
    return {path.stem for path in (folder.path / "audio").iterdir()}


def told(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str]:
    code = main([str(word) for word in words])
    heard = capsys.readouterr()
    return code, heard.out + heard.err


def test_a_persons_sound_goes_and_the_readings_stay(
    folder: SurveyFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    before, all_sounds = rows(folder), audio(folder)
    with folder.reading() as reader:
        mine = {item.audio for item in reader.readings() if item.who == "R.V."}
    mine.add(segments(folder)[0].content["audio"])
    assert told(capsys, "erase", folder.path, "--person", "R.V.") == (
        0, "3 sounds would be removed; nothing was: add --yes, --reason and --who\n",
    )  # fmt: skip
    assert audio(folder) == all_sounds
    code, text = told(capsys, "erase", folder.path, "--person", "R.V.", *ORDER, "--yes")
    assert code == 0 and re.fullmatch(
        r"entry \d+: 3 sounds removed; every reading stays\nsealed: .*\n", text
    ), text
    assert (rows(folder), audio(folder)) == (before, all_sounds - mine)
    code, text = told(capsys, "verify", folder.path)
    assert (code, "5 sounds (3 removed by order)" in text) == (0, True), text
    assert "missing" not in text
    code, text = told(capsys, "replay", folder.path, "--tree", "83")
    assert (code, "removed by order" in text) == (0, True), text
    code, text = told(capsys, "erase", folder.path, "--person", "R.V.", *ORDER, "--yes")
    assert (code, "there is no such sound" in text) == (2, True)


def test_a_person_is_found_however_their_name_is_written(
    folder: SurveyFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    code, text = told(capsys, "erase", folder.path, "--person", " r. v.")
    assert (code, text.startswith("3 sounds would be removed")) == (0, True), text
    code, text = told(capsys, "erase", folder.path, "--person", "R.W.")
    assert code == 2 and "there is R.V., M.O." in text, text
    code, text = told(capsys, "erase", folder.path, "--until", "2001-01-01")
    assert code == 0 and text.startswith("0 sounds would be removed"), text
    assert told(capsys, "replay", folder.path, "--who", "m.o.")[1].count("plot K1  M.O.") > 1
    code, text = told(capsys, "replay", folder.path, "--who", "Nobody")
    assert code == 2 and "there is R.V., M.O." in text, text
    assert told(capsys, "erase", folder.path, "--person", "r.v.", *ORDER, "--yes")[0] == 0
    with folder.reading() as reader:
        mine = {item.audio for item in reader.readings() if item.who == "R.V."}
    assert not mine & audio(folder)


def test_another_sound_that_is_gone_is_missing_still(folder: SurveyFolder) -> None:
    with folder.reading() as reader:
        other = next(item for item in reader.readings() if item.who == "M.O.")
    main(["erase", str(folder.path), "--person", "R.V.", *ORDER, "--yes"])
    folder.audio.path(str(other.audio)).unlink()
    (fault,) = verify_journal(folder, take_snapshot(folder.database)).faults
    assert "its sound is missing" in fault.what


@pytest.mark.parametrize(
    ("choice", "left"),
    [
        (("--session", "--until", "2030-01-01"), 3),
        (("--session", "--from", "2026-06-03T00:00+02:00"), 4),
        (("--from", "2026-06-02T10:15:00.5+02:00", "--until", "2026-06-02T10:16+02:00"), 4),
        (("--older-than", "0", "--person", "M.O."), 3),
    ],
)
def test_sound_of_some_hours(folder: SurveyFolder, choice: tuple[str, ...], left: int) -> None:
    """Five sounds: R.V.'s two callouts and session, then M.O.'s callout and, a day on, session."""
    assert main(["erase", str(folder.path), *choice, *ORDER, "--yes"]) == 0
    assert len(audio(folder)) == left
    assert verify_journal(folder, take_snapshot(folder.database)).faults == []


@pytest.mark.parametrize(
    "choice",
    [
        ("--from", "yesterday"),
        ("--older-than", "-1"),
        ("--older-than", "3", "--until", "2026-06-02"),
        ("--unnamed", "--person", "R.V."),
        ("--person", "R.V.", "--yes"),
        ("--person", "R.V.", "--yes", "--reason", "asked"),
        ("--person", "Nobody", "--yes", *ORDER),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_goes(
    folder: SurveyFolder, choice: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    before = audio(folder)
    code, text = told(capsys, "erase", folder.path, *choice)
    assert (code, text.startswith("callout: ")) == (2, True), text
    assert audio(folder) == before
    assert not take_orders(folder)


def take_orders(folder: SurveyFolder) -> list[int]:
    with folder.reading() as reader:
        return [entry.seq for entry in reader.of_kind(KIND)]


def test_a_crash_after_the_order_is_finished_at_the_next_start(
    folder: SurveyFolder, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    writer = JournalWriter(folder.database)
    with monkeypatch.context() as patch:
        patch.setattr(Path, "unlink", refuse)
        with pytest.raises(StorageError, match="cannot remove"):
            erase(folder, writer, Which(person="R.V."), "asked", "Office", BEGAN.isoformat())
    code, text = told(capsys, "verify", folder.path)
    assert (code, text.count("was to be removed by entry")) == (0, 3), text
    done = tidy(folder, lambda kind, body: None, pcm_within)
    writer.close()
    assert done == ["3 sounds removed as ordered earlier"]
    assert "3 removed by order" in told(capsys, "verify", folder.path)[1]


def refuse(path: Path, missing_ok: bool = False) -> None:
    raise OSError(30, "Read-only file system")


def test_a_sound_kept_anew_after_the_order_stays(folder: SurveyFolder) -> None:
    main(["erase", str(folder.path), "--person", "R.V.", *ORDER, "--yes"])
    engine = ScriptedEngine(next_words="tree eighty three twenty four point six")
    with at_work(folder, engine, clock()) as station:
        station.open("K1", "R.V.")
        station.hear(sound(1))  # the very sound that went
        assert tidy(folder, station.record, pcm_within) == []
    snapshot = take_snapshot(folder.database)
    assert len(removed_in(snapshot.entries)) == 2
    assert verify_journal(folder, snapshot).faults == []


def test_what_a_crash_left_half_written_goes_and_nothing_else(folder: SurveyFolder) -> None:
    before = audio(folder)
    place = folder.path / "audio"
    for name in (".part-abc", f"{SPOOL}empty"):
        (place / name).write_bytes(b"half")
    (place / "notes.txt").write_text("a person's own")
    with at_work(folder, None, clock()) as station:
        tidy(folder, station.record, pcm_within)
    assert audio(folder) == before | {"notes"}


def test_sounds_that_no_entry_names_are_told_and_may_be_removed(
    folder: SurveyFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    before = audio(folder)
    folder.audio.keep(b"a voice")
    code, text = told(capsys, "verify", folder.path)
    assert (code, "a sound that no entry names" in text) == (0, True)
    assert told(capsys, "erase", folder.path, "--unnamed", *ORDER, "--yes")[0] == 0
    assert audio(folder) == before
    assert "no entry names" not in told(capsys, "verify", folder.path)[1]


def test_an_order_cut_out_of_the_journal_is_found(folder: SurveyFolder) -> None:
    """Without its order a removed sound would pass for missing; the chain tells first."""
    main(["erase", str(folder.path), "--person", "R.V.", *ORDER, "--yes"])
    (order,) = take_orders(folder)
    snapshot = take_snapshot(folder.database)
    snapshot.entries = [entry for entry in snapshot.entries if entry.seq != order]
    faults = verify_journal(folder, snapshot).faults
    assert sum("its sound is missing" in fault.what for fault in faults) == 3
