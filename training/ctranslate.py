"""CTranslate2's model files, read and written: named arrays behind a short head.

After ``python/ctranslate2/specs/model_spec.py`` of CTranslate2 4 (MIT), binary version 6.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

_TYPES: dict[int, Any] = {0: np.float32, 1: np.int8, 2: np.int16, 3: np.int32, 4: np.float16}
_NUMBERS = {np.dtype(kind): number for number, kind in _TYPES.items()}
_BINARY_VERSION = 6


@dataclass(frozen=True)
class ModelFile:
    """What one ``model.bin`` holds."""

    spec: str
    revision: int
    arrays: dict[str, NDArray[Any]]
    aliases: tuple[tuple[str, str], ...]


def read(path: Path) -> ModelFile:
    """The model in ``path``. Raises ValueError for another version."""
    reader = _Reader(path.read_bytes())
    if reader.number("I") != _BINARY_VERSION:
        raise ValueError(f"{path} is not of binary version {_BINARY_VERSION}")
    spec, revision, arrays = reader.text(), reader.number("I"), {}
    for _ in range(reader.number("I")):
        name = reader.text()
        shape = [reader.number("I") for _ in range(reader.number("B"))]
        kind, size = np.dtype(_TYPES[reader.number("B")]), reader.number("I")
        arrays[name] = np.frombuffer(reader.taken(size), kind).reshape(shape)
    aliases = tuple((reader.text(), reader.text()) for _ in range(reader.number("I")))
    return ModelFile(spec, revision, arrays, aliases)


def write(path: Path, model: ModelFile) -> None:
    """Write ``model`` as ``read`` reads it."""
    parts = [struct.pack("<I", _BINARY_VERSION), _text(model.spec)]
    parts.append(struct.pack("<II", model.revision, len(model.arrays)))
    for name, array in model.arrays.items():
        shape = struct.pack(f"<B{array.ndim}I", array.ndim, *array.shape)
        kind = struct.pack("<BI", _NUMBERS[array.dtype], array.nbytes)
        parts += [_text(name), shape, kind, np.ascontiguousarray(array).tobytes()]
    parts.append(struct.pack("<I", len(model.aliases)))
    parts += [_text(text) for pair in model.aliases for text in pair]
    path.write_bytes(b"".join(parts))


def in_int8(weight: NDArray[Any]) -> tuple[NDArray[np.int8], NDArray[np.float32]]:
    """A matrix (rows, columns) as CTranslate2 keeps it: integers, and what each row was times."""
    exact = weight.astype(np.float32)
    scale = (127 / np.maximum(np.abs(exact).max(axis=1), 1e-9)).astype(np.float32)
    return np.rint(exact * scale[:, None]).astype(np.int8), scale


class _Reader:
    def __init__(self, data: bytes) -> None:
        self._data, self._at = data, 0

    def taken(self, size: int) -> bytes:
        self._at += size
        return self._data[self._at - size : self._at]

    def number(self, form: str) -> int:
        return int(struct.unpack("<" + form, self.taken(struct.calcsize("<" + form)))[0])

    def text(self) -> str:
        return self.taken(self.number("H"))[:-1].decode()


def _text(text: str) -> bytes:
    data = text.encode() + b"\0"
    return struct.pack("<H", len(data)) + data
