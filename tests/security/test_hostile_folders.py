"""Folders from strangers: refused or read soon, in little memory, and nothing outside is touched.

``CALLOUT_HOSTILE`` sets how many of each kind (default 1). Every command runs in a process of its
own, whose time and memory the system tells; what lies outside is watched by the kernel meanwhile,
and compared before and after, byte for byte. All invented.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import random
import resource
import shutil
import signal
import sqlite3
import sys
import traceback
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path

import pytest
from journal_tools import survey
from station_tools import ScriptedEngine, at_work, clock, sound
from watched import Watched

from callout.cli.main import main
from callout.core.errors import CalloutError
from callout.journal.folder import open_survey
from callout.journal.writer import entry_hash
from callout.sound.coarser import pcm_within
from callout.station.upkeep.sealing import seal_session
from callout.station.upkeep.tidy import tidy

START = "start"
EACH = int(os.environ.get("CALLOUT_HOSTILE", "1"))
MOST_S = 5.0
MOST_BYTES = 300_000_000
AT = "2026-06-02T19:00:00.000+02:00"
TOLD: list[tuple[float, int, str, int]] = []
Hostile = Callable[[Path, Path, random.Random], None]


@pytest.fixture(scope="module")
def honest(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A survey with sounds, as strangers begin from, and as a victim keeps."""
    folder = survey(tmp_path_factory.mktemp("honest") / "harrow")
    engine = ScriptedEngine()
    with at_work(folder, engine, clock()) as station:
        station.open("K1", "R.V.")
        for number, words in enumerate(("tree ninety one twelve point nine", "accept", "accept")):
            engine.next_words = words
            station.hear(sound(number))
    return folder.path


# ---- what strangers do: each changes ``folder``; ``outside`` holds what must not be touched ----


def linked(name: str, to: str) -> Hostile:
    def make(folder: Path, outside: Path, chance: random.Random) -> None:
        path = folder / name
        if path.is_dir():
            shutil.rmtree(path)
        else:
            path.unlink(missing_ok=True)
        path.symlink_to(outside / to)

    return make


def orders_others_sounds(folder: Path, outside: Path, chance: random.Random) -> None:
    names = [path.stem for path in (outside / "victim" / "audio").glob("*.flac")]
    append(folder, "sound_removed", {"reason": "x", "sounds": names, "who": "x"})
    linked("audio", "victim/audio")(folder, outside, chance)


def linked_sound(folder: Path, outside: Path, chance: random.Random) -> None:
    path = chance.choice(sorted((folder / "audio").glob("*.flac")))
    path.unlink()
    path.symlink_to(chance.choice([outside / "secret.txt", Path("/dev/zero")]))


def pipe(name: str) -> Hostile:
    def make(folder: Path, outside: Path, chance: random.Random) -> None:
        path = folder / name if name else next((folder / "audio").glob("*.flac"))
        path.unlink(missing_ok=True)
        os.mkfifo(path)

    return make


def sparse(name: str) -> Hostile:
    def make(folder: Path, outside: Path, chance: random.Random) -> None:
        path = folder / name if name else next((folder / "audio").glob("*.flac"))
        with path.open("ab") as file:
            file.truncate(20_000_000_000)

    return make


def schema(*statements: str) -> Hostile:
    def make(folder: Path, outside: Path, chance: random.Random) -> None:
        with closing(sqlite3.connect(folder / "journal.db", isolation_level=None)) as database:
            for statement in statements:
                database.execute(statement)

    return make


ENDLESS = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i+1 FROM n) SELECT {} FROM n"
A_VIEW = schema(
    "ALTER TABLE entries RENAME TO kept",
    "CREATE VIEW entries AS "
    + ENDLESS.format("i AS seq, '' AS at, 'heard' AS kind, '{}' AS body, '' AS prev, '' AS hash"),
)
READINGS_VIEW = schema(
    "DROP TABLE readings", "CREATE VIEW readings AS " + ENDLESS.format("i AS entry, '9' AS value")
)
A_TRIGGER = schema("CREATE TRIGGER more AFTER INSERT ON entries BEGIN DELETE FROM readings; END")
AN_INDEX = schema("CREATE INDEX slow ON entries(length(hex(body))) WHERE seq < 0")


def settings(text: str) -> Hostile:
    def make(folder: Path, outside: Path, chance: random.Random) -> None:
        (folder / "survey.toml").write_text(text)

    return make


def append(folder: Path, kind: str, body: object, text: str | None = None) -> None:
    with closing(sqlite3.connect(folder / "journal.db")) as database:
        seq, prev = database.execute(
            "SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1"
        ).fetchone()
        plain = text or json.dumps(body, sort_keys=True, separators=(",", ":"))
        row = (seq + 1, AT, kind, plain, prev, entry_hash(seq + 1, AT, kind, plain, prev))
        database.execute("INSERT INTO entries VALUES (?,?,?,?,?,?)", row)
        database.commit()


def body(kind: str, text: str) -> Hostile:
    return lambda folder, outside, chance: append(folder, kind, None, text)


def seals(text: str) -> Hostile:
    def make(folder: Path, outside: Path, chance: random.Random) -> None:
        (folder / "seals.txt").write_text(text)

    return make


def garbage(folder: Path, outside: Path, chance: random.Random) -> None:
    data = bytearray((folder / "journal.db").read_bytes())
    for _ in range(chance.choice([1, 20, 4000])):
        data[chance.randrange(len(data))] = chance.randrange(256)
    (folder / "journal.db").write_bytes(data[: chance.choice([len(data), len(data) // 2, 100, 0])])


def hot_journal(folder: Path, outside: Path, chance: random.Random) -> None:
    (folder / "journal.db-journal").write_bytes(
        bytes.fromhex("d9d505f920a163d7") + chance.randbytes(chance.choice([20, 4096, 100_000]))
    )


def own_value(column: str, value: str) -> Hostile:
    def make(folder: Path, outside: Path, chance: random.Random) -> None:
        with closing(sqlite3.connect(folder / "journal.db")) as database:
            database.execute(f"UPDATE readings SET {column}=?", (value,))
            database.commit()

    return make


HEARD = '{"about":null,"audio":null,"confidence":%s,"engine":"","meanings":%s,"problem":null,' \
    '"source":"typed","words":"x"}'  # fmt: skip
WAYS: dict[str, Hostile] = {
    "audio leads to another survey": orders_others_sounds,
    "lock leads out": linked(".lock", "made-by-lock"),
    "seals lead out": linked("seals.txt", "secret.txt"),
    "settings lead out": linked("survey.toml", "victim/survey.toml"),
    "journal leads out": linked("journal.db", "victim/journal.db"),
    "species lead out": linked("species.csv", "secret.txt"),
    "united leads out": linked("united.txt", "secret.txt"),
    "rollback journal leads out": linked("journal.db-journal", "secret.txt"),
    "a strange file leads out": linked("notes.txt", "secret.txt"),
    "a sound leads out": linked_sound,
    "settings are a pipe": pipe("survey.toml"),
    "seals are a pipe": pipe("seals.txt"),
    "species are a pipe": pipe("species.csv"),
    "a sound is a pipe": pipe(""),
    "a sound of 20 GB": sparse(""),
    "settings of 20 GB": sparse("survey.toml"),
    "seals of 20 GB": sparse("seals.txt"),
    "species of 20 GB": sparse("species.csv"),
    "a journal of 20 GB": sparse("journal.db"),
    "entries never end": A_VIEW,
    "readings never end": READINGS_VIEW,
    "a trigger of their own": A_TRIGGER,
    "an index of their own": AN_INDEX,
    "deep settings": settings("a = " + "[" * 100_000),
    "deep tables": settings("[" + ".".join("a" * 50_000) + "]\n"),
    "large settings": settings("# " + "x" * 50_000_000),
    "a number of 5,000 figures in settings": settings(
        "[measuring]\nlargest = " + "9" * 5000 + "\n"
    ),
    "a deep body": body("heard", '{"a":' + "[" * 100_000 + "]" * 100_000 + "}"),
    "a number of 5,000 figures": body("heard", '{"about":' + "9" * 5000 + "}"),
    "a value beyond all": body("heard", HEARD % ('"1e999999999"', "[]")),
    "a large body": body("earlier", '{"columns":["' + "x" * 30_000_000 + '"],"rows":[]}'),
    "a seal of 5,000 figures": seals("9" * 5000 + " " + "a" * 64 + " now\n"),
    "a seal that is none": seals("\x00\xff 1 2 3\n" * 10),
    "a reading beyond all": own_value("value", "1e999999999"),
    "garbage": garbage,
    "a rollback journal of garbage": hot_journal,
}  # fmt: skip


def commands(folder: Path, new: Path) -> list[list[str]]:
    at = str(folder)
    return [
        ["verify", at], ["readings", at], ["replay", at, "--all"], ["erase", at],
        ["rebuild", at, "--into", str(new / "rebuilt")],
        ["merge", at, "--into", str(new / "site"), "--ask-nothing"],
        [START, at],
    ]  # fmt: skip


def start(path: Path) -> int:
    """What 'callout listen' does but for its recogniser: open, put right, measure, seal."""
    try:
        folder = open_survey(path)
        with at_work(folder, None, clock()) as station:
            folder.config()
            tidy(folder, station.record, pcm_within)
            station.open("K1", "M.O.")
            station.type("91 13.1")
            station.press("accept")
            print(seal_session(folder, station))
    except CalloutError as error:
        print(f"callout: {error}")
        return 2
    return 0


def content(folder: Path) -> dict[str, str]:
    """Everything below a folder, links told as links."""
    found = {}
    for path in sorted(folder.rglob("*")):
        if path.is_symlink():
            found[str(path)] = f"link {path.readlink()}"
        elif path.is_file():
            found[str(path)] = hashlib.sha256(path.read_bytes()).hexdigest()
        else:
            found[str(path)] = "folder"
    return found


def in_a_child(command: list[str], log: Path) -> tuple[int, float, int]:
    """Exit code (70 for a defect), seconds, and how many bytes of memory came on top.

    Of the processor, as others may use the machine; what hangs is ended after 30 s by the clock.
    """
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    child = os.fork()
    if child == 0:
        code = 99
        with suppress(BaseException):
            signal.alarm(30)
            sys.stdin = io.StringIO("")
            sink = log.open("w")
            sys.stdout = sys.stderr = sink
            try:
                code = start(Path(command[1])) if command[0] == START else main(command)
            except SystemExit as error:
                code = int(error.code or 0)
            except BaseException:
                traceback.print_exc(file=sink)
                code = 98
            sink.flush()
        os._exit(code)
    _, status, used = os.wait4(child, 0)
    took_s = used.ru_utime + used.ru_stime
    code = os.waitstatus_to_exitcode(status)
    return code, took_s, max(0, used.ru_maxrss - before) * 1024


@pytest.mark.parametrize("way", WAYS)
def test_a_folder_from_a_stranger(honest: Path, tmp_path: Path, way: str) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    shutil.copytree(honest, outside / "victim")
    (outside / "secret.txt").write_text("root:invented:0:0\n")
    before, watched = content(outside), Watched(outside)
    for trial in range(EACH):
        place = tmp_path / f"stranger{trial}"
        folder = place / "fen"
        shutil.copytree(honest, folder)
        WAYS[way](folder, outside, random.Random(f"{way} {trial}"))
        for command in commands(folder, place):
            code, took_s, grown = in_a_child(command, tmp_path / "said.txt")
            said = (tmp_path / "said.txt").read_text(errors="replace")
            about = f"{command[0]}: code {code} after {took_s:.1f} s: {said[-600:]}"
            assert code in (0, 1, 2), about
            assert "Traceback" not in said and "invented" not in said, about
            TOLD.append((took_s, grown, f"{way}, {command[0]}", code))
            assert took_s < MOST_S, about
            assert grown < MOST_BYTES, f"{about}: {grown} bytes"
        assert watched.noted() == [], "outside the folder"
        assert content(outside) == before
        watched.noted()  # what we did ourselves
        copied = [item.read_bytes() for item in place.rglob("*") if item.is_file()
                  and not item.is_symlink() and item.stat().st_size < 10_000]  # fmt: skip
        assert not any(b"root:invented" in data for data in copied), "copied"
        shutil.rmtree(place)
    watched.close()


def test_the_watch_notes_what_is_read_and_what_is_made_and_taken_away(tmp_path: Path) -> None:
    (tmp_path / "below").mkdir()
    (tmp_path / "below" / "secret.txt").write_text("x")
    watched = Watched(tmp_path)
    list(tmp_path.rglob("*"))
    assert watched.noted() == []
    (tmp_path / "below" / "secret.txt").read_text()
    assert f"opened {tmp_path}/below/secret.txt" in watched.noted()
    (tmp_path / "made").mkdir()
    (tmp_path / "made").rmdir()
    assert watched.noted() == [f"made {tmp_path}/made", f"deleted {tmp_path}/made"]
    watched.close()


def test_what_it_came_to(capsys: pytest.CaptureFixture[str]) -> None:
    """Prints the figures of the trials above."""
    if not TOLD:
        pytest.skip("no trial ran here")
    with capsys.disabled():
        slowest, largest = max(TOLD), max(TOLD, key=lambda one: one[1])
        refused = sum(code != 0 for *_, code in TOLD)
        print(
            f"\nhostile folders: {EACH * len(WAYS)} of {len(WAYS)} kinds; of {len(TOLD)} commands "
            f"{refused} refused or found broken; slowest {slowest[0]:.1f} s ({slowest[2]}), most "
            f"memory on top {largest[1] / 1e6:.0f} MB ({largest[2]})"
        )
