"""What a working post costs: CPU while nobody speaks, CPU a callout, memory at the peak.

    python benchmarks/idle_cost.py [--engine closed] [--minutes 2]

Quiet sound and the recorded walk go through the real pipeline at their own speed or faster; CPU
seconds are those of this process and the recogniser's. Beside it, the bare engine on the same
sounds in a process of its own. On a board of a quarter of this core, say, multiply by four.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import threading
from datetime import datetime
from pathlib import Path

import numpy as np
from quota import held_mb

from callout.practice.demo import make_demo_survey
from callout.sound.frames import SAMPLE_RATE_HZ, Samples, frames_of
from callout.sound.sound_files import encode_flac, read_sound
from callout.station.build import endpointer_for, make_station
from callout.station.data import data_folder, load_language
from callout.station.hearing.apart import ApartEngine
from callout.station.hearing.engines import choose_engine
from callout.station.post import Post, Told, Work
from callout.station.scopes import scope_of, survey_species
from callout.station.upkeep.clock import Clock

TICKS = os.sysconf("SC_CLK_TCK")


def cpu_s(pid: int | str) -> float:
    """User and system seconds of a process so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


def peak_mb(pid: int | str) -> float:
    """The most resident memory a process ever had, in megabytes."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM"))


def quiet(seconds: float) -> Samples:
    """The noise of a quiet wood, -62 dBFS."""
    rng = np.random.default_rng(83)
    floats = rng.standard_normal(round(seconds * SAMPLE_RATE_HZ)) * 32768 * 10 ** (-62 / 20)
    return np.rint(floats).astype(np.int16)


def whole(folder: Path, engine: str, minutes: float) -> dict[str, float]:
    """The whole post: idle at its own speed, then the walk as fast as it goes."""
    survey = make_demo_survey(folder / "fen", datetime.now().astimezone())
    clock = Clock()
    station = make_station(survey, encode_flac, engine, clock=clock)
    assert isinstance(station.engine, ApartEngine)
    pids = ("self", station.engine.pid or os.getpid())

    def heard(samples: Samples, realtime: bool) -> float:
        work = Work("K1", "R.V.", frames_of(samples), realtime=realtime, silent=True)
        post = Post(survey, station, clock, work)
        post.begin(Told())
        before = sum(map(cpu_s, pids))
        post.listen(threading.Event())
        used = sum(map(cpu_s, pids)) - before
        post.close()
        return used

    idle = heard(quiet(minutes * 60), True)
    utterances = 0

    def count(done: object) -> None:
        nonlocal utterances
        utterances += type(getattr(done, "event", None)).__name__ == "Heard"

    station.watch(count)
    walk = read_sound(data_folder("audio_fixtures") / "walk.flac")
    busy = heard(walk, False)
    peaks = [peak_mb(pid) for pid in pids]
    once_mb = held_mb([os.getpid(), int(pids[1])])
    station.close()
    return {
        "idle": 100 * idle / (minutes * 60),
        "utterance": busy / max(1, utterances),
        "heard": utterances,
        "walk_s": walk.size / SAMPLE_RATE_HZ,
        "walk_cpu": busy,
        "own_mb": peaks[0],
        "recogniser_mb": peaks[1],
        "once_mb": once_mb,
    }


def bare(folder: Path, name: str) -> dict[str, float]:
    """The engine alone, in this process, on the utterances of the same walk."""
    survey = make_demo_survey(folder / "fen", datetime.now().astimezone())
    with survey.reading() as reader:
        plots = reader.plots()
    language = load_language("en", survey_species(plots.values()))
    engine = choose_engine(name, language)
    engine.prepare(language.spoken_in(scope_of(plots["K1"])))
    endpointer = endpointer_for(survey.config().listening)
    walk = read_sound(data_folder("audio_fixtures") / "walk.flac")
    said = [one for frame in frames_of(walk) for one in endpointer.push(frame)]
    said += endpointer.flush()
    engine.hear(said[0].samples)
    before = cpu_s("self")
    for one in said:
        engine.hear(one.samples)
    return {"utterance": (cpu_s("self") - before) / len(said), "mb": peak_mb("self")}


def apart(engine: str, what: str, minutes: float) -> dict[str, float]:
    """One of the two in a fresh process, so that neither sees the other's memory."""
    done = subprocess.run(
        [sys.executable, __file__, "--engine", engine, "--minutes", str(minutes), "--only", what],
        capture_output=True,
        text=True,
        check=True,
    )
    told: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return told


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--engine", default="closed")
    parser.add_argument("--minutes", type=float, default=2.0, help="of quiet, in real time")
    parser.add_argument("--only", choices=("whole", "bare"), help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.only:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            found = (
                whole(folder, args.engine, args.minutes)
                if args.only == "whole"
                else bare(folder, args.engine)
            )
        print(json.dumps(found))
        return
    post = apart(args.engine, "whole", args.minutes)
    alone = apart(args.engine, "bare", args.minutes)
    idle_h, hour = post["idle"] / 100 * 3600, 60 * post["utterance"]
    print(f"engine {args.engine}; sound kept, session, journal and echo words included")
    print(f"idle: {post['idle']:.2f} % of a core over {args.minutes:g} min of quiet")
    print(f"an utterance: {post['utterance']:.3f} CPU s; the bare engine {alone['utterance']:.3f},")
    print(f"  ratio {post['utterance'] / alone['utterance']:.2f} ({post['heard']:.0f} heard)")
    print(
        f"peak memory: {post['own_mb']:.0f} MB and the recogniser {post['recogniser_mb']:.0f} MB,"
    )
    print(
        f"  together {post['own_mb'] + post['recogniser_mb']:.0f} MB; the bare engine's process "
        f"{alone['mb']:.0f} MB"
    )
    print(f"in the end, pages of files that both hold counted once: {post['once_mb']:.0f} MB")
    print(f"an hour with 60 utterances: {idle_h + hour:.0f} CPU s")


if __name__ == "__main__":
    main()
