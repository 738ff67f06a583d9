"""Whether somebody spoke while our own voice sounded, judged by levels after the echo has ended.

What is played returns to the microphone some time later and some decibels quieter: both are
estimated in every echo, and the coupling is remembered from echo to echo. Sound that is clearly
above that, and above the noise, in more than one frequency band is somebody's. Pure: no clock or
device. Nothing here recognises words or stops the voice.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from callout.sound.frames import FRAME_S, FRAME_SAMPLES, SAMPLE_RATE_HZ, Frame, Samples, Utterance

Levels = NDArray[np.float64]
"""Shape (frames, bands): dB of full scale."""

_BANDS_HZ = ((300, 700), (700, 1500), (1500, 3000), (3000, 6000))
"""From the lowest a small loudspeaker plays to the highest a headset does."""
_SILENT_DB = -100.0
_LONGEST_FRAMES = 2000
_DELAYS = 17
"""Frames: what was played returns within half a second."""
_BACK_FRAMES = (-2, 10)
"""How far the return may lie before and after the estimated delay."""
_FADES_DB = 3.0
"""Per frame: a room that reverberates for 0.6 s."""
_NOISE_FRAMES, _LEAST_NOISE_FRAMES = 333, 20
_NOISE_PERCENT = 95.0
_AFTER_FRAMES = 5
"""An utterance begun under the echo is recognised as such for so many frames after it."""
_KNOWN_ECHOES, _LEAST_ECHOES, _LOUDER_DB = 9, 3, 10.0
_WINDOW, _OF_WINDOW = 5, 4
"""Speech is four frames of five, 0.12 s."""


@dataclass(frozen=True, slots=True)
class _Played:
    samples: Samples
    at_s: float
    words: bool


class SpokenOver:
    """``take`` every frame from one thread; ``plays`` and ``ends`` may come from another."""

    def __init__(self, margin_db: float = 8.0) -> None:
        self._margin_db = margin_db
        self._played: deque[_Played] = deque()
        self._ended_s: deque[float] = deque()
        self._noise: deque[Samples] = deque(maxlen=_NOISE_FRAMES)
        self._coupling: deque[NDArray[np.float64]] = deque(maxlen=_KNOWN_ECHOES)
        self.forget()

    def plays(self, samples: Samples, at_s: float, *, words: bool = True) -> None:
        """``samples`` sound from stream time ``at_s`` on; tones are not searched for speech."""
        self._played.append(_Played(samples, at_s, words))

    def ends(self, at_s: float) -> None:
        """Playback sounds no longer than to ``at_s``."""
        self._ended_s.append(at_s)

    def cut(self) -> None:
        """An utterance was under way when the echo began, and is lost."""
        self._cut = True

    def pass_over(self, frame: Frame) -> None:
        """A frame that must not be heard: it is not judged."""
        self.forget()
        self._drop_old(frame.start_s)

    def finish(self) -> Utterance | None:
        """The stream has ended: what was said over an echo that was still sounding, if anything."""
        found = self._found() if self._frames else None
        self.forget()
        return found

    def forget(self) -> None:
        """Drop the current echo without judging it: some of its frames are missing."""
        self._frames: list[Frame] = []
        self._judged: list[bool] = []
        self._after = 0
        self._cut = False

    def take(self, frame: Frame, *, voiced: bool, echo: bool, goes_on: bool) -> Utterance | None:
        """Take one frame; returns what was said over the echo that ended with it, if anything.

        ``echo`` is whether the frame is muted, ``goes_on`` whether an utterance begun in it is
        under way. At most one result per echo: its first to its last frame.
        """
        if self._frames and abs(frame.start_s - self._frames[-1].end_s) > FRAME_S / 2:
            self.forget()  # sound was lost: nothing can be aligned with what was played
        self._drop_old(frame.start_s)
        self._after = 0 if echo or goes_on else self._after + 1
        if echo or goes_on or (self._frames and self._after <= _AFTER_FRAMES):
            if len(self._frames) < _LONGEST_FRAMES:
                self._frames.append(frame)
                self._judged.append(voiced and (echo or goes_on))
            return None
        found = self.finish()
        if not voiced and frame.samples.size == FRAME_SAMPLES:  # the stream's last may be shorter
            self._noise.append(frame.samples)
        return found

    def _drop_old(self, now_s: float) -> None:
        oldest_s = now_s - _LONGEST_FRAMES * FRAME_S
        while self._played and self._played[0].at_s < oldest_s:
            self._played.popleft()
        while self._ended_s and self._ended_s[0] < oldest_s:
            self._ended_s.popleft()

    def _found(self) -> Utterance | None:
        first_s = self._frames[0].start_s
        heard = np.concatenate([_levels(frame.samples) for frame in self._frames])
        played, words = self._what_sounded(first_s, len(heard))
        noise = self._noise_in(heard)
        if not words.any():
            over = np.zeros(len(heard), dtype=bool)
        else:
            delay = _delay(heard, played, noise)
            back = _later(played, delay, _SILENT_DB)
            expected = self._expected(heard, back)
            above = heard - _sum_db(expected, noise)
            # The second strongest band: a single one may be the loudspeaker's own whistle.
            clear = np.sort(above, axis=1)[:, -2] > self._margin_db
            over = clear & np.array(self._judged) & ~_near_tones(words, delay)
        at = _speech(over)
        if at is None and not self._cut:
            return None
        low, high = at if at is not None else (0, 1)
        samples = np.concatenate([frame.samples for frame in self._frames[low:high]])
        return Utterance(samples, self._frames[low].start_s, self._frames[high - 1].end_s)

    def _what_sounded(self, first_s: float, count: int) -> tuple[Levels, NDArray[np.int8]]:
        """Levels of what was played on the frames' own grid; 1 where words sound, -1 for tones."""
        levels = np.full((count, len(_BANDS_HZ)), _SILENT_DB)
        kinds = np.zeros(count, dtype=np.int8)
        ended = [self._ended_s.popleft() for _ in range(len(self._ended_s))]
        last_s = first_s + count * FRAME_S
        while self._played and self._played[0].at_s < last_s:
            item = self._played.popleft()
            lasts_s = item.samples.size / SAMPLE_RATE_HZ
            stopped = [at for at in ended if item.at_s < at < item.at_s + lasts_s]
            size = round((min(stopped) - item.at_s) * SAMPLE_RATE_HZ) if stopped else None
            own = _levels(item.samples[:size])
            low = round((item.at_s - first_s) / FRAME_S)
            own, low = own[max(0, -low) :], max(0, low)
            own = own[: max(0, count - low)]
            levels[low : low + len(own)] = np.maximum(levels[low : low + len(own)], own)
            kinds[low : low + len(own)] = 1 if item.words else -1
        return levels, kinds

    def _noise_in(self, heard: Levels) -> NDArray[np.float64]:
        """The usual maximum between utterances; at first, the echo's own quiet."""
        if len(self._noise) >= _LEAST_NOISE_FRAMES:
            found = np.percentile(_levels(np.concatenate(self._noise)), _NOISE_PERCENT, axis=0)
        else:
            found = np.percentile(heard, 20.0, axis=0) + 6.0
        return np.asarray(found, dtype=np.float64)

    def _expected(self, heard: Levels, back: Levels) -> Levels:
        """The most that our own voice should contribute to each frame."""
        total = _total(back)
        loud = total >= np.median(total[total > _SILENT_DB + 30.0])
        bands = []
        for band in range(heard.shape[1]):
            strong = loud & (back[:, band] > back[loud, band].mean() - 10.0)
            bands.append(np.median(heard[strong, band] - back[strong, band]))
        coupling = np.array(bands)
        self._coupling.append(coupling)
        if len(self._coupling) > _LEAST_ECHOES:
            # Somebody who speaks through a short echo must not pass for its return.
            usual = np.median(np.array(self._coupling), axis=0)
            coupling = np.minimum(coupling, usual + _LOUDER_DB)
        near = np.full_like(back, _SILENT_DB)
        for frames in range(*_BACK_FRAMES):
            moved = _later(back, frames, _SILENT_DB) - max(0, frames) * _FADES_DB
            near = np.maximum(near, moved)
        found: Levels = near + coupling
        return found


def _levels(samples: Samples) -> Levels:
    """Levels of the bands, frame by frame; the last frame is padded with silence."""
    count = -(-samples.size // FRAME_SAMPLES)
    whole = np.zeros(count * FRAME_SAMPLES)
    whole[: samples.size] = samples / 32768.0
    window = np.hanning(FRAME_SAMPLES)
    power = np.abs(np.fft.rfft(whole.reshape(count, FRAME_SAMPLES) * window, axis=1)) ** 2
    step_hz = SAMPLE_RATE_HZ / FRAME_SAMPLES
    edges = [(round(low / step_hz), round(high / step_hz)) for low, high in _BANDS_HZ]
    sums = np.stack([power[:, low:high].sum(axis=1) for low, high in edges], axis=1)
    found: Levels = 10.0 * np.log10(sums / FRAME_SAMPLES**2 + 10.0 ** (_SILENT_DB / 10.0))
    return found


def _total(levels: Levels) -> NDArray[np.float64]:
    found: NDArray[np.float64] = 10.0 * np.log10((10.0 ** (levels / 10.0)).sum(axis=1))
    return found


def _sum_db(one: Levels, other: NDArray[np.float64]) -> Levels:
    found: Levels = 10.0 * np.log10(10.0 ** (one / 10.0) + 10.0 ** (other / 10.0))
    return found


def _later(levels: Levels, frames: int, fill: float) -> Levels:
    """``levels`` moved by so many frames, earlier if negative."""
    moved = np.full_like(levels, fill)
    if frames >= 0:
        moved[frames:] = levels[: len(levels) - frames]
    else:
        moved[:frames] = levels[-frames:]
    return moved


def _delay(heard: Levels, played: Levels, noise: NDArray[np.float64]) -> int:
    """The frames after which the sound returns: where the two correlate best."""
    ours = np.maximum(_total(heard), _total(noise[None])[0])
    theirs = _total(played)
    theirs = np.maximum(theirs, theirs.max() - 40.0)
    best, found = -2.0, 0
    for frames in range(min(_DELAYS, max(1, len(ours) - 8))):
        one, other = ours[frames:], theirs[: len(theirs) - frames]
        if one.std() > 0.0 and other.std() > 0.0:
            alike = float(np.corrcoef(one, other)[0, 1])
            best, found = max((best, found), (alike, frames))
    return found


def _near_tones(kinds: NDArray[np.int8], delay: int) -> NDArray[np.bool_]:
    """Frames where a tone may be heard: with a single pitch it says nothing of the coupling."""
    found = np.zeros(len(kinds), dtype=bool)
    low, high = _BACK_FRAMES
    for at in np.flatnonzero(kinds < 0):
        found[max(0, at + delay + low) : at + delay + high] = True
    return found


def _speech(over: NDArray[np.bool_]) -> tuple[int, int] | None:
    """The span of frames that is long enough to be speech."""
    if len(over) < _WINDOW:
        return None
    counted = np.convolve(over.astype(np.int64), np.ones(_WINDOW, dtype=np.int64), "valid")
    starts = np.flatnonzero(counted >= _OF_WINDOW)
    return None if starts.size == 0 else (int(starts[0]), int(starts[-1]) + _WINDOW)
