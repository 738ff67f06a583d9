"""A careful person and random trouble, a million steps: nothing wrong is stored, nothing is lost.

    PYTHONPATH=tests/adversary:tests/station:tests/wording:tests/session \
        python benchmarks/adversary.py [--steps 1000000] [--station 20000] [--ledger FILE]

A step is one thing that the person does: says, types, presses a key or a tape, opens a plot, waits,
restarts; utterances over the echo, which never reach the session, are counted apart and are no
steps. Walks of 120 steps, each from its own number, so that a fault can be played again with
``--walk N``. ``--ledger`` is written after every chunk, and a run goes on where it stopped. Of the
steps ``--station`` go through a real station with its journal on disk. What the person does, and
what is assumed, stands in docs/adversary.md.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from at_table import PureTable, StationTable
from person import Careful

WALK = 120
CHUNK = 100


def walked(number: int, station: bool) -> Counter[str]:
    """One walk, and its books balanced; AssertionError tells a fault."""
    with tempfile.TemporaryDirectory() as where:
        table = StationTable(Path(where)) if station else PureTable()
        person = Careful(table, random.Random(f"{number}/{station}"))
        try:
            while person.counts["events"] < WALK:
                person.act()
            person.reckon()
        finally:
            table.close()
    return person.counts


def run(ledger: Path, steps: int, station: bool) -> bool:
    """Walk until so many steps are done, in this and earlier runs; whether no fault was found."""
    name = "station" if station else "session"
    books = json.loads(ledger.read_text()) if ledger.is_file() else {}
    done = books.setdefault(name, {"walks": 0, "seconds": 0.0, "faults": [], "counts": {}})
    counts: Counter[str] = Counter(done["counts"])
    while counts["events"] < steps:
        began = time.process_time()
        for number in range(done["walks"], done["walks"] + (5 if station else CHUNK)):
            try:
                counts += walked(number, station)
            except AssertionError as fault:
                done["faults"].append({"walk": number, "told": str(fault)})
                print(f"walk {number}: {fault}")
            done["walks"] = number + 1
        done["seconds"] += time.process_time() - began
        done["counts"] = dict(counts)
        fresh = ledger.with_suffix(".new")
        fresh.write_text(json.dumps(books, indent=1))
        fresh.replace(ledger)
    told = {**counts, "walks": done["walks"], "processor seconds": round(done["seconds"])}
    print(f"{name}: {told}; faults: {len(done['faults'])}", flush=True)
    return not done["faults"]


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--steps", type=int, default=1_000_000)
    parser.add_argument("--station", type=int, default=20_000)
    parser.add_argument("--ledger", type=Path, default=Path("adversary.json"))
    parser.add_argument("--walk", type=int, help="play one walk through the session again")
    given = parser.parse_args()
    if given.walk is not None:
        print(walked(given.walk, station=False))
        return 0
    pure = run(given.ledger, given.steps - given.station, station=False)
    real = run(given.ledger, given.station, station=True)
    return 0 if pure and real else 1


if __name__ == "__main__":
    sys.exit(main())
