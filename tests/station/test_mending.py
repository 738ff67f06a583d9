"""A disk that refuses, goes and comes back: nothing saved is lost, nothing is told that is not so.

The disks are real small ones where mounting is allowed; the survey is invented.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from journal_tools import fill, mounted, survey
from station_tools import at_work, said, saves, sound, told_by

from callout.core.errors import OperatorError, StorageError
from callout.journal.folder import SurveyFolder
from callout.journal.writer import JournalWriter
from callout.station.station import Station
from callout.station.upkeep.mending import mended


def confirmed(station: Station, text: str) -> bool:
    """Type a reading and confirm it; whether it came to be saved."""
    before = len(station.memory.undoable)
    station.type(text)
    station.press("confirm")
    return len(station.memory.undoable) > before


def on_disk(folder: SurveyFolder) -> list[str]:
    with folder.reading() as reader:
        return [f"{item.tag} {item.value}" for item in reader.readings()]


def test_a_full_disk_keeps_what_waits_and_saves_it_once_there_is_room(tmp_path: Path) -> None:
    with mounted(tmp_path / "disk", "size=512k") as disk:
        folder = survey(disk / "harrow")
        with at_work(folder) as station:
            states: list[str | None] = []
            station.on_disk(states.append)
            station.open("K1", "R.V.")
            station.type("83 25.1")
            filler = fill(disk)
            done = told_by(station)
            for _ in range(40):  # what is left of the journal's last page is soon used up
                station.press("confirm")
                if station.refusals:
                    break
                station.type("83 25.1")
            assert station.refusals
            assert said(done)[-1].startswith("Not saved: ")
            assert states[-1] is not None
            waiting, saved = station.memory.pending, len(station.memory.undoable)
            assert len(on_disk(folder)) == saved
            station.press("confirm")
            assert len(on_disk(folder)) == saved
            assert station.memory.pending == waiting
            filler.unlink()
            station.try_disk()
            assert states[-1] is None
            if waiting is None:  # it was the typing that was refused
                station.type("83 25.1")
            station.press("confirm")
            assert len(on_disk(folder)) == saved + 1
            assert station.memory.pending is None


def test_a_folder_that_was_taken_away_is_noticed_and_taken_up_again(tmp_path: Path) -> None:
    folder = survey(tmp_path / "harrow")
    with at_work(folder) as station:
        done = told_by(station)
        station.open("K1", "R.V.")
        assert confirmed(station, "83 25.1")
        folder.path.rename(tmp_path / "away")
        assert not confirmed(station, "91 12.4")
        assert "is not there any more" in said(done)[-1]
        assert "put the disk or folder back" in said(done)[-1]
        (tmp_path / "away").rename(folder.path)
        assert confirmed(station, "91 12.5")
    assert on_disk(folder) == ["83 25.1", "91 12.5"]


def test_another_disk_in_its_place_is_never_written(tmp_path: Path) -> None:
    folder = survey(tmp_path / "harrow")
    shutil.copytree(folder.path, tmp_path / "older")
    with at_work(folder) as station:
        done = told_by(station)
        station.open("K1", "R.V.")
        assert confirmed(station, "83 25.1")
        folder.path.rename(tmp_path / "away")
        (tmp_path / "older").rename(folder.path)
        assert not confirmed(station, "91 12.4")
        assert "put the right disk" in said(done)[-1]
        assert not confirmed(station, "91 12.4")
        assert on_disk(folder) == []
        folder.path.rename(tmp_path / "older")
        (tmp_path / "away").rename(folder.path)
        assert confirmed(station, "91 12.5")
    assert on_disk(folder) == ["83 25.1", "91 12.5"]


def test_a_commit_that_was_refused_and_yet_written_is_told_as_saved(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As when the disk's answer is lost after the entry reached it."""
    folder = survey(tmp_path / "harrow")
    with at_work(folder) as station:
        done = told_by(station)
        station.open("K1", "R.V.")
        station.type("83 25.1")
        commit = JournalWriter.commit

        def answer_lost(self: JournalWriter, *given: object) -> None:
            head = self._seq, self._hash
            commit(self, *given)  # type: ignore[arg-type]
            self._seq, self._hash = head
            raise StorageError("the journal cannot be written: disk I/O error")

        with monkeypatch.context() as patched:
            patched.setattr(JournalWriter, "commit", answer_lost)
            station.press("confirm")
        assert said(done)[-1].startswith("Not saved")
        assert saves(done) == []
        station.press("confirm")
        assert [str(item.reading.value) for item in saves(done)] == ["25.1"]
        assert any(text.startswith("Saved 83, 25.1") for text in said(done))
        assert said(done)[-1].startswith("Nothing waits")
    assert on_disk(folder) == ["83 25.1"]


def test_sound_that_cannot_be_kept_saves_nothing(tmp_path: Path) -> None:
    from station_tools import ScriptedEngine

    engine = ScriptedEngine()
    folder = survey(tmp_path / "harrow")
    with at_work(folder, engine) as station:
        done = told_by(station)
        station.open("K1", "R.V.")
        shutil.rmtree(folder.path / "audio")
        engine.next_words = "tree eighty three twenty five point one"
        station.hear(sound(1))
        assert said(done)[-1].startswith("Not kept: ")
        assert station.memory.pending is None
        (folder.path / "audio").mkdir()
        station.hear(sound(1))
        assert station.memory.pending is not None


def test_mending_waits_for_whoever_has_the_journal(tmp_path: Path) -> None:
    folder = survey(tmp_path / "harrow")
    writer = JournalWriter(folder.database)
    with pytest.raises(StorageError, match="another callout"):
        mended(folder, writer.head)
    head = writer.head
    writer.close()
    found = mended(folder, head)
    assert found.untold == ()
    found.writer.close()
    with pytest.raises((StorageError, OperatorError)):
        mended(SurveyFolder(tmp_path / "none"), head)
