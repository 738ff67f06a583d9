"""The process that hears: takes orders on standard input, answers on standard output.

It ends when its parent does. Run by ``apart`` alone. Output of the engine's library is discarded.
"""

from __future__ import annotations

import json
import os
import pickle
import signal
import struct
import sys
from typing import Any, BinaryIO

import numpy as np

from callout.core.errors import CalloutError
from callout.speech.engine import Engine, TellsUnknown
from callout.station.hearing.engines import choose_engine, preload

_LENGTH = struct.Struct(">I")


def main() -> None:
    """Answer until the parent closes the pipe."""
    # Ctrl+C goes to every process of the terminal: the parent decides when this one ends.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    _end_with(int(sys.argv[1]))
    source, sink = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    preload(sys.argv[2])
    engine: Engine | None = None
    while (order := _part(source)) is not None:
        data = _part(source) or b""
        try:
            if order == b"start":
                # These bytes come from our own parent over a pipe that nobody else holds.
                engine = choose_engine(*pickle.loads(data))
            answer = _answer(engine, order, data)
        except CalloutError as error:
            answer = {"error": error.saying.as_json(), "kind": type(error).__name__}
        text = json.dumps(answer).encode()
        sink.write(_LENGTH.pack(len(text)) + text)
        sink.flush()


def _answer(engine: Engine | None, order: bytes, data: bytes) -> dict[str, Any]:
    assert engine is not None
    if order == b"prepare":
        engine.prepare(pickle.loads(data))
        return {}
    if order == b"unknown":
        if not isinstance(engine, TellsUnknown):
            return {"words": []}
        return {"words": engine.unknown_words(pickle.loads(data))}
    if order == b"hear":
        found = engine.hear(np.frombuffer(data, dtype=np.int16))
        return {
            "candidates": [
                {
                    "words": one.words,
                    "meanings": [meaning.as_json() for meaning in one.meanings],
                    "confidence": one.confidence,
                    "likely": [meaning.as_json() for meaning in one.likely],
                }
                for one in found
            ]
        }
    return {"name": engine.name, "model": engine.model}


def _part(source: BinaryIO) -> bytes | None:
    head = source.read(_LENGTH.size)
    if len(head) < _LENGTH.size:
        return None
    (length,) = _LENGTH.unpack(head)
    data = source.read(length)
    return data if len(data) == length else None


def _end_with(parent: int) -> None:
    """On Linux the system ends this process with its parent, even in the middle of decoding."""
    if not sys.platform.startswith("linux"):
        return
    import ctypes

    set_death_signal = 1
    ctypes.CDLL(None).prctl(set_death_signal, signal.SIGKILL, 0, 0, 0)
    if os.getppid() != parent:  # it ended before we asked
        os._exit(0)


if __name__ == "__main__":
    main()
