"""Opens files in a folder that may be a stranger's: regular files, no links, of bounded size.

A link could lead out of the folder, a pipe or device would never end, and a huge file would take
all memory. Nothing here knows what the files mean.
"""

from __future__ import annotations

import os
import shutil
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from callout.core.errors import OperatorError
from callout.survey.files import storage_errors

MOST_TEXT_BYTES = 4_000_000
"""Bytes of settings, species and lists beside a journal."""
MOST_SOUND_BYTES = 512_000_000
"""Bytes of one stored sound; an hour of 16 kHz and 16 bits is 115 MB before FLAC compresses it."""


_DEEPEST = 16
_MOST_BRACKETS = 200


def is_plain(path: Path) -> bool:
    """Whether ``path`` itself is a regular file, not a link to one."""
    try:
        return stat.S_ISREG(path.lstat().st_mode)
    except OSError:
        return False


def refuse_links(folder: Path) -> None:
    """Raises OperatorError for anything in a survey's folder that is not a plain file or folder.

    Files in the store of sounds are checked one by one when they are opened.
    """
    if not folder.is_dir():
        return
    with storage_errors(f"cannot read {folder}"), os.scandir(folder) as found:
        for item in found:
            mode = item.stat(follow_symlinks=False).st_mode
            if not (stat.S_ISREG(mode) or stat.S_ISDIR(mode)):
                raise OperatorError(
                    f"{folder / item.name} is {_told(mode)}: a survey holds plain files and "
                    "folders only. Nothing of it was used; put the file itself there"
                )


def _told(mode: int) -> str:
    if stat.S_ISLNK(mode):
        return "a link, and could lead anywhere"
    return "a pipe, a socket or a device"


@contextmanager
def opened(path: Path, most_bytes: int) -> Iterator[BinaryIO]:
    """A regular file, open to read. Raises as ``open_plain`` does."""
    with os.fdopen(open_plain(path, most_bytes), "rb") as file:
        yield file


def open_plain(path: Path, most_bytes: int) -> int:
    """A descriptor of a regular file of bounded size, to read; its user closes it.

    Raises OSError as ``open`` does, OperatorError for anything else.
    """
    descriptor = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    try:
        about = os.fstat(descriptor)
        if not stat.S_ISREG(about.st_mode):
            raise OperatorError(f"{path} is {_told(about.st_mode)}: it is not read")
        if about.st_size > most_bytes:
            raise OperatorError(
                f"{path} has {about.st_size} bytes, and no such file has more than {most_bytes}"
            )
    except BaseException:
        os.close(descriptor)
        raise
    return descriptor


def read_plain(path: Path, most_bytes: int = MOST_TEXT_BYTES) -> bytes:
    """The content of a regular file of bounded size. Raises as ``opened`` does."""
    with opened(path, most_bytes) as file:
        return file.read(most_bytes)


def open_lock(path: Path) -> int:
    """A descriptor of a file to lock, created if missing; never through a link."""
    with storage_errors(f"cannot open {path}"):
        return os.open(path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW, 0o600)


def refuse_deep(text: bytes, path: Path) -> None:
    """Raises OperatorError for TOML nested deeper than any settings, before it is parsed.

    The time for parsing such a text grows with the square of its depth.
    """
    for number, line in enumerate(text.splitlines(), start=1):
        name = line.partition(b"=")[0]
        if name.count(b".") > _DEEPEST or line.count(b"[") + line.count(b"{") > _MOST_BRACKETS:
            raise OperatorError(f"{path}, line {number}: nested deeper than any settings are")


def copy_plain(path: Path, into: Path, most_bytes: int) -> None:
    """Copy a regular file of bounded size, with its times. Raises as ``opened`` does."""
    with opened(path, most_bytes) as source, into.open("xb") as target:
        shutil.copyfileobj(source, target)
    shutil.copystat(path, into, follow_symlinks=False)
