"""PocketSphinx with its bundled English model: works right after installation.

Each utterance is searched twice: under the grammar's automaton, and as any phones in any order. The
confidence comes from how much better the phones fit, and from the lengths of the words
(``sphinx_sure``). ``sphinx_sound`` decides which part of the sound is decoded.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

import pocketsphinx

from callout.core.errors import DeviceError
from callout.grammar.automaton import Automaton, without_words
from callout.speech.engine import SAMPLE_RATE_HZ, Candidate, Samples, candidate_of
from callout.speech.sphinx_sound import speech_of
from callout.speech.sphinx_sure import FRAMES_A_SECOND, Segment, fit_of, word_confidence
from callout.speech.timed import TimedWord

# Below this confidence it is not a callout: a cough, a branch, somebody else's talk.
LEAST_SURE = 0.3
# Instead of the shipped 0.65: the grammar's many short words are inserted less often.
WORD_PENALTY = 0.1
_CALLOUT, _PHONES = "callout", "phones"


class SphinxEngine:
    """PocketSphinx under a finite-state grammar; deterministic for the same sound."""

    name = "pocketsphinx"

    def __init__(self, pronunciations: Mapping[str, str] | None = None) -> None:
        self.model = f"en-us, bundled with pocketsphinx {_version()}"
        self._more = dict(pronunciations or {})
        self._decoder = _decoder()
        self._decoder.add_allphone_file(_PHONES, None)
        self._spoken: Automaton | None = None

    def prepare(self, spoken: Automaton) -> None:
        """Compile the automaton without the words that ``unknown_words`` lists.

        Raises DeviceError if no word is left.
        """
        unknown = frozenset(self.unknown_words(spoken))
        spoken = without_words(spoken, unknown) if unknown else spoken
        words = sorted(spoken.words)
        if not words:
            raise DeviceError("pocketsphinx can pronounce no callout of this language's grammar")
        self._teach(words)
        start, end, transitions = _transitions(spoken)
        fsg = self._decoder.create_fsg(_CALLOUT, start, end, transitions)
        self._decoder.add_fsg(_CALLOUT, fsg)
        self._spoken = spoken

    def unknown_words(self, spoken: Automaton) -> tuple[str, ...]:
        """Words without a pronunciation, in the model or in the language's .dict file."""
        lacking = (word for word in spoken.words if self._decoder.lookup_word(word) is None)
        return tuple(sorted(set(lacking) - self._more.keys()))

    def _teach(self, words: Iterable[str]) -> None:
        missing = [word for word in words if self._decoder.lookup_word(word) is None]
        for word in missing:
            self._decoder.add_word(word, self._more[word], update=word == missing[-1])

    def hear(self, samples: Samples) -> tuple[Candidate, ...]:
        """The best callout, or nothing if it fits the sound too badly."""
        if self._spoken is None or not len(samples):
            return ()
        sound = speech_of(samples).samples.tobytes()
        said = self._said(sound)
        if not said:
            return ()
        sure = fit_of(said, self._decoded(_PHONES, sound)).confidence
        if sure < LEAST_SURE:
            return ()
        return (candidate_of(self._spoken, [item.word for item in said], sure),)

    def timed(self, samples: Samples) -> tuple[TimedWord, ...]:
        """The words under the grammar; each one's confidence depends only on its own time."""
        if self._spoken is None or not len(samples):
            return ()
        cut = speech_of(samples)
        sound = cut.samples.tobytes()
        said = self._said(sound)
        phones = self._decoded(_PHONES, sound) if said else []
        return tuple(
            TimedWord(
                item.word,
                cut.from_s + item.start / FRAMES_A_SECOND,
                cut.from_s + (item.end + 1) / FRAMES_A_SECOND,
                word_confidence(item, phones),
            )
            for item in said
        )

    def _said(self, sound: bytes) -> list[Segment]:
        """The best callout's words without silence marks; empty if no path reached the end."""
        found = self._decoded(_CALLOUT, sound)
        return [
            Segment(item.word.partition("(")[0], item.start, item.end, item.score)
            for item in found
            if not item.word.startswith(("<", "[", "+", "("))
        ]

    def _decoded(self, search: str, sound: bytes) -> list[Segment]:
        decoder = self._decoder
        decoder.activate_search(search)
        decoder.start_utt()
        decoder.process_raw(sound, full_utt=True)
        decoder.end_utt()
        if decoder.hyp() is None:
            return []
        return [
            Segment(item.word, item.start_frame, item.end_frame, _score(item.ascore))
            for item in decoder.seg()
            if item.end_frame >= item.start_frame
        ]


def _version() -> str:
    from importlib.metadata import version

    return version("pocketsphinx")


def _decoder() -> pocketsphinx.Decoder:
    try:
        # bestpath searches a word lattice that noise can make huge: minutes per second of sound.
        decoder = pocketsphinx.Decoder(
            samprate=SAMPLE_RATE_HZ, bestpath=False, loglevel="FATAL", lm=None, wip=WORD_PENALTY
        )
        # Its noise removal carries an estimate from utterance to utterance, so that the same sound
        # was heard differently later. The model's own file turns it on; it is off only here.
        decoder.config["remove_noise"] = False
        decoder.reinit_feat(decoder.config)
    except (RuntimeError, ValueError, OSError) as error:
        raise DeviceError(f"pocketsphinx cannot start: {error}") from error
    return decoder


def _transitions(
    spoken: Automaton,
) -> tuple[int, int, list[tuple[int, int, float] | tuple[int, int, float, str]]]:
    """The automaton in PocketSphinx's form: one end state, each word once between two states."""
    end = len(spoken.ways)
    once = dict.fromkeys(
        (state, target, word) for state, ways in enumerate(spoken.ways) for word, _, target in ways
    )
    transitions: list[tuple[int, int, float] | tuple[int, int, float, str]] = [
        (source, target, 1.0, word) for source, target, word in once
    ]
    transitions.extend((state, end, 1.0) for state in sorted(spoken.finals))
    return spoken.start, end, transitions


def _score(told: float) -> float:
    """Undo the exp that PocketSphinx applies to its score, in units of log 1.0001."""
    return math.log(max(told, 1e-300)) / math.log(1.0001)
