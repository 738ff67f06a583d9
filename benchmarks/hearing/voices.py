"""The synthetic voices of the benchmark: ten of flite, espeak-ng and festival.

Two of them no head has learnt from (``training.synthesisers.UNSEEN``). One clip at a time,
levelled, no noise; needs the Debian packages flite, espeak-ng, festival and its voices.
"""

from __future__ import annotations

import random
import subprocess
import tempfile
from pathlib import Path

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from training.synthesisers import UNSEEN

RATE = 16_000
VOICES = (
    "flite_kal16",
    "flite_awb",
    "flite_slt",
    "flite_rms",
    "espeak_en-us",
    "espeak_en-gb+f2",
    "espeak_en-gb-scotland+m3",
    "festival_kal_diphone",
    "festival_ked_diphone",
    "festival_cmu_us_slt_arctic_hts",
)


def is_unseen(voice: str) -> bool:
    """Whether the closed engine's head never learnt from this voice."""
    return voice.removesuffix("_diphone") in UNSEEN


def said(text: str, voice: str, rng: random.Random) -> NDArray[np.float32]:
    """``text`` at 16 kHz, at a peak of 0.5, at a pace of its own."""
    family, _, name = voice.partition("_")
    pace = rng.uniform(0.9, 1.2)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "said.wav"
        command, fed = _command(family, name, text, pace, path)
        subprocess.run(command, input=fed, text=True, check=True, capture_output=True)
        data, rate = soundfile.read(path, dtype="float32")
    wave = np.asarray(soxr.resample(data, rate, RATE), dtype=np.float32)
    loud = np.flatnonzero(np.abs(wave) > 0.02 * np.abs(wave).max(initial=1e-9))
    wave = wave[loud[0] : loud[-1] + 1] if len(loud) else wave
    return np.asarray(wave * (0.5 / (np.abs(wave).max(initial=0.0) + 1e-9)), dtype=np.float32)


def _command(
    family: str, name: str, text: str, pace: float, path: Path
) -> tuple[list[str], str | None]:
    if family == "flite":
        stretch = f"duration_stretch={pace:.2f}"
        return ["flite", "-voice", name, "--setf", stretch, "-t", text, "-o", str(path)], None
    if family == "espeak":
        return ["espeak-ng", "-v", name, "-s", str(round(165 / pace)), "-w", str(path), text], None
    stretch = f"(Parameter.set 'Duration_Stretch {pace:.2f})"
    voice = f"(voice_{name})"
    return ["text2wave", "-eval", voice, "-eval", stretch, "-o", str(path)], text
