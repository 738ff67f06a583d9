"""Makes ``walk.flac`` and its sidecar: an invented walk round plot K1, spoken by a synthetic voice.

Needs the ``flite`` command (Debian package flite, voice rms). Run it from the checkout:
``python audio_fixtures/make_walk.py``. The sidecar lists what is said and what must be saved.
"""

from __future__ import annotations

import json
import subprocess
import tempfile
from pathlib import Path

import numpy as np
import soundfile
import soxr

HERE = Path(__file__).parent
RATE_HZ = 16_000
VOICE = "rms"
PAUSE_S = 1.6
NOISE_DBFS = -62.0

# What the measurer says, in order. PocketSphinx hears the first "seventy, sixteen" as 78 and 16.3:
# the echo is refused and the reading repeated with "diameter" between.
SAID = (
    "tree sixty one, eighteen point six",
    "confirm",
    "tree sixty four, diameter twenty one point five",
    "confirm",
    "tree sixty seven, twenty four point, no wait, twenty five point one",
    "confirm",
    "tree seventy, sixteen point three",
    "no",
    "tree seventy, diameter sixteen point three",
    "confirm",
    "tree seventy two, twelve point two",
    "confirm",
    "tree seventy five, ten point four",
    "confirm",
    "tree seventy eight, dead standing",
    "confirm",
    "tree eighty one, thirty one point eight",
    "confirm",
    "tree eighty three, twenty four point six",
    "accept",  # smaller than last time
    "tree eighty six, twenty seven and a half",
    "confirm",
    "tree eighty eight, diameter nine point oh",
    "confirm",
    "tree ninety one, thirteen point three",
    "confirm",
    "what's left",
)
SAVED = {
    "61": "18.6",
    "64": "21.5",
    "67": "25.1",
    "70": "16.3",
    "72": "12.2",
    "75": "10.4",
    "78": "dead standing",
    "81": "31.8",
    "83": "24.6",
    "86": "27.5",
    "88": "9.0",
    "91": "13.3",
}


def spoken(text: str) -> np.ndarray:
    """One utterance at 16 kHz, peak at half scale."""
    with tempfile.NamedTemporaryFile(suffix=".wav") as file:
        subprocess.run(["flite", "-voice", VOICE, "-t", text, "-o", file.name], check=True)
        samples, rate = soundfile.read(file.name, dtype="float32")
    sound = soxr.resample(samples, rate, RATE_HZ)
    return sound / np.abs(sound).max() * 0.5


def main() -> None:
    """Write the recording and its sidecar."""
    pause = np.zeros(int(PAUSE_S * RATE_HZ), dtype=np.float32)
    pieces = [pause]
    for text in SAID:
        pieces += [spoken(text), pause]
    walk = np.concatenate(pieces)
    noise = np.random.default_rng(2026).normal(0, 10 ** (NOISE_DBFS / 20), len(walk))
    mixed = np.clip(walk + noise, -1, 1)
    soundfile.write(HERE / "walk.flac", (mixed * 32767).astype(np.int16), RATE_HZ, format="FLAC")
    sidecar = {
        "made_by": f"audio_fixtures/make_walk.py, flite voice {VOICE}, invented data",
        "said": SAID,
        "saved": SAVED,
    }
    (HERE / "walk.json").write_text(json.dumps(sidecar, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
