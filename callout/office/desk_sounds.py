"""The sounds that the office's page has shown, by their hash: no other is ever given out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from callout.core.errors import OperatorError
from callout.journal.folder import SurveyFolder
from callout.journal.removals import removed_in


class DeskSounds:
    """Of the journals in ``folders``, which are named by their place there."""

    def __init__(self, folders: Sequence[SurveyFolder]) -> None:
        self._folders = folders
        self._gone = [_removed(folder) for folder in folders]
        self._known: dict[str, tuple[SurveyFolder, str]] = {}

    def of(self, number: int, digest: str) -> tuple[str, str]:
        """Where the page finds a sound of a journal, or why there is none."""
        folder, order = self._folders[number], self._gone[number].get(digest)
        fault = f"removed by order, entry {order}" if order else ""
        if not fault and not folder.audio.has(digest):
            fault = "missing"
        self._known[digest] = folder, fault
        return f"sound/{digest}", fault

    def read(self, digest: str) -> bytes:
        """The FLAC of a sound that was shown. Raises CalloutError for any other."""
        folder, fault = self._known.get(digest, (None, ""))
        if folder is None or fault:
            raise OperatorError("there is no such sound")
        return folder.audio.read(digest)


def _removed(folder: SurveyFolder) -> Mapping[str, int]:
    with folder.reading() as reader:
        if not reader.of_kind("sound_removed"):
            return {}
        return removed_in(reader.entries())
