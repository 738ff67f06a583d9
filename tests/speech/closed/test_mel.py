"""Log-mel features and the numpy head against outside definitions."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soxr

from callout.core.errors import DeviceError
from callout.sound.sound_files import read_sound
from callout.speech.closed.closed_engine import HEAD
from callout.speech.closed.head import Head
from callout.speech.closed.mel import _hz_to_mel, dull, log_mel
from callout.station.data import data_folder


def test_mel_scale_is_slaneys() -> None:
    """Auditory Toolbox (Slaney 1998): 1000 Hz is 15 mel, 6400 Hz 27 steps further."""
    assert _hz_to_mel(1000.0) == pytest.approx(15.0)
    assert _hz_to_mel(6400.0) == pytest.approx(42.0)


def test_a_tone_lies_in_its_band() -> None:
    """80 bands from 0 to 8 kHz: the peak stands at the band whose centre is nearest the tone."""
    for hertz in (300.0, 1000.0, 3000.0):
        wave = np.sin(2 * np.pi * hertz * np.arange(16000) / 16000) * 20000
        features = log_mel(wave.astype(np.int16))
        top = _hz_to_mel(8000.0)
        centres = np.linspace(0, top, 82)[1:-1]
        assert features.shape == (80, 100)
        nearest = int(np.abs(centres - _hz_to_mel(hertz)).argmin())
        assert abs(int(features[:, 50].argmax()) - nearest) <= 1


def test_features_span_two_at_most() -> None:
    """Clamped to 8 decades of power below the peak, then divided by 4 (Radford et al. 2022)."""
    noise = np.random.default_rng(1).normal(size=16000) * 300
    features = log_mel(noise.astype(np.int16))
    assert features.max() - features.min() <= 2.0 + 1e-6


def test_the_shipped_head_gives_probabilities_over_its_words() -> None:
    head = Head(HEAD)
    frames = np.random.default_rng(2).normal(size=(20, 384)).astype(np.float32)
    sums = np.exp(head.log_probs(frames)).sum(axis=1)
    assert sums == pytest.approx(np.ones(20), abs=1e-4)
    assert head.words[:2] == ("<blank>", "<other>")


def test_a_head_that_is_no_head_is_refused(tmp_path: Path) -> None:
    broken = tmp_path / "head.npz"
    broken.write_bytes(b"nothing")
    with pytest.raises(DeviceError, match="cannot be read"):
        Head(broken)


def _walk() -> np.ndarray:
    return read_sound(data_folder("audio_fixtures") / "walk.flac")[: 16_000 * 5]


def test_speech_has_treble_until_a_telephone_or_noise_takes_it() -> None:
    """The band of a telephone: ITU-T G.712 ends it at 3.4 kHz; here it ends at 4 kHz."""
    wave = _walk()
    assert not dull(wave)
    assert not dull((wave / 20).astype(np.int16)), "quiet speech has treble too"
    narrow = soxr.resample(soxr.resample(wave, 16_000, 8_000), 8_000, 16_000)
    assert dull(narrow)
    hiss = np.random.default_rng(3).normal(size=len(wave))
    assert dull((narrow + 3 * hiss).astype(np.int16)), "however quiet the hiss above it"
    assert dull((wave + 3000 * hiss).astype(np.int16)), "or where hiss covers it"


def test_what_is_too_short_to_tell_is_dull() -> None:
    assert dull(np.zeros(0, np.int16))
    assert dull(_walk()[:399])
