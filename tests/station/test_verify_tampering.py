"""Verify finds every alteration, names the first broken entry, and raises no false alarm.

Each trial copies an intact, sealed survey, tampers with it in one seeded way, and asks what
verify says. ``CALLOUT_TAMPERINGS`` sets how many trials (default 280, twenty of each kind), and
``CALLOUT_VERIFY_KILLS`` how many kills (default 24).
"""

from __future__ import annotations

import json
import os
import random
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from journal_tools import survey
from station_tools import ScriptedEngine, at_work, clock, sound

from callout.cli.main import main
from callout.journal.folder import SurveyFolder
from callout.journal.writer import JournalWriter, entry_hash
from callout.proof.seals import seal, seals_path
from callout.proof.verify import Fault, take_snapshot, verify_journal
from callout.station.upkeep.kept_state import resume
from callout.station.upkeep.table_check import table_faults
from callout.station.upkeep.verifying import verify_survey

TRIALS = int(os.environ.get("CALLOUT_TAMPERINGS", "280"))
KILLS = int(os.environ.get("CALLOUT_VERIFY_KILLS", "24"))
MEMORY_DISK = "/dev/shm" if Path("/dev/shm").is_dir() else None
SPOKEN = (
    "tree eighty three twenty four point six", "accept", "tree ninety one twelve point nine",
    "accept", "undo", "accept", "note", "tree ninety one", "no",
)  # fmt: skip


def a_day(folder: SurveyFolder, seals: bool = True) -> SurveyFolder:
    """Some 30 entries by voice, keys and typing, sealed twice."""
    engine, now = ScriptedEngine(), clock()
    with at_work(folder, engine, now) as station:
        station.open("K1", "R.V.")
        for mark, words in enumerate(SPOKEN):
            engine.next_words = words
            station.hear(sound(mark))
    if seals:
        sealed(folder, "2026-06-02T09:15:20.000+02:00")
    with at_work(folder, engine, now) as station:
        station.open("K1", "M.O.")
        for text in ("83 25.1", "91 13.0", "correction 13.1", "new tree 205 8.1"):
            station.type(text)
            station.press("accept")
        station.press("note")
        station.hear(sound(99))
    if seals:
        sealed(folder, "2026-06-02T18:00:00.000+02:00")
    return folder


def sealed(folder: SurveyFolder, at: str) -> None:
    writer = JournalWriter(folder.database)
    try:
        seal(folder, writer, at)
    finally:
        writer.close()


def faults(folder: SurveyFolder) -> list[Fault]:
    """All that verify finds, in the order it tells."""
    snapshot = take_snapshot(folder.database)
    found = verify_journal(folder, snapshot).faults + table_faults(snapshot)
    return sorted(found, key=lambda fault: fault.entry)


@pytest.fixture(scope="module")
def intact() -> Iterator[SurveyFolder]:
    with tempfile.TemporaryDirectory(dir=MEMORY_DISK) as name:
        yield a_day(survey(Path(name) / "harrow"))


@pytest.fixture(scope="module")
def another() -> Iterator[SurveyFolder]:
    with tempfile.TemporaryDirectory(dir=MEMORY_DISK) as name:
        folder = survey(Path(name) / "other")
        with at_work(folder, None, clock()) as station:
            station.open("K1", "M.O.")
            for text in ("83 24.6", "91 14.0", "83 24.7"):
                station.type(text)
                station.press("accept")
        yield folder


def open_for_tampering(folder: SurveyFolder) -> sqlite3.Connection:
    """The database without the triggers that refuse; put back by ``put_back``."""
    database = sqlite3.connect(folder.database)
    database.execute("PRAGMA synchronous=OFF")
    triggers = database.execute(
        "SELECT name, sql FROM sqlite_master WHERE type='trigger'"
    ).fetchall()
    for name, _ in triggers:
        database.execute(f"DROP TRIGGER {name}")
    database.create_function("triggers", 0, lambda: json.dumps([sql for _, sql in triggers]))
    return database


def put_back(database: sqlite3.Connection) -> None:
    (triggers,) = database.execute("SELECT triggers()").fetchone()
    for sql in json.loads(triggers):
        database.execute(sql)
    database.commit()


def other_char(chance: random.Random, text: str) -> str:
    """``text`` with one character changed."""
    at = chance.randrange(len(text))
    new = chance.choice([char for char in "0123456789abcdef" if char != text[at]])
    return text[:at] + new + text[at + 1 :]


# ---- the ways to tamper: each returns the entries that may be named first ----

Tamper = Callable[[SurveyFolder, random.Random], set[int]]


def change_column(column: str) -> Tamper:
    def tamper(folder: SurveyFolder, chance: random.Random) -> set[int]:
        with closing(open_for_tampering(folder)) as database:
            (count,) = database.execute("SELECT max(seq) FROM entries").fetchone()
            seq = chance.randint(1, count)
            (old,) = database.execute(
                f"SELECT {column} FROM entries WHERE seq=?", (seq,)
            ).fetchone()
            new = other_char(chance, old)
            database.execute(f"UPDATE entries SET {column}=? WHERE seq=?", (new, seq))
            put_back(database)
        return {seq}

    return tamper


def change_order(folder: SurveyFolder, chance: random.Random) -> set[int]:
    with closing(open_for_tampering(folder)) as database:
        rows = database.execute("SELECT * FROM entries ORDER BY seq").fetchall()
        first, second = sorted(chance.sample(range(len(rows)), 2))
        columns = "at=?, kind=?, body=?"
        if chance.random() < 0.5:
            columns += ", prev=?, hash=?"
        for place, other in ((first, second), (second, first)):
            values = rows[other][1 : 1 + columns.count("?")]
            database.execute(f"UPDATE entries SET {columns} WHERE seq=?", (*values, place + 1))
        put_back(database)
    return {first + 1}


def delete_entry(folder: SurveyFolder, chance: random.Random) -> set[int]:
    with closing(open_for_tampering(folder)) as database:
        (count,) = database.execute("SELECT max(seq) FROM entries").fetchone()
        seq = chance.randint(1, count)
        database.execute("DELETE FROM entries WHERE seq=?", (seq,))
        if chance.random() < 0.5:
            for later in range(seq + 1, count + 1):
                database.execute("UPDATE entries SET seq=? WHERE seq=?", (later - 1, later))
        put_back(database)
    return {seq}


def cut_tail(folder: SurveyFolder, chance: random.Random) -> set[int]:
    """The last entries and all that was saved by them, as if they had never been."""
    with closing(open_for_tampering(folder)) as database:
        (count,) = database.execute("SELECT max(seq) FROM entries").fetchone()
        last = chance.randint(2, count - 1)
        for table, column in (("readings", "entry"), ("memos", "entry"), ("entries", "seq")):
            database.execute(f"DELETE FROM {table} WHERE {column}>?", (last,))
        put_back(database)
    return {last + 1}


def forge(folder: SurveyFolder, chance: random.Random) -> set[int]:
    """A value changed and every hash after it made anew: only the seal outside can tell."""
    with closing(open_for_tampering(folder)) as database:
        rows = database.execute("SELECT seq, at, kind, body, prev FROM entries ORDER BY seq")
        rows = rows.fetchall()
        target = chance.choice([row[0] for row in rows if row[2] == "heard"])
        before, last_seal = "0" * 64, None
        for seq, at, kind, body, _ in rows:
            if seq == target:
                body = body.replace('"source":"', '"source":"x')
            if kind == "sealed":
                told = {"entries": seq - 1, "hash": before, "before": last_seal}
                body = json.dumps(told, sort_keys=True, separators=(",", ":"))
            digest = entry_hash(seq, at, kind, body, before)
            last_seal = [seq, digest] if kind == "sealed" else last_seal
            database.execute(
                "UPDATE entries SET body=?, prev=?, hash=? WHERE seq=?", (body, before, digest, seq)
            )
            before = digest
        seals = [row[0] for row in rows if row[2] == "sealed" and row[0] >= target]
        put_back(database)
    return {seals[0], target, target + 1, *[row[0] for row in rows if row[0] > target]}


def sounds(folder: SurveyFolder) -> dict[str, int]:
    """Each sound and the entry that names it first."""
    found: dict[str, int] = {}
    with folder.reading() as reader:
        for entry in reader.entries():
            audio = entry.content.get("audio") if entry.kind == "heard" else None
            if audio:
                found.setdefault(audio, entry.seq)
    return found


def change_sound(folder: SurveyFolder, chance: random.Random) -> set[int]:
    digest, seq = chance.choice(sorted(sounds(folder).items()))
    path = folder.audio.path(digest)
    data = bytearray(path.read_bytes())
    data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
    path.write_bytes(data)
    return {seq}


def cut_sound(folder: SurveyFolder, chance: random.Random) -> set[int]:
    digest, seq = chance.choice(sorted(sounds(folder).items()))
    path = folder.audio.path(digest)
    if chance.random() < 0.3:
        path.unlink()
    else:
        path.write_bytes(path.read_bytes()[: chance.randrange(path.stat().st_size)])
    return {seq}


def swap_sounds(folder: SurveyFolder, chance: random.Random) -> set[int]:
    (one, first), (two, second) = chance.sample(sorted(sounds(folder).items()), 2)
    paths = folder.audio.path(one), folder.audio.path(two)
    data = [path.read_bytes() for path in paths]
    paths[0].write_bytes(data[1])
    paths[1].write_bytes(data[0])
    return {min(first, second)}


def cut_database(folder: SurveyFolder, chance: random.Random) -> set[int]:
    data = folder.database.read_bytes()
    folder.database.write_bytes(data[: chance.randrange(len(data))])
    return set()  # how much can still be read depends on where it was cut


def change_table(folder: SurveyFolder, chance: random.Random) -> set[int]:
    with closing(sqlite3.connect(folder.database)) as database:
        database.execute("PRAGMA synchronous=OFF")
        entries = [row[0] for row in database.execute("SELECT entry FROM readings")]
        entry = chance.choice(entries)
        way = chance.randrange(4)
        if way == 0:
            database.execute("DELETE FROM readings WHERE entry=?", (entry,))
        elif way == 1:
            column, value = chance.choice(
                [("value", "24.9"), ("tag", "84"), ("who", "X.X."), ("warnings", '["x"]'),
                 ("confidence", "0.123"), ("status", "cut"), ("supersedes", 2)]
            )  # fmt: skip
            database.execute(f"UPDATE readings SET {column}=? WHERE entry=?", (value, entry))
        elif way == 2:
            database.execute("UPDATE memos SET words='never said'")
            entry = database.execute("SELECT min(entry) FROM memos").fetchone()[0]
        else:
            free = [n for n in range(1, max(entries)) if n not in entries]
            old, entry = entry, chance.choice(free)
            rows = [list(row) for row in database.execute("SELECT * FROM readings")]
            row = next(row for row in rows if row[0] == old)
            row[0] = entry
            marks = ",".join("?" * len(row))
            database.execute(f"INSERT INTO readings VALUES ({marks})", row)
        database.commit()
    return {entry}


WAYS: dict[str, Tamper] = {
    "row body": change_column("body"),
    "kind": change_column("kind"),
    "time stamp": change_column("at"),
    "hash": change_column("hash"),
    "hash before": change_column("prev"),
    "order": change_order,
    "deletion": delete_entry,
    "tail cut off": cut_tail,
    "forged chain": forge,
    "audio byte": change_sound,
    "sound cut or gone": cut_sound,
    "sounds swapped": swap_sounds,
    "database cut": cut_database,
    "tables": change_table,
}


def content(folder: SurveyFolder) -> Any:
    """All that the database says to anybody who reads it; None where it cannot be read."""
    try:
        with closing(sqlite3.connect(folder.database)) as database:
            database.text_factory = bytes
            tables = ("entries", "readings", "memos", "sqlite_master")
            return [database.execute(f"SELECT * FROM {name}").fetchall() for name in tables]
    except (sqlite3.Error, UnicodeDecodeError):
        return None


def test_every_tampering_is_found_and_the_first_bad_entry_named(
    intact: SurveyFolder, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert faults(intact) == []
    assert verify_survey(intact).faults == []
    with intact.reading() as reader:
        assert resume(reader).entry == reader.last, "its state is known here from now on"
    found: Counter[str] = Counter()
    with tempfile.TemporaryDirectory(dir=MEMORY_DISK) as name:
        for trial in range(TRIALS):
            way = list(WAYS)[trial % len(WAYS)]
            folder = SurveyFolder(Path(name) / "copy")
            shutil.copytree(intact.path, folder.path)
            named = WAYS[way](folder, random.Random(trial))
            told = faults(folder)
            assert told, f"trial {trial}: {way} was not found (at {named})"
            first = next((fault.entry for fault in told if fault.entry), 0)
            assert not named or first in named, f"trial {trial}: {way} at {named}: {told}"
            assert set(verify_survey(folder).faults) == set(told), "by what this machine knows"
            found[way] += 1
            shutil.rmtree(folder.path)
    with capsys.disabled():
        print(f"\ntamperings found: {sum(found.values())} of {TRIALS}: {dict(found)}")


def test_any_changed_byte_of_the_database_that_anybody_could_read_is_found(
    intact: SurveyFolder,
) -> None:
    """Bytes in unused parts of the file say nothing to anybody; all others count."""
    whole, before = intact.database.read_bytes(), content(intact)
    harmful = 0
    with tempfile.TemporaryDirectory(dir=MEMORY_DISK) as name:
        folder = SurveyFolder(Path(name) / "copy")
        shutil.copytree(intact.path, folder.path)
        for trial in range(200):
            chance = random.Random(trial)
            data = bytearray(whole)
            data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
            folder.database.write_bytes(data)
            if content(folder) != before:
                harmful += 1
                assert faults(folder), f"trial {trial} was not found"
    assert harmful > 50


def test_a_journal_of_another_survey_is_found_by_the_seals(
    intact: SurveyFolder, another: SurveyFolder, tmp_path: Path
) -> None:
    folder = SurveyFolder(tmp_path / "copy")
    shutil.copytree(intact.path, folder.path)
    shutil.copy(another.database, folder.database)
    assert any("seals.txt" in fault.what for fault in faults(folder))


def test_the_triggers_are_missed(intact: SurveyFolder, tmp_path: Path) -> None:
    folder = SurveyFolder(tmp_path / "copy")
    shutil.copytree(intact.path, folder.path)
    with closing(open_for_tampering(folder)) as database:
        database.commit()
    assert [fault.what for fault in faults(folder)] == [
        f"the database lacks its trigger entries_{name}" for name in ("follow", "keep", "stay")
    ]


def test_seals_taken_out_of_the_folder_still_tell(
    intact: SurveyFolder, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whoever may change everything in the folder cannot change the copy that was sent away."""
    folder, copy = SurveyFolder(tmp_path / "copy"), tmp_path / "sent.txt"
    shutil.copytree(intact.path, folder.path)
    shutil.copy(seals_path(folder), copy)
    cut_tail(folder, random.Random(1))
    seals_path(folder).unlink()
    assert main(["verify", str(folder.path), "--seals", str(copy)]) == 1
    assert "the tail is cut off" in capsys.readouterr().out


def test_exit_codes_and_lines(
    intact: SurveyFolder, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = SurveyFolder(tmp_path / "copy")
    shutil.copytree(intact.path, folder.path)
    assert main(["verify", str(folder.path)]) == 0
    assert capsys.readouterr().out.splitlines()[-1].startswith("intact: ")
    assert main(["verify", str(folder.path), "--seal"]) == 0
    told = capsys.readouterr().out.splitlines()[-2]
    assert told.removeprefix("sealed: ") == seals_path(folder).read_text().splitlines()[-1]
    (seq,) = change_column("body")(folder, random.Random(5))
    assert main(["verify", str(folder.path), "--seal"]) == 1
    assert capsys.readouterr().out.splitlines()[0] == f"BROKEN, first at entry {seq}"
    folder.database.write_bytes(b"")
    assert main(["verify", str(folder.path)]) == 1
    assert main(["verify", str(tmp_path / "nowhere")]) == 2
    assert main(["verify", str(folder.path), "--seals", str(tmp_path / "none")]) == 2


def test_a_clock_that_ran_backwards_is_a_note_and_broken_only_if_strict(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = survey(tmp_path / "harrow")
    with at_work(folder, None, clock()) as station:
        station.open("K1", "R.V.")
        station.type("83 25.1")
    with at_work(folder, None, clock()) as station:  # the same clock from its beginning
        station.open("K2", "R.V.")
    writer = JournalWriter(folder.database)
    # The same moment in two zones is no step back.
    writer.append("2026-06-02T08:20:00.000+01:00", "sealed", {"entries": 5, "hash": "x"})
    writer.close()
    report = verify_journal(folder, take_snapshot(folder.database))
    assert [fault.entry for fault in report.faults] == [6], "that seal counts wrong"
    assert report.notes[-1].entry == 6
    folder = survey(tmp_path / "late")
    writer = JournalWriter(folder.database)
    for at in ("2026-06-02T09:20:00.000+02:00", "2026-06-02T08:20:30.000+01:00",
               "2026-06-02T09:10:00.000+02:00"):  # fmt: skip
        writer.append(at, "settings", json.loads(list(entries(folder))[1].body))
    writer.close()
    capsys.readouterr()
    assert main(["verify", str(folder.path)]) == 0
    assert "entry 5: the clock ran backwards by 630 s" in capsys.readouterr().out
    assert main(["verify", str(folder.path), "--strict"]) == 1
    assert capsys.readouterr().out.startswith("BROKEN, first at entry 5")


def entries(folder: SurveyFolder) -> Iterator[Any]:
    with folder.reading() as reader:
        yield from list(reader.entries())


def test_sealing_twice_seals_once_and_a_lost_line_is_written_again(tmp_path: Path) -> None:
    folder = a_day(survey(tmp_path / "harrow"))
    lines = seals_path(folder).read_text()
    assert lines.count("\n") == 2
    sealed(folder, "2026-06-02T18:01:00.000+02:00")
    assert seals_path(folder).read_text() == lines
    # A crash between entry and line: a note, no false alarm; the next sealing mends it.
    seals_path(folder).write_text(lines.splitlines(keepends=True)[0])
    report = verify_journal(folder, take_snapshot(folder.database))
    assert report.faults == []
    assert any("no line in seals.txt" in note.what for note in report.notes)
    sealed(folder, "2026-06-02T18:02:00.000+02:00")
    assert seals_path(folder).read_text() == lines
    # The older of two lines cannot be lost by a crash.
    seals_path(folder).write_text(lines.splitlines(keepends=True)[1])
    assert [fault.entry for fault in faults(folder)] == [int(lines.split()[0])]


def test_no_false_alarm_after_kills(tmp_path: Path) -> None:
    folder = survey(tmp_path / "harrow")
    tests, chance = Path(__file__).parent, random.Random(6)
    rooms = (tests, tests.parent / "journal", tests.parent / "wording", tests.parents[1])
    path = os.pathsep.join(map(str, rooms))
    with subprocess.Popen(
        [sys.executable, "-W", "error", "killed_worker.py"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=tests,
        env={**os.environ, "PYTHONPATH": path},
    ) as launcher:  # fmt: skip
        assert launcher.stdin is not None
        assert launcher.stdout is not None
        launcher.stdin.write(f"IN\t{folder.path}\t6\n")
        for kill in range(KILLS):
            launcher.stdin.write(f"+{chance.randint(1, 4)}:{chance.uniform(0, 0.012):.6f}\n")
            launcher.stdin.flush()
            assert json.loads(launcher.stdout.readline())["killed"]
            assert faults(folder) == [], f"false alarm after kill {kill}"
            if kill % 8 == 7:
                sealed(folder, "2026-06-02T18:00:00.000+02:00")
        launcher.stdin.close()
        assert launcher.wait() == 0
    assert faults(folder) == []
