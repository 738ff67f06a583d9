"""The journal's only writer: one transaction per act, on the disk before anyone is told of it."""

from __future__ import annotations

import fcntl
import hashlib
import json
import os
import sqlite3
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import Any

from callout import __version__
from callout.core.errors import InUseError, OperatorError, StorageError
from callout.core.events import Effect, Event, KeepMemo, Save
from callout.journal.codec import canonical, event_parts, reading_row
from callout.journal.holder import MACHINE, NOTED, holder_in, machine_id
from callout.journal.kinds import TELLING, with_program, written_by
from callout.journal.schema import connect
from callout.survey.guard import open_lock

_Part = tuple[str, str, Mapping[str, Any], Iterable[tuple[str, dict[str, Any]]]]
"""Time, kind, body, and the rows of other tables that go with it."""

_Telling = tuple[str, Mapping[str, Any]]

GENESIS = "0" * 64
_text: Callable[[str], str] = json.encoder.encode_basestring
# A folder with this file in it is a copy at a united site: adding to it would fork it.
UNITED = "united.txt"


def entry_hash(seq: int, at: str, kind: str, body: str, prev: str) -> str:
    """SHA-256 of an entry: of the canonical JSON of its parts and the previous hash.

    Raises TypeError for what is not text, UnicodeEncodeError for what is not UTF-8.
    """
    # Equal to ``canonical`` of the five, but faster: a decade holds a million entries.
    whole = (
        f'{{"at":{_text(at)},"body":{_text(body)},"kind":{_text(kind)},"prev":{_text(prev)},'
        f'"seq":{seq}}}'
    )
    return hashlib.sha256(whole.encode()).hexdigest()


class JournalWriter:
    """Appends entries. Holds a lock on the survey; the system releases it if the process dies."""

    def __init__(self, database: Path) -> None:
        _refuse_united(database.parent)
        with ExitStack() as failed:
            self._lock = _locked(database.parent / ".lock")
            failed.callback(os.close, self._lock)
            try:
                self._database = connect(database)
                failed.callback(self._database.close)
                last = self._database.execute(
                    "SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1"
                ).fetchone()
                self._telling: _Telling | None = _newest_telling(self._database)
                self._machine = _holder(self._database)
            except sqlite3.Error as error:
                raise StorageError(f"{database} cannot be used as a journal: {error}") from error
            failed.pop_all()
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

    def append(self, at: str, kind: str, body: Mapping[str, Any]) -> int:
        """Add an entry that is not a session event, e.g. the roster; returns its number."""
        return self.append_all(at, [(kind, body)])[0]

    def append_all(self, at: str, parts: Sequence[tuple[str, Mapping[str, Any]]]) -> list[int]:
        """Add the entries (kind, body) of one act, all or none; returns their numbers."""
        if not any(kind in TELLING for kind, _ in parts):
            self.tell_program(at)
        before = self._seq
        self._commit([(at, kind, self._stamped(kind, body), ()) for kind, body in parts])
        return list(range(before + 1, self._seq + 1))

    def tell_program(self, at: str) -> None:
        """Add an entry that names this version, if the newest such entry names another.

        Nothing is added to a journal without such an entry.
        """
        if self._telling is None:
            return
        kind, body = self._telling
        if written_by(body) != __version__:
            self._commit([(at, kind, self._stamped(kind, body), ())])

    def _stamped(self, kind: str, body: Mapping[str, Any]) -> dict[str, Any]:
        """The body, with this version and the survey's holder if entries of its kind carry them."""
        whole = with_program(kind, body)
        if kind in TELLING and self._machine:
            whole[MACHINE] = self._machine
        return whole

    def commit(self, event: Event, effects: Iterable[Effect], plot: str) -> None:
        """Add an event with what it saves, all or nothing.

        Raises StorageError; then nothing was written and the session must stay as it was.
        """
        kind, body = event_parts(event)
        self._commit([(event.at, kind, body, _rows(effects, plot))])

    def _commit(self, parts: Sequence[_Part]) -> None:
        seq, before, telling = self._seq, self._hash, self._telling
        try:
            self._database.execute("BEGIN IMMEDIATE")
            for at, kind, body, rows in parts:
                seq, before = self._insert(seq + 1, at, kind, canonical(body), before)
                telling = (kind, body) if kind in TELLING else telling
                for table, row in rows:
                    columns, marks = ",".join(row), ",".join("?" * len(row))
                    self._database.execute(
                        f"INSERT INTO {table} ({columns}) VALUES ({marks})", tuple(row.values())
                    )
            self._database.execute("COMMIT")
        except BaseException as error:
            self._roll_back()
            if isinstance(error, sqlite3.Error):
                raise StorageError(f"the journal cannot be written: {error}") from error
            raise
        self._seq, self._hash, self._telling = seq, before, telling
        for _, kind, body, _ in parts:
            if kind == NOTED:
                self._machine = holder_in(body)

    def _insert(self, seq: int, at: str, kind: str, body: str, prev: str) -> tuple[int, str]:
        digest = entry_hash(seq, at, kind, body, prev)
        row = (seq, at, kind, body, prev, digest)
        self._database.execute("INSERT INTO entries VALUES (?,?,?,?,?,?)", row)
        return seq, digest

    def _roll_back(self) -> None:
        with suppress(sqlite3.Error):  # the disk is gone; the transaction ends with the connection
            if self._database.in_transaction:
                self._database.execute("ROLLBACK")

    def close(self) -> None:
        """Close the database and give up the lock. Safe to call twice."""
        self._database.close()
        if self._lock >= 0:
            with suppress(OSError):
                os.close(self._lock)
        self._lock = -1


def _holder(database: sqlite3.Connection) -> str:
    """The machine that holds the survey; this one if no entry says."""
    kinds = (*TELLING, NOTED)
    row = database.execute(
        f"SELECT body FROM entries WHERE kind IN ({','.join('?' * len(kinds))}) "
        "ORDER BY seq DESC LIMIT 1",
        kinds,
    ).fetchone()
    with suppress(ValueError):
        if row is not None and isinstance(body := json.loads(row["body"]), dict):
            return holder_in(body) or machine_id()
    return machine_id()


def _newest_telling(database: sqlite3.Connection) -> _Telling | None:
    """The newest entry that names its program: its kind and body."""
    for kind in TELLING:
        row = database.execute(
            "SELECT body FROM entries WHERE kind=? ORDER BY seq DESC LIMIT 1", (kind,)
        ).fetchone()
        with suppress(ValueError):
            if row is not None and isinstance(body := json.loads(row["body"]), dict):
                return kind, body
    return None


def _rows(effects: Iterable[Effect], plot: str) -> Iterable[tuple[str, dict[str, Any]]]:
    for effect in effects:
        if isinstance(effect, Save):
            yield "readings", reading_row(effect.reading)
        elif isinstance(effect, KeepMemo):
            yield (
                "memos",
                {
                    "entry": effect.entry,
                    "at": effect.at,
                    "plot": plot,
                    "tag": effect.tag,
                    "audio": effect.audio,
                    "words": effect.words,
                },
            )


def _locked(path: Path) -> int:
    descriptor = open_lock(path)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(descriptor)
        raise InUseError(
            f"another callout is using {path.parent}: stop it, or attach to it"
        ) from None
    return descriptor


def refuse_in_use(folder: Path) -> None:
    """Before long work is begun: raises what a writer of that survey would raise at once."""
    _refuse_united(folder)
    os.close(_locked(folder / ".lock"))


def _refuse_united(folder: Path) -> None:
    if (folder / UNITED).exists():
        raise OperatorError(
            f"{folder} is a copy at a united site and nothing is added to it: see {UNITED} there; "
            "rule on its readings at the site"
        )
