"""The station: the order of sound, entry and word; what a refusing disk does; new trees."""

from __future__ import annotations

from pathlib import Path

import pytest
from journal_tools import fill, mounted, survey
from station_tools import ScriptedEngine, at_work, said, saves, sound, told_by

from callout.core.errors import OperatorError, StorageError
from callout.journal.folder import SurveyFolder
from callout.session.phase import Phase
from callout.sound.sound_files import decode_flac
from callout.station.done import Done


@pytest.fixture
def folder(tmp_path: Path) -> SurveyFolder:
    return survey(tmp_path / "harrow")


def obstruct(folder: SurveyFolder, table: str) -> None:
    """From another connection: SQLite itself refuses rows of that table, mid-transaction."""
    import sqlite3

    database = sqlite3.connect(folder.database)
    database.execute(
        f"CREATE TRIGGER obstruct BEFORE INSERT ON {table} "
        "BEGIN SELECT RAISE(ABORT, 'the disk says no'); END"
    )
    database.close()


def clear(folder: SurveyFolder) -> None:
    import sqlite3

    database = sqlite3.connect(folder.database)
    database.execute("DROP TRIGGER obstruct")
    database.close()


@pytest.mark.parametrize("table", ["entries", "readings"])
def test_a_refused_commit_leaves_the_session_as_it_was(folder: SurveyFolder, table: str) -> None:
    with at_work(folder) as station:
        station.open("K1", "R.V.")
        station.type("83 25.1")
        before = station.memory
        done = told_by(station)
        obstruct(folder, table)
        station.press("confirm")
        assert station.memory == before
        assert said(done) == ["Not saved: the journal cannot be written: the disk says no."]
        assert done[0].effects[0].tone == "refused"  # type: ignore[union-attr]
        assert saves(done) == []
        clear(folder)
        station.press("confirm")
        assert said(done)[-2:] == ["Saved 83, 25.1.", "Next 91."]
        with folder.reading() as reader:
            assert [item.tag for item in reader.readings()] == ["83"]
            assert [item.seq for item in reader.entries()] == [1, 2, 3, 4, 5]


def test_a_full_disk_at_the_start_is_an_error_and_not_a_session(folder: SurveyFolder) -> None:
    with at_work(folder) as station:
        obstruct(folder, "entries")
        with pytest.raises(StorageError, match="the disk says no"):
            station.open("K1", "R.V.")
        assert station.memory.phase is Phase.CLOSED


def test_a_disk_that_fills_up_at_work(tmp_path: Path) -> None:
    with mounted(tmp_path / "disk", "size=300k") as disk:
        folder = survey(disk / "harrow")
        engine = ScriptedEngine()
        with at_work(folder, engine) as station:
            station.open("K1", "R.V.")
            station.type("83 25.1")
            filler = fill(disk)
            before, done = station.memory, told_by(station)
            engine.next_words = "confirm"
            station.hear(sound(1))
            assert said(done)[-1].startswith("Not kept: ")
            for _ in range(9):
                station.type("83 25.1 " + " " * 280)
            assert said(done)[-1].startswith("Not saved: ")
            assert saves(done) == []
            filler.unlink()
            station.hear(sound(1))
            assert said(done)[-2:] == ["Saved 83, 25.1.", "Next 91."]
            assert before.pending is not None


def test_sound_then_entry_then_word(folder: SurveyFolder) -> None:
    """When "saved" is told, another process can already read row and sound."""
    engine = ScriptedEngine()
    seen: list[str] = []

    def look(done: Done) -> None:
        for save in saves([done]):
            with folder.reading() as reader:
                row = reader.readings()[-1]
            assert row == save.reading
            assert row.audio is not None
            assert decode_flac(folder.audio.read(row.audio)).tolist() == sound(1).tolist()
            seen.append(row.tag)

    with at_work(folder, engine) as station:
        station.watch(look)
        station.open("K1", "R.V.")
        for mark, words in enumerate(("tree eighty three twenty five point one", "confirm"), 1):
            engine.next_words = words
            station.hear(sound(mark))
    assert seen == ["83"], "the reading names the sound of the callout, not of its confirmation"


def test_sound_that_is_no_callout_is_not_kept(folder: SurveyFolder) -> None:
    engine = ScriptedEngine()
    with at_work(folder, engine) as station:
        station.open("K1", "R.V.")
        engine.next_words = "cough"
        station.hear(sound(1))
        with folder.reading() as reader:
            assert len(list(reader.entries())) == 3
    assert list((folder.path / "audio").iterdir()) == []


def test_a_note_is_kept_as_sound_whatever_is_said(folder: SurveyFolder) -> None:
    engine = ScriptedEngine()
    with at_work(folder, engine) as station:
        station.open("K1", "R.V.")
        station.press("note")
        engine.next_words = "cough"
        station.hear(sound(1))
        with folder.reading() as reader:
            (memo,) = reader.memos()
            assert reader.readings() == []
    assert decode_flac(folder.audio.read(memo["audio"])).tolist() == sound(1).tolist()


def test_unsure_hearing_is_never_taken(folder: SurveyFolder) -> None:
    engine = ScriptedEngine(confidence=0.49)
    with at_work(folder, engine) as station:
        station.open("K1", "R.V.")
        done = told_by(station)
        engine.next_words = "tree eighty three twenty five point one"
        station.hear(sound(1))
        assert station.memory.pending is None
        assert "say it again" in said(done)[-1]


def test_a_new_tree_becomes_hearable_and_an_undone_one_no_longer(folder: SurveyFolder) -> None:
    engine = ScriptedEngine()
    words = "tree two oh five eight point two"

    def heard() -> bool:
        engine.next_words = words
        return bool(engine.hear(sound(1)))

    with at_work(folder, engine) as station:
        station.open("K1", "R.V.")
        assert not heard()
        station.type("new tree two oh five, eight point one")
        station.press("confirm")
        assert heard()
        station.press("undo")
        station.press("accept")
        assert not heard()
        station.type("new tree two oh five, eight point one")
        station.press("confirm")
    with at_work(folder, engine) as station:
        station.open("K1", "R.V.")
        assert heard(), "after a restart too"
        station.open("K2", "R.V.")
        assert not heard(), "but only in its plot"


def test_a_plot_that_is_not_there(folder: SurveyFolder) -> None:
    with at_work(folder) as station:
        with pytest.raises(OperatorError, match="no plot 'K9' in this survey: there is K1, K2"):
            station.open("K9", "R.V.")
        with folder.reading() as reader:
            assert len(list(reader.entries())) == 2


def test_a_watcher_that_fails_does_not_undo_what_is_saved(folder: SurveyFolder) -> None:
    def fail(done: Done) -> None:
        if saves([done]):
            raise StorageError("the log cannot be written")

    with at_work(folder) as station:
        station.open("K1", "R.V.")
        station.type("83 25.1")
        station.watch(fail)
        with pytest.raises(StorageError, match="the log"):
            station.press("confirm")
        assert [item.tag for item in station.memory.saved.values()] == ["83"]
        with folder.reading() as reader:
            assert [item.tag for item in reader.readings()] == ["83"]


def test_an_empty_press_before_opening_changes_nothing(folder: SurveyFolder) -> None:
    with at_work(folder) as station:
        station.press("confirm")
        station.type("83 25.1")
        station.time_out()
        assert station.memory.phase is Phase.CLOSED
        with folder.reading() as reader:
            assert reader.readings() == []
