"""PocketSphinx with its bundled English model: works right after installation.

One decoder searches the grammar's automaton; a second one hears any words of the vocabulary in
any order. Where the free one explains the sound much better, it was no callout.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import pocketsphinx

from callout.core.errors import DeviceError
from callout.grammar.automaton import Automaton, without_words
from callout.speech.engine import SAMPLE_RATE_HZ, Candidate, Samples, candidate_of
from callout.speech.timed import TimedWord

# Score units a frame by which free words may fit better; callouts of four synthetic voices lay
# below 0.5, other speech mostly above. Not calibrated on people.
TOLERATED_MARGIN = 1.0
LEAD_S = 0.3
FRAMES_A_SECOND = 100


class SphinxEngine:
    """PocketSphinx under a finite-state grammar; deterministic for the same sound."""

    name = "pocketsphinx"

    def __init__(self, pronunciations: Mapping[str, str] | None = None) -> None:
        self.model = f"en-us, bundled with pocketsphinx {_version()}"
        self._more = dict(pronunciations or {})
        self._strict = _decoder()
        self._free = _decoder()
        self._spoken: Automaton | None = None

    def prepare(self, spoken: Automaton) -> None:
        """Compile the automaton, less the words that ``unknown_words`` tells.

        Raises DeviceError where no word is left.
        """
        unknown = frozenset(self.unknown_words(spoken))
        spoken = without_words(spoken, unknown) if unknown else spoken
        words = sorted(spoken.words)
        if not words:
            raise DeviceError("pocketsphinx can pronounce no callout of this language's grammar")
        for decoder in (self._strict, self._free):
            self._teach(decoder, words)
        _listen_for(self._strict, "callout", *_transitions(spoken))
        loop: list[tuple[int, int, float, str]] = [(0, 0, 1.0 / len(words), word) for word in words]
        _listen_for(self._free, "loop", 0, 0, loop)
        self._spoken = spoken

    def unknown_words(self, spoken: Automaton) -> tuple[str, ...]:
        """Words without a pronunciation, in the model or in the language's .dict file."""
        lacking = (word for word in spoken.words if self._strict.lookup_word(word) is None)
        return tuple(sorted(set(lacking) - self._more.keys()))

    def _teach(self, decoder: pocketsphinx.Decoder, words: Iterable[str]) -> None:
        missing = [word for word in words if decoder.lookup_word(word) is None]
        for word in missing:
            decoder.add_word(word, self._more[word], update=word == missing[-1])

    def hear(self, samples: Samples) -> tuple[Candidate, ...]:
        """The best callout, or nothing where free words fit the sound far better."""
        if self._spoken is None or not len(samples):
            return ()
        lead = np.zeros(int(LEAD_S * SAMPLE_RATE_HZ), dtype=np.int16)
        sound = np.concatenate([lead, samples, lead]).tobytes()
        words, score = _decode(self._strict, sound)
        if not words:
            return ()
        _, best = _decode(self._free, sound)
        frames = max(1, len(samples) * FRAMES_A_SECOND // SAMPLE_RATE_HZ)
        margin = (best - score) / frames
        confidence = _confidence(margin)
        if margin > TOLERATED_MARGIN:
            return ()
        return (candidate_of(self._spoken, words, confidence),)

    def timed(self, samples: Samples) -> tuple[TimedWord, ...]:
        """The words under the grammar; each one's confidence is the whole's, taken over its time.

        The free decoder's score is spread evenly over each of its own words.
        """
        if self._spoken is None or not len(samples):
            return ()
        lead = np.zeros(int(LEAD_S * SAMPLE_RATE_HZ), dtype=np.int16)
        sound = np.concatenate([lead, samples, lead]).tobytes()
        words, _ = _decode(self._strict, sound)
        if not words:
            return ()
        strict = [item for item in _segments(self._strict) if not _is_filler(item.word)]
        _decode(self._free, sound)
        free = _score_by_frame(_segments(self._free))
        return tuple(
            TimedWord(
                word,
                max(0.0, item.start / FRAMES_A_SECOND - LEAD_S),
                (item.end + 1) / FRAMES_A_SECOND - LEAD_S,
                _confidence((sum(free[item.start : item.end + 1]) - item.score) / item.frames),
            )
            for word, item in zip(words, strict, strict=True)
        )


def _version() -> str:
    from importlib.metadata import version

    return version("pocketsphinx")


def _decoder() -> pocketsphinx.Decoder:
    try:
        # bestpath searches a word lattice that noise can make enormous: minutes for a second.
        return pocketsphinx.Decoder(
            samprate=SAMPLE_RATE_HZ, bestpath=False, loglevel="FATAL", lm=None
        )
    except (RuntimeError, ValueError, OSError) as error:
        raise DeviceError(f"pocketsphinx cannot start: {error}") from error


def _listen_for(
    decoder: pocketsphinx.Decoder,
    name: str,
    start: int,
    end: int,
    transitions: list[tuple[int, int, float, str]]
    | list[tuple[int, int, float] | tuple[int, int, float, str]],
) -> None:
    decoder.add_fsg(name, decoder.create_fsg(name, start, end, transitions))
    decoder.activate_search(name)


def _transitions(
    spoken: Automaton,
) -> tuple[int, int, list[tuple[int, int, float] | tuple[int, int, float, str]]]:
    """The automaton as PocketSphinx wants it: one end, words once between two states."""
    end = len(spoken.arcs)
    ways: dict[tuple[int, int, str], None] = {}
    for state, arcs in enumerate(spoken.arcs):
        for arc in arcs:
            ways[(state, arc.target, arc.word)] = None
    transitions: list[tuple[int, int, float] | tuple[int, int, float, str]] = [
        (source, target, 1.0, word) for source, target, word in ways
    ]
    transitions.extend((state, end, 1.0) for state in sorted(spoken.finals))
    return spoken.start, end, transitions


def _decode(decoder: pocketsphinx.Decoder, sound: bytes) -> tuple[list[str], float]:
    """Words without silence marks, and the path's score; no words where no path ended."""
    decoder.start_utt()
    decoder.process_raw(sound, full_utt=True)
    decoder.end_utt()
    found = decoder.hyp()
    if found is None:
        return [], -math.inf
    words = [
        segment.word.partition("(")[0] for segment in decoder.seg() if not _is_filler(segment.word)
    ]
    return words, _score(found.best_score)


def _score(told: float) -> float:
    """PocketSphinx gives exp of its score in units of log 1.0001; back to those units."""
    return math.log(max(told, 1e-300)) / math.log(1.0001)


def _confidence(margin: float) -> float:
    """From how much better free words fit, in score units a frame; one half at the tolerated."""
    return 1 / (1 + math.exp(min(500.0, (margin - TOLERATED_MARGIN) / 2)))


def _is_filler(word: str) -> bool:
    return word.startswith(("<", "[", "+", "("))


@dataclass(frozen=True)
class _Segment:
    """A word or filler from frame ``start`` to ``end``, both its own, and its sound's score."""

    word: str
    start: int
    end: int
    score: float

    @property
    def frames(self) -> int:
        return self.end - self.start + 1


def _segments(decoder: pocketsphinx.Decoder) -> list[_Segment]:
    return [
        _Segment(item.word, item.start_frame, item.end_frame, _score(item.ascore))
        for item in decoder.seg()
        if item.end_frame >= item.start_frame
    ]


def _score_by_frame(segments: list[_Segment]) -> list[float]:
    length = max((item.end + 1 for item in segments), default=0)
    scores = [0.0] * length
    for item in segments:
        for frame in range(item.start, item.end + 1):
            scores[frame] = item.score / item.frames
    return scores
