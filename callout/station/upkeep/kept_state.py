"""The session's state as of the newest seal, kept on this machine so that a start need not replay

years. It lies in the user's own cache and never in a survey, so that no stranger can bring one; it
belongs to one sealed entry, by its hash, and to the very rules that made it. Anything wrong with it
only means that the whole journal is replayed.
"""

from __future__ import annotations

import hashlib
import io
import os
import pickle
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import callout
from callout.core.errors import CalloutError
from callout.journal.reader import JournalReader
from callout.proof.seals import KIND as SEALED
from callout.station.upkeep.rebuild import Known, Session
from callout.survey.files import FOLDER_MODE, write_whole
from callout.survey.guard import read_plain

_MARK = b"callout state 1\n"
_DIGEST_BYTES = 32
_MOST_BYTES = 1_000_000_000
_MOST_KEPT = 20
_OURS = ("callout.core.", "callout.session.", "callout.station.upkeep.rebuild")
_THEIRS = {("decimal", "Decimal"), ("datetime", "date"), ("types", "MappingProxyType")}


@dataclass(frozen=True)
class Resumed:
    """A session that stands where it stood at ``entry``; 0 for one that begins."""

    session: Session
    entry: int


def resume(reader: JournalReader) -> Resumed:
    """The session as of the newest seal, where this machine kept it; else a fresh one."""
    sealed = reader.latest(SEALED)
    if sealed is not None:
        with suppress(CalloutError, OSError, pickle.UnpicklingError, AttributeError, ImportError,
                      EOFError, IndexError, TypeError, ValueError):  # fmt: skip
            data = read_plain(_path(sealed.hash), _MOST_BYTES)
            found = _read(data, sealed.hash)
            return Resumed(found, sealed.seq)
    return Resumed(Session(), 0)


def followed(reader: JournalReader, from_start: bool = False) -> Session:
    """A session that followed the journal to its end, from the newest state that is at hand."""
    begun = Resumed(Session(), 0) if from_start else resume(reader)
    for entry in reader.entries(after=begun.entry):
        begun.session.take(entry)
    return begun.session


def keep(session: Session, sealed_hash: str) -> None:
    """Keep the state as of a seal that was just made. Never raises: it only saves time."""
    with suppress(CalloutError, OSError, pickle.PicklingError, RecursionError):
        folder = _folder()
        folder.mkdir(mode=FOLDER_MODE, parents=True, exist_ok=True)
        payload = pickle.dumps((sealed_hash, _rules(), vars(session.known), session.memory))
        write_whole(_path(sealed_hash), _MARK + hashlib.sha256(payload).digest() + payload)
        kept = sorted(folder.glob("*.state"), key=lambda path: path.stat().st_mtime_ns)
        for old in kept[:-_MOST_KEPT]:
            old.unlink()


def _read(data: bytes, sealed_hash: str) -> Session:
    payload = data[len(_MARK) + _DIGEST_BYTES :]
    told = data[len(_MARK) : len(_MARK) + _DIGEST_BYTES]
    if not data.startswith(_MARK) or hashlib.sha256(payload).digest() != told:
        raise ValueError("damaged")
    of, rules, parts, memory = _OnlyOurs(io.BytesIO(payload)).load()
    if (of, rules) != (sealed_hash, _rules()):
        raise ValueError("of another seal, or of other rules")
    known = Known()
    vars(known).update(parts)
    return Session(known, memory)


class _OnlyOurs(pickle.Unpickler):
    """Takes values of our own pure parts, and numbers and days; nothing else."""

    def find_class(self, module: str, name: str) -> Any:
        if f"{module}.".startswith(_OURS) or (module, name) in _THEIRS:
            return super().find_class(module, name)
        raise pickle.UnpicklingError(f"{module}.{name} is no part of a state")


@cache
def _rules() -> str:
    """A digest of all that decides what a journal means; another one makes other states."""
    whole = hashlib.sha256(callout.__version__.encode())
    for name in ("core", "session", "journal", "survey", "proof", "station"):
        for path in sorted((Path(callout.__file__).parent / name).rglob("*.py")):
            whole.update(path.read_bytes())
    return whole.hexdigest()


def _folder() -> Path:
    given = os.environ.get("XDG_CACHE_HOME")
    return (Path(given) if given else Path.home() / ".cache") / "callout" / "states"


def _path(sealed_hash: str) -> Path:
    return _folder() / f"{sealed_hash}.state"
