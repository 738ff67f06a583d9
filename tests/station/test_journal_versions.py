"""Journals of other versions: refused whole where they are newer, told by which they were written.

All invented; an act of several entries is whole or not at all.
"""

from __future__ import annotations

import hashlib
import io
import json
import sqlite3
import sys
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest
from journal_tools import AT, survey
from station_tools import BEGAN, at_work, clock

from callout import __version__
from callout.cli.main import main
from callout.core.meaning import Meaning
from callout.core.units import Unit, parse_decimal
from callout.journal import kinds
from callout.journal.folder import SurveyFolder
from callout.journal.schema import MIGRATIONS
from callout.journal.writer import JournalWriter, entry_hash

SOURCES = Path(kinds.__file__).parents[1]


@pytest.fixture
def folder(tmp_path: Path) -> SurveyFolder:
    made = survey(tmp_path / "harrow")
    with at_work(made, None, clock()) as station:
        station.open("K1", "R.V.")
        station.type("91 12.9")
        station.press("accept")
    return made


def bytes_of(folder: SurveyFolder) -> str:
    return hashlib.sha256(folder.database.read_bytes()).hexdigest()


def commands(folder: SurveyFolder, tmp_path: Path) -> list[list[str]]:
    at, new = str(folder.path), str(tmp_path / "new")
    who = ["--reason", "seen", "--who", "M.O."]
    return [
        ["listen", at, "--headless", "--typed"], ["verify", at], ["verify", at, "--seal"],
        ["readings", at], ["replay", at, "--all"], ["rule", at, "--entry", "5", "--void", *who],
        ["review", at, "--out", new], ["report", at, "--out", new], ["export", at, "--out", new],
        ["rebuild", at, "--into", new], ["merge", at, "--into", new],
        ["key", at, "--who", "M.O."], ["erase", at, "--person", "R.V."],
        ["erase", at, "--person", "R.V.", "--yes", *who], ["remeasure", at, "--into", new],
        ["push", at, "postgresql://nobody@127.0.0.1:1/none"],
        ["daemon", at],
    ]  # fmt: skip


@pytest.mark.parametrize("number", range(17))
def test_a_newer_journal_is_refused_whole_by_every_command(
    folder: SurveyFolder,
    number: int,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("CALLOUT_KEY", str(tmp_path / "seal.pem"))
    monkeypatch.setattr(sys, "stdin", io.StringIO("91 12.9\n"))
    with closing(sqlite3.connect(folder.database)) as database:
        database.execute("PRAGMA user_version=99")
    before = bytes_of(folder)
    command = commands(folder, tmp_path)[number]
    try:
        code = main(command)
    except SystemExit as error:
        code = int(error.code or 0)
    told = capsys.readouterr().err
    assert code == 2, (command, told)
    assert f"was written by callout {__version__} (journals of version 99)" in told, told
    assert bytes_of(folder) == before
    assert not (tmp_path / "new").exists()


def add_by_hand(folder: SurveyFolder, kind: str, body: str) -> None:
    """An entry whose hash is right, as another version might have written it."""
    with closing(sqlite3.connect(folder.database)) as database:
        seq, prev = database.execute(
            "SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1"
        ).fetchone()
        digest = entry_hash(seq + 1, AT, kind, body, prev)
        row = (seq + 1, AT, kind, body, prev, digest)
        database.execute("INSERT INTO entries VALUES (?,?,?,?,?,?)", row)
        database.commit()


def test_unknown_kinds_are_refused_and_not_skipped(
    folder: SurveyFolder, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    add_by_hand(folder, "branded", "{}")
    before = bytes_of(folder)
    for command in (["readings"], ["replay", "--all"], ["erase", "--person", "R.V."]):
        assert main([command[0], str(folder.path), *command[1:]]) == 2
        told = capsys.readouterr().err
        assert "'branded'" in told and "was written by" in told
    assert main(["listen", str(folder.path), "--headless", "--typed"]) == 2
    assert main(["verify", str(folder.path)]) == 1
    assert "'branded'" in capsys.readouterr().out
    assert bytes_of(folder) == before


def test_every_kind_that_is_written_is_known() -> None:
    """Each module that names a kind of entry names a known one."""
    named = set()
    for path in SOURCES.rglob("*.py"):
        for line in path.read_text(encoding="utf-8").splitlines():
            name, _, value = line.partition(" = ")
            if name in ("KIND", "DRAWN", "REMEASURES", "OFFICE"):
                named.add(value.split("#")[0].strip().strip('"'))
    assert len(named) >= 8 and named <= kinds.KNOWN


def settings_entries(folder: SurveyFolder) -> list[tuple[int, str]]:
    with folder.reading() as reader:
        return [(item.seq, item.content.get("program", "")) for item in reader.of_kind("settings")]


def test_a_new_journal_tells_who_wrote_it(folder: SurveyFolder) -> None:
    assert settings_entries(folder) == [(2, __version__)]


def test_another_version_says_so_before_it_writes_anything(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, folder: SurveyFolder
) -> None:
    for module in ("writer", "kinds"):
        monkeypatch.setattr(f"callout.journal.{module}.__version__", "0.2.0")
    command = ["rule", str(folder.path), "--entry", "5", "--void", "--reason", "a", "--who", "M.O."]
    assert main(command) == 0
    assert settings_entries(folder) == [(2, __version__), (6, "0.2.0")]
    with at_work(folder, None, clock()) as station:
        station.open("K1", "R.V.")
    assert len(settings_entries(folder)) == 2, "told once"
    assert main(["verify", str(folder.path)]) == 0


def test_a_journal_that_did_not_tell_is_taken_and_tells_from_now_on(tmp_path: Path) -> None:
    """As the version before wrote it: no program in the settings, no index of kinds."""
    folder = survey(tmp_path / "old")
    with closing(sqlite3.connect(folder.database)) as database:
        rows = database.execute("SELECT at, kind, body FROM entries ORDER BY seq").fetchall()
        folder.database.unlink()
    with closing(sqlite3.connect(folder.database)) as database:
        for _, script in MIGRATIONS[:3]:
            database.executescript(script)
        database.execute("PRAGMA user_version=3")
        prev = "0" * 64
        for seq, (at, kind, body) in enumerate(rows, start=1):
            content = json.loads(body)
            content.pop("program", None)
            text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
            digest = entry_hash(seq, at, kind, text, prev)
            database.execute(
                "INSERT INTO entries VALUES (?,?,?,?,?,?)", (seq, at, kind, text, prev, digest)
            )
            prev = digest
        database.commit()
    assert main(["verify", str(folder.path)]) == 0
    assert main(["readings", str(folder.path)]) == 0
    with at_work(folder, None, clock()) as station:
        station.open("K1", "R.V.")
    assert settings_entries(folder) == [(2, ""), (3, __version__)]
    assert main(["verify", str(folder.path)]) == 0


def test_several_rulings_are_one_act(
    folder: SurveyFolder,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The disk refuses the second of two."""
    given = [
        {"entry": 5, "verdict": verdict, "reason": "seen", "who": "M.O."}
        for verdict in ("stands", "void")
    ]
    path = tmp_path / "rulings.json"
    path.write_text(json.dumps({"rulings": given}))
    insert = JournalWriter._insert

    def refusing(
        self: JournalWriter, seq: int, at: str, kind: str, body: str, prev: str
    ) -> tuple[int, str]:
        if "void" in body:
            raise sqlite3.OperationalError("no room")
        return insert(self, seq, at, kind, body, prev)

    monkeypatch.setattr(JournalWriter, "_insert", refusing)
    assert main(["rule", str(folder.path), "--import", str(path)]) == 2
    assert "no room" in capsys.readouterr().err
    with folder.reading() as reader:
        assert reader.of_kind("ruling") == []


def test_an_act_is_whole_or_not_at_all(folder: SurveyFolder) -> None:
    writer = JournalWriter(folder.database)
    head = writer.head
    with pytest.raises(TypeError):
        writer.append_all(AT, [("earlier", {}), ("earlier", {"a": object()})])
    assert writer.head == head
    assert writer.append_all(AT, [("earlier", {}), ("earlier", {})]) == [head[0] + 1, head[0] + 2]
    writer.close()


def test_a_press_before_its_tag_is_no_clock_that_ran_backwards(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = survey(tmp_path / "pressed")
    now = clock()
    with at_work(folder, None, now) as station:
        station.open("K1", "R.V.", BEGAN)
        station.type("tree 91", BEGAN + timedelta(seconds=28))
        press = Meaning("reading", "91", parse_decimal("12.9"), Unit.INCH)
        station.measure("12.9", press, "caliper", BEGAN + timedelta(seconds=3))
        station.press("accept", BEGAN + timedelta(seconds=31))
    assert main(["verify", str(folder.path), "--strict"]) == 0, capsys.readouterr().out
    with at_work(folder, None, now) as station:
        station.open("K1", "R.V.", BEGAN - timedelta(seconds=60))
    assert main(["verify", str(folder.path), "--strict"]) == 1
