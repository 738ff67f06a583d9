"""Holds the signatures of a survey's seals against its keys. Reads only."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from callout.journal.faults import Fault
from callout.journal.seals import Seal
from callout.journal.signing import MISSING, can_sign, is_right


def signature_faults(
    kept: Sequence[Seal], signers: Mapping[str, int], wanted: str | None
) -> Iterator[tuple[Fault, bool]]:
    """What is wrong with the seals' signatures, and whether it breaks the proof.

    ``signers`` are the keys that the journal names, with the entry that does; ``wanted`` is a
    public key kept elsewhere, by which every seal must be signed from its entry on.
    """
    first = min(signers.values(), default=None)
    if wanted is not None and wanted not in signers:
        yield Fault(0, f"the journal does not name the key {wanted[:16]}…"), True
    elif wanted is not None:
        first = signers[wanted]
    for seal in kept:
        if seal.signature:
            yield from _of_signed(seal, signers, wanted)
        elif first is not None and seal.entry > first:
            yield Fault(seal.entry, "this seal is not signed"), wanted is not None
    if wanted is not None and not any(seal.signature.startswith(f"{wanted}:") for seal in kept):
        yield Fault(0, f"no seal is signed by the key {wanted[:16]}…"), True


def _of_signed(
    seal: Seal, signers: Mapping[str, int], wanted: str | None
) -> Iterator[tuple[Fault, bool]]:
    public = seal.signature.partition(":")[0]
    if not can_sign():
        yield Fault(seal.entry, f"its signature was not checked: {MISSING}"), wanted is not None
    elif not is_right(seal):
        yield Fault(seal.entry, f"its signature is not that of the key {public[:16]}…"), True
    if signers.get(public, seal.entry) >= seal.entry:
        told = f"signed by {public[:16]}…, a key that the journal did not name by then"
        yield Fault(seal.entry, told), True
    elif wanted is not None and public != wanted:
        yield Fault(seal.entry, f"signed by {public[:16]}…, not by {wanted[:16]}…"), True
