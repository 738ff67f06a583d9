"""The sound of a whole session: how large a ten-hour day is, and what keeping it costs.

Run as ``python benchmarks/session_sound.py [--minutes 20]``. The demo's walk is played over and
over in white noise of several levels, which is harder to pack than wind; a ten-hour day is
reckoned from that many minutes. Prints figures; passes no judgement.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from callout.journal.folder import SurveyFolder
from callout.journal.reader import Entry
from callout.journal.session_sound import KIND
from callout.practice.demo import make_demo_survey
from callout.sound.frames import SAMPLE_RATE_HZ, frames_of
from callout.sound.sound_files import encode_flac, read_sound
from callout.speech.engine import Samples
from callout.station.data import data_folder, load_language
from callout.station.hearing.keeping import session_sound
from callout.station.station import Station
from callout.survey.config import Keeping

BEGAN = datetime(2026, 6, 2, 6, 0, tzinfo=UTC)
LEVELS_DBFS = (-80, -60, -50, -40, -30, -20)
GOAL_MB = 600


def main() -> None:
    """One line a level of noise."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=int, default=20)
    args = parser.parse_args()
    walk = read_sound(data_folder("audio_fixtures") / "walk.flac")
    print(f"goal: a ten-hour day under {GOAL_MB} MB; noise, size, bits left out, cost a second")
    for level in LEVELS_DBFS:
        with tempfile.TemporaryDirectory() as name:
            measure(Path(name), walk, level, args.minutes)


def measure(place: Path, walk: Samples, level_dbfs: int, minutes: int) -> None:
    """Keep that many minutes on this disk, forced to it every second as in the field."""
    folder = make_demo_survey(place / "fen", BEGAN)
    station = Station(folder, load_language("en"), None, encode_flac, lambda: BEGAN)
    station.open("K1", "R.V.", BEGAN)
    keep = session_sound(folder, station, Keeping(whole_session=True))
    assert keep is not None
    chance, took, cpu = np.random.default_rng(83), [], time.process_time()
    seconds = 0.0
    while seconds < minutes * 60:
        noise = chance.normal(0, 32768 * 10 ** (level_dbfs / 20), walk.size)
        loud = np.clip(np.rint(walk + noise), -32768, 32767).astype(np.int16)
        for frame in frames_of(loud, seconds):
            at = BEGAN + timedelta(seconds=frame.start_s)
            began = time.perf_counter()
            keep.take(frame.samples.tobytes(), frame.start_s, at, False)
            took.append(time.perf_counter() - began)
        seconds = frame.end_s
    keep.cut()
    station.close()
    tell(folder, level_dbfs, took, time.process_time() - cpu, seconds)


def tell(
    folder: SurveyFolder, level_dbfs: int, took: list[float], cpu_s: float, seconds: float
) -> None:
    """The day's size by what lies there, and the time that a frame waits."""
    with folder.reading() as reader:
        kept: list[Entry] = reader.of_kind(KIND)
    size = sum(folder.audio.path(item.content["audio"]).stat().st_size for item in kept)
    day_mb = size / seconds * 36_000 / 1e6
    bits = statistics.median(item.content["left_out_bits"] for item in kept)
    print(
        f"{level_dbfs:4} dBFS  {day_mb:4.0f} MB a day  {bits:.0f} bits  "
        f"median frame {statistics.median(took) * 1e6:.0f} us, worst {max(took) * 1e3:.0f} ms "
        f"(of {seconds:.0f} s, {SAMPLE_RATE_HZ} Hz); processor, noise made too, "
        f"{cpu_s / seconds * 1e3:.1f} ms a second"
    )


if __name__ == "__main__":
    main()
