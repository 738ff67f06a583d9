"""Vosk with the user's own model folder; words are limited to the grammar's.

Vosk takes a list of words, not an automaton, so the automaton judges afterwards: what it heard
counts only if it is a callout.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import vosk

from callout.core.errors import DeviceError
from callout.grammar.automaton import Automaton
from callout.speech.engine import SAMPLE_RATE_HZ, Candidate, Samples, candidate_of
from callout.speech.timed import TimedWord


class VoskEngine:
    """A Vosk model under the grammar's word list."""

    name = "vosk"

    def __init__(self, folder: Path) -> None:
        if not (folder / "am").is_dir() and not (folder / "final.mdl").is_file():
            raise DeviceError(f"{folder} is no Vosk model: give the unpacked model's folder")
        vosk.SetLogLevel(-1)
        try:
            self._model = vosk.Model(str(folder))
        except Exception as error:  # vosk raises bare Exception
            raise DeviceError(f"the Vosk model in {folder} cannot be loaded: {error}") from error
        self.model = folder.name
        self._spoken: Automaton | None = None
        self._words: list[str] = []

    def prepare(self, spoken: Automaton) -> None:
        """Listen for the automaton's words; words the model does not know are left out."""
        known = sorted(spoken.words - set(self.unknown_words(spoken)))
        if not known:
            raise DeviceError(f"Vosk model {self.model} knows no word of this language's grammar")
        self._spoken = spoken
        unknown = ["[unk]"] if self._model.vosk_model_find_word("[unk]") >= 0 else []
        self._words = [*known, *unknown]

    def unknown_words(self, spoken: Automaton) -> tuple[str, ...]:
        """Words that the model lacks."""
        find = self._model.vosk_model_find_word
        return tuple(word for word in sorted(spoken.words) if find(word) < 0)

    def hear(self, samples: Samples) -> tuple[Candidate, ...]:
        """The words heard, as a candidate if they are a callout."""
        found = self._found(samples)
        said = [item["word"] for item in found]
        if self._spoken is None or not said or "[unk]" in said:
            return ()
        sure = min(float(item["conf"]) for item in found)
        candidate = candidate_of(self._spoken, said, min(1.0, sure))
        return (candidate,) if candidate.meanings else ()

    def timed(self, samples: Samples) -> tuple[TimedWord, ...]:
        """The words heard, callout or not, with Vosk's own times and confidences."""
        return tuple(
            TimedWord(item["word"], float(item["start"]), float(item["end"]), float(item["conf"]))
            for item in self._found(samples)
        )

    def _found(self, samples: Samples) -> list[dict[str, Any]]:
        if self._spoken is None or not len(samples):
            return []
        words = json.dumps(self._words, ensure_ascii=False)  # Vosk reads no escapes
        recogniser = vosk.KaldiRecognizer(self._model, SAMPLE_RATE_HZ, words)
        recogniser.SetWords(True)
        recogniser.AcceptWaveform(samples.tobytes())
        found: list[dict[str, Any]] = json.loads(recogniser.FinalResult()).get("result", [])
        return found
