"""Writing files so that they are whole or absent, whatever happens meanwhile.

A file is finished under another name, forced to the disk, renamed, and its folder forced too.
Nothing about journals or sound here.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from callout.core.errors import StorageError

FILE_MODE = 0o600
FOLDER_MODE = 0o700


@contextmanager
def storage_errors(doing: str) -> Iterator[None]:
    """Turn what the disk refuses into a StorageError that says what was being done."""
    try:
        yield
    except OSError as error:
        reason = error.strerror or str(error)
        raise StorageError(
            f"{doing}: {reason}: free space or check permissions, then again"
        ) from error


def write_whole(path: Path, data: bytes) -> None:
    """Put ``data`` at ``path`` durably: readers see the old file, or all of the new one."""
    with storage_errors(f"cannot write {path}"):
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=".part-")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            Path(name).chmod(FILE_MODE)
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
        sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Force a folder's entries to the disk, so that a rename survives a power cut."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
