"""What the office's page shows of a survey or site, and the rulings made there, written at once.

Where a journal was added to by another program, all is read again. Growth is judged beside it.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from callout.core.counted import counted
from callout.core.errors import OperatorError
from callout.core.model import Reading
from callout.crews.place import Standing
from callout.crews.twice import Disagreement, disagreements
from callout.journal.folder import SurveyFolder
from callout.journal.rulings import Ruling
from callout.office.asked import Asked
from callout.office.cards import CardOf, Memo, PairOf, cards, ruling_name
from callout.office.desk_growth import GROWTH_TOLD, Growth
from callout.office.desk_index import DeskIndex, Found, states_at
from callout.office.desk_sounds import DeskSounds
from callout.office.judging import Judging
from callout.office.ruling_book import RulingBook
from callout.reports.quality.agreement import Tolerance
from callout.reports.readings import notes_by_tree

PAGE = 50
_PATIENCE_S = 1.0
LISTS = ("left", "twice", "flagged", "growth", "notes", "ruled", "all", "gone")


@dataclass(frozen=True)
class Written:
    """A ruling that was written, its reading's name, and what names the ruling itself."""

    told: str
    name: str
    seen: str


@dataclass(frozen=True)
class Listed:
    """Part of a list as HTML, how many there are in all, and where to go on (0: the end)."""

    html: str
    count: int
    following: int


class Desk:
    """A survey or site as one page. May be used from several threads."""

    index: DeskIndex
    _judging: Judging
    _round: object
    growth_told = GROWTH_TOLD

    def __init__(self, path: Path) -> None:
        self._path = path
        self._lock = threading.RLock()
        self._built: tuple[object, ...] = ()
        self.ruled = 0
        self._fresh()

    def _fresh(self) -> None:
        """Read all again where any journal is another than it was."""
        now = states_at(self._path)
        if now == self._built:
            return
        if self._built:
            self._judging.begin()  # it sees that its index is the old one
            self.index.close()
        with ExitStack() as failed:
            self.index = DeskIndex(self._path)
            failed.callback(self.index.close)
            self._take_over()
            failed.pop_all()
        self._built = now

    def close(self) -> None:
        """Give up what was read; nothing is shown after."""
        with self._lock:
            self._round = None
            self._judging.begin()  # its thread sees that, and ends
            self.index.close()

    def _take_over(self) -> None:
        self._sounds = DeskSounds([folder for _, folder in self.index.parts])
        self._told = [_memos(folder) for _, folder in self.index.parts]
        self._notes = [notes_by_tree(memos) for memos in self._told]
        self._growth = Growth(self.index)
        self._book = RulingBook(self._path, self.index)
        self._turn()
        self._judging = Judging(
            self.index,
            self._growth,
            self._lock,
            partial(self._round_of, self.index),
            lambda: self._counts.pop("growth", None),
        )

    def _turn(self) -> None:
        """What was counted and paired holds until somebody rules."""
        self._round = object()
        self._counts: dict[str, int] = {}
        self._all_pairs: list[Disagreement] | None = None

    def _round_of(self, index: DeskIndex) -> object:
        return self._round if self.index is index else None

    # ---- lists ----

    @property
    def name(self) -> str:
        """What the survey or site is called."""
        return self.index.name

    @property
    def about(self) -> str:
        """Whose journals these are."""
        told = [
            f"{one.who} from {one.at[:10]} ({one.short})" if one else folder.path.name
            for one, folder in self.index.parts
        ]
        return f"{counted(len(told), 'recorder')}: {', '.join(told)}"

    @property
    def first(self) -> str:
        """The list that is shown first."""
        return "twice" if len(self.index.parts) > 1 else "flagged"

    @property
    def judged(self) -> bool:
        """Whether the growth of every plot was judged."""
        return self._judging.done

    def plots(self) -> list[str]:
        """Every plot there is."""
        with self._lock:
            self._fresh()
            return self.index.plots()

    def counts(self) -> dict[str, int]:
        """How many each list holds; growth only once it was judged."""
        self._judging.wait(_PATIENCE_S)
        with self._lock:
            self._fresh()
            asked = [show for show in LISTS if show != "growth" or self.judged]
            for show in asked:
                if show not in self._counts:
                    self._counts[show] = self._counted(show)
            return {show: self._counts[show] for show in asked}

    def _counted(self, show: str) -> int:
        if show == "left":
            return self.index.left(most=0)[1]
        if show == "twice":
            return len(self._pairs())
        if show == "notes":
            return len(self._memos())
        return self.index.count(show)

    def listed(self, show: str, find: str = "", plot: str = "", start: int = 0) -> Listed:
        """A part of the list ``show``. Raises OperatorError for a list that there is not."""
        if show not in LISTS:
            raise OperatorError(f"no list {show!r}: there are {', '.join(LISTS)}")
        if show == "growth":
            self._judging.wait(_PATIENCE_S)
        with self._lock:
            if start == 0:
                self._fresh()
            items, count = self._items(show, find, plot, start)
            html = cards(show, items)
        upto = start + len(items)
        return Listed(html, count, upto if upto < count else 0)

    def _items(self, show: str, find: str, plot: str, start: int) -> tuple[Sequence[object], int]:
        if show == "left":
            return self.index.left(find, plot, start, PAGE)
        if show == "notes":
            memos = [memo for memo in self._memos() if memo.has(find, plot)]
            return memos[start : start + PAGE], len(memos)
        if show == "twice":
            pairs = self._pairs(find, plot)
            shown = pairs[start : start + PAGE]
            return [PairOf(one.about, *self._cards(_sides(one))) for one in shown], len(pairs)
        found = self.index.found(show, find, plot, start, PAGE)
        return self._cards(found), self.index.count(show, find, plot)

    def _memos(self) -> list[Memo]:
        return [
            Memo(memo, self._where(number), partial(self._sounds.of, number))
            for number, memos in enumerate(self._told)
            for memo in memos
        ]

    def _pairs(self, find: str = "", plot: str = "") -> list[Disagreement]:
        if self._all_pairs is None:
            newest = self._book.newest
            self._all_pairs = disagreements(
                [
                    Standing(str(one.recorder), reading, newest.get((one.recorder, one.entry)))
                    for one, reading in self._readings(self.index.found("several")).items()
                ],
                Tolerance().allowed,
            )
        if not find and not plot:
            return self._all_pairs
        asked = set(self.index.found("several", find, plot))
        return [pair for pair in self._all_pairs if asked & set(_sides(pair))]

    def _where(self, number: int) -> str:
        recorder, folder = self.index.parts[number]
        if recorder is None:
            return folder.path.name
        return f"{recorder.short}, from {recorder.at[:10]}"

    def _readings(self, found: Sequence[Found]) -> dict[Found, Reading]:
        read: dict[Found, Reading] = {}
        for number in dict.fromkeys(item.recorder for item in found):
            mine = [item.entry for item in found if item.recorder == number]
            with self.index.parts[number][1].reading() as reader:
                for reading in reader.readings(mine):
                    read[Found(number, reading.entry)] = reading
        return {item: read[item] for item in found if item in read}

    def _cards(self, found: Sequence[Found]) -> list[CardOf]:
        made = []
        for item, reading in self._readings(found).items():
            recorder = self.index.parts[item.recorder][0]
            about = (reading.plot, reading.tag)
            made.append(
                CardOf(
                    sound_of=partial(self._sounds.of, item.recorder),
                    recorder=recorder.id if recorder is not None else "",
                    where=self._where(item.recorder),
                    reading=reading,
                    past=self._growth.past(item, reading),
                    since=self.index.since(item),
                    grown=self.index.grown(item),
                    ruling=self._book.newest.get((item.recorder, item.entry)),
                    notes=self._notes[item.recorder].get(about, ()),
                )
            )
        return made

    def sound(self, digest: str) -> bytes:
        """The FLAC of a sound that was shown. Raises CalloutError for any other."""
        with self._lock:
            return self._sounds.read(digest)

    # ---- rulings ----

    def rule(self, asked: Sequence[Asked], accepted: bool = False) -> list[Written]:
        """Write rulings, all or none, at once; raises as ``RulingBook.write``."""
        with self._lock:
            known: list[bool] = []
            made = self._book.write(
                asked, accepted, lambda: known.append(states_at(self._path) == self._built)
            )
            if known[-1]:  # what another program added meanwhile is read at the next asking
                self._built = states_at(self._path)
            self.ruled += len(made)
            self._turn()
            ruled = [Found(self._book.number(one.recorder), one.proposed.entry) for one in asked]
            readings = self._readings(ruled)
            for plot in {reading.plot for reading in readings.values()}:
                self._growth.judge(plot)
            return [
                Written(
                    _told(readings[found], ruling),
                    f"{one.recorder}:{one.proposed.entry}",
                    ruling_name(self._book.newest.get((found.recorder, found.entry))),
                )
                for one, found, ruling in zip(asked, ruled, made, strict=True)
            ]


def _sides(pair: Disagreement) -> list[Found]:
    return [Found(int(side.recorder), side.reading.entry) for side in (pair.first, pair.second)]


def _told(reading: Reading, ruling: Ruling) -> str:
    return f"{reading.plot} {reading.tag}, {reading.told} {ruling.told}"


def _memos(folder: SurveyFolder) -> Sequence[Mapping[str, Any]]:
    with folder.reading() as reader:
        return reader.memos()
