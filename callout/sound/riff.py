"""Compares how much sound a WAV header promises with what the file really holds.

libsndfile shortens a truncated WAV silently; a recording cut in the middle of a number must be
refused, not shortened. Only the header walk belongs here; samples are read in `sound_files`.
"""

from __future__ import annotations

import struct
from pathlib import Path

from callout.core.errors import OperatorError

_UNKNOWN = 0xFFFFFFFF


def refuse_truncated_wav(path: Path) -> None:
    """Raise OperatorError if the RIFF/RF64 file at `path` ends before its data chunk does.

    Chunk layout after the RIFF/WAVE specification (Microsoft/IBM 1991) and EBU Tech 3306 (RF64).
    Files with another first tag pass: they are for the sound library to judge.
    """
    held = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(12)
        if head[:4] not in (b"RIFF", b"RF64"):
            return
        if len(head) < 12 or head[8:] != b"WAVE":
            raise OperatorError(f"{path} starts like a WAV file but is not one; record it again.")
        long_size = None
        while len(chunk := file.read(8)) == 8:
            tag, size = chunk[:4], struct.unpack("<I", chunk[4:])[0]
            if tag == b"data":
                _check_data(path, size if long_size is None else long_size, held - file.tell())
                return
            body = file.read(24) if tag == b"ds64" else b""
            if len(body) >= 16 and head[:4] == b"RF64":
                long_size = struct.unpack("<Q", body[8:16])[0]
            file.seek(size + size % 2 - len(body), 1)
    raise OperatorError(f"{path} is cut short: its header ends before any sound begins.")


def _check_data(path: Path, promised: int, held: int) -> None:
    if promised == _UNKNOWN or (promised == 0 and held > 1):
        raise OperatorError(
            f"{path} was never finished: its header does not say how much sound it holds. "
            "Save it again with the program that recorded it."
        )
    if promised > held:
        raise OperatorError(
            f"{path} is cut short: its header promises {promised} bytes of sound and it holds "
            f"{max(held, 0)}. Copy it again from where it was recorded."
        )
