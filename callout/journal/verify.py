"""Holds a journal against its own hashes, its seals and its sounds, and names what is broken.

Reads only. Whether the tables are what the session makes of the journal is asked elsewhere, since
that needs the session. What a chain cannot show: that all of it, seals included, was written anew.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from callout.core.errors import CalloutError, StorageError
from callout.journal.faults import Fault as Fault
from callout.journal.folder import SurveyFolder
from callout.journal.reader import Entry
from callout.journal.schema import MIGRATIONS, connect_to_read
from callout.journal.seals import KIND, read_seals, seals_in, seals_path
from callout.journal.signing import signers_in
from callout.journal.verify_signatures import signature_faults
from callout.journal.verify_sounds import check_sounds
from callout.journal.writer import GENESIS, entry_hash

# A key pressed while an utterance ends is journalled before it, with a later time.
CLOCK_SLACK_S = 5.0
# A press of a tape carries its own time, and may be journalled when its tree is named.
PRESS_SLACK_S = 600.0
TABLES = ("readings", "memos")
_SCHEMA = "SELECT type || ' ' || name, sql FROM sqlite_master"


@dataclass
class Snapshot:
    """All rows at one moment, read at once so that nobody at work is kept waiting."""

    entries: list[Entry] = field(default_factory=list)
    tables: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)


@dataclass
class Report:
    """What was looked at and found. ``notes`` are worth knowing and break nothing."""

    entries: int = 0
    sounds: int = 0
    removed: int = 0
    seals: int = 0
    signed: int = 0
    faults: list[Fault] = field(default_factory=list)
    notes: list[Fault] = field(default_factory=list)


def verify_journal(
    folder: SurveyFolder, snapshot: Snapshot, seals: Path | None = None, signer: str | None = None
) -> Report:
    """Check the chain, the seals (in ``seals``, else the folder's own), clocks and sounds.

    With ``signer``, a public key kept elsewhere, seals must be signed by it.
    """
    entries = snapshot.entries
    report = Report(entries=len(entries), faults=list(snapshot.faults))
    report.faults += chain_faults(entries)
    _check_seals(report, entries, seals or seals_path(folder), signer)
    report.notes += clock_faults(entries)
    sounds = check_sounds(folder, entries)
    report.sounds, report.removed = sounds.named, sounds.removed
    report.faults += sounds.faults
    report.notes += sounds.notes
    report.faults.sort(key=lambda fault: fault.entry)
    return report


# ---- reading whatever is there ----


def take_snapshot(database: Path) -> Snapshot:
    """Every row of the journal, and a fault where the file cannot be read to its end.

    Raises StorageError where the file cannot be opened at all, e.g. for want of permission.
    """
    found = Snapshot()
    try:
        connection = connect_to_read(database)
    except (StorageError, UnicodeDecodeError) as error:
        cause = error.__cause__ or error  # a damaged schema may not even be text
        if not _is_damage(cause):
            raise
        found.faults.append(Fault(0, f"{database.name} is damaged: {cause}"))
        return found
    # Bytes that are no UTF-8 must be reported as altered, not end the reading.
    connection.text_factory = lambda data: data.decode("utf-8", "surrogateescape")
    with closing(connection):
        try:
            _read_all(connection, found)
        except (sqlite3.Error, TypeError, ValueError) as error:
            after = f" after entry {found.entries[-1].seq}" if found.entries else ""
            found.faults.append(Fault(0, f"{database.name} is damaged{after}: {error}"))
    return found


def _is_damage(error: BaseException) -> bool:
    if isinstance(error, sqlite3.OperationalError):
        return "no such" in str(error)
    return isinstance(error, sqlite3.DatabaseError | UnicodeDecodeError)


def _read_all(connection: sqlite3.Connection, found: Snapshot) -> None:
    connection.execute("BEGIN")
    for row in connection.execute(
        "SELECT seq, at, kind, body, prev, hash FROM entries ORDER BY seq"
    ):
        found.entries.append(Entry(**dict(row)))
    for table in TABLES:
        found.tables[table] = [
            dict(row) for row in connection.execute(f"SELECT * FROM {table} ORDER BY entry")
        ]
    for (told,) in connection.execute("PRAGMA integrity_check(5)"):
        if told != "ok":
            found.faults.append(Fault(0, f"the database is damaged: {told}"))
    found.faults += _schema_faults(connection)


def _schema_faults(connection: sqlite3.Connection) -> Iterator[Fault]:
    """Tables and triggers that are not what this version's migrations make."""
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    with closing(sqlite3.connect(":memory:")) as fresh:
        for _, script in MIGRATIONS[: max(version, 1)]:
            fresh.executescript(script)
        wanted = dict(fresh.execute(_SCHEMA).fetchall())
    have = {row[0]: row[1] for row in connection.execute(_SCHEMA)}
    for name in sorted(wanted.keys() | have.keys()):
        if name not in have:
            yield Fault(0, f"the database lacks its {name}")
        elif have[name] != wanted.get(name):
            yield Fault(0, f"the database has an altered or strange {name}")


# ---- the chain ----


def chain_faults(entries: list[Entry]) -> Iterator[Fault]:
    """Every place where the chain is broken, the first one first."""
    expected, before = 1, GENESIS
    if not entries:
        yield Fault(1, "the journal holds no entry")
    for entry in entries:
        if entry.seq != expected:
            yield Fault(expected, f"missing: entry {entry.seq} stands in its place")
        elif entry.prev != before:
            yield Fault(entry.seq, "altered, or not in its place: it does not name the one before")
        elif not _hash_is_right(entry):
            yield Fault(entry.seq, "altered: its hash is not that of what it holds")
        elif entry.kind == KIND and not _counts_right(entry):
            yield Fault(entry.seq, "the seal does not count what stands before it")
        expected, before = entry.seq + 1, entry.hash


def _hash_is_right(entry: Entry) -> bool:
    try:
        found = entry_hash(entry.seq, entry.at, entry.kind, entry.body, entry.prev)
    except (TypeError, ValueError):  # what is no text, or no UTF-8
        return False
    return found == entry.hash


def _counts_right(entry: Entry) -> bool:
    try:
        content = entry.content
    except CalloutError:
        return False
    return content.get("entries") == entry.seq - 1 and content.get("hash") == entry.prev


# ---- seals ----


def _check_seals(report: Report, entries: list[Entry], path: Path, signer: str | None) -> None:
    by_number = {entry.seq: entry for entry in entries}
    try:
        kept = read_seals(path)
    except CalloutError as error:
        report.faults.append(Fault(0, str(error)))
        return
    last = entries[-1].seq if entries else 0
    for seal in kept:
        entry = by_number.get(seal.entry)
        if seal.entry > last:
            report.faults.append(
                Fault(last + 1, f"the tail is cut off: {path.name} seals {seal.entry} entries")
            )
        elif entry is not None and entry.hash != seal.hash:
            report.faults.append(Fault(seal.entry, f"not the entry that {path.name} seals"))
    report.seals = len(kept)
    report.signed = sum(bool(seal.signature) for seal in kept)
    for fault, breaks in signature_faults(kept, signers_in(entries), signer):
        (report.faults if breaks else report.notes).append(fault)
    unkept = [seal for seal in seals_in(entries) if seal not in kept]
    newest = max((entry.seq for entry in entries if entry.kind == KIND), default=0)
    for seal in unkept:
        told = Fault(seal.entry, f"this seal has no line in {path.name}")
        # A crash may come between the newest seal and its line; older ones were all written.
        (report.notes if seal.entry == newest else report.faults).append(told)


# ---- clocks ----


def clock_faults(entries: list[Entry]) -> Iterator[Fault]:
    """Entries whose clock stands before that of the one before; their order is the chain's."""
    before: datetime | None = None
    for entry in entries:
        try:
            at = datetime.fromisoformat(entry.at)
            back_s = (before - at).total_seconds() if before else 0.0
        except (TypeError, ValueError):
            yield Fault(entry.seq, f"its time {entry.at!r} is no time with an offset")
            continue
        if back_s > CLOCK_SLACK_S and not (back_s <= PRESS_SLACK_S and _is_press(entry)):
            yield Fault(entry.seq, f"the clock ran backwards by {back_s:.0f} s before it")
        before = at


def _is_press(entry: Entry) -> bool:
    with suppress(CalloutError):  # the chain tells that it was altered
        return entry.kind == "heard" and entry.content.get("source") == "tape"
    return False
