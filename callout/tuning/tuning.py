"""Tuning to one measurer: the prompts, which utterances are refused, and the comparison.

Pure: sounds and log probabilities in, faults and figures out. Prompts are the only words ever
learnt from; no tree, tag or previous diameter is known here. Learning is in ``tuning_work``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import webrtcvad

from callout.sound.endpoint_settings import EndpointSettings
from callout.sound.frames import FRAME_S, SAMPLE_RATE_HZ, Samples, frames_of

PROMPTS = (
    "tree four seven two nine",
    "tree eighty three diameter twenty four point six",
    "confirm",
    "tree one zero five diameter thirty eight point two",
    "tree sixty nine diameter fifty one point seven",
    "no",
    "diameter seven point four",
    "tree three eight six one",
    "tree nine five two diameter sixteen point three",
    "wrong tree",
    "tree seventy two diameter forty five point eight",
    "tree five zero eight diameter nineteen point nine",
    "confirm",
    "diameter thirty one point zero",
    "tree six four three diameter ninety two point one",
    "tree seven zero nine dead standing",
    "correction eighteen point five",
    "tree two eight four diameter sixty point six",
    "tree eight three five diameter thirteen point seven",
    "tree nine six zero one",
)
"""Words of the grammar, read aloud as they are; every digit occurs five times or more."""

REHEARSED = (
    "tree eleven diameter forty two point five",
    "tree one hundred and twelve diameter fifteen",
    "tag three hundred sixteen girth seventy point one inches",
    "number fourteen ninety nine even",
    "tree twenty thirteen alive",
    "tree two thousand fifty dead and down",
    "yes accept",
    "tree double three missing",
    "skip tree",
    "tree eighteen not found",
    "say again",
    "tree sixty seven cut",
    "undo",
    "repeat that",
    "stem two diameter ten and a half",
    "measured at one point three metres",
    "lost tag new number seventeen",
    "what is left",
    "where was i",
    "plot complete",
    "take a note",
    "tree eleven no wait twelve diameter ten",
    "wrong",
    "save",
)
"""Words that are not prompted, in the echo's voice, so that the head does not forget them."""

QUIETEST_DBFS = -50.0
CLIPPED_AT, CLIPPED_SHARE = 32_700, 0.002
LEAST_SNR_DB = 8.0
MOST_STRANGE = 6.0
"""How much less likely per word (natural logarithm) the prompt may be than what the head hears."""
MOST_MARGIN = 8.0
_PAUSE_MARGIN_S, _HANG_OVER_STEP_S, _LONGEST_HANG_OVER_S = 0.25, 0.05, 1.5
_GATE_UNDER_VOICE_DB, _GATES_DBFS = 25.0, (-75.0, -45.0)


@dataclass(frozen=True)
class Take:
    """One utterance of the measurer: 16 kHz int16 of shape (n,), and the words prompted."""

    samples: Samples
    words: tuple[str, ...]


@dataclass(frozen=True)
class Loudness:
    """Levels of one utterance in dBFS, and its longest inner pause in seconds."""

    voice_dbfs: float
    noise_dbfs: float
    clipped: float
    pause_s: float


def loudness(samples: Samples) -> Loudness:
    """Levels of voice and noise, the share of samples at full scale, the longest pause.

    Voiced frames are those the endpointer's own detector calls speech; levels are medians.
    """
    detector = webrtcvad.Vad(EndpointSettings().vad_mode)
    frames = list(frames_of(samples))
    levels = np.array([frame.level_dbfs for frame in frames])
    floor = float(np.percentile(levels, 10)) if len(levels) else -96.0
    over = max(EndpointSettings().gate_least_dbfs - 15, floor + 3)
    voiced = [
        bool(detector.is_speech(frame.samples.tobytes(), SAMPLE_RATE_HZ)) and level > over
        for frame, level in zip(frames, levels, strict=True)
    ]
    at = np.flatnonzero(voiced)
    clipped = float(np.mean(np.abs(samples.astype(np.int32)) >= CLIPPED_AT)) if len(samples) else 0
    if not len(at):
        return Loudness(-96.0, floor, clipped, 0.0)
    longest = int(np.diff(at).max(initial=1)) - 1
    return Loudness(float(np.median(levels[at])), floor, clipped, longest * FRAME_S)


def sound_fault(heard: Loudness) -> str | None:
    """Why an utterance cannot be learnt from, in words for the measurer; None if it can."""
    if heard.voice_dbfs <= -96.0:
        return "no speech was heard"
    if heard.voice_dbfs < QUIETEST_DBFS:
        return f"too quiet ({heard.voice_dbfs:.0f} dBFS): speak up or move the microphone nearer"
    if heard.clipped > CLIPPED_SHARE:
        return f"clipped ({100 * heard.clipped:.1f} % of it): turn the microphone down"
    if heard.voice_dbfs - heard.noise_dbfs < LEAST_SNR_DB:
        over = heard.voice_dbfs - heard.noise_dbfs
        return f"too much noise (the voice is {over:.0f} dB over it): find a quieter place"
    return None


def words_fault(prompted: float, free: float, words: int) -> str | None:
    """Why the sound is not the prompt; both are natural logarithms of probabilities.

    ``prompted`` is that of the prompt's ``words``, ``free`` that of the likeliest frames. The limit
    is wide enough that an accent the head hears badly passes; other words, or half of them, do not.
    """
    if not math.isfinite(prompted):
        return "too short for the words shown"
    if (free - prompted) / words > MOST_STRANGE:
        return "it does not sound like the words shown"
    return None


def hang_over_s(pauses_s: Sequence[float], set_s: float) -> float:
    """Seconds of quiet that end an utterance: over the longest pause heard, never under ``set_s``.

    Pauses are shorter when reading from a screen than at a tree, so it is never made shorter.
    """
    wanted = max(pauses_s, default=0.0) + _PAUSE_MARGIN_S
    steps = math.ceil(round(wanted / _HANG_OVER_STEP_S, 6))
    return max(set_s, min(_LONGEST_HANG_OVER_S, round(steps * _HANG_OVER_STEP_S, 2)))


def gate_dbfs(voices_dbfs: Sequence[float]) -> float:
    """The level below which nothing counts as this measurer's speech."""
    low, high = _GATES_DBFS
    return float(round(min(high, max(low, min(voices_dbfs) - _GATE_UNDER_VOICE_DB))))


@dataclass(frozen=True)
class Judged:
    """One utterance heard: was the likeliest meaning right, and would it have been accepted?"""

    words: tuple[str, ...]
    heard: tuple[str, ...]
    right: bool
    accepted: bool
    margin: float = 0.0
    """How much less likely (natural logarithm) the next words were."""


@dataclass(frozen=True)
class Figures:
    """Counts over utterances heard by a head that did not learn from them."""

    heard: int
    right: int
    accepted: int
    wrong: int
    """Accepted, but wrong."""

    @classmethod
    def of(cls, judged: Sequence[Judged]) -> Figures:
        """Count the judged utterances."""
        return cls(
            len(judged),
            sum(one.right for one in judged),
            sum(one.accepted and one.right for one in judged),
            sum(one.accepted and not one.right for one in judged),
        )

    def told(self) -> str:
        """The counts in words."""
        asked = self.heard - self.accepted - self.wrong
        return (
            f"{self.right} of {self.heard} right; {self.accepted} right without being asked, "
            f"{asked} asked about or not heard, {self.wrong} wrong without being asked"
        )


def is_better(before: Figures, after: Figures) -> bool:
    """Whether the tuned head may be kept: nothing worse, and more right or fewer questions."""
    worse = after.wrong > before.wrong or after.right < before.right
    return not worse and (after.right, after.accepted) > (before.right, before.accepted)


def own_margin(judged: Sequence[Judged], least: float) -> float:
    """The margin this measurer's head needs so that wrong hearings would have been questioned.

    Never under ``least``: twenty utterances can show that more is needed, not that less would do.
    """
    wrong = [one.margin for one in judged if one.accepted and not one.right]
    return min(MOST_MARGIN, max([least, *(margin + 0.5 for margin in wrong)]))
