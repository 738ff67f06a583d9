"""Moments to look at: the sound's outline, the words in time as engines hear them, playback.

Plain values for a screen to paint. Engines are made on first use; nothing is written.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Protocol

import numpy as np

from callout.core.errors import CalloutError
from callout.core.model import Plot
from callout.journal.folder import SurveyFolder
from callout.lookback.rehear import Rehearing, language_for
from callout.lookback.replay import Moment
from callout.lookback.telling import lines_of, meaning_told, plain
from callout.sound.sound_files import decode_flac
from callout.sound.speaker import Playback, Speaker
from callout.speech.engine import SAMPLE_RATE_HZ, Engine, Samples
from callout.speech.timed import TimedWord as TimedWord
from callout.speech.timed import TimesWords
from callout.station.hearing.engines import choose_engine
from callout.wording.language_files import load_wording

OUTLINE = 400
_MINE = ("closed", "pocketsphinx", "vosk")


@dataclass(frozen=True)
class Hearing:
    """What one engine hears today; ``fault`` says why it hears nothing."""

    engine: str
    told: str
    confidence: float | None = None
    words: tuple[TimedWord, ...] = ()
    fault: str = ""


@dataclass(frozen=True)
class Look:
    """One moment: its lines of text, and its sound's outline, ``OUTLINE`` peaks from 0 to 1."""

    lines: tuple[str, ...]
    seconds: float = 0.0
    outline: tuple[float, ...] = ()
    hearings: tuple[Hearing, ...] = ()
    fault: str = ""


class Viewing(Protocol):
    """Moments as a screen sees them."""

    rows: tuple[str, ...]

    def look(self, at: int, every_engine: bool = False) -> Look:
        """The moment of row ``at``; takes as long as recognition does."""

    def play(self, at: int) -> str:
        """Start playback; returns the reason if it cannot be played."""

    def position_s(self) -> float | None:
        """The position of playback; None if nothing plays."""

    def stop(self) -> None:
        """Stop playback."""


class Viewer:
    """Moments of one survey. ``look`` may be called from any one thread at a time."""

    def __init__(
        self,
        folder: SurveyFolder,
        found: Sequence[Moment],
        engine: str = "auto",
        model: str = "",
        grammar: Path | None = None,
    ) -> None:
        self._folder, self._found, self._engine = folder, found, engine
        config = folder.config()
        self._model = model or config.listening.vosk_model
        with folder.reading() as reader:
            self._plots: Mapping[str, Plot] = reader.plots()
        self._wording = load_wording(config.language)
        self._language = language_for(config.language, self._plots, grammar)
        self._ears: dict[str, tuple[Engine, Rehearing] | str] = {}
        self._hearing = threading.Lock()
        self._player = _Player(config.speaking.speaker or None)
        self.rows = tuple(_row(item) for item in found)

    def look(self, at: int, every_engine: bool = False) -> Look:
        """The moment of row ``at``, heard by the engine asked for, or by every available one."""
        moment = self._found[at]
        lines = tuple(lines_of(moment, self._wording))
        try:
            samples = self._samples(moment)
        except CalloutError as error:
            return Look(lines, fault=self._wording.part(error.saying))
        names = dict.fromkeys((self._engine, *(_MINE if every_engine else ())))
        with self._hearing:
            heard = [self._heard(name, moment, samples) for name in names]
        hearings = {item.engine: item for item in heard}  # auto is one of the others
        seconds = len(samples) / SAMPLE_RATE_HZ
        return Look(lines, seconds, outline(samples), tuple(hearings.values()))

    def play(self, at: int) -> str:
        """Start playing row ``at``; returns the reason if it cannot be played."""
        try:
            self._player.play(self._samples(self._found[at]))
        except CalloutError as error:
            return str(error)
        return ""

    def position_s(self) -> float | None:
        """The position of playback; None if nothing plays."""
        return self._player.position_s()

    def stop(self) -> None:
        """Stop playback."""
        self._player.stop()

    def close(self) -> None:
        """Release the loudspeaker."""
        self._player.close()

    def _samples(self, moment: Moment) -> Samples:
        if moment.removed_by is not None:
            raise CalloutError(f"its sound was removed by order, entry {moment.removed_by}")
        if moment.heard.audio is None:
            raise CalloutError(f"it was {moment.heard.source}: there is no sound")
        return decode_flac(self._folder.audio.read(moment.heard.audio))

    def _heard(self, name: str, moment: Moment, samples: Samples) -> Hearing:
        ear = self._ear(name)
        if isinstance(ear, str):
            return Hearing(name, "", fault=ear)
        engine, rehearing = ear
        try:
            again = rehearing.hear_samples(moment, samples)
            timed = engine.timed(samples) if isinstance(engine, TimesWords) else ()
        except CalloutError as error:
            return Hearing(engine.name, "", fault=self._wording.part(error.saying))
        told = "; ".join(map(meaning_told, again.meanings)) or "no callout"
        return Hearing(engine.name, told, again.confidence if again.words else None, timed)

    def _ear(self, name: str) -> tuple[Engine, Rehearing] | str:
        if name not in self._ears:
            try:
                engine = choose_engine(name, self._language, self._model)
                rehearing = Rehearing(engine, self._language, self._plots, self._folder.audio)
                self._ears[name] = (engine, rehearing)
            except CalloutError as error:
                self._ears[name] = self._wording.part(error.saying)
        return self._ears[name]


def _row(moment: Moment) -> str:
    saved = moment.saved
    became = f"  {saved.tag} {saved.told}" if saved and not moment.saved_by else ""
    return f"{moment.at[11:19]}{became}  {plain(moment.heard.words)}"


def outline(samples: Samples) -> tuple[float, ...]:
    """The peak of each of ``OUTLINE`` stretches, relative to the loudest."""
    if not len(samples):
        return ()
    edges = np.linspace(0, len(samples), OUTLINE + 1).astype(int)
    sizes = np.abs(samples.astype(np.int32))
    peaks = [int(sizes[a : max(b, a + 1)].max(initial=0)) for a, b in pairwise(edges)]
    most = max(max(peaks), 1)
    return tuple(peak / most for peak in peaks)


class _Player:
    """Plays one sound at a time; the loudspeaker is opened on first use."""

    def __init__(self, name: str | None) -> None:
        self._name = name
        self._speaker: Speaker | None = None
        self._playback: Playback | None = None
        self._began_s = 0.0

    def play(self, samples: Samples) -> None:
        if self._speaker is None:
            self._speaker = Speaker(self._name)
        self._speaker.stop()
        self._playback = self._speaker.play(samples, wait=False)
        self._began_s = time.monotonic()

    def position_s(self) -> float | None:
        if self._playback is None or self._playback.done:
            return None
        return time.monotonic() - self._began_s

    def stop(self) -> None:
        if self._speaker is not None:
            self._speaker.stop()

    def close(self) -> None:
        if self._speaker is not None:
            self._speaker.close()
