"""One recogniser process and the two pipes to it: started, asked, killed.

``apart`` decides when and how often; the process itself runs ``apart_child``.
"""

from __future__ import annotations

import json
import os
import pickle
import select
import struct
import time
from dataclasses import dataclass
from typing import Any

from callout.core.errors import CalloutError, DeviceError, OperatorError
from callout.core.meaning import Meaning
from callout.core.saying import Saying, saying, saying_from
from callout.grammar.automaton import Automaton
from callout.grammar.jsgf import Grammar
from callout.grammar.language import Language
from callout.speech.engine import SAMPLE_RATE_HZ, Candidate, Samples
from callout.station.hearing.launching import Child, end, launched

HANG_S = 8.0
# A callout of 4 s is then given up before the microphone's queue of 20 s overflows.
HANG_FOR_EACH_S = 3.0
_START_S = 60.0
_MOST_BYTES = 4_000_000
_LENGTH = struct.Struct(">I")
_NOTHING = Automaton(0, frozenset(), ((),))


@dataclass(frozen=True)
class EngineOrder:
    """Which recogniser the process should start: the arguments of ``choose_engine``."""

    name: str
    language: Language
    vosk_model: str = ""
    tuned: str = ""

    def pickled(self) -> bytes:
        """For our own child only; the automata are sent by ``prepare``, so they are left out."""
        whole = self.language
        lean = Language(whole.code, _NOTHING, Grammar("", {}), whole.pronunciations, whole.species)
        return pickle.dumps((self.name, lean, self.vosk_model, self.tuned))


class GoneError(Exception):
    """The process ended or hung; ``how`` says which."""

    def __init__(self, how: Saying) -> None:
        super().__init__(str(how))
        self.how = how


class EngineProcess:
    """One child and the two pipes to it."""

    def __init__(self, child: Child | None = None) -> None:
        """``child`` was launched already, and is used for the first start."""
        self._child, self._first = child, child

    @property
    def pid(self) -> int | None:
        return self._child.pid if self._child is not None else None

    @property
    def alive(self) -> bool:
        return self._child is not None and self._child.poll() is None

    def start(self, order: EngineOrder) -> dict[str, Any]:
        """Start the engine. Raises what the engine's own start raised, or GoneError."""
        first, self._first = self._first, None
        if first is None:
            self.kill()
            self._child = launched()
        try:
            return self._ask(b"start", order.pickled(), _START_S)
        except CalloutError:
            self.kill()
            raise

    def prepare(self, spoken: Automaton) -> None:
        self._ask(b"prepare", pickle.dumps(spoken), _START_S)

    def unknown_words(self, spoken: Automaton) -> tuple[str, ...]:
        answer = self._ask(b"unknown", pickle.dumps(spoken), _START_S)
        return tuple(map(str, answer["words"]))

    def hear(self, samples: Samples) -> tuple[Candidate, ...]:
        allowed_s = HANG_S + HANG_FOR_EACH_S * len(samples) / SAMPLE_RATE_HZ
        answer = self._ask(b"hear", samples.tobytes(), allowed_s)
        return tuple(
            Candidate(
                str(item["words"]),
                tuple(Meaning.from_json(meaning) for meaning in item["meanings"]),
                float(item["confidence"]),
                tuple(Meaning.from_json(meaning) for meaning in item["likely"]),
            )
            for item in answer["candidates"]
        )

    def kill(self) -> None:
        child, self._child = self._child, None
        if child is not None:
            end(child)

    def _ask(self, what: bytes, data: bytes, allowed_s: float) -> dict[str, Any]:
        child = self._child
        if child is None or child.stdin is None or child.stdout is None:
            raise GoneError(saying("went-gone"))
        until = time.monotonic() + allowed_s
        try:
            for part in (what, data):
                _write(child.stdin.fileno(), _LENGTH.pack(len(part)) + part, until)
            source = child.stdout.fileno()
            (length,) = _LENGTH.unpack(_read(source, _LENGTH.size, until))
            if length > _MOST_BYTES:
                raise GoneError(saying("went-nonsense"))
            answer = json.loads(_read(source, length, until))
        except (OSError, ValueError) as error:
            raise GoneError(saying("went-stopped")) from error
        return _checked(answer)


def _checked(answer: Any) -> dict[str, Any]:
    if not isinstance(answer, dict):
        raise GoneError(saying("went-nonsense"))
    if "error" in answer:
        kind = OperatorError if answer.get("kind") == "OperatorError" else DeviceError
        raise kind(saying_from(answer["error"]))
    return answer


def _write(sink: int, data: bytes, until: float) -> None:
    """Write everything; GoneError when the child stops reading."""
    left = memoryview(data)
    while left:
        left_s = until - time.monotonic()
        if left_s <= 0 or not select.select([], [sink], [], left_s)[1]:
            raise GoneError(saying("went-hung"))
        left = left[os.write(sink, left) :]


def _read(source: int, size: int, until: float) -> bytes:
    """Read that many bytes; GoneError when the child ends or the time is up."""
    data = b""
    while len(data) < size:
        left_s = until - time.monotonic()
        if left_s <= 0 or not select.select([source], [], [], left_s)[0]:
            raise GoneError(saying("went-hung"))
        piece = os.read(source, size - len(data))
        if not piece:
            raise GoneError(saying("went-stopped"))
        data += piece
    return data
