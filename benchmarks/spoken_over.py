"""How often our own echo is taken for somebody, and how often somebody is noticed over it.

    PYTHONPATH=tests/sound python benchmarks/spoken_over.py [--echoes 1000] [--words 60]

The loudspeaker, room and noise are simulated (tests/sound/loudspeaker.py); the voice is the one
that is used; the words "no", "yes" and "stop" are people's (census recordings, beside the project).
"""

from __future__ import annotations

import argparse

import numpy as np
from loudspeaker import SAID, signs, taken
from people import words_of_people

from callout.sound.voice import Voice, VoiceSettings

VOICES = (("en-gb", 165), ("en-us", 170), ("en-gb-scotland", 170), ("en-029", 190))


def main() -> None:
    """Print both."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--echoes", type=int, default=1000)
    parser.add_argument("--words", type=int, default=60, help="a figure of the table")
    args = parser.parse_args()
    spoken = [Voice(VoiceSettings(name, rate)).say(text) for name, rate in VOICES for text in SAID]
    rng = np.random.default_rng(83)
    wrong = dict.fromkeys((-40, -30, -20), 0)
    for number in range(args.echoes):
        least = list(wrong)[number % 3]
        words = spoken[int(rng.integers(len(spoken)))]
        wrong[least] += signs(taken(words, rng, rng.uniform(least, least + 10.0))) > 0
    print(f"own echoes taken for somebody, of {args.echoes}: {sum(wrong.values())}")
    print("  by coupling from, dB:", wrong)
    said = words_of_people()
    if not said:
        raise SystemExit("no recordings of people are at hand")
    print("words noticed, share:", *(f"{db} dBFS" for db in (-30, -24, -18)))
    for coupling_db in (-60.0, -40.0, -30.0, -20.0, -10.0):
        shares = [
            np.mean([_noticed(spoken, said, rng, coupling_db, db) for _ in range(args.words)])
            for db in (-30.0, -24.0, -18.0)
        ]
        print(f"  coupling {coupling_db:g} dB:", *(f"{share:.2f}" for share in shares), flush=True)


def _noticed(
    spoken: list[np.ndarray],
    said: list[np.ndarray],
    rng: np.random.Generator,
    coupling_db: float,
    speech_db: float,
) -> bool:
    words = spoken[int(rng.integers(len(spoken)))]
    word = said[int(rng.integers(len(said)))]
    return signs(taken(words, rng, coupling_db, word, speech_db)) > 0


if __name__ == "__main__":
    main()
