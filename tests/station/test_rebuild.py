"""Rebuild: the journal's events through a fresh session give the tables, bit for bit.

A state machine works as a person would, with restarts, seals and settings edited in between;
``CALLOUT_REBUILD_SESSIONS`` sets how many random sessions (default 60).
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from journal_tools import survey
from station_tools import LANGUAGE, ScriptedEngine, at_work, clock, sound
from test_recall import KEYS, SPOKEN, TYPED

from callout.cli.main import main
from callout.journal.folder import SurveyFolder
from callout.journal.writer import JournalWriter
from callout.proof.seals import seal
from callout.proof.verify import take_snapshot, verify_journal
from callout.sound.sound_files import encode_flac
from callout.station.scopes import plot_to_begin
from callout.station.station import Station
from callout.station.upkeep.rebuild import rebuild
from callout.station.upkeep.recall import remember
from callout.station.upkeep.table_check import table_faults

SESSIONS = int(os.environ.get("CALLOUT_REBUILD_SESSIONS", "60"))
MEMORY_DISK = "/dev/shm" if Path("/dev/shm").is_dir() else None
AT = "2026-06-02T18:00:00.000+02:00"


class Work(RuleBasedStateMachine):
    """Whatever can be done to a survey in the field, in any order."""

    @initialize()
    def begin(self) -> None:
        self.place = Path(tempfile.mkdtemp(dir=MEMORY_DISK))
        self.folder = survey(self.place / "harrow")
        self.engine, self.now, self.mark = ScriptedEngine(), clock(), 0
        self.start()

    def start(self) -> None:
        self.station = Station(self.folder, LANGUAGE, self.engine, encode_flac, self.now)
        self.station.open(
            plot_to_begin(self.station.survey.plots, self.station.memory, None), "R.V."
        )

    @rule(text=st.sampled_from(TYPED))
    def type(self, text: str) -> None:
        self.station.type(text)

    @rule(text=st.sampled_from(TYPED))
    def type_and_confirm(self, text: str) -> None:
        self.station.type(text)
        self.station.press("confirm")

    @rule(kind=st.sampled_from(KEYS))
    def press(self, kind: str) -> None:
        self.station.press(kind)

    @rule(words=st.sampled_from(SPOKEN))
    def speak(self, words: str) -> None:
        self.engine.next_words, self.mark = words, self.mark + 1
        self.station.hear(sound(self.mark))

    @rule(plot=st.sampled_from(("K1", "K2")))
    def walk_on(self, plot: str) -> None:
        self.station.open(plot, "M.O.")

    @rule()
    def silence(self) -> None:
        self.station.time_out()

    @rule(sealing=st.booleans(), down=st.booleans())
    def restart(self, sealing: bool, down: bool) -> None:
        """A night between two days: the journal sealed, the settings edited, or neither."""
        self.station.close()
        if sealing:
            writer = JournalWriter(self.folder.database)
            seal(self.folder, writer, self.now().isoformat(timespec="milliseconds"))
            writer.close()
        if down:
            text = self.folder.settings.read_text(encoding="utf-8")
            old, new = 'rounding = "nearest"', 'rounding = "down"'
            text = text.replace(new, old) if new in text else text.replace(old, new)
            self.folder.settings.write_text(text, encoding="utf-8")
        self.start()

    @invariant()
    def tables_are_what_the_journal_gives(self) -> None:
        if hasattr(self, "folder"):
            assert table_faults(take_snapshot(self.folder.database)) == []

    def teardown(self) -> None:
        if not hasattr(self, "folder"):
            return
        self.station.close()
        before = take_snapshot(self.folder.database)
        assert verify_journal(self.folder, before).faults == []
        made = rebuild(self.folder, before, self.place / "again")
        after = take_snapshot(made.database)
        assert (after.entries, after.tables, after.faults) == (before.entries, before.tables, [])
        assert repr(after.tables) == repr(before.tables), "types too"
        with made.reading() as reader:
            assert remember(reader)[1] == self.station.memory
        shutil.rmtree(self.place)


TestWork = Work.TestCase
TestWork.settings = settings(max_examples=SESSIONS, stateful_step_count=20, deadline=None)


@pytest.fixture
def folder(tmp_path: Path) -> SurveyFolder:
    made = survey(tmp_path / "harrow")
    with at_work(made, None, clock()) as station:
        station.open("K1", "R.V.")
        for text in ("83 25.1", "91 13.0"):
            station.type(text)
            station.press("confirm")
    return made


def change(folder: SurveyFolder, statement: str) -> None:
    with closing(sqlite3.connect(folder.database)) as database:
        database.execute(statement)
        database.commit()


def test_the_command_makes_a_survey_that_verifies(
    folder: SurveyFolder, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    into = tmp_path / "again"
    assert main(["rebuild", str(folder.path), "--into", str(into)]) == 0
    assert "7 entries, 2 rows made anew; the same, bit for bit" in capsys.readouterr().out
    assert main(["verify", str(into)]) == 0
    assert main(["rebuild", str(folder.path), "--into", str(into)]) == 2, "it exists already"
    assert main(["rebuild", str(folder.path), "--into", str(tmp_path / "no" / "such")]) == 2


def test_altered_tables_are_told_and_made_right_in_the_new_folder(
    folder: SurveyFolder, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    change(folder, "UPDATE readings SET value='25.2' WHERE tag='83'")
    into = tmp_path / "again"
    assert main(["rebuild", str(folder.path), "--into", str(into)]) == 1
    out = capsys.readouterr().out
    assert "entry 5: readings value is '25.2', the journal gives '25.1'" in out
    assert main(["verify", str(into)]) == 0


def test_a_broken_journal_makes_nothing(
    folder: SurveyFolder, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    change(folder, "DROP TRIGGER entries_keep")
    change(folder, "UPDATE entries SET at='2026-06-02T09:15:09+02:00' WHERE seq=6")
    assert main(["rebuild", str(folder.path), "--into", str(tmp_path / "again")]) == 1
    assert "nothing was made: the journal is broken; entry 6" in capsys.readouterr().out
    assert not (tmp_path / "again").exists()
