"""A synthetic season: how long it takes to find, verify, rebuild and hear again.

Run as ``python benchmarks/season.py [--utterances 5000] [--sounds 200] [--engine pocketsphinx]``.
The season is the demo's invented walk, over and over; each sound differs in its last bits, so that
each is a file of its own. It is made on a memory disk where there is one. Hearing is measured on
the first ``--sounds`` of them. Prints figures and ratios; passes no judgement.
"""

from __future__ import annotations

import argparse
import resource
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from callout.core.model import Plot
from callout.grammar.automaton import Automaton
from callout.grammar.language import Language
from callout.journal.folder import SurveyFolder
from callout.lookback.rehear import Ear, Rehearing, hear_by_many
from callout.lookback.replay import Wanted, chosen, moments
from callout.practice.demo import make_demo_survey
from callout.proof.verify import take_snapshot, verify_journal
from callout.sound.endpoint import Endpointer
from callout.sound.frames import frames_of
from callout.sound.sound_files import decode_flac, encode_flac, read_sound
from callout.speech.engine import Candidate, Samples, candidate_of
from callout.station.data import data_folder, load_language
from callout.station.hearing.engines import choose_engine
from callout.station.scopes import scope_of, survey_species
from callout.station.station import Station
from callout.station.upkeep.rebuild import rebuild
from callout.station.upkeep.table_check import table_faults

BEGAN = datetime(2026, 6, 2, 6, 0, tzinfo=UTC)


class Told:
    """An engine that is told what was said, so that making the season takes little time."""

    name, model = "told", "none"
    words = ""

    def prepare(self, spoken: Automaton) -> None:
        self.spoken = spoken

    def hear(self, samples: Samples) -> tuple[Candidate, ...]:
        return (candidate_of(self.spoken, self.words.split(), 0.95),)


def said(language: Language, plot: Plot) -> list[tuple[str, Samples]]:
    """The walk's utterances with the words that the embedded engine hears in them."""
    engine = choose_engine("pocketsphinx", language)
    engine.prepare(language.spoken_in(scope_of(plot)))
    endpointer, found = Endpointer(), []
    for frame in frames_of(read_sound(data_folder("audio_fixtures") / "walk.flac")):
        found += endpointer.push(frame)
    found += endpointer.flush()
    heard = [(engine.hear(item.samples), item.samples) for item in found]
    return [(candidates[0].words, samples) for candidates, samples in heard if candidates]


def make_season(place: Path, utterances: int) -> SurveyFolder:
    """That many utterances, three seconds apart, day after day."""
    folder, engine, moment = make_demo_survey(place / "fen", BEGAN), Told(), BEGAN
    with folder.reading() as reader:
        plots = reader.plots()
    language = load_language("en", survey_species(plots.values()))
    walk = said(language, plots["K1"])
    station = Station(folder, language, engine, encode_flac, lambda: moment)
    station.open("K1", "R.V.", BEGAN)
    chance = np.random.default_rng(83)
    for number in range(utterances):
        words, samples = walk[number % len(walk)]
        engine.words, moment = words, moment + timedelta(seconds=3)
        noise = chance.integers(-1, 2, samples.size, dtype=np.int16)
        station.hear(np.clip(samples.astype(np.int32) + noise, -32768, 32767).astype(np.int16))
    station.close()
    return folder


def timed(what: Callable[[], Any], times: int = 3) -> tuple[float, Any]:
    """The median seconds of a few runs, and the last result."""
    took, result = [], None
    for _ in range(times):
        started = time.perf_counter()
        result = what()
        took.append(time.perf_counter() - started)
    return statistics.median(took), result


def peak_mb() -> float:
    """The most memory this process has held, in MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def tell_ratio(how: str, took: float, results: Any) -> None:
    """How many times faster than real time those sounds were heard; goal 30."""
    seconds = sum(item.seconds for item in results)
    same = sum(item.severity == 0 for item in results)
    print(
        f"{how}: {len(results)} sounds, {seconds:.0f} s, heard in {took:.1f} s, "
        f"{seconds / took:.1f} times real time (goal 30); {same} as recorded"
    )


def main() -> None:
    """Make the season and measure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--utterances", type=int, default=5000)
    parser.add_argument("--sounds", type=int, default=200)
    parser.add_argument("--engine", default="pocketsphinx")
    parser.add_argument("--model", default="")
    args = parser.parse_args()
    disk = "/dev/shm" if Path("/dev/shm").is_dir() else None
    with tempfile.TemporaryDirectory(dir=disk) as name:
        took, folder = timed(lambda: make_season(Path(name), args.utterances), 1)
        stored = sum(path.stat().st_size for path in folder.path.rglob("*") if path.is_file())
        print(f"made {args.utterances} utterances in {took:.1f} s, {stored / 1e6:.0f} MB stored")
        measure_journal(folder, Path(name))
        measure_hearing(folder, args)


def measure_journal(folder: SurveyFolder, place: Path) -> None:
    """Finding, verifying, rebuilding; goals: 1 s, 10 s."""

    def find() -> int:
        found = moments(take_snapshot(folder.database).entries)
        return len(list(chosen(found, Wanted(tree="83"))))

    def verify() -> int:
        snapshot = take_snapshot(folder.database)
        return len(verify_journal(folder, snapshot).faults + table_faults(snapshot))

    took, count = timed(find)
    print(f"find a tree's moments: {took:.2f} s ({count} found; goal 1 s)")
    took, count = timed(verify)
    print(f"verify: {took:.2f} s ({count} faults; goal 10 s)")
    took, _ = timed(lambda: rebuild(folder, take_snapshot(folder.database), place / "again"), 1)
    print(f"rebuild into a new folder: {took:.2f} s")


def measure_hearing(folder: SurveyFolder, args: argparse.Namespace) -> None:
    """Hearing again, by one process and by two."""
    with folder.reading() as reader:
        plots = reader.plots()
    language = load_language("en", survey_species(plots.values()))
    engine = choose_engine(args.engine, language, args.model)
    wanted = moments(take_snapshot(folder.database).entries)[: args.sounds]
    before = peak_mb()
    # The first sound prepares the engine; a season pays for that once a plot.
    rehearing = Rehearing(engine, language, plots, folder.audio)
    prepare_s, _ = timed(lambda: rehearing.hear(wanted[0]), 1)
    print(f"first sound, preparing included: {prepare_s:.1f} s")
    cpu = time.process_time()
    alone = timed(lambda: [rehearing.hear(item) for item in wanted], 1)
    tell_ratio("one process", *alone)
    tell_ratio("one process, its own processor time", time.process_time() - cpu, alone[1])
    print(f"peak memory {before:.0f} MB before, {peak_mb():.0f} MB after")
    ear = Ear(args.engine, args.model, "en", plots, folder.audio)
    together = timed(lambda: list(hear_by_many(wanted, ear, 2)), 1)
    tell_ratio("two processes, starting included", *together)
    took, _ = timed(
        lambda: [
            decode_flac(path.read_bytes()) for path in list((folder.path / "audio").iterdir())[:200]
        ]
    )
    print(f"reading 200 sounds from FLAC: {took:.2f} s")


if __name__ == "__main__":
    main()
