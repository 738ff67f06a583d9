"""What a disk may hold after the power went, from a record of each changing call.

A disk keeps what it was told to keep: a file's data once the file was synced, a folder's names once
the folder was. Of the rest any part may be there: each sector of 512 bytes by itself, a file's new
length or not; names in their order, up to any of them. Not played: a disk that lies about a sync,
one that damages what it was not writing to, sectors that are half written.
"""

from __future__ import annotations

import random
import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

_HEAD = struct.Struct("<cQqII")
_SECTOR = 512


@dataclass(frozen=True)
class Call:
    """One record: ``what`` as in ``recorded_files.c``."""

    what: str
    inode: int
    at: int
    path: str
    data: bytes


def calls_in(log: Path) -> list[Call]:
    """Every whole record; a killed process may have left a part of one."""
    return list(_calls(log.read_bytes()))


def _calls(data: bytes) -> Iterator[Call]:
    at = 0
    while at + _HEAD.size <= len(data):
        what, inode, place, path, size = _HEAD.unpack_from(data, at)
        at += _HEAD.size
        if at + path + size > len(data):
            return
        name = data[at : at + path].decode()
        yield Call(what.decode(), inode, place, name, data[at + path : at + path + size])
        at += path + size


@dataclass
class _File:
    inode: int
    kept: bytearray = field(default_factory=bytearray)
    waiting: list[Call] = field(default_factory=list)


class Disk:
    """Follows the calls; ``cut`` makes what may be there if the power goes now."""

    def __init__(self, folder: Path) -> None:
        """Everything below ``folder`` as it lies there is on the disk to begin with."""
        self._root = folder
        self._names: dict[str, _File] = {}
        self._now: dict[str, _File] = {}
        self._waiting: list[tuple[str, str, _File | None]] = []
        self.marks = ""
        for path in folder.rglob("*"):
            if path.is_file():
                file = _File(path.stat().st_ino, bytearray(path.read_bytes()))
                self._names[str(path)] = self._now[str(path)] = file

    def take(self, call: Call) -> None:
        """The next call."""
        if call.what == "M":
            self.marks += call.data.decode()
        elif call.what in "WT":
            if call.path not in self._now or self._now[call.path].inode != call.inode:
                self._name(call.path, _File(call.inode))  # the number of an old one, perhaps
            self._now[call.path].waiting.append(call)
        elif call.what == "S":
            self._sync(call)
        elif call.what == "U":
            self._name(call.path, None)
        elif call.what == "R":
            self._name(call.data.decode(), self._now.get(call.path))
            self._name(call.path, None)

    def _name(self, path: str, file: _File | None) -> None:
        self._waiting.append((str(Path(path).parent), path, file))
        self._keep_name(self._now, path, file)

    def _sync(self, call: Call) -> None:
        file = self._now.get(call.path)
        if file is not None:
            for waiting in file.waiting:
                _apply(file.kept, waiting)
            file.waiting.clear()
            return
        for folder, path, named in self._waiting:
            if folder == call.path:
                self._keep_name(self._names, path, named)
        self._waiting = [item for item in self._waiting if item[0] != call.path]

    @staticmethod
    def _keep_name(names: dict[str, _File], path: str, file: _File | None) -> None:
        if file is not None:
            names[path] = file
        else:
            names.pop(path, None)

    def cut(self, into: Path, chance: random.Random) -> None:
        """Write at ``into`` what may be found there once the power is back."""
        names = dict(self._names)
        for _, path, named in self._waiting[: chance.randint(0, len(self._waiting))]:
            self._keep_name(names, path, named)
        likely = chance.choice((0.0, 0.3, 0.7, 1.0))
        (into / "audio").mkdir(parents=True)
        for path, file in names.items():
            data = bytearray(file.kept)
            for call in file.waiting:
                _apply_part(data, call, chance, likely)
            (into / Path(path).relative_to(self._root)).write_bytes(data)


def _apply(data: bytearray, call: Call) -> None:
    if call.what == "T":
        del data[call.at :]
        data.extend(bytes(call.at - len(data)))
        return
    end = call.at + len(call.data)
    data.extend(bytes(max(0, end - len(data))))
    data[call.at : end] = call.data


def _apply_part(data: bytearray, call: Call, chance: random.Random, likely: float) -> None:
    if call.what == "T":
        if chance.random() < likely:
            _apply(data, call)
        return
    at = call.at
    while at < call.at + len(call.data):
        end = min(call.at + len(call.data), (at // _SECTOR + 1) * _SECTOR)
        if chance.random() < likely:
            piece = call.data[at - call.at : end - call.at]
            _apply(data, Call("W", call.inode, at, call.path, piece))
        at = end
