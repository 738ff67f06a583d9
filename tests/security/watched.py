"""A folder whose every use is noted by the kernel while others are not to touch it (inotify(7)).

Opening a file to read it is noted too, and what was made and taken away again. Linux only.
"""

from __future__ import annotations

import ctypes
import os
import struct
from pathlib import Path

_EVENT = struct.Struct("iIII")
# Names and numbers from <sys/inotify.h>.
_KINDS = {
    0x1: "read", 0x2: "written", 0x4: "changed in its mode", 0x20: "opened", 0x40: "moved away",
    0x80: "moved here", 0x100: "made", 0x200: "deleted", 0x400: "deleted itself",
    0x800: "moved itself", 0x4000: "lost: too many at once",
}  # fmt: skip
_A_FOLDER = 0x40000000


class Watched:
    """Notes what happens to the files of ``root`` and of every folder below it."""

    def __init__(self, root: Path) -> None:
        system = ctypes.CDLL(None, use_errno=True)
        self._descriptor = system.inotify_init1(os.O_NONBLOCK | os.O_CLOEXEC)
        if self._descriptor < 0:
            raise OSError(ctypes.get_errno(), "inotify_init1")
        self._folders: dict[int, Path] = {}
        for folder in [root, *(path for path in root.rglob("*") if path.is_dir())]:
            number = system.inotify_add_watch(self._descriptor, bytes(folder), sum(_KINDS))
            if number < 0:
                raise OSError(ctypes.get_errno(), f"inotify_add_watch {folder}")
            self._folders[number] = folder

    def noted(self) -> list[str]:
        """What happened since this was asked last, e.g. ``opened /a/b``.

        That a folder was listed is left out.
        """
        found = []
        while True:
            try:
                data = os.read(self._descriptor, 65536)
            except BlockingIOError:
                return found
            while data:
                number, mask, _, length = _EVENT.unpack_from(data)
                name = data[_EVENT.size : _EVENT.size + length].rstrip(b"\0").decode()
                data = data[_EVENT.size + length :]
                kinds = [told for bit, told in _KINDS.items() if mask & bit]
                if mask & _A_FOLDER and set(kinds) <= {"opened", "read"}:
                    continue
                found += [f"{kind} {self._folders.get(number, Path()) / name}" for kind in kinds]

    def close(self) -> None:
        """Watch no more."""
        os.close(self._descriptor)
