"""Sends journals to an office's database: resumable, each entry exactly once.

Entries go in batches, each in one transaction that locks the recorder's row, continues after the
last entry there and checks that it is the same journal. A kill at any moment leaves whole batches.
The database's messages never show a password.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from callout.core.counted import counted
from callout.crews.merge import Part
from callout.crews.office_database import Office, office_errors
from callout.crews.office_tables import put_aside
from callout.crews.pool import ForkError
from callout.journal.reader import Entry
from callout.journal.removals import removed_in, sounds_left
from callout.journal.schema import LATER_COLUMNS

if TYPE_CHECKING:
    from sqlalchemy import Connection

BATCH = 500
SOUNDS_AT_ONCE = 25
_NUMBERS = ("raw", "value", "height_m", "confidence")
_FLAGS = ("is_new", "void", "tag_lost")
Tell = Callable[[int], None]
"""Called for every batch with the number of entries or sounds in it."""


@dataclass
class Pushed:
    """What was sent for one recorder: new entries and sounds, and notes."""

    entries: int = 0
    sounds: int = 0
    notes: list[str] = field(default_factory=list)


def push(
    office: Office,
    part: Part,
    survey: str,
    tell: Tell,
    batch: int = BATCH,
    sounds: bool = True,
    replace: bool = False,
) -> Pushed:
    """Bring the office up to this recorder's journal. ``survey`` is its name here.

    ``replace`` puts aside what the office has of this recorder, which is wrong. Raises ForkError if
    the office knows another journal of this recorder, StorageError if the database fails; what was
    committed stays and is not sent again.
    """
    done = Pushed()
    entries = part.snapshot.entries
    with office_errors(office.engine.url.password):
        with office.engine.begin() as connection:
            if replace:
                done.notes += put_aside(connection, office.tables, part.recorder.id)
            _name_recorder(connection, office, part, survey)
        if sounds:
            _send_sounds(office, part, done, tell)
        tables = {name: _by_entry(rows) for name, rows in part.snapshot.tables.items()}
        while True:
            with office.engine.begin() as connection:
                known = _known(connection, office, part)
                chosen = entries[known : known + batch]
                if chosen:
                    _send(connection, office, part.recorder.id, chosen, tables)
            if not chosen:
                break
            done.entries += len(chosen)
            tell(len(chosen))
        if known > len(entries):
            done.notes.append(
                f"the office knows {known - len(entries)} entries more than this copy"
            )
        with office.engine.begin() as connection:
            _send_seals(connection, office, part)
    return done


def _name_recorder(connection: Connection, office: Office, part: Part, survey: str) -> None:
    from sqlalchemy.dialects.postgresql import insert

    recorder = part.recorder
    connection.execute(
        insert(office.tables["recorders"])
        .values(
            id=recorder.id,
            who=_plain(recorder.who),
            began=recorder.at,
            office=recorder.office,
            survey=_plain(survey),
        )
        .on_conflict_do_nothing()
    )


def _known(connection: Connection, office: Office, part: Part) -> int:
    """How many entries the office has; locked until the transaction ends.

    Raises ForkError if they are not this journal's.
    """
    from sqlalchemy import select

    recorders, table = office.tables["recorders"], office.tables["entries"]
    mine = part.recorder.id
    connection.execute(select(recorders.c.id).where(recorders.c.id == mine).with_for_update())
    newest = connection.execute(
        select(table.c.seq, table.c.hash)
        .where(table.c.recorder == mine)
        .order_by(table.c.seq.desc())
        .limit(1)
    ).first()
    if newest is None:
        return 0
    entries = part.snapshot.entries
    if newest.seq <= len(entries) and entries[newest.seq - 1].hash == newest.hash:
        return int(newest.seq)
    rows = connection.execute(
        select(table.c.seq, table.c.hash).where(
            table.c.recorder == mine, table.c.seq <= len(entries)
        )
    )
    differing = [seq for seq, digest in rows if entries[seq - 1].hash != digest]
    if differing:
        raise ForkError(
            f"the office knows another journal of recorder {part.recorder.told}: they go different "
            f"ways at entry {min(differing)}. A folder was copied after it had been opened, and "
            "both copies were worked in; nothing was sent"
        )
    return int(newest.seq)


def _by_entry(rows: Sequence[Mapping[str, Any]]) -> dict[int, Mapping[str, Any]]:
    return {row["entry"]: row for row in rows}


def _send(
    connection: Connection,
    office: Office,
    recorder: str,
    chosen: Sequence[Entry],
    tables: Mapping[str, Mapping[int, Mapping[str, Any]]],
) -> None:
    connection.execute(
        office.tables["entries"].insert(),
        [{"recorder": recorder, **entry.columns} for entry in chosen],
    )
    for name, rows in tables.items():
        found = [rows[entry.seq] for entry in chosen if entry.seq in rows]
        if found:
            connection.execute(
                office.tables[name].insert(),
                [{"recorder": recorder, **_typed(name, row)} for row in found],
            )


def _typed(table: str, row: Mapping[str, Any]) -> dict[str, Any]:
    """A row of the journal's ``table`` with the office's types."""
    whole = {**LATER_COLUMNS.get(table, {}), **row}
    typed = {name: _plain(cell) for name, cell in whole.items()}
    typed["at"] = datetime.fromisoformat(row["at"])
    for name in _NUMBERS:
        if typed.get(name) is not None:
            typed[name] = Decimal(typed[name])
    typed.update({name: bool(typed[name]) for name in _FLAGS if name in typed})
    if "warnings" in typed:
        typed["warnings"] = [_plain(item) for item in json.loads(row["warnings"])]
    return typed


def _plain(cell: Any) -> Any:
    """PostgreSQL's texts hold no zero characters; the entry beside keeps them, escaped."""
    return cell.replace("\0", "\N{REPLACEMENT CHARACTER}") if isinstance(cell, str) else cell


def _send_seals(connection: Connection, office: Office, part: Part) -> None:
    """Send each seal's line. They were verified: any other line at the office is wrong."""
    from sqlalchemy.dialects.postgresql import insert

    table = office.tables["seals"]
    for seal in part.seals:
        statement = insert(table).values(
            recorder=part.recorder.id,
            entry=seal.entry,
            hash=seal.hash,
            at=seal.at,
            signature=seal.signature,
        )
        connection.execute(
            statement.on_conflict_do_update(
                index_elements=[table.c.recorder, table.c.entry],
                set_={
                    name: getattr(statement.excluded, name) for name in ("hash", "at", "signature")
                },
                where=(statement.excluded.signature != "")
                | (table.c.hash != statement.excluded.hash),
            )
        )


# ---- sounds ----


def _named_by_others(
    connection: Connection, office: Office, part: Part, gone: list[str]
) -> set[str]:
    """Those of the sounds that another recorder's entries name, and which are not deleted here."""
    from sqlalchemy import func, select

    table = office.tables["entries"]
    named = func.substring(table.c.body, '"audio":"([0-9a-f]{64})"')
    rows = connection.execute(
        select(named).where(table.c.recorder != part.recorder.id, named.in_(gone))
    )
    return set(rows.scalars())


def _send_sounds(office: Office, part: Part, done: Pushed, tell: Tell) -> None:
    """Send the sounds that the office lacks; removed ones are deleted there too."""
    from sqlalchemy import delete, select
    from sqlalchemy.dialects.postgresql import insert

    table, store = office.tables["sounds"], part.folder.audio
    entries = part.snapshot.entries
    gone = removed_in(entries)
    with office.engine.begin() as connection:
        if gone:
            theirs = _named_by_others(connection, office, part, list(gone))
            mine = [digest for digest in gone if digest not in theirs]
            connection.execute(delete(table).where(table.c.sha256.in_(mine)))
        there = set(connection.execute(select(table.c.sha256)).scalars())
    wanted = [digest for digest in sounds_left(entries) if digest not in there]
    at_hand = [digest for digest in wanted if store.has(digest)]
    for start in range(0, len(at_hand), SOUNDS_AT_ONCE):
        chosen = at_hand[start : start + SOUNDS_AT_ONCE]
        rows = [{"sha256": digest, "flac": store.read(digest)} for digest in chosen]
        with office.engine.begin() as connection:
            connection.execute(insert(table).on_conflict_do_nothing(), rows)
        done.sounds += len(chosen)
        tell(len(chosen))
    if len(at_hand) < len(wanted):
        lacking = len(wanted) - len(at_hand)
        are = "is" if lacking == 1 else "are"
        done.notes.append(f"{counted(lacking, 'sound')} {are} not in this folder")
