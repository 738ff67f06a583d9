"""The recogniser in a process of its own, watched: a crash or a hang costs a moment, not the day.

An ``Engine`` like any other to whoever hears through it. Its process is killed when it takes far
too long, started anew when it is gone, and given the same utterance again, a bounded number of
times. What an engine is and how it hears is ``speech``'s business; what the process does is
``apart_child``'s.
"""

from __future__ import annotations

import contextlib
import json
import os
import pickle
import select
import struct
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from callout.core.errors import CalloutError, DeviceError, OperatorError
from callout.core.meaning import Meaning
from callout.core.saying import Saying, saying, saying_from
from callout.grammar.automaton import Automaton
from callout.grammar.language import Language
from callout.speech.engine import SAMPLE_RATE_HZ, Candidate, Samples

MOST_TRIES = 3
"""How often one utterance is decoded before it is given up: it may itself be what kills."""
_START_S = 60.0
_HANG_S = 8.0
# A callout of 4 s is then given up before the microphone's queue of 20 s runs over.
_HANG_FOR_EACH_S = 3.0
_PAUSE_S = 5.0
_MOST_BYTES = 4_000_000
_LENGTH = struct.Struct(">I")
_NOTHING = Automaton(0, frozenset(), ((),))

TellTrouble = Callable[[Saying | None], None]


@dataclass(frozen=True)
class EngineOrder:
    """Which recogniser the process is to start: what ``choose_engine`` takes."""

    name: str
    language: Language
    vosk_model: str = ""
    tuned: str = ""

    def pickled(self) -> bytes:
        """For our own child alone; the automata go by ``prepare``, so they are left out."""
        lean = Language(self.language.code, _NOTHING, frozenset(), self.language.pronunciations)
        return pickle.dumps((self.name, lean, self.vosk_model, self.tuned))


class _GoneError(Exception):
    """The process ended or hung; ``how`` says which."""

    def __init__(self, how: Saying) -> None:
        super().__init__(str(how))
        self.how = how


class ApartEngine:
    """The engine of another process. ``prepare`` and ``hear`` may come from any thread."""

    def __init__(self, order: EngineOrder, tell: TellTrouble = lambda says: None) -> None:
        """Raises OperatorError or DeviceError where that engine cannot be had at all."""
        self._order, self._tell = order, tell
        self._turn = threading.Lock()
        self._spoken: Automaton | None = None
        self._prepared: Automaton | None = None
        self._failed_at: float | None = None
        self._closed = False
        self.restarts = 0
        self._process = _Process()
        try:
            about = self._process.start(order)
        except _GoneError as error:
            self._process.kill()
            raise DeviceError(saying("recogniser-failed-start", what=error.how)) from error
        self.name, self.model = str(about["name"]), str(about["model"])

    @property
    def pid(self) -> int | None:
        """The process that hears, for those who watch its memory and its end."""
        return self._process.pid

    def on_trouble(self, tell: TellTrouble) -> None:
        """Whom to tell when the recogniser fails (what is wrong), or hears again (None)."""
        self._tell = tell

    def prepare(self, spoken: Automaton) -> None:
        """Listen for this from now on. Made ready at once, or before the next utterance where

        one is being decoded, so that nobody waits for it here.
        """
        self._spoken = spoken
        if self._turn.acquire(blocking=False):
            try:
                with contextlib.suppress(_GoneError):  # started again by the next utterance
                    self._make_ready()
            finally:
                self._turn.release()

    def hear(self, samples: Samples) -> tuple[Candidate, ...]:
        """As the engine heard it. Raises DeviceError where it could not be heard at all."""
        with self._turn:
            self._rest_from_failure()
            gone: Saying | None = None
            for _ in range(MOST_TRIES):
                try:
                    self._make_ready()
                    found = self._process.hear(samples)
                except _GoneError as error:
                    gone = error.how
                    self._process.kill()
                    continue
                self._well_again(gone)
                return found
            self._failed_at = time.monotonic()
            says = saying("recogniser-failed-twice", what=gone or saying("went-gone"))
            self._tell(says)
            raise DeviceError(says)

    def unknown_words(self, spoken: Automaton) -> tuple[str, ...]:
        """As the engine tells them; none from an engine that cannot tell, or that is gone."""
        with self._turn, contextlib.suppress(_GoneError):
            self._make_ready()
            return self._process.unknown_words(spoken)
        return ()

    def close(self) -> None:
        """Let the process go."""
        self._closed = True
        self._process.kill()

    def _make_ready(self) -> None:
        if self._closed:
            raise DeviceError(saying("recogniser-closed"))
        if not self._process.alive:
            self.restarts += 1
            self._prepared = None
            self._process.start(self._order)
        if self._spoken is not None and self._spoken is not self._prepared:
            spoken = self._spoken
            self._process.prepare(spoken)
            self._prepared = spoken

    def _rest_from_failure(self) -> None:
        """One that keeps failing is not started for every cough."""
        if self._failed_at is not None and time.monotonic() - self._failed_at < _PAUSE_S:
            raise DeviceError(saying("recogniser-down"))

    def _well_again(self, gone: Saying | None) -> None:
        if gone is not None:
            self._tell(saying("recogniser-restarted", what=gone))
        if gone is not None or self._failed_at is not None:
            self._tell(None)
        self._failed_at = None


class _Process:
    """One child and the two pipes to it."""

    def __init__(self) -> None:
        self._child: subprocess.Popen[bytes] | None = None

    @property
    def pid(self) -> int | None:
        return self._child.pid if self._child is not None else None

    @property
    def alive(self) -> bool:
        return self._child is not None and self._child.poll() is None

    def start(self, order: EngineOrder) -> dict[str, Any]:
        """Raises what the engine's own start raised, or _GoneError."""
        self.kill()
        self._child = subprocess.Popen(
            [sys.executable, "-P", "-m", "callout.station.hearing.apart_child", str(os.getpid())],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,  # a crashing library's last words would spoil the screen
            bufsize=0,
            env={**os.environ, "PYTHONPATH": _our_path()},
        )
        assert self._child.stdin is not None
        os.set_blocking(self._child.stdin.fileno(), False)
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
        allowed_s = _HANG_S + _HANG_FOR_EACH_S * len(samples) / SAMPLE_RATE_HZ
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
        if child is None:
            return
        child.kill()
        child.wait()
        for pipe in (child.stdin, child.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):  # what was still to be sent has no reader
                    pipe.close()

    def _ask(self, what: bytes, data: bytes, allowed_s: float) -> dict[str, Any]:
        child = self._child
        if child is None or child.stdin is None or child.stdout is None:
            raise _GoneError(saying("went-gone"))
        until = time.monotonic() + allowed_s
        try:
            for part in (what, data):
                _write(child.stdin.fileno(), _LENGTH.pack(len(part)) + part, until)
            source = child.stdout.fileno()
            (length,) = _LENGTH.unpack(_read(source, _LENGTH.size, until))
            if length > _MOST_BYTES:
                raise _GoneError(saying("went-nonsense"))
            answer = json.loads(_read(source, length, until))
        except (OSError, ValueError) as error:
            raise _GoneError(saying("went-stopped")) from error
        return _checked(answer)


def _checked(answer: Any) -> dict[str, Any]:
    if not isinstance(answer, dict):
        raise _GoneError(saying("went-nonsense"))
    if "error" in answer:
        kind = OperatorError if answer.get("kind") == "OperatorError" else DeviceError
        raise kind(saying_from(answer["error"]))
    return answer


def _write(sink: int, data: bytes, until: float) -> None:
    """All of it, or _GoneError when the child stops taking it."""
    left = memoryview(data)
    while left:
        left_s = until - time.monotonic()
        if left_s <= 0 or not select.select([], [sink], [], left_s)[1]:
            raise _GoneError(saying("went-hung"))
        left = left[os.write(sink, left) :]


def _our_path() -> str:
    """Where our own package lies, first: the folder we were started in is never looked into."""
    here = str(Path(__file__).resolve().parents[3])
    return os.pathsep.join([here, *filter(None, [os.environ.get("PYTHONPATH", "")])])


def _read(source: int, size: int, until: float) -> bytes:
    """That many bytes, or _GoneError when the child ends or lets the time pass."""
    data = b""
    while len(data) < size:
        left_s = until - time.monotonic()
        if left_s <= 0 or not select.select([source], [], [], left_s)[0]:
            raise _GoneError(saying("went-hung"))
        piece = os.read(source, size - len(data))
        if not piece:
            raise _GoneError(saying("went-stopped"))
        data += piece
    return data
