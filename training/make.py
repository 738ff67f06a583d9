"""Makes the head from nothing by one command: ``python -m training.make``.

Two stages, each skipped where its files are there: ``clips`` (synthesis and recordings, needs the
voices) and ``heads`` (encoding and learning, needs torch; a GPU shortens it). See docs/hearing.md.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
from pathlib import Path

from training import people
from training.clips import synthesise, write

ROOT = Path(__file__).parents[1]
SHARED = ROOT.parent / "shared" / "audio" / "spoken_digits"


def main() -> None:
    """Run the stages asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("stage", nargs="?", choices=("all", "clips", "heads"), default="all")
    parser.add_argument("--work", type=Path, default=ROOT / ".train")
    parser.add_argument("--out", type=Path, default=ROOT / ".train" / "heads")
    parser.add_argument("--digits", type=Path, default=SHARED)
    parser.add_argument("--model", type=Path, help="folder of the Whisper model, if not packaged")
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--examples", type=int, default=24_000)
    parser.add_argument("--width", type=int, default=160)
    parser.add_argument("--epochs", type=int, default=16)
    options = parser.parse_args()
    clips = options.work / "clips"
    clips.mkdir(parents=True, exist_ok=True)
    if options.stage in ("all", "clips"):
        make_clips(clips, options.digits, options.seed)
    if options.stage in ("all", "heads"):
        from training.learn import learn

        learn(
            clips,
            options.out,
            options.examples,
            options.seed,
            options.width,
            options.epochs,
            options.model,
        )


def make_clips(clips: Path, digits: Path, seed: int) -> None:
    """Every synthesised family, the recorded digits and the recorded prompts."""
    from training.synthesisers import speakers

    # Families do not depend on one another; the longest first, so that none is left to the end.
    families = sorted(speakers(), key=lambda name: name not in ("hibari", "espeak"))
    with multiprocessing.get_context("spawn").Pool(os.cpu_count()) as pool:
        jobs = {name: pool.apply_async(synthesise, (clips, name, seed)) for name in families}
        for name, job in jobs.items():
            job.get()
            print(f"clips: {name}", flush=True)
    write(clips / "people.ogg", people.recorded_digits(digits))
    write(clips / "prompts.ogg", people.recorded_prompts())


if __name__ == "__main__":
    main()
