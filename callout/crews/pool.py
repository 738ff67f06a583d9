"""Combines entries of many recorders: any parts, in any order, as often as you like.

An entry is identified by its recorder and its number there, and never changes. Pure: no files here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from callout.core.errors import OperatorError
from callout.crews.recorder import SHORT_LETTERS
from callout.journal.reader import Entry

Pool = Mapping[str, Mapping[int, Entry]]


class ForkError(OperatorError):
    """Two journals claim the same recorder and number for different entries."""


def pooled(parts: Iterable[tuple[str, Iterable[Entry]]]) -> Pool:
    """All entries of ``parts`` (recorder, entries), each once.

    Raises ForkError naming the first entry that differs between two parts.
    """
    found: dict[str, dict[int, Entry]] = {}
    faults: dict[tuple[str, int], Entry] = {}
    for recorder, entries in parts:
        known = found.setdefault(recorder, {})
        for entry in entries:
            if known.setdefault(entry.seq, entry) != entry:
                faults[recorder, entry.seq] = entry
    if faults:
        recorder, seq = min(faults)
        raise ForkError(_forked(recorder, found[recorder][seq], faults[recorder, seq]))
    return found


def _forked(recorder: str, one: Entry, other: Entry) -> str:
    short = recorder[:SHORT_LETTERS]
    return (
        f"two journals of recorder {short} go different ways at entry {one.seq}: "
        f"{one.kind} at {one.at} in one, {other.kind} at {other.at} in the other. A folder was "
        "copied after it had been opened, and both copies were worked in. Neither is taken: unite "
        "them into two sites and rule on each, and copy folders only before their first opening"
    )


def chain(entries: Mapping[int, Entry]) -> list[Entry]:
    """The usable entries of one recorder: from its first one up to the first gap."""
    whole: list[Entry] = []
    while (following := entries.get(len(whole) + 1)) is not None:
        whole.append(following)
    return whole


def waiting(entries: Mapping[int, Entry]) -> int:
    """How many entries come after a gap, and wait for the missing one."""
    return len(entries) - len(chain(entries))
