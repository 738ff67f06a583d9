"""The office's rulings on readings of a united site, in a journal of the office's own.

A ruling names the recorder and the entry there. The recorders' journals are not changed, so that
they can go on growing elsewhere. Of several rulings on a reading the newest counts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from callout.crews.site import Held, Site, office_writer
from callout.journal.codec import canonical
from callout.journal.reader import Entry
from callout.journal.rulings import KIND, WITHDRAWN, Ruling, ruling_body, ruling_from

Key = tuple[str, int]
"""A recorder's id and the number of an entry there."""


def office_rulings(held: Iterable[Held]) -> Mapping[Key, Ruling]:
    """The newest ruling that an office made on each reading."""
    found: list[tuple[str, str, int, Key, Ruling]] = []
    for item in held:
        if not item.recorder.office:
            continue
        with item.folder.reading() as reader:
            entries = reader.of_kind(KIND)
        for entry in entries:
            key, ruling = _ruling(entry)
            found.append((in_utc(entry.at), item.recorder.id, entry.seq, key, ruling))
    newest = {key: ruling for *_, key, ruling in sorted(found, key=lambda one: one[:3])}
    return {key: ruling for key, ruling in newest.items() if ruling.verdict != WITHDRAWN}


def _ruling(entry: Entry) -> tuple[Key, Ruling]:
    content: dict[str, Any] = dict(entry.content)
    recorder = str(content.pop("recorder", ""))
    plain = replace(entry, body=canonical(content))
    ruling = ruling_from(plain)
    return (recorder, ruling.reading), ruling


def in_utc(at: str) -> str:
    """A journal's time in UTC, as text that sorts by time."""
    return datetime.fromisoformat(at).astimezone(UTC).isoformat()


def add_rulings(
    site: Site,
    rulings: Sequence[tuple[str, Ruling]],
    at: str,
    still: Callable[[], None] = lambda: None,
) -> None:
    """Journal rulings (recorder's id, ruling), all or none. They were checked before; ``still``

    is asked once nobody else can rule, and raises where they may not be made any more.
    """
    with site.locked():
        still()
        writer = office_writer(site, at)
        try:
            writer.append_all(
                at, [(KIND, {"recorder": name, **ruling_body(ruling)}) for name, ruling in rulings]
            )
        finally:
            writer.close()
