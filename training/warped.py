"""More voices out of few: one person's recordings with another pitch and another length of throat.

WORLD (M. Morise and others, 2016; package pyworld) takes a recording apart into pitch, envelope and
breath; pitch is scaled, the envelope's frequencies are stretched, and it is put together again. All
recordings of one such voice are changed alike, so that a string of them sounds like one person.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from training.clips import Clip
from training.synthesisers import RATE

# Pitch and envelope, as factors: from a deep man to a child, and mixtures that go less together.
VOICES = ((0.75, 0.90), (1.30, 1.08), (1.75, 1.16), (0.88, 1.08), (1.45, 0.95))
MARK = "+"


def warped(clips: Sequence[Clip]) -> list[Clip]:
    """Every clip in every voice of ``VOICES``, named PERSON+NUMBER."""
    with multiprocessing.get_context("spawn").Pool(os.cpu_count()) as pool:
        return [clip for made in pool.map(_in_all_voices, clips, chunksize=20) for clip in made]


def person_of(voice: str) -> str:
    """The person whose recording ``voice`` was made from."""
    return voice.partition(MARK)[0]


def _in_all_voices(clip: Clip) -> list[Clip]:
    import pyworld  # only the making of clips needs it

    sound = clip.wave.astype(np.float64)
    pitch, times = pyworld.dio(sound, RATE)
    pitch = pyworld.stonemask(sound, pitch, times, RATE)
    envelope = pyworld.cheaptrick(sound, pitch, times, RATE)
    breath = pyworld.d4c(sound, pitch, times, RATE)
    made = []
    for number, (higher, shorter) in enumerate(VOICES):
        wave = pyworld.synthesize(
            pitch * higher, _stretched(envelope, shorter), _stretched(breath, shorter), RATE
        )
        wave = (wave * (0.5 / (np.abs(wave).max() + 1e-9))).astype(np.float32)
        made.append(Clip(wave, clip.words, f"{clip.voice}{MARK}{number}"))
    return made


def _stretched(frames: NDArray[np.float64], factor: float) -> NDArray[np.float64]:
    """Every frame's spectrum with its frequencies times ``factor``; the top repeats its last."""
    bins = frames.shape[1]
    source = np.minimum(np.arange(bins) / factor, bins - 1.0)
    below = np.floor(source).astype(int)
    above, share = np.minimum(below + 1, bins - 1), source - below
    mixed = frames[:, below] * (1 - share) + frames[:, above] * share
    return np.ascontiguousarray(mixed)
