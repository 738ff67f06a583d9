"""The sound store: one FLAC file per utterance, named by its SHA-256, written before its row.

Takes finished FLAC bytes; encoding belongs to ``sound``.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from callout.core.errors import OperatorError, StorageError
from callout.survey.files import storage_errors, write_whole
from callout.survey.guard import MOST_SOUND_BYTES, is_plain, read_plain


def is_digest(text: str) -> bool:
    """Whether ``text`` is a SHA-256 as used to name sounds."""
    return len(text) == 64 and set(text) <= set("0123456789abcdef")


class AudioStore:
    """Files in one folder, addressed by the hash of their content."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def keep(self, flac: bytes) -> str:
        """Store the sound durably and return its SHA-256, lower-case hex.

        A file of that name with other content is replaced.
        """
        digest = hashlib.sha256(flac).hexdigest()
        path = self.path(digest)
        if not is_plain(path) or read_plain(path, MOST_SOUND_BYTES) != flac:
            write_whole(path, flac)
        return digest

    def path(self, digest: str) -> Path:
        """The path of sound ``digest``. Raises OperatorError for what is not a hash."""
        if not is_digest(digest):
            raise OperatorError(f"{digest!r} is not the SHA-256 of a sound")
        return self._folder / f"{digest}.flac"

    def refuse_linked(self) -> None:
        """Raises OperatorError if the store is a link: its files would belong to another survey."""
        if self._folder.is_symlink():
            raise OperatorError(f"{self._folder} is a link, and could lead anywhere: not touched")

    def has(self, digest: str) -> bool:
        """Whether the store has a file for it."""
        return is_plain(self.path(digest))

    def read(self, digest: str) -> bytes:
        """The sound, checked against its name.

        Raises StorageError if missing or altered, OperatorError for a link or what is too large.
        """
        if not self.has(digest):
            raise StorageError(f"sound {digest} is missing from {self._folder}")
        path = self.path(digest)
        with storage_errors(f"cannot read {path}"):
            flac = read_plain(path, MOST_SOUND_BYTES)
        if hashlib.sha256(flac).hexdigest() != digest:
            raise StorageError(f"sound {path} was altered: its SHA-256 is not its name")
        return flac
