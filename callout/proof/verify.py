"""Checks a journal against its own hashes, its seals and its sounds, and names what is broken.

Reads only, entry by entry. Whether the tables match the journal is checked elsewhere, since that
needs the session. docs/security.md says what nothing inside a folder can show; ``Proof`` says how
far seals kept elsewhere and signatures reach.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime

from callout.core.errors import CalloutError
from callout.journal.folder import SurveyFolder
from callout.journal.reader import Entry
from callout.journal.writer import GENESIS, entry_hash
from callout.proof.findings import Fault as Fault
from callout.proof.seals import KIND, read_seals, seals_path
from callout.proof.source import TABLES as TABLES
from callout.proof.source import Snapshot as Snapshot
from callout.proof.source import take_snapshot as take_snapshot
from callout.proof.verify_seals import Proof, SealCheck
from callout.proof.verify_sounds import SoundCheck
from callout.proof.witness import Witness

# A key pressed while an utterance ends is journalled before it, with a later time.
CLOCK_SLACK_S = 5.0
# A press of a tape carries its own time, and may be journalled when its tree is named.
PRESS_SLACK_S = 600.0


@dataclass
class Report:
    """What was checked and found. ``notes`` are worth knowing but not faults.

    ``proof`` says up to which entry seals reach; ``removals`` are orders that no seal covers.
    """

    entries: int = 0
    sounds: int = 0
    removed: int = 0
    seals: int = 0
    signed: int = 0
    faults: list[Fault] = field(default_factory=list)
    notes: list[Fault] = field(default_factory=list)
    proof: Proof = field(default_factory=Proof)


class Verifier:
    """Takes every entry in order, then reports. ``witnesses`` are seals kept outside the folder."""

    def __init__(
        self,
        folder: SurveyFolder,
        signer: str | None = None,
        witnesses: Sequence[Witness] = (),
        *,
        hashed: bool = True,
        absent: bool = False,
    ) -> None:
        """``hashed`` and ``absent`` as in ``SoundCheck``."""
        self._folder = folder
        self._chain, self._clock = ChainCheck(), ClockCheck()
        self._sounds = SoundCheck(hashed, absent)
        self._faults: list[Fault] = []
        try:
            kept = read_seals(seals_path(folder))
        except CalloutError as error:
            kept = []
            self._faults.append(Fault(0, str(error)))
        self._seals = SealCheck(kept, signer, witnesses)
        self._count = 0

    def take(self, entry: Entry) -> None:
        """Take the next entry."""
        self._count += 1
        self._chain.take(entry)
        self._seals.take(entry)
        self._clock.take(entry)
        self._sounds.take(entry)

    @property
    def broken(self) -> bool:
        """Whether the hash chain is broken so far."""
        return bool(self._chain.faults)

    def report(self, faults: Iterable[Fault]) -> Report:
        """The findings, including ``faults`` of the file itself."""
        sounds = self._sounds.report(self._folder)
        seals = self._seals.finish()
        found = Report(
            self._count, sounds.named, sounds.removed, seals.lines, seals.signed, proof=seals.proof
        )
        found.faults += [*faults, *self._faults, *self._chain.finish(), *seals.faults]
        found.faults += sounds.faults
        found.faults.sort(key=lambda fault: fault.entry)
        found.notes += [*seals.notes, *self._clock.notes, *sounds.notes]
        return found


def verify_journal(
    folder: SurveyFolder,
    snapshot: Snapshot,
    signer: str | None = None,
    witnesses: Sequence[Witness] = (),
) -> Report:
    """Check a whole journal that is in memory: the chain, the seals, clocks and sounds.

    With ``signer``, a public key kept elsewhere, the report says how far its signatures reach.
    """
    verifier = Verifier(folder, signer, witnesses)
    for entry in snapshot.entries:
        verifier.take(entry)
    return verifier.report(snapshot.faults)


# ---- the chain ----


class ChainCheck:
    """Every place where the hash chain is broken, the first one first."""

    def __init__(self) -> None:
        self._expected, self._before = 1, GENESIS
        self.faults: list[Fault] = []

    def take(self, entry: Entry) -> None:
        """Take the next entry."""
        if entry.seq != self._expected:
            self._fault(self._expected, f"missing: entry {entry.seq} stands in its place")
        elif entry.prev != self._before:
            self._fault(entry.seq, "altered, or not in its place: it does not name the one before")
        elif not _hash_is_right(entry):
            self._fault(entry.seq, "altered: its hash is not that of what it holds")
        elif entry.kind == KIND and not _counts_right(entry):
            self._fault(entry.seq, "the seal does not count what stands before it")
        self._expected, self._before = entry.seq + 1, entry.hash

    def finish(self) -> list[Fault]:
        """All faults; a journal without entries is a fault too."""
        if self._expected == 1:
            self._fault(1, "the journal holds no entry")
        return self.faults

    def _fault(self, entry: int, what: str) -> None:
        self.faults.append(Fault(entry, what))


def chain_faults(entries: Iterable[Entry]) -> Iterator[Fault]:
    """The faults of a chain that is in memory as a whole."""
    check = ChainCheck()
    for entry in entries:
        check.take(entry)
    yield from check.finish()


def _hash_is_right(entry: Entry) -> bool:
    try:
        found = entry_hash(entry.seq, entry.at, entry.kind, entry.body, entry.prev)
    except (TypeError, ValueError):  # what is not text, or not UTF-8
        return False
    return found == entry.hash


def _counts_right(entry: Entry) -> bool:
    try:
        content = entry.content
    except CalloutError:
        return False
    return content.get("entries") == entry.seq - 1 and content.get("hash") == entry.prev


# ---- clocks ----


class ClockCheck:
    """Entries whose clock is before that of the previous one; the chain gives their order."""

    def __init__(self) -> None:
        self._before: datetime | None = None
        self.notes: list[Fault] = []

    def take(self, entry: Entry) -> None:
        """Take the next entry."""
        try:
            at = datetime.fromisoformat(entry.at)
            back_s = (self._before - at).total_seconds() if self._before else 0.0
        except (TypeError, ValueError):
            told = f"its time {entry.at!r} is no time with an offset"
            self.notes.append(Fault(entry.seq, told))
            return
        if back_s > CLOCK_SLACK_S and not (back_s <= PRESS_SLACK_S and _is_press(entry)):
            told = f"the clock ran backwards by {back_s:.0f} s before it"
            self.notes.append(Fault(entry.seq, told))
        self._before = at


def _is_press(entry: Entry) -> bool:
    with suppress(CalloutError):  # the chain reports that it was altered
        return entry.kind == "heard" and entry.content.get("source") == "tape"
    return False
