"""Compares the tables' rows, exactly and in order, with those that the journal's entries give.

If this machine kept a state at a seal, only the digest of the rows up to it is compared, with that
of the rows that the same entries gave before; only later entries are fed to the session.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from callout.journal.reader import Entry
from callout.journal.schema import LATER_COLUMNS
from callout.proof.seals import KIND as SEALED
from callout.proof.verify import TABLES, Fault, Snapshot
from callout.station.upkeep.kept_state import AtEntry, rolled, standing
from callout.station.upkeep.rebuild import Row, rows_of, unfollowed


class TableCheck:
    """Takes every entry in order. ``begun`` is a kept state, or a fresh one.

    If the journal can be followed only in part, that is reported, and nothing is compared beyond.
    ``trusted`` tells at the end whether the kept state could be relied upon: if not, all must be
    taken through a fresh session to say what is wrong.
    """

    def __init__(self, rows: Mapping[str, Iterable[Row]], begun: AtEntry | None = None) -> None:
        self._begun = begun or AtEntry()
        self._found = {table: _Ahead(iter(items), table) for table, items in rows.items()}
        self.trusted = not self._begun.entry
        self.at_seal: AtEntry | None = None
        """The state at the newest seal, if the tables were right up to it."""
        self._reached = 0
        self._ended = False
        self._faults: list[Fault] = []

    def take(self, entry: Entry) -> None:
        """Take the next entry."""
        if entry.seq <= self._begun.entry:
            if entry.seq == self._begun.entry:
                self._meet(entry)
            return
        if self._ended:
            return
        try:
            wanted = dict(rows_of(self._begun.session.take(entry)))
        except Exception as error:  # an altered entry may hold anything
            self._faults.append(unfollowed(self._reached + 1, error))
            self._ended = True
            return
        self._reached = entry.seq
        for table, found in self._found.items():
            self._faults += found.compared(entry.seq, wanted.get(table))
        if entry.kind == SEALED and not self._faults:
            self.at_seal = self.state(entry)

    def state(self, entry: Entry) -> AtEntry:
        """The state after the entry taken last."""
        if entry.seq == self._begun.entry:
            return self._begun
        rows = {table: found.digest for table, found in self._found.items()}
        return standing(self._begun.session.copy(), entry, rows)

    def _meet(self, entry: Entry) -> None:
        self._reached = entry.seq
        rows = {table: found.roll(entry.seq) for table, found in self._found.items()}
        self.trusted = entry.hash == self._begun.hash and rows == self._begun.rows

    def finish(self) -> list[Fault]:
        """Every fault, by entry."""
        if not self._ended:
            for found in self._found.values():
                self._faults += found.left()
        return sorted(self._faults, key=lambda fault: fault.entry)


class _Ahead:
    """A table's rows in order, the next one read ahead, and the digest of those that were right."""

    def __init__(self, rows: Iterator[Row], table: str) -> None:
        self._rows, self._table = rows, table
        self._later = LATER_COLUMNS.get(table, {})
        self._next = next(rows, None)
        self.digest = b""

    def roll(self, entry: int) -> bytes:
        """Skip the rows up to ``entry``; returns their digest."""
        while self._next is not None and self._next["entry"] <= entry:
            self._take(self._next)
        return self.digest

    def compared(self, entry: int, wanted: Row | None) -> Iterator[Fault]:
        """What is wrong up to ``entry``, which gives the row ``wanted``, or none."""
        while self._next is not None and self._next["entry"] < entry:
            yield from self._strange()
        have = self._next if self._next is not None and self._next["entry"] == entry else None
        if have is not None and wanted is not None:
            whole = self._take(have)
            if wanted != whole:
                yield Fault(entry, f"{self._table} {_told_difference(wanted, whole)}")
        elif have is not None:
            yield from self._strange()
        elif wanted is not None:
            yield Fault(entry, f"its row of {self._table} is missing")

    def left(self) -> Iterator[Fault]:
        """Rows that no entry gives."""
        while self._next is not None:
            yield from self._strange()

    def _take(self, have: Row) -> Row:
        whole = {**self._later, **have} if self._later else have
        self.digest = rolled(self.digest, whole)
        self._next = next(self._rows, None)
        return whole

    def _strange(self) -> Iterator[Fault]:
        assert self._next is not None
        yield Fault(self._next["entry"], f"a row of {self._table} that the journal does not give")
        self._next = next(self._rows, None)


def table_faults(snapshot: Snapshot) -> list[Fault]:
    """Where the tables on disk differ from what the journal gives."""
    check = TableCheck({table: snapshot.tables.get(table, []) for table in TABLES})
    for entry in snapshot.entries:
        check.take(entry)
    return check.finish()


def _told_difference(want: Row, have: Row) -> str:
    name = next(name for name in [*want, *have] if want.get(name) != have.get(name))
    return f"{name} is {have.get(name)!r}, the journal gives {want.get(name)!r}"
