"""Seals: entries that count the journal, each repeated as one line of ``seals.txt`` beside it.

A hash chain cannot show that its end was cut off; a line kept outside the database can. The file
is small enough to be sent or printed at the end of a day, which is what makes it proof against
somebody who may change everything in the folder. A line may carry a signature, made by whoever
holds a private key. No checking here; that is ``verify``.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field, replace
from pathlib import Path

from callout.core.errors import OperatorError
from callout.journal.files import storage_errors, write_whole
from callout.journal.folder import SurveyFolder
from callout.journal.reader import Entry
from callout.journal.schema import connect_to_read
from callout.journal.writer import JournalWriter

KIND = "sealed"


Sign = Callable[[bytes], str]
"""Gives what stands at the end of a seal's line for the bytes to be signed."""


@dataclass(frozen=True)
class Seal:
    """A sealing entry: its number, its hash, its time. One line of ``seals.txt``.

    ``signature`` is what a key's holder added to the line, or nothing.
    """

    entry: int
    hash: str
    at: str
    signature: str = field(default="", compare=False)

    @property
    def signed(self) -> bytes:
        """What a signature is made over."""
        return f"callout seal {self.entry} {self.hash} {self.at}".encode()

    @property
    def line(self) -> str:
        """The seal as text, without the line's end."""
        return f"{self.entry} {self.hash} {self.at} {self.signature}".rstrip()


def seals_path(folder: SurveyFolder) -> Path:
    """Where a survey's seals lie outside its database."""
    return folder.path / "seals.txt"


def read_seals(path: Path) -> list[Seal]:
    """The seals of a file, in its order; none where there is no file.

    Raises OperatorError naming the line that is no seal.
    """
    if not path.exists():
        return []
    with storage_errors(f"cannot read {path}"):
        data = path.read_bytes()
    return [_seal(path, number, line) for number, line in enumerate(data.splitlines(), start=1)]


def _seal(path: Path, number: int, line: bytes) -> Seal:
    parts = line.decode("utf-8", "replace").split(" ")
    if len(parts) not in (3, 4) or not parts[0].isdecimal() or len(parts[1]) != 64:
        raise OperatorError(f"{path}, line {number} is no seal: a number, a hash and a time")
    return Seal(int(parts[0]), *parts[1:])


def seals_in(entries: list[Entry]) -> list[Seal]:
    """Every seal that the journal itself holds."""
    return [Seal(item.seq, item.hash, item.at) for item in entries if item.kind == KIND]


def seal(folder: SurveyFolder, writer: JournalWriter, at: str, sign: Sign | None = None) -> Seal:
    """Seal what the journal holds now; the newest seal again where nothing came after it.

    ``sign`` signs the lines that are new.

    The entry is on the disk before its line, so that a crash between the two leaves a line too
    few, never one too many; the next sealing adds it.
    """
    last = _entries(folder, "ORDER BY seq DESC LIMIT 1")
    if last and last[0].kind != KIND:
        writer.tell_program(at)
        entries, digest = writer.head
        writer.append(at, KIND, {"entries": entries, "hash": digest})
    found = seals_in(_entries(folder, "WHERE kind='sealed' ORDER BY seq"))
    if not found:
        raise OperatorError(f"the journal of {folder.path} is empty: there is nothing to seal")
    path = seals_path(folder)
    kept = read_seals(path)
    missing = [_signed(item, sign) for item in found if item not in kept]
    lines = [*kept, *missing]
    if missing:
        write_whole(path, "".join(f"{item.line}\n" for item in lines).encode())
    return next(item for item in reversed(lines) if item == found[-1])


def _signed(item: Seal, sign: Sign | None) -> Seal:
    return item if sign is None else replace(item, signature=sign(item.signed))


def _entries(folder: SurveyFolder, which: str) -> list[Entry]:
    with closing(connect_to_read(folder.database)) as database:
        rows = database.execute(f"SELECT seq, at, kind, body, prev, hash FROM entries {which}")
        return [Entry(**dict(row)) for row in rows]
