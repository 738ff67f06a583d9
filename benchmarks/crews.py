"""How uniting and pushing journals grows with their entries.

``python benchmarks/crews.py [--address postgresql://…]``: journals of invented readings, two
entries each; medians of three runs of checking, uniting into a new site, uniting again, and, with
an address, pushing into a schema of its own and pushing again. ``ratio`` is to the row before.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import datetime, timedelta, timezone
from pathlib import Path
from uuid import uuid4

from callout.core.model import PlotSettings, Tree
from callout.crews.merge import merge, parts_of
from callout.crews.office_database import open_office
from callout.crews.push import push
from callout.journal.folder import SurveyFolder, make_survey
from callout.sound.sound_files import encode_flac
from callout.station.data import load_language
from callout.station.station import Station
from callout.station.upkeep.table_check import table_faults

SIZES = (100, 1_000, 5_000)
RUNS = 3
BEGAN = datetime(2026, 6, 2, 9, 0, tzinfo=timezone(timedelta(hours=2)))


def made(where: Path, readings: int) -> Path:
    """A survey with so many readings of one tree."""
    at = BEGAN.isoformat(timespec="milliseconds")
    folder = make_survey(where, (Tree("K1", "91", "beech"),), PlotSettings(plot=""), {}, at)
    moments = iter(BEGAN + timedelta(seconds=n) for n in range(10**8))
    language = load_language("en", ("beech",))
    station = Station(folder, language, None, encode_flac, lambda: next(moments))
    station.open("K1", "R.V.")
    for number in range(readings):
        station.type(f"91 12.{number % 10}")
        for _ in range(3):
            if station.memory.pending:
                station.press("accept")
    station.close()
    return SurveyFolder(where).path


def seconds(work: Callable[[int], object]) -> float:
    """Median of the runs; each is told its number."""
    taken = []
    for number in range(RUNS):
        started = time.perf_counter()
        work(number)
        taken.append(time.perf_counter() - started)
    return statistics.median(taken)


def measured(place: Path, readings: int, address: str) -> list[float]:
    survey = made(place / f"survey{readings}", readings)
    parts = parts_of(survey, table_faults)
    figures = [float(len(parts[0].snapshot.entries))]
    figures.append(seconds(lambda _: parts_of(survey, table_faults)))
    figures.append(seconds(lambda n: merge(parts, place / f"{readings}-{n}", lambda _: None)))
    figures.append(seconds(lambda n: merge(parts, place / f"{readings}-{n}", lambda _: None)))
    if address:
        names = [f"benchmark_{uuid4().hex[:8]}" for _ in range(RUNS)]
        offices = [open_office(address, name) for name in names]
        for _ in range(2):
            figures.append(seconds(lambda n: push(offices[n], parts[0], "b", lambda _: None)))
        for office, name in zip(offices, names, strict=True):
            with office.engine.begin() as connection:
                connection.exec_driver_sql(f'DROP SCHEMA "{name}" CASCADE')
            office.close()
    return figures


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--address", default="", help="of a PostgreSQL server, to time push too")
    args = parser.parse_args()
    heads = ["check", "unite", "again", *(["push", "again"] if args.address else [])]
    print("| entries | " + " | ".join(f"{head} s | ratio" for head in heads) + " |")
    before: list[float] = []
    with tempfile.TemporaryDirectory() as place:
        for readings in SIZES:
            figures = measured(Path(place), readings, args.address)
            cells = [f"{figures[0]:.0f}"]
            for at, figure in enumerate(figures[1:], 1):
                ratio = f"{figure / before[at]:.1f}" if before else "-"
                cells += [f"{figure:.3f}", ratio]
            print("| " + " | ".join(cells) + " |", flush=True)
            before = figures


if __name__ == "__main__":
    main()
