"""Seals: entries that count the journal, each repeated as one line of ``seals.txt`` beside it.

A hash chain cannot show that its end was cut off; a line kept outside the database can. A seal says
how many entries there are and which seal came before it. A line may carry a signature, made by
whoever holds a private key, when the seal is made and never later. No checking here: that is in
``verify``; callers verify before they seal (``station.signing``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from callout.core.errors import OperatorError
from callout.journal.folder import SurveyFolder
from callout.journal.reader import Entry
from callout.journal.writer import JournalWriter
from callout.survey.files import storage_errors, write_whole
from callout.survey.guard import read_plain

KIND = "sealed"
_MOST_FIGURES = 15
_MOST_BYTES = 64_000_000


Sign = Callable[[bytes], str]
"""Returns the end of a seal's line, for the bytes to be signed."""


@dataclass(frozen=True)
class Seal:
    """A sealing entry: its number, its hash, its time. One line of ``seals.txt``.

    ``signature`` is what the holder of a key added to the line, or ''.
    """

    entry: int
    hash: str
    at: str
    signature: str = field(default="", compare=False)

    @property
    def signed(self) -> bytes:
        """The bytes that are signed."""
        return f"callout seal {self.entry} {self.hash} {self.at}".encode()

    @property
    def line(self) -> str:
        """The seal as text, without the line end."""
        return f"{self.entry} {self.hash} {self.at} {self.signature}".rstrip()


def seal_of(line: str) -> Seal | None:
    """The seal in a line; None if it is not one."""
    parts = line.split(" ")
    if len(parts) not in (3, 4) or not _is_number(parts[0]) or not _is_hash(parts[1]):
        return None
    return Seal(int(parts[0]), *parts[1:])


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdecimal() and len(text) <= _MOST_FIGURES


def _is_hash(text: str) -> bool:
    return len(text) == 64 and set(text) <= set("0123456789abcdef")


def seals_path(folder: SurveyFolder) -> Path:
    """The path of a survey's seals outside its database."""
    return folder.path / "seals.txt"


def read_seals(path: Path) -> list[Seal]:
    """The seals of a file, in its order; empty if there is no file.

    Raises OperatorError naming a line that is not a seal.
    """
    if not path.exists():
        return []
    with storage_errors(f"cannot read {path}"):
        data = read_plain(path, _MOST_BYTES)
    return [_seal(path, number, line) for number, line in enumerate(data.splitlines(), start=1)]


def _seal(path: Path, number: int, line: bytes) -> Seal:
    found = seal_of(line.decode("utf-8", "replace"))
    if found is None:
        raise OperatorError(f"{path}, line {number} is no seal: a number, a hash and a time")
    return found


def seals_in(entries: Iterable[Entry]) -> list[Seal]:
    """Every seal in the journal itself."""
    return [Seal(item.seq, item.hash, item.at) for item in entries if item.kind == KIND]


def write_seals(folder: SurveyFolder, seals: Iterable[Seal]) -> None:
    """Replace the lines of the file."""
    write_whole(seals_path(folder), "".join(f"{item.line}\n" for item in seals).encode())


def add_lost_lines(folder: SurveyFolder, remembered: Iterable[Seal] = ()) -> list[Seal]:
    """Restore lines that crashes kept from being written; returns all lines.

    They are not signed now, but carry the signature in ``remembered``, made at the time.
    """
    with folder.reading() as reader:
        made = seals_in(reader.of_kind(KIND))
    kept, known = read_seals(seals_path(folder)), list(remembered)
    lost = [item for item in made if item not in kept]
    if lost:
        found = [next((one for one in known if one == item), item) for item in lost]
        kept = sorted([*kept, *found], key=lambda item: item.entry)
        write_seals(folder, kept)
    return kept


def seal(folder: SurveyFolder, writer: JournalWriter, at: str, sign: Sign | None = None) -> Seal:
    """Seal the journal; returns the newest seal if nothing was added since.

    ``sign`` signs the new line. The entry is on the disk before its line, so that a crash between
    the two leaves a line too few, never one too many; the next sealing adds it, unsigned.
    """
    lines = add_lost_lines(folder)
    with folder.reading() as reader:
        if reader.last is None:
            raise OperatorError(f"the journal of {folder.path} is empty: there is nothing to seal")
        before = reader.latest(KIND)
        if before is not None and before.seq == reader.last:
            return next(item for item in reversed(lines) if item.entry == before.seq)
    writer.tell_program(at)
    entries, digest = writer.head
    body: dict[str, Any] = {"entries": entries, "hash": digest}
    body["before"] = None if before is None else [before.seq, before.hash]
    number = writer.append(at, KIND, body)
    made = Seal(number, writer.head[1], at)
    if sign is not None:
        made = replace(made, signature=sign(made.signed))
    write_seals(folder, [*lines, made])
    return made
