"""The newest seal that a private key made of each survey, stored beside the key, one per line.

A folder that was restored from a copy, or whose journal was rewritten, no longer holds that seal,
and this key then does not seal it without a person's consent. A survey is identified by the hash of
its first entry and of its first opening; before it is opened by the former alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from callout.core.errors import OperatorError
from callout.journal.codec import KINDS
from callout.journal.reader import JournalReader
from callout.proof.seals import Seal, seal_of
from callout.survey.files import storage_errors, write_whole

_UNOPENED = "-"


@dataclass(frozen=True)
class Made:
    """A line of the file.

    It holds the public key, the survey's first entry and first opening, and the newest seal (or the
    entry that named the key, before there is one).
    """

    public: str
    root: str
    opening: str
    seal: Seal

    @property
    def survey(self) -> tuple[str, str]:
        """The identity of the survey."""
        return self.root, self.opening

    @property
    def line(self) -> str:
        """The line, without its line end."""
        return f"{self.public} {self.root} {self.opening} {self.seal.line}"


def made_path(key: Path) -> Path:
    """The file where a key's seals are remembered: beside the key."""
    return key.with_suffix(".made")


def survey_of(reader: JournalReader) -> tuple[str, str]:
    """The identity of a survey: the hashes of its first entry and its first opening."""
    root, opening = reader.entry(1), reader.first((*KINDS, "office"))
    if root is None:
        raise OperatorError("the journal is empty: there is nothing to seal")
    return root.hash, opening.hash if opening else _UNOPENED


class MadeSeals:
    """The seals made with the key at ``key``. Reads and writes one small file."""

    def __init__(self, key: Path, public: str) -> None:
        self._path, self._public = made_path(key), public

    def of(self, survey: tuple[str, str]) -> Seal | None:
        """The newest seal of a survey, or of the same one before its first opening."""
        known = {item.survey: item.seal for item in self._read() if item.public == self._public}
        return known.get(survey) or known.get((survey[0], _UNOPENED))

    def remember(self, survey: tuple[str, str], seal: Seal) -> None:
        """Make ``seal`` the newest one."""
        taken = {survey, (survey[0], _UNOPENED)}
        lines = [
            item for item in self._read() if item.public != self._public or item.survey not in taken
        ]
        lines.append(Made(self._public, *survey, seal))
        write_whole(self._path, "".join(f"{item.line}\n" for item in lines).encode())

    def _read(self) -> Sequence[Made]:
        if not self._path.exists():
            return []
        with storage_errors(f"cannot read {self._path}"):
            text = self._path.read_text(encoding="utf-8", errors="replace")
        return [_made(self._path, number, line) for number, line in enumerate(text.splitlines(), 1)]


def _made(path: Path, number: int, line: str) -> Made:
    parts = line.split(" ", 3)
    seal = seal_of(parts[3]) if len(parts) == 4 else None
    if seal is None:
        raise OperatorError(
            f"{path}, line {number} is no seal that was made: put the file back from a copy, or "
            "take it away and name the key again with 'callout key'"
        )
    return Made(parts[0], parts[1], parts[2], seal)
