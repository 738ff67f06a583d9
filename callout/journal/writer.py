"""The journal's only writer: one transaction an entry, on the disk before anybody hears of it."""

from __future__ import annotations

import fcntl
import hashlib
import os
import sqlite3
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any

from callout.core.errors import OperatorError, StorageError
from callout.core.events import Effect, Event, KeepMemo, Save
from callout.journal.codec import canonical, event_parts, reading_row
from callout.journal.files import storage_errors
from callout.journal.schema import connect

GENESIS = "0" * 64
# A folder with this file in it is a copy at a united site: to add to it would make a fork.
UNITED = "united.txt"


def entry_hash(seq: int, at: str, kind: str, body: str, prev: str) -> str:
    """SHA-256 of an entry, over canonical JSON of its parts and the hash before it."""
    whole = canonical({"at": at, "body": body, "kind": kind, "prev": prev, "seq": seq})
    return hashlib.sha256(whole.encode()).hexdigest()


class JournalWriter:
    """Appends entries. Holds a lock on the survey, released by the system if the process dies."""

    def __init__(self, database: Path) -> None:
        if (database.parent / UNITED).exists():
            raise OperatorError(
                f"{database.parent} is a copy at a united site and nothing is added to it: see "
                f"{UNITED} there; rule on its readings at the site"
            )
        self._lock = _locked(database.parent / ".lock")
        try:
            self._database = connect(database)
            last = self._database.execute(
                "SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1"
            ).fetchone()
        except BaseException:
            os.close(self._lock)
            raise
        self._seq: int = last["seq"] if last else 0
        self._hash: str = last["hash"] if last else GENESIS

    @property
    def next_entry(self) -> int:
        """The number that the next entry will have."""
        return self._seq + 1

    @property
    def head(self) -> tuple[int, str]:
        """Number and hash of the last entry written."""
        return self._seq, self._hash

    def append(self, at: str, kind: str, body: dict[str, Any]) -> int:
        """Add an entry that is no session event, e.g. the roster; returns its number."""
        self._commit(at, kind, body, ())
        return self._seq

    def commit(self, event: Event, effects: Iterable[Effect], plot: str) -> None:
        """Add an event with what it saves, all or nothing. Raises StorageError; then nothing

        was written and the session must stay as it was.
        """
        kind, body = event_parts(event)
        self._commit(event.at, kind, body, _rows(effects, plot))

    def _commit(
        self, at: str, kind: str, body: dict[str, Any], rows: Iterable[tuple[str, dict[str, Any]]]
    ) -> None:
        seq, text = self._seq + 1, canonical(body)
        digest = entry_hash(seq, at, kind, text, self._hash)
        try:
            self._database.execute("BEGIN IMMEDIATE")
            self._database.execute(
                "INSERT INTO entries VALUES (?,?,?,?,?,?)",
                (seq, at, kind, text, self._hash, digest),
            )
            for table, row in rows:
                columns, marks = ",".join(row), ",".join("?" * len(row))
                self._database.execute(
                    f"INSERT INTO {table} ({columns}) VALUES ({marks})", tuple(row.values())
                )
            self._database.execute("COMMIT")
        except sqlite3.Error as error:
            self._roll_back()
            raise StorageError(f"the journal cannot be written: {error}") from error
        self._seq, self._hash = seq, digest

    def _roll_back(self) -> None:
        with suppress(sqlite3.Error):  # the disk is gone; what was begun ends with the connection
            if self._database.in_transaction:
                self._database.execute("ROLLBACK")

    def close(self) -> None:
        """Close the database and give up the lock. Safe to call twice."""
        self._database.close()
        if self._lock >= 0:
            with suppress(OSError):
                os.close(self._lock)
        self._lock = -1


def _rows(effects: Iterable[Effect], plot: str) -> Iterable[tuple[str, dict[str, Any]]]:
    for effect in effects:
        if isinstance(effect, Save):
            yield "readings", reading_row(effect.reading)
        elif isinstance(effect, KeepMemo):
            yield (
                "memos",
                {
                    "entry": effect.entry, "at": effect.at, "plot": plot, "tag": effect.tag,
                    "audio": effect.audio, "words": effect.words,
                },
            )  # fmt: skip


def _locked(path: Path) -> int:
    with storage_errors(f"cannot open {path}"):
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(descriptor)
        raise OperatorError(
            f"another callout is using {path.parent}: stop it, or attach to it"
        ) from None
    return descriptor
