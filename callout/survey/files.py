"""Writes files so that they are whole or absent, whatever happens meanwhile.

A file is finished under another name, forced to the disk, renamed, and its folder forced too. A
folder is built beside its place and renamed likewise. Nothing about journals or sound here.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from callout.core.errors import OperatorError, StorageError

FILE_MODE = 0o600
FOLDER_MODE = 0o700
PART = ".part-"
_BUILDING = ".building-"
_MARK = ".building"


@contextmanager
def storage_errors(doing: str) -> Iterator[None]:
    """Turn a disk error into a StorageError that says what was being done."""
    try:
        yield
    except OSError as error:
        reason = error.strerror or str(error)
        raise StorageError(
            f"{doing}: {reason}: free space or check permissions, then again"
        ) from error


def write_whole(path: Path, *pieces: bytes) -> None:
    """Put ``pieces`` at ``path`` durably: readers see the old file, or all of the new one."""
    with storage_errors(f"cannot write {path}"):
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=PART)
        try:
            with os.fdopen(handle, "wb") as file:
                file.writelines(pieces)
                file.flush()
                force_to_disk(file.fileno())
            Path(name).chmod(FILE_MODE)
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
        sync_folder(path.parent)


def cache_folder(name: str) -> Path:
    """This user's folder for what can be made again; it may not exist yet."""
    given = os.environ.get("XDG_CACHE_HOME")
    return (Path(given) if given else Path.home() / ".cache") / "callout" / name


def force_to_disk(descriptor: int) -> None:
    """Make what was written reach the disk itself; on macOS ``fsync`` stops at the disk's cache."""
    full = getattr(fcntl, "F_FULLFSYNC", None)  # macOS alone
    if full is None:
        os.fsync(descriptor)
    else:
        fcntl.fcntl(descriptor, full)


def sync_folder(folder: Path) -> None:
    """Force a folder's entries to the disk, so that a rename survives a power cut."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        force_to_disk(descriptor)
    finally:
        os.close(descriptor)


def refuse_taken(path: Path) -> None:
    """Raises OperatorError if ``path`` exists or its parent does not."""
    if path.exists():
        raise OperatorError(f"{path} exists already: choose another name")
    if not path.parent.is_dir():
        raise OperatorError(f"there is no folder {path.parent}: make it first")


@contextmanager
def new_folder(path: Path) -> Iterator[Path]:
    """A folder to fill, renamed to ``path`` on success and removed on failure.

    Raises OperatorError if ``path`` exists or its parent does not. The leftovers of a killed
    builder in the same place are removed first; a builder still at work holds a lock on its mark.
    """
    refuse_taken(path)
    with storage_errors(f"cannot make {path}"):
        clear_abandoned(path.parent)
        building = Path(tempfile.mkdtemp(dir=path.parent, prefix=f"{_BUILDING}{path.name}-"))
        mark = os.open(building / _MARK, os.O_RDWR | os.O_CREAT, FILE_MODE)
        try:
            fcntl.flock(mark, fcntl.LOCK_EX)
            yield building
            building.rename(path)
            # Only now: without its mark, leftovers of a crash would never be removed.
            (path / _MARK).unlink()
            sync_folder(path.parent)
        except BaseException:
            shutil.rmtree(building, ignore_errors=True)
            raise
        finally:
            os.close(mark)


def clear_abandoned(parent: Path) -> int:
    """Remove folders that a killed builder left half filled; returns how many."""
    cleared = 0
    for mark in parent.glob(f"{_BUILDING}*/{_MARK}"):
        with suppress(OSError):  # another's folder, or one whose builder is at work
            held = os.open(mark, os.O_RDWR)
            try:
                fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
                shutil.rmtree(mark.parent)
                cleared += 1
            finally:
                os.close(held)
    return cleared
