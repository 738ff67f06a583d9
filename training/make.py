"""Makes the heads from nothing by one command: ``python -m training.make``.

Two stages, each skipped where its files are there: ``clips`` (synthesis, needs the voices) and
``heads`` (encoding and learning, needs torch; a GPU shortens it). See docs/hearing.md.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
from pathlib import Path

from callout.speech.closed.encoder import Encoder
from training.clips import synthesise, synthesise_callouts
from training.people import other_words

ROOT = Path(__file__).parents[1]
SHARED = ROOT.parent / "shared" / "audio"
# Families that say callouts beside what all say, and how many.
MORE = {"flite_slt": 300, "piper_joe": 370, "espeak": 490, "flite_awb": 80, "festival_slt_hts": 40}


def main() -> None:
    """Run the stages asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("stage", nargs="?", choices=("all", "clips", "heads"), default="all")
    parser.add_argument("--work", type=Path, default=ROOT / ".train")
    parser.add_argument("--out", type=Path, default=ROOT / ".train" / "heads")
    parser.add_argument("--shared", type=Path, default=SHARED)
    parser.add_argument("--model", type=Path, help="the Whisper folder's model.bin")
    parser.add_argument("--seed", type=int, default=7, help="of the clips")
    parser.add_argument("--examples", type=int, default=60_000)
    parser.add_argument("--stream", type=int, default=8, help="which examples are drawn")
    parser.add_argument("--learning", type=int, default=6, help="seed of the learning")
    parser.add_argument("--width", type=int, default=160)
    parser.add_argument("--epochs", type=int, default=16)
    options = parser.parse_args()
    clips = options.work / "clips"
    clips.mkdir(parents=True, exist_ok=True)
    if options.stage in ("all", "clips"):
        make_clips(clips, options.shared, options.seed)
    if options.stage in ("all", "heads"):
        from training.learn import learn

        learn(
            clips,
            options.shared,
            options.out,
            options.model or Encoder().folder / "model.bin",
            options.examples,
            options.stream,
            options.width,
            options.epochs,
            options.learning,
        )


def make_clips(clips: Path, shared: Path, seed: int) -> None:
    """Every synthesised family."""
    from training.synthesisers import speakers

    others = other_words(shared)
    # Families do not depend on one another; the longest first, so that none is left to the end.
    taken = (name for name, (count, _) in speakers().items() if count)
    families = sorted(taken, key=lambda name: name not in ("hibari", "espeak"))
    with multiprocessing.get_context("spawn").Pool(os.cpu_count()) as pool:
        jobs = {n: pool.apply_async(synthesise, (clips, n, seed, others)) for n in families}
        for name, count in MORE.items():
            more = pool.apply_async(synthesise_callouts, (clips, name, count, seed))
            jobs[f"more {name}"] = more
        for name, job in jobs.items():
            job.get()
            print(f"clips: {name}", flush=True)


if __name__ == "__main__":
    main()
