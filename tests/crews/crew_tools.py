"""Invented crews at Harrow Fen: copies of one survey, worked in by several people, and what a site
holds, told in plain values so that two sites can be compared."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from journal_tools import survey
from station_tools import BEGAN, ScriptedEngine, at_work, sound

from callout.crews.merge import Merged, Part, merge, parts_of
from callout.crews.site import Site, site_folders
from callout.journal.folder import SurveyFolder
from callout.journal.writer import JournalWriter
from callout.proof.seals import read_seals, seal, seals_path
from callout.proof.verify import take_snapshot
from callout.station.upkeep.table_check import table_faults

# Who, in which plot, minutes after the first, and what is said; 83 disagrees and 91 does not.
CREWS = (
    ("R.V.", "K1", 0, (("83", "24.6"), ("91", "12.3"))),
    ("M.O.", "K1", 40, (("83", "25.1"), ("91", "12.3"), ("83", "25.2"))),
    ("T.A.", "K2", 80, (("101", "30.4"),)),
)


def clock_from(minutes: int) -> Callable[[], datetime]:
    """A clock that moves on by a second whenever it is asked."""
    moments = iter(BEGAN + timedelta(minutes=minutes, seconds=n) for n in range(10**6))
    return lambda: next(moments)


def stages(where: Path) -> list[list[Path]]:
    """For each crew its folder as it was after each reading, the last one being the latest."""
    made = survey(where / "made").path
    return [_stages(made, where, *crew) for crew in CREWS]


def _stages(
    made: Path, where: Path, who: str, plot: str, minutes: int, work: tuple[tuple[str, str], ...]
) -> list[Path]:
    name = who.strip(".").replace(".", "")
    at_hand = where / name
    shutil.copytree(made, at_hand)
    now, found = clock_from(minutes), []
    engine = ScriptedEngine()
    for number, (tag, size) in enumerate(work):
        with at_work(SurveyFolder(at_hand), engine, now) as station:
            station.open(plot, who)
            engine.next_words = _spoken(tag, size)
            station.hear(sound(1000 * minutes + number))
            station.press("accept")
            for _ in range(3):  # accept what the checks question
                if station.memory.pending:
                    station.press("accept")
            assert not station.memory.pending
        _seal(at_hand, now)
        found.append(where / f"{name}-{number}")
        shutil.copytree(at_hand, found[-1])
    return found


_WORDS = {
    "83": "eighty three", "91": "ninety one", "101": "one oh one", "24.6": "twenty four point six",
    "12.3": "twelve point three", "25.1": "twenty five point one",
    "25.2": "twenty five point two", "30.4": "thirty point four",
}  # fmt: skip


def _spoken(tag: str, size: str) -> str:
    return f"tree {_WORDS[tag]} {_WORDS[size]}"


def _seal(path: Path, now: Callable[[], datetime]) -> None:
    writer = JournalWriter(path / "journal.db")
    try:
        seal(SurveyFolder(path), writer, now().isoformat(timespec="milliseconds"))
    finally:
        writer.close()


def found_in(*paths: Path) -> list[Part]:
    """The journals in these folders, checked as the command checks them."""
    return [part for path in paths for part in parts_of(path, table_faults)]


def unite(into: Path, *paths: Path) -> Merged:
    """What ``callout merge`` does, without a word."""
    return merge(found_in(*paths), into, lambda _: None)


def content(site: Path) -> dict[str, Any]:
    """Everything that a site holds, in plain values."""
    return {folder.path.name: folder_content(folder) for folder in site_folders(Site(site))}


def folder_content(folder: SurveyFolder) -> dict[str, Any]:
    snapshot = take_snapshot(folder.database)
    assert not snapshot.faults
    settings = folder.settings
    return {
        "entries": snapshot.entries,
        "tables": snapshot.tables,
        "seals": [item.line for item in read_seals(seals_path(folder))],
        "settings": settings.read_bytes() if settings.is_file() else None,
        "sounds": {path.name: path.read_bytes() for path in (folder.path / "audio").glob("*.flac")},
    }
