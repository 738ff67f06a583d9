"""Human digits, one speaker left out, by the heads of ``python -m training.make``.

Prints the share heard right at once, accepted, and wrong but accepted. The shipped head learnt from
all these people, so it is not judged here: the heads trained without each are.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Callable
from pathlib import Path

from benchmarks.hearing import sets
from benchmarks.hearing.judge import Outcome, digits_automaton, encode, judged
from callout.speech.closed.encoder import Encoder
from callout.speech.closed.engine import Thresholds
from callout.speech.closed.head import Head

ROOT = Path(__file__).parents[2]
CONDITIONS: dict[str, Callable[[sets.Spoken], sets.Spoken]] = {
    "clean": lambda spoken: spoken,
    "wind 20 dB": lambda spoken: sets.noisy(spoken, "wind", 20),
    "wind 10 dB": lambda spoken: sets.noisy(spoken, "wind", 10),
    "pink 10 dB": lambda spoken: sets.noisy(spoken, "pink", 10),
    "white 10 dB": lambda spoken: sets.noisy(spoken, "white", 10),
    "pink 5 dB": lambda spoken: sets.noisy(spoken, "pink", 5),
    "clipped": sets.clipped,
    "distant": sets.distant,
}


def main() -> None:
    """Print one line for each condition and speaker."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--heads", type=Path, default=ROOT / ".train" / "heads")
    parser.add_argument(
        "--digits", type=Path, default=ROOT.parent / "shared" / "audio" / "spoken_digits"
    )
    parser.add_argument("--count", type=int, default=60)
    options = parser.parse_args()
    encoder, automaton = Encoder(), digits_automaton(4, 4)
    print("| condition | left out | right | accepted | wrong but accepted | encoder, search ms |")
    print("|---|---|---|---|---|---|")
    for name, treat in CONDITIONS.items():
        for speaker in sets.SPEAKERS:
            spoken = [
                treat(one) for one in sets.digit_strings(options.digits, speaker, options.count)
            ]
            frames, spent = [], []
            for one in spoken:
                began = time.perf_counter()
                frames.append(encode(encoder, one.samples))
                spent.append((time.perf_counter() - began) * 1000)
            head = Head(options.heads / f"head-{speaker}.npz")
            outcomes = judged(frames, spoken, head, automaton)
            print(_line(name, speaker, outcomes, statistics.median(spent)), flush=True)


def _line(name: str, speaker: str, outcomes: list[Outcome], encoding: float) -> str:
    limits, count = Thresholds(), len(outcomes)
    taken = [one for one in outcomes if one.margin > limits.margin and one.log_prob > limits.doubt]
    wrong = sum(not one.right for one in taken)
    right = sum(one.right for one in outcomes)
    search = statistics.median(one.milliseconds for one in outcomes)
    return (
        f"| {name} | {speaker} | {100 * right / count:.1f} % | {100 * len(taken) / count:.1f} % "
        f"| {wrong} of {len(taken)} | {encoding:.0f}, {search:.0f} |"
    )


if __name__ == "__main__":
    main()
