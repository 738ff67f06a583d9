"""What the office's page shows of a survey or site, and the rulings made there, written at once.

Where a journal was added to by another program, all is read again.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

from callout.core.counted import counted
from callout.core.errors import OperatorError
from callout.core.model import PastMeasurement, Reading
from callout.core.units import Unit
from callout.crews.place import Standing
from callout.crews.site import Site, is_site, site_folders
from callout.crews.twice import Disagreement, disagreements
from callout.journal.folder import SurveyFolder, open_survey
from callout.journal.removals import removed_in
from callout.journal.rulings import Ruling
from callout.office.asked import Asked
from callout.office.cards import CardOf, card, left_card, note_card, pair_card
from callout.office.desk_index import DeskIndex, Found
from callout.office.desk_tables import GROWTH_TOLD
from callout.office.ruling_book import RulingBook
from callout.reports.quality.agreement import Tolerance
from callout.reports.readings import notes_by_tree

PAGE = 50
LISTS = ("left", "twice", "flagged", "growth", "notes", "ruled", "all", "gone")


@dataclass(frozen=True)
class Listed:
    """Part of a list: its cards, how many there are in all, and where to go on (0: the end)."""

    cards: Sequence[str]
    count: int
    following: int


class Desk:
    """A survey or site as one page. May be used from several threads."""

    index: DeskIndex

    def __init__(self, path: Path) -> None:
        self._path = path
        self._lock = threading.RLock()
        self._built: tuple[object, ...] = ()
        self.ruled = 0
        self._fresh()

    def _fresh(self) -> None:
        """Read all again where any journal is another than it was."""
        now = self._states()
        if now == self._built:
            return
        if self._built:
            self.index.close()
        self.index = DeskIndex(self._path)
        self._built = now
        self._sounds: dict[str, tuple[SurveyFolder, str]] = {}
        self._gone = [self._removed(folder) for _, folder in self.index.parts]
        self._book = RulingBook(self._path, self.index)

    def _folders(self) -> Sequence[SurveyFolder]:
        return site_folders(Site(self._path)) if is_site(self._path) else [open_survey(self._path)]

    def _removed(self, folder: SurveyFolder) -> Mapping[str, int]:
        with folder.reading() as reader:
            if not reader.of_kind("sound_removed"):
                return {}
            return removed_in(reader.entries())

    # ---- lists ----

    @property
    def name(self) -> str:
        """What the survey or site is called."""
        return self.index.name

    @property
    def about(self) -> str:
        """Whose journals these are."""
        parts = self.index.parts
        names = [one.told if one else folder.path.name for one, folder in parts]
        return f"{counted(len(parts), 'recorder')}: {', '.join(names)}"

    growth_told = GROWTH_TOLD

    def plots(self) -> list[str]:
        """Every plot there is."""
        with self._lock:
            self._fresh()
            return self.index.plots()

    def counts(self) -> dict[str, int]:
        """How many each list holds."""
        with self._lock:
            self._fresh()
            told = {show: self.index.count(show) for show in ("flagged", "growth", "ruled", "all")}
            return {
                "left": self.index.left(most=0)[1],
                "twice": len(self._pairs()),
                "notes": len(self._memos()),
                "gone": self.index.count("gone"),
                **told,
            }

    def listed(self, show: str, find: str = "", plot: str = "", start: int = 0) -> Listed:
        """A part of the list ``show``. Raises OperatorError for a list that there is not."""
        if show not in LISTS:
            raise OperatorError(f"no list {show!r}: there are {', '.join(LISTS)}")
        with self._lock:
            if start == 0:
                self._fresh()
            if show == "left":
                trees, count = self.index.left(find, plot, start, PAGE)
                cards = [left_card(tree, self.index.names[tree.roster]) for tree in trees]
            elif show == "notes":
                cards, count = self._notes(find, plot, start)
            elif show == "twice":
                cards, count = self._twice(find, plot, start)
            else:
                found = self.index.found(show, find, plot, start, PAGE)
                count = self.index.count(show, find, plot)
                cards = [card(item, self.address) for item in self._cards(found)]
        upto = start + len(cards)
        return Listed(cards, count, upto if upto < count else 0)

    def _memos(self) -> list[tuple[int, dict[str, Any]]]:
        found = []
        for number, (_, folder) in enumerate(self.index.parts):
            with folder.reading() as reader:
                found += [(number, memo) for memo in reader.memos()]
        return found

    def _notes(self, find: str, plot: str, start: int) -> tuple[list[str], int]:
        wanted = [
            (number, memo)
            for number, memo in self._memos()
            if plot in ("", memo["plot"])
            and find.casefold() in f"{memo['plot']} {memo['tag']} {memo['words']}".casefold()
        ]
        for number, memo in wanted:
            self._known(number, memo["audio"])
        cards = [
            note_card(memo, self._where(number), self.address)
            for number, memo in wanted[start : start + PAGE]
        ]
        return cards, len(wanted)

    def _pairs(self, find: str = "", plot: str = "") -> list[Disagreement]:
        several = self.index.found("several", find, plot)
        standing = [
            Standing(
                str(found.recorder), reading, self._book.newest.get((found.recorder, found.entry))
            )
            for found, reading, _ in self._readings(several)
        ]
        return disagreements(standing, Tolerance().allowed)

    def _twice(self, find: str, plot: str, start: int) -> tuple[list[str], int]:
        pairs = self._pairs(find, plot)
        cards = []
        for pair in pairs[start : start + PAGE]:
            both = [
                Found(int(side.recorder), side.reading.entry) for side in (pair.first, pair.second)
            ]
            first, second = self._cards(both)
            cards.append(pair_card(pair, first, second, self.address))
        return cards, len(pairs)

    def _where(self, number: int) -> str:
        recorder, folder = self.index.parts[number]
        return recorder.told if recorder is not None else folder.path.name

    def _readings(
        self, found: Sequence[Found]
    ) -> list[tuple[Found, Reading, Sequence[Mapping[str, Any]]]]:
        """Each found reading with the notes about its tree; a journal is opened once."""
        read: dict[Found, tuple[Reading, Sequence[Mapping[str, Any]]]] = {}
        for number in dict.fromkeys(item.recorder for item in found):
            with self.index.parts[number][1].reading() as reader:
                about = notes_by_tree(reader.memos())
                for item in found:
                    reading = reader.reading(item.entry) if item.recorder == number else None
                    if reading is not None:
                        read[item] = reading, about.get((reading.plot, reading.tag), ())
        return [(item, *read[item]) for item in found if item in read]

    def _cards(self, found: Sequence[Found]) -> list[CardOf]:
        cards = []
        for item, reading, notes in self._readings(found):
            recorder = self.index.parts[item.recorder][0]
            for audio in (reading.audio, *(memo["audio"] for memo in notes)):
                self._known(item.recorder, audio)
            cards.append(
                CardOf(
                    recorder.id if recorder is not None else "",
                    self._where(item.recorder),
                    reading,
                    tuple(self._past(item)),
                    self.index.since(item),
                    self._book.newest.get((item.recorder, item.entry)),
                    notes,
                )
            )
        return cards

    def _past(self, found: Found) -> list[PastMeasurement]:
        """A roster's earlier sizes, and what another visit of the same site measured."""
        past = []
        for day, value, unit, recorder, entry in self.index.before(found):
            if recorder < 0:
                past.append(PastMeasurement(date.fromisoformat(day), Decimal(value), Unit(unit)))
                continue
            with self.index.parts[recorder][1].reading() as reader:
                reading = reader.reading(entry)
            if reading is not None and reading.value is not None:
                on = datetime.fromisoformat(reading.at).date()
                past.append(PastMeasurement(on, reading.value, reading.unit))
        return past

    # ---- sounds ----

    def _known(self, number: int, digest: str | None) -> None:
        if digest:
            order = self._gone[number].get(digest)
            fault = f"removed by order, entry {order}" if order else ""
            self._sounds[digest] = self.index.parts[number][1], fault

    def address(self, digest: str) -> tuple[str, str]:
        """Where the page finds a sound that a card names, or why there is none."""
        folder, fault = self._sounds[digest]
        if not fault and not folder.audio.has(digest):
            fault = "missing"
        return f"sound/{digest}", fault

    def sound(self, digest: str) -> bytes:
        """The FLAC of a sound that was shown. Raises CalloutError for any other."""
        with self._lock:
            known = self._sounds.get(digest)
        if known is None or known[1]:
            raise OperatorError("there is no such sound")
        return known[0].audio.read(digest)

    # ---- rulings ----

    def rule(self, asked: Sequence[Asked], accepted: bool = False) -> list[Ruling]:
        """Write rulings, all or none, at once; raises as ``RulingBook.write``."""
        with self._lock:
            known: list[bool] = []
            made = self._book.write(asked, accepted, lambda: known.append(self._is_known()))
            if known[-1]:  # what another program added meanwhile is read at the next asking
                self._built = self._states()
            self.ruled += len(made)
            return made

    def _states(self) -> tuple[object, ...]:
        return tuple(_state(folder) for folder in self._folders())

    def _is_known(self) -> bool:
        return self._states() == self._built


def _state(folder: SurveyFolder) -> tuple[str, int, int]:
    """What tells a journal that was added to from what it was."""
    found = folder.database.stat()
    return str(folder.path), found.st_mtime_ns, found.st_size
