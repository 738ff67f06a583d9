"""The journal on disk: a hash chain anybody can recompute, one writer, nothing ever changed."""

from __future__ import annotations

import hashlib
import json
import sqlite3
import stat
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import pytest
from journal_tools import AT, names, survey

from callout.core.errors import OperatorError, StorageError
from callout.core.events import Heard, KeepMemo, Opened, Save, TimedOut
from callout.core.model import Reading
from callout.journal.folder import SurveyFolder, open_survey
from callout.journal.schema import connect_to_read
from callout.journal.writer import JournalWriter
from callout.survey import files


@pytest.fixture
def folder(tmp_path: Path) -> SurveyFolder:
    return survey(tmp_path / "harrow")


def filled(folder: SurveyFolder) -> None:
    """A few entries of every kind."""
    writer = JournalWriter(folder.database)
    writer.commit(Opened(writer.next_entry, AT, "K1", "R.V. é"), (), "K1")
    entry = writer.next_entry
    reading = Reading(entry, AT, "K1", "83", raw=Decimal("24.60"), value=Decimal("24.6"))
    writer.commit(Heard(entry, AT, "key", "confirm", ()), (Save(reading),), "K1")
    entry = writer.next_entry
    memo = KeepMemo(entry, AT, "83", "a" * 64, "")
    writer.commit(Heard(entry, AT, "voice", "", (), audio="a" * 64), (memo,), "K1")
    writer.commit(TimedOut(writer.next_entry, AT), (), "K1")
    writer.close()


def rows_of(folder: SurveyFolder) -> list[tuple[int, str, str, str, str, str]]:
    database = sqlite3.connect(folder.database)
    try:
        return database.execute(
            "SELECT seq, at, kind, body, prev, hash FROM entries ORDER BY seq"
        ).fetchall()
    finally:
        database.close()


def test_the_chain_recomputed_by_hand(folder: SurveyFolder) -> None:
    # Nothing of ours is used here: SHA-256 (FIPS 180-4) over JSON with sorted keys, no spaces.
    filled(folder)
    rows = rows_of(folder)
    assert [row[0] for row in rows] == list(range(1, 7))
    before = "0" * 64
    for seq, at, kind, body, prev, digest in rows:
        assert prev == before
        parts = ",".join(
            f'"{key}":{json.dumps(value, ensure_ascii=False)}'
            for key, value in (
                ("at", at),
                ("body", body),
                ("kind", kind),
                ("prev", prev),
                ("seq", seq),
            )
        )
        assert hashlib.sha256(("{" + parts + "}").encode("utf-8")).hexdigest() == digest
        before = digest


def test_the_chain_goes_on_after_a_restart(folder: SurveyFolder) -> None:
    filled(folder)
    writer = JournalWriter(folder.database)
    assert writer.next_entry == 7
    assert writer.append(AT, "remark", {}) == 7
    writer.close()
    rows = rows_of(folder)
    assert rows[-1][4] == rows[-2][5]


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entries SET body='{}' WHERE seq=1",
        "UPDATE entries SET hash='' ",
        "DELETE FROM entries WHERE seq=2",
        "DELETE FROM entries",
        "INSERT OR REPLACE INTO entries VALUES (1,'a','b','c','d','e')",
    ],
)
def test_entries_cannot_be_changed_even_by_another_program(
    folder: SurveyFolder, statement: str
) -> None:
    filled(folder)
    before = rows_of(folder)
    database = sqlite3.connect(folder.database)
    with pytest.raises(sqlite3.IntegrityError, match="never"):
        database.execute(statement)
    database.close()
    assert rows_of(folder) == before


def test_a_commit_is_all_or_nothing(folder: SurveyFolder) -> None:
    writer = JournalWriter(folder.database)
    entry = writer.next_entry
    good = Reading(entry, AT, "K1", "83")
    # The second row names the same entry: the database refuses it, and so the first one too.
    with pytest.raises(StorageError, match="cannot be written"):
        writer.commit(Heard(entry, AT, "key", "confirm", ()), (Save(good), Save(good)), "K1")
    assert writer.next_entry == entry
    writer.commit(Heard(entry, AT, "key", "confirm", ()), (Save(good),), "K1")
    writer.close()
    with folder.reading() as reader:
        assert [item.seq for item in reader.entries()] == [1, 2, entry]
        assert [item.entry for item in reader.readings()] == [entry]


def test_every_commit_is_forced_to_the_disk(folder: SurveyFolder) -> None:
    # SQLite's manual: synchronous is 3 for EXTRA; only by that is a commit with a rollback journal
    # durable once it is told.
    writer = JournalWriter(folder.database)
    database = writer._database
    assert database.execute("PRAGMA synchronous").fetchone()[0] == 3
    assert database.execute("PRAGMA journal_mode").fetchone()[0] == "delete"
    assert database.execute("PRAGMA fullfsync").fetchone()[0] == 1  # the same manual: for macOS
    writer.close()


def test_on_macos_files_are_forced_through_the_disks_cache(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # macOS's manual page of fsync: only fcntl's F_FULLFSYNC (51 there) empties the drive's buffer.
    asked: list[int] = []
    monkeypatch.setattr(files.fcntl, "F_FULLFSYNC", 51, raising=False)
    monkeypatch.setattr(files.fcntl, "fcntl", lambda _, command: asked.append(command))
    monkeypatch.setattr(files.os, "fsync", lambda _: asked.append(0))
    files.write_whole(tmp_path / "roster.csv", b"plot,tag\n")
    assert asked == [51, 51]  # the file and its folder


def test_files_are_for_their_owner_only(folder: SurveyFolder) -> None:
    filled(folder)
    for path in (folder.database, folder.settings):
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(folder.path.stat().st_mode) == 0o700
    assert stat.S_IMODE((folder.path / "audio").stat().st_mode) == 0o700


def test_a_second_process_is_refused_with_one_line(folder: SurveyFolder) -> None:
    writer = JournalWriter(folder.database)
    try:
        script = (
            "import sys; from pathlib import Path; from callout.core.errors import CalloutError\n"
            "from callout.journal.writer import JournalWriter\n"
            "try: JournalWriter(Path(sys.argv[1]))\n"
            "except CalloutError as error: print(error); sys.exit(error.exit_code)\n"
        )
        second = subprocess.run(
            [sys.executable, "-W", "error", "-c", script, str(folder.database)],
            capture_output=True,
            text=True,
        )
        assert (second.returncode, second.stderr) == (2, "")
        assert second.stdout.count("\n") == 1
        assert "another callout is using" in second.stdout
        with folder.reading() as reader:
            assert len(list(reader.entries())) == 2, "reading goes on meanwhile"
    finally:
        writer.close()
    JournalWriter(folder.database).close()


def test_a_writer_that_cannot_start_gives_the_lock_back(folder: SurveyFolder) -> None:
    whole = folder.database.read_bytes()
    folder.database.write_bytes(b"no journal " * 100)
    with pytest.raises(StorageError, match="cannot be used as a journal"):
        JournalWriter(folder.database)
    folder.database.write_bytes(whole)
    JournalWriter(folder.database).close()


def test_a_reader_cannot_write(folder: SurveyFolder) -> None:
    database = connect_to_read(folder.database)
    with pytest.raises(sqlite3.OperationalError, match="readonly"):
        database.execute("INSERT INTO entries VALUES (9,'a','b','c','d','e')")
    database.close()


@pytest.mark.parametrize("content", [b"", b"no journal " * 100])
def test_what_is_no_journal_is_told(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "journal.db"
    path.write_bytes(content)
    with pytest.raises(StorageError, match="cannot be read as a journal"):
        connect_to_read(path)
    with pytest.raises(StorageError, match="no journal at"):
        connect_to_read(tmp_path / "none.db")


CUT_OFF = """
import os, sqlite3, sys
database = sqlite3.connect(sys.argv[1], isolation_level=None)
database.execute("PRAGMA cache_size=1")
database.execute("BEGIN IMMEDIATE")
for seq in range(7, 400):
    database.execute("INSERT INTO entries VALUES (?,'a','k',?,'p','h')", (seq, "z" * 2000))
os._exit(9)
"""


def test_a_commit_cut_off_by_a_kill_is_rolled_back_by_the_next_reader(folder: SurveyFolder) -> None:
    # The small cache makes SQLite write to the file before its commit, so that the kill leaves
    # what its manual calls a hot journal; a connection opened for reading only cannot start then.
    filled(folder)
    subprocess.run([sys.executable, "-c", CUT_OFF, str(folder.database)], check=False)
    hot = folder.path / "journal.db-journal"
    assert hot.stat().st_size > 0
    with open_survey(folder.path).reading() as reader:
        assert [entry.seq for entry in reader.entries()] == [1, 2, 3, 4, 5, 6]
    writer = JournalWriter(folder.database)
    assert writer.next_entry == 7
    writer.close()
    assert not hot.exists()


def test_a_made_folder_is_whole_or_absent(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(self: Path, target: Path) -> Path:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "rename", refuse)
    with pytest.raises(StorageError, match="No space left on device"):
        survey(tmp_path / "harrow")
    assert names(tmp_path) == []


def test_an_existing_place_is_never_taken(tmp_path: Path) -> None:
    survey(tmp_path / "harrow")
    before = rows_of(SurveyFolder(tmp_path / "harrow"))
    with pytest.raises(OperatorError, match="exists already"):
        survey(tmp_path / "harrow")
    with pytest.raises(OperatorError, match="make it first"):
        survey(tmp_path / "nowhere" / "harrow")
    assert rows_of(SurveyFolder(tmp_path / "harrow")) == before


def test_a_folder_without_its_parts_is_no_survey(tmp_path: Path) -> None:
    folder = survey(tmp_path / "harrow")
    folder.settings.unlink()
    with pytest.raises(OperatorError, match=r"no survey\.toml"):
        open_survey(folder.path)
