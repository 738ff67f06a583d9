"""The journal's tables and their migrations.

``entries`` is the journal: append-only, each entry carrying the hash of the one before. The other
tables are derived from it and can be rebuilt. Triggers refuse changes to entries.
"""

from __future__ import annotations

import json
import sqlite3
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager, suppress
from functools import cache
from pathlib import Path

from callout import __version__
from callout.core.errors import StorageError
from callout.survey.guard import is_plain

_FIRST = """
CREATE TABLE entries (
    seq INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    kind TEXT NOT NULL,
    body TEXT NOT NULL,
    prev TEXT NOT NULL,
    hash TEXT NOT NULL
) STRICT;
CREATE TRIGGER entries_keep BEFORE UPDATE ON entries
BEGIN SELECT RAISE(ABORT, 'journal entries are never changed'); END;
CREATE TRIGGER entries_stay BEFORE DELETE ON entries
BEGIN SELECT RAISE(ABORT, 'journal entries are never deleted'); END;
CREATE TABLE readings (
    entry INTEGER PRIMARY KEY REFERENCES entries(seq),
    at TEXT NOT NULL, plot TEXT NOT NULL, tag TEXT NOT NULL, species TEXT NOT NULL,
    raw TEXT, raw_unit TEXT, value TEXT, unit TEXT NOT NULL, status TEXT NOT NULL,
    stem TEXT NOT NULL, words TEXT NOT NULL, source TEXT NOT NULL, engine TEXT NOT NULL,
    confidence TEXT, audio TEXT, who TEXT NOT NULL, warnings TEXT NOT NULL, height_m TEXT,
    is_new INTEGER NOT NULL, supersedes INTEGER REFERENCES entries(seq), void INTEGER NOT NULL
) STRICT;
CREATE INDEX readings_tree ON readings(plot, tag, stem);
CREATE TABLE memos (
    entry INTEGER PRIMARY KEY REFERENCES entries(seq),
    at TEXT NOT NULL, plot TEXT NOT NULL, tag TEXT, audio TEXT, words TEXT NOT NULL
) STRICT;
"""

# INSERT OR REPLACE removes an entry without firing the triggers above.
_FOLLOW = """
CREATE TRIGGER entries_follow BEFORE INSERT ON entries
WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM entries)
BEGIN SELECT RAISE(ABORT, 'journal entries follow one another and are never replaced'); END;
"""

_TAGS = """
ALTER TABLE readings ADD COLUMN tag_lost INTEGER NOT NULL DEFAULT 0;
ALTER TABLE readings ADD COLUMN new_tag TEXT NOT NULL DEFAULT '';
"""
_SCALE = """
ALTER TABLE readings ADD COLUMN raw_scale TEXT NOT NULL DEFAULT '';
"""
# The value of a column that an older database lacks.
LATER_COLUMNS = {"readings": {"tag_lost": 0, "new_tag": "", "raw_scale": ""}}

# Each start asks for the newest entry of a kind, and for every kind there is.
_KINDS = """
CREATE INDEX entries_kind ON entries(kind);
"""

MOST_BODY_BYTES = 64_000_000
"""Limit of one row; the longest is a roster of hundreds of thousands of trees."""
_SCHEMA = "SELECT type || ' ' || name, sql FROM sqlite_master"
_SCHEMA_S = 5.0

MIGRATIONS: tuple[tuple[str, str], ...] = (
    ("1 entries, readings, memos", _FIRST),
    ("2 entries follow one another", _FOLLOW),
    ("3 tags lost and replaced", _TAGS),
    ("4 entries found by their kind", _KINDS),
    ("5 the side of the tape", _SCALE),
)


def connect(path: Path) -> sqlite3.Connection:
    """Open a journal, apply every migration, and make each commit wait for the disk.

    Raises StorageError if the file is not a journal, cannot be written, or is of a newer version.
    """
    with _closed_on_failure(path, "cannot be used as a journal") as opened:
        opened.append(sqlite3.connect(path, isolation_level=None, check_same_thread=False))
        connection = opened[0]
        connection.row_factory = sqlite3.Row
        _guard(connection, path)
        _refuse_newer(connection, path)
        _refuse_strange(connection, path)
        # Not FULL: there a commit returns before the removal of its rollback journal is on the
        # disk, and a power cut may undo what was confirmed.
        connection.execute("PRAGMA synchronous=EXTRA")
        connection.execute("PRAGMA fullfsync=ON")  # macOS: through the disk's cache too
        connection.execute("PRAGMA foreign_keys=ON")
        _migrate(connection)
    return connection


def connect_to_read(path: Path, lacking: list[str] | None = None) -> sqlite3.Connection:
    """Open a journal that cannot be written through this connection.

    It is opened for writing if the folder allows it, since a commit cut off by a crash has to be
    rolled back before anything can be read. Raises StorageError as ``connect`` does; missing parts
    of our own schema are appended to ``lacking``, if given, instead of being refused.
    """
    if not is_plain(path):
        raise StorageError(f"there is no journal at {path}")
    with _closed_on_failure(path, "cannot be read as a journal") as opened:
        opened.append(sqlite3.connect(f"{path.resolve().as_uri()}?mode=rw", uri=True))
        connection = opened[0]
        connection.row_factory = sqlite3.Row
        _guard(connection, path)
        connection.execute("PRAGMA query_only=ON")
        _refuse_newer(connection, path)
        _refuse_strange(connection, path, lacking)
        connection.execute("SELECT seq FROM entries LIMIT 1")
    return connection


@contextmanager
def _closed_on_failure(path: Path, what: str) -> Iterator[list[sqlite3.Connection]]:
    opened: list[sqlite3.Connection] = []
    try:
        yield opened
    except BaseException as error:
        for connection in opened:
            connection.close()
        if isinstance(error, sqlite3.Error | UnicodeDecodeError):
            raise StorageError(f"{path} {what}: {error}") from error
        raise


class StrangeError(StorageError):
    """A database whose schema is not ours; none of its rows is read.

    ``faults`` name each part that is unknown, altered or missing.
    """

    def __init__(self, path: Path, faults: Sequence[str]) -> None:
        super().__init__(f"{path} is no journal of ours: {faults[0]}; see 'callout verify'")
        self.faults = faults


def _guard(connection: sqlite3.Connection, path: Path) -> None:
    """Limit what a file of unknown origin may do before and while it is read."""
    for beside in ("-journal", "-wal", "-shm"):
        if (found := path.with_name(path.name + beside)).is_symlink():
            raise StorageError(f"{found} is a link, and could lead anywhere: nothing was opened")
    connection.execute("PRAGMA trusted_schema=OFF")
    connection.execute("PRAGMA cell_size_check=ON")
    connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, MOST_BODY_BYTES)
    connection.setlimit(sqlite3.SQLITE_LIMIT_ATTACHED, 0)
    if hasattr(connection, "setconfig"):  # Python 3.12 and later
        connection.setconfig(sqlite3.SQLITE_DBCONFIG_DEFENSIVE, True)  # type: ignore[attr-defined]


def _refuse_strange(
    connection: sqlite3.Connection, path: Path, lacking: list[str] | None = None
) -> None:
    """Raises StrangeError unless the schema is this program's, before any row is read."""
    until = time.monotonic() + _SCHEMA_S
    connection.set_progress_handler(lambda: int(time.monotonic() > until), 10_000)
    plain, connection.text_factory = connection.text_factory, _any_text
    try:
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        have = {row[0]: row[1] for row in connection.execute(_SCHEMA)}
    finally:
        connection.set_progress_handler(None, 0)
        connection.text_factory = plain
    wanted = _wanted(max(version, 1 if have else 0))
    missing = [f"the database lacks its {name}" for name in sorted(wanted.keys() - have.keys())]
    strange = [
        f"the database has an altered or strange {name[:80]}"
        for name in sorted(have)
        if have[name] != wanted.get(name)
    ]
    if strange or (missing and lacking is None):
        raise StrangeError(path, [*missing, *strange])
    if lacking is not None:
        lacking += missing


def _any_text(data: bytes) -> str:
    return data.decode("utf-8", "replace")


@cache
def _wanted(version: int) -> Mapping[str, str]:
    """The tables, indexes and triggers that the migrations up to ``version`` make."""
    with closing(sqlite3.connect(":memory:")) as fresh:
        for _, script in MIGRATIONS[:version]:
            fresh.executescript(script)
        return dict(fresh.execute(_SCHEMA).fetchall())


def _refuse_newer(connection: sqlite3.Connection, path: Path) -> None:
    """Refuse a newer version, whose rows may mean something else, before reading or writing any.

    Its settings entry, if still readable, says which version that was.
    """
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    if version <= len(MIGRATIONS):
        return
    program = ""
    with suppress(sqlite3.Error, ValueError, AttributeError):
        rows = connection.execute(
            "SELECT body FROM entries WHERE kind='settings' ORDER BY seq DESC LIMIT 1"
        )
        program = str(json.loads(rows.fetchone()[0]).get("program", ""))
    by = f"callout {program[:40]}" if program else "a newer callout"
    raise StorageError(
        f"{path} was written by {by} (journals of version {version}); this is callout "
        f"{__version__}, which knows versions up to {len(MIGRATIONS)}: use the newer one; nothing "
        "was touched"
    )


def _migrate(connection: sqlite3.Connection) -> None:
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    for number, (_, script) in enumerate(MIGRATIONS[version:], start=version + 1):
        connection.executescript(f"BEGIN;{script}PRAGMA user_version={number};COMMIT;")
