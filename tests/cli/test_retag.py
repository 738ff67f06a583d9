"""A tag lost and replaced, from typed words to the lists and exports; and databases from before."""

from __future__ import annotations

import csv
import io
import sqlite3
from contextlib import closing

import in_english
import pytest
from command_tools import called
from journal_tools import survey
from station_tools import ScriptedEngine, at_work, sound

from callout.journal.folder import SurveyFolder
from callout.proof.verify import take_snapshot
from callout.reports.survey_frames import survey_frames
from callout.station.upkeep.table_check import table_faults


@pytest.fixture
def retagged(tmp_path) -> SurveyFolder:
    """Tree 83 of plot K1 has tag 312 since today; tree 91 lost its own."""
    folder = survey(tmp_path / "harrow")
    with at_work(folder) as station:
        station.open("K1", "R.V.")
        for text in ("tree 83", "tag lost, new tag three twelve", "24.9", "accept",
                     "91 tag lost", "13.0", "accept"):  # fmt: skip
            station.type(text)
        assert not station.memory.pending
    return folder


def listed(folder: SurveyFolder) -> dict[str, dict[str, str]]:
    done = called("readings", folder.path)
    return {row["tag"]: row for row in csv.DictReader(io.StringIO(done.out))}


def test_lists_and_exports_have_the_new_tag_with_the_whole_history(retagged):
    rows = listed(retagged)
    assert rows["312"]["tag_note"] == "was 83" and rows["312"]["recorded"] == "24.9"
    assert rows["91"]["tag_note"] == "lost"
    frame, _ = survey_frames(retagged.path)
    with retagged.reading() as reader:
        past = reader.plots()["K1"].trees["83"].past
    own = frame[frame["tag"] == "312"]
    assert len(own) == len(past) + 1 and set(own["tag_note"]) == {"was 83"}
    assert "83" not in set(frame["tag"])


def test_the_new_tag_is_heard_from_then_on_and_after_a_restart(retagged):
    engine = ScriptedEngine()
    with at_work(retagged, engine) as station:
        station.open("K1", "M.O.")
        engine.next_words = "tree three twelve twenty five point two"
        station.hear(sound(1))
        assert station.memory.pending is not None
        assert station.memory.pending.draft.tag_now == "312"
        station.press("scratch")
        station.type("tag lost, new tag A5")  # no tree in hand: which one?
        assert station.memory.pending is None


def test_the_tables_are_what_the_journal_gives_and_a_moment_is_found_by_either_tag(retagged):
    assert table_faults(take_snapshot(retagged.database)) == []
    assert called("verify", retagged.path).code == 0
    for tag in ("83", "312"):
        told = called("replay", retagged.path, "--tree", tag)
        assert "tree 312 (tag was 83) 24.9 in" in told.out, told.err


def test_a_database_from_before_is_read_verified_and_taken_on(tmp_path):
    """Rows written before there were lost tags: the columns are added, nothing else changes."""
    folder = survey(tmp_path / "harrow")
    with at_work(folder) as station:
        station.open("K1", "R.V.")
        station.type("83 25.1")
        station.press("accept")
    with closing(sqlite3.connect(folder.database)) as old:
        old.executescript(
            "ALTER TABLE readings DROP COLUMN tag_lost; ALTER TABLE readings DROP COLUMN new_tag;"
            "ALTER TABLE readings DROP COLUMN raw_scale;"
            "DROP INDEX entries_kind; PRAGMA user_version=2;"
        )
    # Its row is of today all the same: the journal tells the side of the tape, such a table cannot.
    assert [fault.what for fault in table_faults(take_snapshot(folder.database))] == [
        "readings raw_scale is '', the journal gives 'diameter'"
    ]
    assert listed(folder)["83"]["recorded"] == "25.1"
    with at_work(folder) as station:
        station.open("K1", "R.V.")
        station.type("correction 25.2")
        assert (
            "which tree" in in_english.told(station.memory.said).lower()
            or station.memory.pending is None
        )
        station.type("83 tag lost new tag 312")
        station.press("accept")
    assert listed(folder)["312"]["recorded"] == "25.1"
