"""Checks seals against the journal: the lines beside it, their signatures, and copies outside.

Reads only. ``Proof`` says up to which entry something is proved.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from callout.core.errors import CalloutError
from callout.journal.reader import Entry
from callout.journal.removals import KIND as REMOVED
from callout.proof.findings import Fault
from callout.proof.seals import KIND, Seal
from callout.proof.signatures import KIND as SIGNER
from callout.proof.signatures import MISSING, can_sign, is_right
from callout.proof.witness import Witness

_Item = TypeVar("_Item", Seal, Witness)


@dataclass
class Proof:
    """How far what is kept outside reaches.

    ``last`` is the journal's last entry, ``sealed`` the newest seal in it, ``signed`` the newest
    that the wanted key signed, ``witnessed`` those that a copy outside holds, each with its time.
    ``orders`` are orders to remove sound.
    """

    last: int = 0
    sealed: int = 0
    signed: tuple[int, str] | None = None
    witnessed: list[tuple[int, str]] = field(default_factory=list)
    orders: list[int] = field(default_factory=list)

    def orders_after(self, entry: int) -> list[int]:
        """Orders to remove sound that a seal at ``entry`` does not cover."""
        return [order for order in self.orders if order > entry]


@dataclass
class SealReport:
    """The result of checking the seals."""

    lines: int
    signed: int
    faults: list[Fault]
    notes: list[Fault]
    proof: Proof


class SealCheck:
    """Takes every entry in order. ``kept`` are the lines beside the journal.

    ``wanted`` is a public key kept elsewhere; ``witnesses`` are seals kept elsewhere.
    """

    def __init__(
        self, kept: Sequence[Seal], wanted: str | None, witnesses: Sequence[Witness]
    ) -> None:
        self._kept, self._wanted, self._witnesses = kept, wanted, witnesses
        self._lines = _by_entry(kept)
        self._outside = _by_entry(witnesses)
        self._signers: dict[str, int] = {}
        self._before: Seal | None = None
        self._lineless: list[int] = []
        self._met: set[int] = set()
        self._faults: list[Fault] = []
        self._notes: list[Fault] = []
        self._proof = Proof()

    def take(self, entry: Entry) -> None:
        """Take the next entry."""
        self._proof.last = entry.seq
        for seal in self._lines.get(entry.seq, ()):
            if entry.hash != seal.hash:
                self._fault(entry.seq, "not the entry that seals.txt seals")
        for witness in self._outside.get(entry.seq, ()):
            self._met.add(id(witness))
            if witness.fits(entry.hash):
                self._proof.witnessed.append((entry.seq, entry.at))
            else:
                self._fault(entry.seq, f"not the entry that was witnessed: {witness.where}")
        if entry.kind == SIGNER:
            self._name(entry)
        elif entry.kind == REMOVED:
            self._proof.orders.append(entry.seq)
        elif entry.kind == KIND:
            self._seal(entry)

    def _name(self, entry: Entry) -> None:
        try:
            self._signers.setdefault(str(entry.content.get("public")), entry.seq)
        except CalloutError:
            return  # the chain reports that it was altered

    def _seal(self, entry: Entry) -> None:
        try:
            content = entry.content
        except CalloutError:
            content = {}
        before = self._before
        named = None if before is None else [before.entry, before.hash]
        if "before" in content and content["before"] != named:
            self._fault(entry.seq, "another seal stands before this one than it names")
        if entry.seq not in self._lines:
            self._lineless.append(entry.seq)
        self._before = Seal(entry.seq, entry.hash, entry.at)
        self._proof.sealed = entry.seq

    def finish(self) -> SealReport:
        """The result."""
        last = self._proof.last
        for seal in self._kept:
            if seal.entry > last:
                self._fault(last + 1, f"the tail is cut off: seals.txt seals entry {seal.entry}")
        for witness in self._witnesses:
            if witness.entry > last:
                told = f"the tail is cut off: entry {witness.entry} was witnessed, {witness.where}"
                self._fault(last + 1, told)
            elif id(witness) not in self._met:
                self._fault(witness.entry, f"missing, and it was witnessed: {witness.where}")
        newest = max(self._lines, default=0)
        for entry in self._lineless:
            lost = Fault(entry, "this seal has no line in seals.txt")
            # A crash may keep the newest lines from being written; older ones were, in their order.
            (self._faults if entry < newest else self._notes).append(lost)
        self._signatures()
        signed = sum(bool(seal.signature) for seal in self._kept)
        return SealReport(len(self._kept), signed, self._faults, self._notes, self._proof)

    def _signatures(self) -> None:
        first = min(self._signers.values(), default=None)
        wanted = self._wanted
        if wanted is not None and wanted not in self._signers:
            self._fault(0, f"the journal does not name the key {wanted[:16]}…")
        for seal in self._kept:
            if seal.signature:
                self._signature(seal)
            elif first is not None and seal.entry > first:
                self._notes.append(Fault(seal.entry, "this seal is not signed"))
        for witness in self._witnesses:
            if witness.seal is not None and witness.seal.signature:
                self._signature(witness.seal)

    def _signature(self, seal: Seal) -> None:
        public = seal.signature.partition(":")[0]
        if not can_sign():
            self._notes.append(Fault(seal.entry, f"its signature was not checked: {MISSING}"))
            return
        if not is_right(seal):
            self._fault(seal.entry, f"its signature is not that of the key {public[:16]}…")
        elif self._signers.get(public, seal.entry) >= seal.entry:
            told = f"signed by {public[:16]}…, a key that the journal did not name by then"
            self._fault(seal.entry, told)
        elif public == self._wanted and (
            self._proof.signed is None or seal.entry > self._proof.signed[0]
        ):
            self._proof.signed = (seal.entry, seal.at)

    def _fault(self, entry: int, what: str) -> None:
        self._faults.append(Fault(entry, what))


def _by_entry(items: Sequence[_Item]) -> dict[int, list[_Item]]:
    found: dict[int, list[_Item]] = {}
    for item in items:
        found.setdefault(item.entry, []).append(item)
    return found
