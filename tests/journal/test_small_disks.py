"""Read-only and full disks, on a real small disk: one clear line, nothing half-made."""

from __future__ import annotations

from pathlib import Path

import pytest
from journal_tools import AT, fill, mounted, names, remount_read_only, survey

from callout.core.errors import StorageError
from callout.core.events import Heard, Opened, Save
from callout.core.model import Reading
from callout.journal.folder import SurveyFolder
from callout.journal.writer import JournalWriter


def test_a_survey_is_not_made_on_a_full_or_read_only_disk(tmp_path: Path) -> None:
    with mounted(tmp_path / "disk", "size=64k") as disk:
        filler = fill(disk)
        with pytest.raises(StorageError) as refused:
            survey(disk / "harrow")
        assert "\n" not in str(refused.value)
        assert names(disk) == ["filler"], "nothing half-made"
        filler.unlink()
        survey(disk / "harrow")
        remount_read_only(disk)
        with pytest.raises(StorageError, match="Read-only file system"):
            survey(disk / "other")
        with SurveyFolder(disk / "harrow").reading() as reader:
            assert len(reader.plots()) == 2, "reading needs no writing"


@pytest.mark.parametrize("size_k", [12, 16, 20, 24, 28, 32, 40, 48])
def test_making_a_survey_fits_or_leaves_nothing(tmp_path: Path, size_k: int) -> None:
    with mounted(tmp_path / "disk", f"size={size_k}k") as disk:
        try:
            folder = survey(disk / "harrow")
        except StorageError:
            assert names(disk) == []
        else:
            with folder.reading() as reader:
                assert len(list(reader.entries())) == 2


def test_a_disk_that_fills_up_refuses_the_commit_whole_and_goes_on_after(tmp_path: Path) -> None:
    with mounted(tmp_path / "disk", "size=256k") as disk:
        folder = survey(disk / "harrow")
        writer = JournalWriter(folder.database)
        writer.commit(Opened(writer.next_entry, AT, "K1", "R.V."), (), "K1")
        filler = fill(disk)
        entry = writer.next_entry
        saved = Save(Reading(entry, AT, "K1", "83", words="w" * 9000))
        for _ in range(2):
            with pytest.raises(StorageError, match=r"disk is full|disk I/O"):
                writer.commit(Heard(entry, AT, "key", "confirm", ()), (saved,), "K1")
        with pytest.raises(StorageError, match="No space left on device"):
            folder.audio.keep(b"sound" * 2000)
        assert names(disk / "harrow" / "audio") == []
        filler.unlink()
        writer.commit(Heard(entry, AT, "key", "confirm", ()), (saved,), "K1")
        writer.close()
        with folder.reading() as reader:
            assert [item.seq for item in reader.entries()] == [1, 2, 3, 4]
            assert [item.entry for item in reader.readings()] == [entry]


def test_a_read_only_disk_refuses_the_writer(tmp_path: Path) -> None:
    with mounted(tmp_path / "disk", "size=256k") as disk:
        folder = survey(disk / "harrow")
        remount_read_only(disk)
        with pytest.raises(StorageError, match="Read-only file system"):
            JournalWriter(folder.database)
