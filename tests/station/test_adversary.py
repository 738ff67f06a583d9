"""An adversary who has this source code, against what the honest side kept; and honest histories.

The adversary may write the whole folder and recompute every hash, but holds no key. What is checked
is what docs/security.md claims, line by line: nothing is ever called proved that was altered; what
was witnessed and altered is called broken; the recorder's key seals nothing that was altered below
what it sealed; and honest histories are never called broken. ``CALLOUT_ADVERSARY`` sets how many
tamperings (default 120), ``CALLOUT_HONEST`` how many histories (default 12). All invented.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import sqlite3
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from journal_tools import survey
from station_tools import ScriptedEngine, at_work, clock, sound

from callout.cli.main import main
from callout.core.errors import CalloutError
from callout.crews.merge import merge, parts_of
from callout.crews.site import Site, site_folders
from callout.journal.folder import SurveyFolder
from callout.journal.reader import Entry
from callout.journal.writer import entry_hash
from callout.proof.made_seals import made_path
from callout.proof.seals import Seal, read_seals, seals_path
from callout.proof.signatures import public_of, read_key
from callout.proof.source import take_snapshot
from callout.proof.verify import Report
from callout.proof.witness import Witness, told, witness_of
from callout.station.upkeep.rebuild import made_again
from callout.station.upkeep.sealing import seal_act, seal_session
from callout.station.upkeep.table_check import table_faults
from callout.station.upkeep.verifying import verify_survey

TRIALS = int(os.environ.get("CALLOUT_ADVERSARY", "120"))
HISTORIES = int(os.environ.get("CALLOUT_HONEST", "12"))
MEMORY_DISK = "/dev/shm" if Path("/dev/shm").is_dir() else None
AT = "2026-06-02T20:00:00.000+02:00"
WORDS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
KEPT = ("nothing", "the key", "the first seal", "the last seal", "all seals and the key")


@dataclass
class Honest:
    """What the honest side has: the folder as it was, its key, and the seals it was given."""

    folder: SurveyFolder
    key: Path
    public: str
    seals: list[Seal]
    entries: list[Entry] = field(default_factory=list)


@pytest.fixture(scope="module")
def honest() -> Iterator[Honest]:
    """Three sealed sessions with sound, and a fourth that nobody sealed."""
    with (
        tempfile.TemporaryDirectory(dir=MEMORY_DISK) as name,
        pytest.MonkeyPatch.context() as patch,
    ):
        key = Path(name) / "home" / "seal.pem"
        patch.setenv("CALLOUT_KEY", str(key))
        patch.setenv("XDG_CACHE_HOME", str(Path(name) / "cache"))
        folder = survey(Path(name) / "harrow")
        assert main(["key", str(folder.path), "--who", "R.V."]) == 0
        for number in range(4):
            session(folder, random.Random(number), seal=number < 3)
        seals = read_seals(seals_path(folder))
        entries = take_snapshot(folder.database).entries
        yield Honest(folder, key, public_of(read_key(key)), seals, entries)


def session(folder: SurveyFolder, chance: random.Random, seal: bool, spoken: int = 2) -> None:
    engine = ScriptedEngine()
    with at_work(folder, engine, clock()) as station:
        station.open("K1", chance.choice(["R.V.", "M.O."]))
        for _ in range(spoken):
            engine.next_words = f"tree ninety one twelve point {chance.choice(WORDS)}"
            station.hear(sound(chance.randrange(10**6)))
            for _ in range(3):
                if station.memory.pending:
                    station.press("accept", about=station.memory.asking)
        if seal:
            line, trouble = seal_session(folder, station)
            assert line and not trouble, trouble


# ---- the adversary's tools ----


def rewrite(folder: SurveyFolder, entries: list[dict[str, Any]]) -> None:
    """These entries, chained anew where they differ, and the tables that they give."""
    before, last = "0" * 64, None
    whole: list[Entry] = []
    for seq, item in enumerate(entries, start=1):
        body = item["body"]
        if item["kind"] == "sealed":
            content = {"entries": seq - 1, "hash": before, "before": last}
            body = json.dumps(content, sort_keys=True, separators=(",", ":"))
        digest = entry_hash(seq, item["at"], item["kind"], body, before)
        whole.append(Entry(seq, item["at"], item["kind"], body, before, digest))
        before, last = digest, [seq, digest] if item["kind"] == "sealed" else last
    tables, faults = made_again(whole)
    assert not faults, faults
    with closing(sqlite3.connect(folder.database)) as database:
        triggers = database.execute(
            "SELECT name, sql FROM sqlite_master WHERE type='trigger'"
        ).fetchall()
        for name, _ in triggers:
            database.execute(f"DROP TRIGGER {name}")
        for table in ("readings", "memos", "entries"):
            database.execute(f"DELETE FROM {table}")
        database.executemany(
            "INSERT INTO entries VALUES (?,?,?,?,?,?)",
            [tuple(entry.columns.values()) for entry in whole],
        )
        for table, rows in tables.items():
            for row in rows:
                columns, marks = ",".join(row), ",".join("?" * len(row))
                database.execute(
                    f"INSERT INTO {table} ({columns}) VALUES ({marks})", tuple(row.values())
                )
        for _, sql in triggers:
            database.execute(sql)
        database.commit()


def parts(honest: Honest) -> list[dict[str, Any]]:
    return [{"at": one.at, "kind": one.kind, "body": one.body} for one in honest.entries]


def change_one(items: list[dict[str, Any]], chance: random.Random, least: int) -> int:
    """Another value in one callout at or behind ``least``; the entry's number."""
    found = [
        seq
        for seq, item in enumerate(items, start=1)
        if seq >= least and item["kind"] == "heard" and '"value":"12.' in item["body"]
    ]
    seq = chance.choice(found)
    digit = chance.choice("123456789")
    old = items[seq - 1]["body"]
    at = old.index('"value":"12.') + len('"value":"12.')
    new = old[:at] + (digit if digit != old[at] else "0") + old[at + 1 :]
    items[seq - 1]["body"] = new
    return seq


def keep_lines(folder: SurveyFolder, lines: list[Seal]) -> None:
    seals_path(folder).write_text("".join(f"{item.line}\n" for item in lines))


# ---- what the adversary does; ``loud`` is found with nothing kept ----


def whole_rewrite(folder: SurveyFolder, honest: Honest, chance: random.Random) -> None:
    items = parts(honest)
    first = change_one(items, chance, 1)
    rewrite(folder, items)
    keep_lines(folder, [seal for seal in honest.seals if seal.entry < first])


def rollback(folder: SurveyFolder, honest: Honest, chance: random.Random) -> None:
    seal = chance.choice(honest.seals[:-1])
    rewrite(folder, parts(honest)[: seal.entry])
    keep_lines(folder, [item for item in honest.seals if item.entry <= seal.entry])


def rollback_with_tail(folder: SurveyFolder, honest: Honest, chance: random.Random) -> None:
    seal = chance.choice(honest.seals)
    items = parts(honest)
    change_one(items, chance, seal.entry + 1)
    rewrite(folder, items[: chance.randint(seal.entry + 3, len(items))])
    keep_lines(folder, [item for item in honest.seals if item.entry <= seal.entry])


def cut_inside(folder: SurveyFolder, honest: Honest, chance: random.Random) -> None:
    last = chance.randint(8, len(honest.entries) - 1)
    rewrite(folder, parts(honest)[:last])
    keep_lines(folder, [item for item in honest.seals if item.entry <= last])


def seal_surgery(folder: SurveyFolder, honest: Honest, chance: random.Random) -> None:
    """Forged values, and every old line and signature put where it might still pass."""
    items = parts(honest)
    first = change_one(items, chance, 1)
    rewrite(folder, items)
    made = take_snapshot(folder.database).entries
    lines = []
    for seal in honest.seals:
        forged = Seal(seal.entry, made[seal.entry - 1].hash, seal.at, seal.signature)
        how = chance.choice(["old signature", "no signature", "old line", "no line"])
        if seal.entry < first or how == "old line":
            lines.append(seal)
        elif how == "old signature":
            lines.append(forged)
        elif how == "no signature":
            lines.append(Seal(forged.entry, forged.hash, forged.at))
    keep_lines(folder, lines)


def own_key(folder: SurveyFolder, honest: Honest, chance: random.Random) -> None:
    """Names a key of their own in the forged journal and signs with it."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    from callout.proof.signatures import signing_with

    items, key = parts(honest), Ed25519PrivateKey.generate()
    first = change_one(items, chance, honest.seals[0].entry)
    body = json.dumps({"public": public_of(key), "who": "R.V."}, separators=(",", ":"))
    items.insert(first - 1, {"at": AT, "kind": "signer", "body": body})
    for item in items[first:]:
        item["body"] = item["body"].replace('"about":', '"about" :')  # numbers moved by one
    items = items[: first + 1] + [one for one in items[first + 1 :] if one["kind"] == "sealed"]
    rewrite(folder, items)
    sign = signing_with(key)
    made = [one for one in take_snapshot(folder.database).entries if one.kind == "sealed"]
    lines = [seal for seal in honest.seals if seal.entry < first]
    for one in made:
        if one.seq >= first:
            seal = Seal(one.seq, one.hash, one.at)
            lines.append(Seal(one.seq, one.hash, one.at, sign(seal.signed)))
    keep_lines(folder, lines)


def removal_after(folder: SurveyFolder, honest: Honest, chance: random.Random) -> None:
    """An order behind the newest seal, and the file gone."""
    items = parts(honest)
    path = chance.choice(sorted((folder.path / "audio").glob("*.flac")))
    body = {"reason": "wish", "sounds": [path.stem], "who": "R.V."}
    text = json.dumps(body, sort_keys=True, separators=(",", ":"))
    rewrite(folder, [*items, {"at": AT, "kind": "sound_removed", "body": text}])
    path.unlink()


def removal_inside(folder: SurveyFolder, honest: Honest, chance: random.Random) -> None:
    """The same slipped in before a seal, everything after it chained anew."""
    items = parts(honest)
    path = chance.choice(sorted((folder.path / "audio").glob("*.flac")))
    body = {"reason": "wish", "sounds": [path.stem], "who": "R.V."}
    text = json.dumps(body, sort_keys=True, separators=(",", ":"))
    place = honest.seals[-1].entry - 1
    rewrite(folder, [*items[:place], {"at": AT, "kind": "sound_removed", "body": text},
                     items[place]])  # fmt: skip
    path.unlink()
    keep_lines(folder, honest.seals[:-1])


def tail_changed(folder: SurveyFolder, honest: Honest, chance: random.Random) -> None:
    """Only what no seal covers."""
    items = parts(honest)
    change_one(items, chance, honest.seals[-1].entry + 1)
    rewrite(folder, items)


def loud(statement: str) -> Callable[[SurveyFolder, Honest, random.Random], None]:
    def tamper(folder: SurveyFolder, honest: Honest, chance: random.Random) -> None:
        # Behind the newest seal the last entry can be cut off unseen: that is a way of its own.
        last = honest.seals[-1].entry
        heard = [one.seq for one in honest.entries if one.kind == "heard" and one.seq < last]
        seq = chance.choice(heard)
        with closing(sqlite3.connect(folder.database)) as database:
            triggers = database.execute(
                "SELECT name, sql FROM sqlite_master WHERE type='trigger'"
            ).fetchall()
            for name, _ in triggers:
                database.execute(f"DROP TRIGGER {name}")
            database.execute(statement, {"seq": seq})
            for _, sql in triggers:
                database.execute(sql)
            database.commit()

    return tamper


def sound_changed(folder: SurveyFolder, honest: Honest, chance: random.Random) -> None:
    path = chance.choice(sorted((folder.path / "audio").glob("*.flac")))
    data = bytearray(path.read_bytes())
    data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
    path.write_bytes(data) if chance.random() < 0.7 else path.unlink()


LOUD: dict[str, Callable[[SurveyFolder, Honest, random.Random], None]] = {
    "a body edited": loud(
        """UPDATE entries SET body=replace(body, '"words":"', '"words":"x') WHERE seq=:seq"""
    ),
    "a time edited": loud("UPDATE entries SET at=replace(at, '2026', '2025') WHERE seq=:seq"),
    "an entry deleted": loud("DELETE FROM entries WHERE seq=:seq"),
    "a table's value edited": loud("UPDATE readings SET value='77.7'"),
    "a sound changed": sound_changed,
}
QUIET: dict[str, Callable[[SurveyFolder, Honest, random.Random], None]] = {
    "whole rewrite": whole_rewrite,
    "rollback": rollback,
    "rollback, forged tail": rollback_with_tail,
    "cut off": cut_inside,
    "seal surgery": seal_surgery,
    "a key of their own": own_key,
    "removal after the seals": removal_after,
    "removal among the seals": removal_inside,
    "unsealed tail changed": tail_changed,
}


# ---- judging ----


def same_up_to(folder: SurveyFolder, honest: Honest) -> int:
    """The last entry up to which the journal is still the honest one."""
    now = take_snapshot(folder.database).entries
    same = 0
    for one, other in zip(honest.entries, now, strict=False):
        if one != other:
            break
        same = one.seq
    return same


def witnesses(seals: list[Seal], chance: random.Random) -> list[Witness]:
    """Kept as lines or as told figures, turn about."""
    return [
        witness_of(seal.line if chance.random() < 0.5 else told(seal), "paper") for seal in seals
    ]


def reports(folder: SurveyFolder, honest: Honest, chance: random.Random) -> dict[str, Report]:
    first, last = honest.seals[:1], honest.seals[-1:]
    return {
        "nothing": verify_survey(folder),
        "the key": verify_survey(folder, honest.public),
        "the first seal": verify_survey(folder, None, witnesses(first, chance)),
        "the last seal": verify_survey(folder, None, witnesses(last, chance)),
        "all seals and the key": verify_survey(
            folder, honest.public, witnesses(honest.seals, chance)
        ),
    }


def verdict(kept: str, report: Report, newest: int) -> str:
    if report.faults:
        return "found"
    reach = report.proof.signed[0] if report.proof.signed else 0
    if kept == "nothing":
        reach = report.proof.sealed
    elif "seal" in kept:
        reach = max([entry for entry, _ in report.proof.witnessed], default=0)
    return "told as proved by nobody" if reach < report.proof.last else "unprovable"


def test_the_adversary(honest: Honest, capsys: pytest.CaptureFixture[str]) -> None:
    table: Counter[tuple[str, str, str]] = Counter()
    ways = {**LOUD, **QUIET}
    newest = honest.seals[-1].entry
    with (
        tempfile.TemporaryDirectory(dir=MEMORY_DISK) as name,
        pytest.MonkeyPatch.context() as patch,
    ):
        patch.setenv("CALLOUT_KEY", str(honest.key))
        patch.setenv("XDG_CACHE_HOME", str(Path(name) / "cache"))
        made = made_path(honest.key).read_bytes()
        for trial in range(TRIALS):
            way, chance = list(ways)[trial % len(ways)], random.Random(trial)
            folder = SurveyFolder(Path(name) / "copy")
            shutil.copytree(honest.folder.path, folder.path)
            ways[way](folder, honest, chance)
            same = same_up_to(folder, honest)
            for kept, report in reports(folder, honest, chance).items():
                about = f"trial {trial}: {way} (same up to {same}), kept {kept}: {report}"
                result = verdict(kept, report, newest)
                table[way, kept, result] += 1
                assert way not in LOUD or result == "found", about
                if kept == "the last seal" or kept.startswith("all"):
                    assert same >= newest or result == "found", about
                if kept == "the first seal":
                    assert same >= honest.seals[0].entry or result == "found", about
                if not report.faults:
                    assert report.proof.signed is None or report.proof.signed[0] <= same, about
                    assert all(entry <= same for entry, _ in report.proof.witnessed), about
            if way == "removal after the seals":
                assert report.proof.orders_after(newest), "an order that no seal covers is told"
            try:
                seal_act(folder, AT)
                assert same >= newest and way not in LOUD, f"{way}: sealed by the honest key"
            except CalloutError:
                assert same < newest or way in LOUD, f"{way}: refused though nothing was altered"
            made_path(honest.key).write_bytes(made)
            shutil.rmtree(folder.path)
    with capsys.disabled():
        print(f"\n{TRIALS} tamperings; by what was kept: {', '.join(KEPT)}")
        for way in ways:
            cells = [
                ", ".join(
                    f"{result} {count}"
                    for (one, other, result), count in sorted(table.items())
                    if (one, other) == (way, kept)
                )
                for kept in KEPT
            ]
            print(f"  {way}: " + " | ".join(cells))


# ---- honest histories ----


def test_honest_histories_are_never_called_broken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    done: Counter[str] = Counter()
    for number in range(HISTORIES):
        with tempfile.TemporaryDirectory(dir=MEMORY_DISK) as name:
            monkeypatch.setenv("CALLOUT_KEY", str(Path(name) / "home" / "seal.pem"))
            monkeypatch.setenv("XDG_CACHE_HOME", str(Path(name) / "cache"))
            history(Path(name), random.Random(number), done)
    capsys.readouterr()
    with capsys.disabled():
        print(f"\n{HISTORIES} honest histories, 0 called broken: {dict(done)}")


def history(where: Path, chance: random.Random, done: Counter[str]) -> None:
    folder = survey(where / "harrow")
    sent: list[str] = []
    public: str | None = None
    session(folder, chance, seal=True, spoken=1)
    for step in range(chance.randint(3, 6)):
        what = chance.choice(
            ["session", "crash", "lost line", "late key", "copy", "merge", "erase", "left sound"]
        )
        done[what] += 1
        if what == "session":
            session(folder, chance, seal=True, spoken=1)
        elif what == "crash":
            session(folder, chance, seal=False, spoken=1)
        elif what == "lost line":  # the crash came between the seal's entry and its line
            lines = read_seals(seals_path(folder))
            session(folder, chance, seal=True, spoken=1)
            keep_lines(folder, lines)
        elif what == "late key" and public is None:
            assert main(["key", str(folder.path), "--who", "R.V."]) == 0
            public = public_of(read_key(where / "home" / "seal.pem"))
            session(folder, chance, seal=True, spoken=1)
        elif what == "copy":
            moved = SurveyFolder(where / f"card{step}")
            shutil.copytree(folder.path, moved.path)
            folder = moved
        elif what == "merge":
            site = where / f"site{step}"
            merge(parts_of(folder.path, table_faults), site, lambda told: None)
            copies = site_folders(Site(site))
            assert all(not verify_survey(copy, public).faults for copy in copies)
        elif what == "erase":
            who = ["--reason", "wish", "--who", "M.O.", "--yes"]
            main(["erase", str(folder.path), "--person", chance.choice(["R.V.", "M.O."]), *who])
        elif what == "left sound":
            folder.audio.keep(b"fLaC" + chance.randbytes(40))
        sent += [told(seal) for seal in read_seals(seals_path(folder))[-1:]]
        kept = chance.sample(sent, chance.randint(1, len(sent)))
        report = verify_survey(folder, public, [witness_of(line, "paper") for line in kept])
        assert not report.faults, f"{what}: {report.faults[0]}"
        assert len(report.proof.witnessed) == len(kept)
