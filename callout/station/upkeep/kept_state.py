"""The session's state at a seal, kept on this machine so that no start or verify replays years.

It lies in the user's own cache and never in a survey, so that no stranger can supply one; it
belongs to one sealed entry, by its hash, and to the very rules that made it. If anything is wrong
with it the whole journal is replayed.

The hash of a sealed entry is that of all before it, and state and rows follow from those entries
alone: only the result of an earlier replay of the same entries is kept and accepted.
"""

from __future__ import annotations

import hashlib
import io
import os
import pickle
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cache, cached_property
from pathlib import Path
from weakref import finalize

import callout
from callout.core.errors import CalloutError, StorageError
from callout.core.model import Plot
from callout.journal.audio import is_digest
from callout.journal.reader import Entry, JournalReader
from callout.proof.seals import KIND as SEALED
from callout.proof.source import TABLES
from callout.proof.verify import ChainCheck
from callout.station.upkeep.kept_parts import OnlyOurs, from_bytes, to_bytes
from callout.station.upkeep.rebuild import Known, Row, Session, rows_of
from callout.survey.files import FOLDER_MODE, cache_folder, write_whole
from callout.survey.guard import open_plain

_MARK = b"callout state 4\n"
_DIGEST_BYTES, _LENGTH_BYTES = 32, 8
_MOST_BYTES, _MOST_HEAD_BYTES, _PIECE_BYTES = 1_000_000_000, 10_000, 1_000_000
_MOST_KEPT, _MOST_KEPT_BYTES = 20, 1_000_000_000
_WORTH_KEEPING = 2000
"""So many entries replayed at a start make it worth to keep where they led."""
_REPLAYING = (
    "journal/codec.py",
    "journal/kinds.py",
    "journal/reader.py",
    "journal/schema.py",
    "station/upkeep/kept_parts.py",
    "station/upkeep/kept_state.py",
    "station/upkeep/rebuild.py",
    "survey/check_settings.py",
)
WRONG = (
    CalloutError,
    OSError,
    pickle.UnpicklingError,
    AttributeError,
    ImportError,
    EOFError,
    IndexError,
    KeyError,
    TypeError,
    ValueError,
)
"""Errors while reading a kept state; each only means that there is none."""


def _no_rows() -> dict[str, bytes]:
    return dict.fromkeys(TABLES, b"")


@dataclass(frozen=True)
class AtEntry:
    """A session as it was at ``entry``, of that hash; 0 for a fresh one.

    ``rows`` holds by table the digest of all rows that the journal gives up to there. The session
    is loaded on first use, which may raise the errors of reading a file.
    """

    load: Callable[[], Session] = Session
    entry: int = 0
    hash: str = ""
    rows: Mapping[str, bytes] = field(default_factory=_no_rows)

    @cached_property
    def session(self) -> Session:
        """The session; its user may move it on."""
        return self.load()

    def loaded(self) -> AtEntry:
        """The same, with its session loaded. Raises one of ``WRONG`` if that is damaged."""
        _ = self.session
        return self

    def after(self, entry: Entry) -> AtEntry:
        """Take the next entry with the same session. Raises whatever an altered one leads to."""
        rows = dict(self.rows)
        for table, row in rows_of(self.session.take(entry)):
            rows[table] = rolled(rows[table], row)
        return standing(self.session, entry, rows)


def standing(session: Session, entry: Entry, rows: Mapping[str, bytes]) -> AtEntry:
    """The state of ``session`` after it took ``entry``."""
    return AtEntry(lambda: session, entry.seq, entry.hash, rows)


def rolled(digest: bytes, row: Row) -> bytes:
    """The digest of all rows so far, including ``row``."""
    whole = ascii([row[name] for name in _names(tuple(row))])
    return hashlib.sha256(digest + whole.encode()).digest()


@cache
def _names(columns: tuple[str, ...]) -> list[str]:
    return sorted(columns)


def resume(reader: JournalReader) -> AtEntry:
    """The session at the newest seal with a kept state; else a fresh one."""
    for found in _known(reader):
        with suppress(*WRONG):  # loaded here, where an error costs little
            return found.loaded()
    return AtEntry()


def known_rows(reader: JournalReader) -> AtEntry:
    """As ``resume``, without loading its session."""
    return next(_known(reader), AtEntry())


def plots_now(reader: JournalReader) -> Mapping[str, Plot]:
    """The plots by the latest roster and settings, from a kept state where that knows them.

    Raises StorageError where the journal holds none.
    """
    told = [reader.last_of(kind) for kind in ("roster", "settings")]
    with suppress(*WRONG):
        found = known_rows(reader)
        if all(told) and found.entry >= max(told):
            return found.session.known.survey.plots
    return reader.plots()


def _known(reader: JournalReader) -> Iterator[AtEntry]:
    for sealed in reversed(reader.of_kind(SEALED)):
        with suppress(*WRONG):
            if is_digest(sealed.hash):
                yield _read(_KeptFile(_path(sealed.hash)), sealed)


def followed(reader: JournalReader, from_start: bool = False) -> Session:
    """A session that followed the journal to its end, from the newest kept state."""
    begun = AtEntry() if from_start else resume(reader)
    newest = reader.latest(SEALED)
    if newest is None or from_start or newest.seq - begun.entry < _WORTH_KEEPING:
        for entry in reader.entries(after=begun.entry):
            begun.session.take(entry)
        return begun.session
    return _followed_and_kept(reader, begun, newest)


def _followed_and_kept(reader: JournalReader, begun: AtEntry, newest: Entry) -> Session:
    """As ``followed``; keeps the state at the newest seal if the whole chain up to it is intact."""
    chain, at = ChainCheck(), begun
    for entry in reader.entries():
        if entry.seq <= newest.seq:
            chain.take(entry)
        if entry.seq > begun.entry:
            at = at.after(entry)
        if entry.seq == newest.seq and not chain.faults:
            keep(standing(at.session.copy(), entry, at.rows))
    return at.session


def keep(state: AtEntry) -> None:
    """Keep the state at a seal, whose entries and rows were checked.

    Never raises: it only saves time.
    """
    with suppress(CalloutError, OSError, pickle.PicklingError, RecursionError):
        folder = _folder()
        folder.mkdir(mode=FOLDER_MODE, parents=True, exist_ok=True)
        known = state.session.known
        session = to_bytes(vars(known), known.trees, state.session.memory)
        head = (state.entry, state.hash, _rules(), dict(state.rows), _digest(session))
        told = pickle.dumps(head)
        length = len(told).to_bytes(_LENGTH_BYTES, "big")
        write_whole(_path(state.hash), _MARK, _digest([told]), length, told, *session)
        _clear(folder)


def _clear(folder: Path) -> None:
    """Keep only the newest ones, up to a limit in bytes."""
    found = [(path, path.stat()) for path in folder.glob("*.state")]
    found.sort(key=lambda item: item[1].st_mtime_ns, reverse=True)
    held = 0
    for number, (path, about) in enumerate(found):
        held += about.st_size
        if number and (number >= _MOST_KEPT or held > _MOST_KEPT_BYTES):
            path.unlink()


class _KeptFile:
    """A kept state's file, held open: it may be large, and little of it is needed at a time."""

    def __init__(self, path: Path) -> None:
        self._path, self._descriptor = path, open_plain(path, _MOST_BYTES)
        finalize(self, os.close, self._descriptor)
        self.size = os.fstat(self._descriptor).st_size

    def read(self, begin: int, end: int) -> bytes:
        """The bytes from one place to another. Raises StorageError if they are not there."""
        try:
            found = os.pread(self._descriptor, end - begin, begin)
        except OSError as error:
            raise StorageError(f"{self._path} cannot be read: {error}; start again") from error
        if len(found) != end - begin:
            raise StorageError(f"{self._path} was cut off; start again")
        return found


def _read(file: _KeptFile, sealed: Entry) -> AtEntry:
    ends = len(_MARK) + _DIGEST_BYTES + _LENGTH_BYTES
    front = file.read(0, ends)
    if not front.startswith(_MARK):
        raise ValueError("no state")
    length = int.from_bytes(front[-_LENGTH_BYTES:], "big")
    head = file.read(ends, ends + min(length, _MOST_HEAD_BYTES))
    if _digest([head]) != front[len(_MARK) : -_LENGTH_BYTES]:
        raise ValueError("damaged")
    entry, of, rules, rows, digest = OnlyOurs(io.BytesIO(head)).load()
    if (entry, of, rules) != (sealed.seq, sealed.hash, _rules()):
        raise ValueError("of another seal, or of other rules")
    return AtEntry(lambda: _session(file, ends + length, digest), entry, of, rows)


def _session(file: _KeptFile, begins: int, digest: bytes) -> Session:
    """Raises ValueError if anything in the file is damaged, also what is not needed yet."""
    places = range(begins, file.size, _PIECE_BYTES)
    if _digest(file.read(at, min(at + _PIECE_BYTES, file.size)) for at in places) != digest:
        raise ValueError("damaged")
    told, memory = from_bytes(lambda begin, end: file.read(begins + begin, begins + end))
    known = Known()
    vars(known).update(told)
    return Session(known, memory)


def _digest(pieces: Iterable[bytes]) -> bytes:
    whole = hashlib.sha256()
    for piece in pieces:
        whole.update(piece)
    return whole.digest()


@cache
def _rules() -> str:
    """A digest of all code that decides what a journal means; after a change no state is valid.

    What is heard, spoken, shown or sealed may change without one, and so may the version.
    """
    whole = hashlib.sha256()
    for path in rules_files():
        whole.update(path.read_bytes())
    return whole.hexdigest()


def rules_files() -> list[Path]:
    """The modules that a replay goes through; a test holds a replay against them."""
    program = Path(callout.__file__).parent
    rooms = [path for name in ("core", "session") for path in (program / name).rglob("*.py")]
    return sorted([*rooms, *(program / name for name in _REPLAYING)])


def _folder() -> Path:
    return cache_folder("states")


def _path(sealed_hash: str) -> Path:
    return _folder() / f"{sealed_hash}.state"
