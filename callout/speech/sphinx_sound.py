"""The part of an utterance that PocketSphinx decodes: the speech, with little silence around it.

The model subtracts each utterance's own cepstral mean, and was trained on sentences; the pre-roll
and hang-over of a short callout pull that mean far towards silence. Nothing is carried over from
other utterances, so the same sound is always heard alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from callout.speech.engine import SAMPLE_RATE_HZ, Samples

FRAME = SAMPLE_RATE_HZ // 100
MARGIN_S = 0.2
# Frames further below the loudest one are silence.
SPEECH_WITHIN_DB = 30.0


@dataclass(frozen=True, eq=False)
class Cut:
    """Samples to decode, and how many seconds after the utterance's start they begin."""

    samples: Samples
    from_s: float


def speech_of(samples: Samples) -> Cut:
    """``samples`` from a little before the speech to a little after it."""
    first, last = _speech(samples.astype(np.float64))
    return Cut(samples[first:last], first / SAMPLE_RATE_HZ)


def _speech(wave: np.ndarray) -> tuple[int, int]:
    """First and last sample that is not silence, with a margin; all of a sound too short."""
    count = len(wave) // FRAME
    if count == 0:
        return 0, len(wave)
    power = np.mean(wave[: count * FRAME].reshape(count, FRAME) ** 2, axis=1) + 1.0
    spoken = np.flatnonzero(power > power.max() * 10 ** (-SPEECH_WITHIN_DB / 10))
    margin = int(MARGIN_S * SAMPLE_RATE_HZ)
    first, last = int(spoken[0]) * FRAME - margin, (int(spoken[-1]) + 1) * FRAME + margin
    return max(0, first), min(len(wave), last)
