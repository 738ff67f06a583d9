"""How soon the echo can begin, on the demo's walk: ``python benchmarks/latency.py [ENGINE]``.

From the end of speech to the start of the echo lie the hang-over, a setting that tells a pause
from an end, and the recogniser's own time. Both are printed apart, each with its goal. Start-up
and memory are taken of the real command, in a process of its own.
"""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from callout.core.events import Save
from callout.practice.demo import make_demo_survey
from callout.sound.endpoint_settings import EndpointSettings
from callout.sound.frames import SAMPLE_RATE_HZ, frames_of
from callout.sound.sound_files import encode_flac, read_sound
from callout.station.build import endpointer_for, make_station
from callout.station.data import data_folder
from callout.station.done import Done
from callout.station.hearing.listening import Listening

WALK = data_folder("audio_fixtures") / "walk.flac"
MIB = 1024 * 1024


@dataclass(frozen=True)
class Walked:
    """One pass over the walk: seconds for each utterance, and for the whole."""

    engine: str
    engine_s: tuple[float, ...]
    saved_s: tuple[float, ...]
    whole_s: float
    sound_s: float
    hang_over_s: float


def walk(folder: Path, engine: str) -> Walked:
    """The walk through a real station, as fast as it goes."""
    survey = make_demo_survey(folder / "fen", datetime.now().astimezone())
    samples = read_sound(WALK)
    station = make_station(survey, encode_flac, engine)
    heard: list[float] = []
    saved: list[float] = []
    began_hearing = 0.0

    def watch(done: Done) -> None:
        if done.engine_s:
            heard.append(done.engine_s)
            if any(isinstance(effect, Save) for effect in done.effects):
                saved.append(time.perf_counter() - began_hearing)

    try:
        named = station.engine
        assert named is not None
        station.watch(watch)
        station.open("K1", "R.V.")
        listening_settings = survey.config().listening
        listening = Listening(
            station, endpointer_for(listening_settings), datetime.now().astimezone(), 1e9
        )
        started = time.perf_counter()
        for frame in frames_of(samples):
            began_hearing = time.perf_counter()
            listening.take(frame)
        listening.finish()
        whole_s = time.perf_counter() - started
    finally:
        station.close()
    hang_over_s = listening_settings.hang_over_s
    return Walked(
        f"{named.name}, {named.model}",
        tuple(heard),
        tuple(saved),
        whole_s,
        len(samples) / SAMPLE_RATE_HZ,
        EndpointSettings().hang_over_s if hang_over_s is None else hang_over_s,
    )


def start_up(folder: Path, engine: str) -> tuple[float, float, float]:
    """Seconds until the command names its engine, until it has heard the first callout (less the

    engine time of that; the few seconds of sound before it are read in a tenth); peak memory, MiB.
    """
    survey = make_demo_survey(folder / "fen-again", datetime.now().astimezone())
    command = [
        sys.executable,
        "-m",
        "callout",
        "listen",
        str(survey.path),
        "--headless",
        "--audio",
        str(WALK),
        "--engine",
        engine,
    ]
    started = time.perf_counter()
    ready_s = listening_s = 0.0
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        for line in process.stdout:
            event = json.loads(line)["event"]
            if event == "ready":
                ready_s = time.perf_counter() - started
            if event == "heard" and not listening_s:
                listening_s = time.perf_counter() - started - json.loads(line)["engine_ms"] / 1000
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"callout listen ended with {process.returncode}")
    peak = usage.ru_maxrss * (1 if sys.platform == "darwin" else 1024)  # bytes there, KiB here
    return ready_s, listening_s, peak / MIB


def warmed_up() -> None:
    """Reads the libraries from the disk once, so that their first loading is not measured."""
    subprocess.run([sys.executable, "-m", "callout", "--version"], stdout=subprocess.DEVNULL)


def line(what: str, figure: str, goal: str = "") -> None:
    """One figure with its goal beside it."""
    print(f"{what:<46}{figure:>14}    {goal}")


def main() -> None:
    """Measure and print."""
    engine = sys.argv[1] if len(sys.argv) > 1 else "auto"
    warmed_up()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        walked = walk(folder, engine)
        ready_s, listening_s, peak_mib = start_up(folder, engine)
    times = walked.engine_s
    median_ms, worst_ms = statistics.median(times) * 1000, max(times) * 1000
    print(f"{walked.engine}; {len(times)} callouts in {walked.sound_s:.0f} s of sound;")
    print(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")
    line("engine time, median", f"{median_ms:.0f} ms", "goal: under 150 ms")
    line("engine time, worst", f"{worst_ms:.0f} ms")
    line("hang-over (a setting)", f"{walked.hang_over_s * 1000:.0f} ms", "apart from engine time")
    line(
        "end of speech to start of echo, median", f"{walked.hang_over_s * 1000 + median_ms:.0f} ms"
    )
    line("end of speech to start of echo, worst", f"{walked.hang_over_s * 1000 + worst_ms:.0f} ms")
    line(
        "confirmation to 'saved', after hang-over",
        f"{statistics.median(walked.saved_s) * 1000:.0f} ms",
    )
    line(
        "engine time over sound (real-time factor)",
        f"{sum(times) / walked.sound_s:.3f}",
        "goal: under 0.05",
    )
    line("everything over sound", f"{walked.whole_s / walked.sound_s:.3f}")
    line("from command to 'ready' (engine named)", f"{ready_s:.2f} s")
    line("from command to the first callout heard", f"{listening_s:.2f} s", "goal: under 2 s")
    line("peak memory of the command", f"{peak_mib:.0f} MiB", "goal: under 300 MB")


if __name__ == "__main__":
    main()
