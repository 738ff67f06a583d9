"""The rulings of a survey or site as its page reads and writes them, one writer at a time.

A ruling names the one it was made upon: where somebody ruled meanwhile it is refused, so that two
browsers, or one that asks twice, never rule twice.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from pathlib import Path

from callout.core.errors import OperatorError
from callout.crews.site import Site
from callout.crews.site_rulings import add_rulings, office_rulings
from callout.journal.codec import stamp
from callout.journal.rulings import Ruling, rulings
from callout.office.asked import Asked, MeanwhileError, patiently
from callout.office.cards import ruling_name
from callout.office.desk_index import DeskIndex


class RulingBook:
    """``newest`` has the ruling on each reading, by its recorder's number and entry."""

    def __init__(self, path: Path, index: DeskIndex) -> None:
        self._path, self._index = path, index
        self.newest: Mapping[tuple[int, int], Ruling] = {}
        self.read()

    def read(self) -> None:
        """Read the rulings again, and tell the index of them."""
        found: dict[tuple[int, int], Ruling] = {}
        office = office_rulings(Site(self._path).held()) if self._index.united else {}
        for number, (recorder, folder) in enumerate(self._index.parts):
            with folder.reading() as reader:
                own = rulings(reader)
            found.update({(number, entry): ruling for entry, ruling in own.items()})
            if recorder is not None:
                found.update(
                    {(number, key[1]): one for key, one in office.items() if key[0] == recorder.id}
                )
        self.newest = found
        self._index.rule(
            (number, entry, one.verdict, "" if one.value is None else str(one.value))
            for (number, entry), one in found.items()
        )

    def write(
        self, asked: Sequence[Asked], accepted: bool, alone: Callable[[], None]
    ) -> list[Ruling]:
        """Write rulings, all or none; ``alone`` is called once nobody else can write.

        Raises OperatorError where one cannot be taken, MeanwhileError where another ruling was
        made since.
        """

        def still() -> None:
            alone()
            self._refuse_meanwhile(asked)

        made = self._written(asked, stamp(datetime.now().astimezone()), accepted, still)
        self.read()
        return made

    def _written(
        self, asked: Sequence[Asked], at: str, accepted: bool, still: Callable[[], None]
    ) -> list[Ruling]:
        from callout.office.ruling import Bench, checked_ruling, rule  # slow to import

        proposed = [item.proposed for item in asked]
        if not self._index.united:
            folder = self._index.parts[0][1]
            return patiently(lambda: rule(folder, proposed, at, accepted, still))
        checked = []
        for item in asked:
            folder = self._index.parts[self.number(item.recorder)][1]
            checked.append((item.recorder, checked_ruling(Bench(folder), item.proposed, accepted)))
        patiently(lambda: add_rulings(Site(self._path), checked, at, still))
        return [ruling for _, ruling in checked]

    def _refuse_meanwhile(self, asked: Sequence[Asked]) -> None:
        """Asked once nobody else can rule; another program may have until then."""
        self.read()
        for item in asked:
            newest = self.newest.get((self.number(item.recorder), item.proposed.entry))
            if ruling_name(newest) != item.seen:
                told = newest.told if newest else "the ruling was withdrawn"
                raise MeanwhileError(f"somebody ruled on it meanwhile: {told}. Look again.")

    def number(self, recorder: str) -> int:
        """The place of a recorder among the index's parts, by its id ('' at a survey of one)."""
        for number, (one, _) in enumerate(self._index.parts):
            if not self._index.united or (one is not None and one.id == recorder):
                return number
        raise OperatorError(f"there is no recorder {recorder!r}")
