"""Log-mel features and the numpy head against outside definitions."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from callout.core.errors import DeviceError
from callout.speech.closed.closed_engine import HEAD
from callout.speech.closed.head import Head
from callout.speech.closed.mel import _hz_to_mel, log_mel


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
