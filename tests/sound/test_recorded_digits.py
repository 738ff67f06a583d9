"""Endpointing of human speakers: Free Spoken Digit Dataset (Z. Jackson et al., CC BY-SA 4.0).

The recordings are not part of the project; without ../shared/audio this is skipped, saying so.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from sound_tools import quiet, with_noise

from callout.sound.endpoint import Endpointer
from callout.sound.files import read_sound
from callout.sound.frames import frames_of

DIGITS = Path(__file__).resolve().parents[3] / "shared" / "audio" / "spoken_digits"


@pytest.mark.parametrize("speaker", ["jackson", "nicolas", "theo"])
def test_every_digit_alone_is_one_utterance_with_its_edges(speaker: str) -> None:
    if not DIGITS.is_dir():
        pytest.skip(f"no recorded digits at {DIGITS}: human speakers were not tried")
    whole = 0
    for digit in range(10):
        word = read_sound(DIGITS / f"{digit}_{speaker}_3.wav")
        word = (word * (12_000 / np.abs(word.astype(int)).max())).astype(np.int16)
        sound = with_noise(np.concatenate([quiet(0.8), word, quiet(1.2)]), -55)
        endpointer = Endpointer()
        found = [u for frame in frames_of(sound) for u in endpointer.push(frame)]
        whole += (
            len(found) == 1
            and found[0].start_s <= 0.8
            and found[0].end_s >= 0.8 + word.size / 16000
        )
    assert whole == 10
