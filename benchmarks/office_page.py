"""How soon the office's page is there, how long a search takes, and what memory it needs.

    python benchmarks/office_page.py --readings 100000

Makes an invented survey whose table of readings holds so many (filled directly: the page reads
tables and rosters, and verifying runs in a process of its own), serves it by the real command, and
asks as a browser does. Prints wall and processor seconds: on a busy machine the latter tell more.
"""

from __future__ import annotations

import argparse
import json
import random
import re
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from contextlib import closing
from datetime import date
from decimal import Decimal
from pathlib import Path

from callout.core.model import PastMeasurement, PlotSettings, Tree
from callout.core.units import Unit
from callout.journal.folder import make_survey

AT = "2026-06-02T09:15:00.000+02:00"
SPECIES = ("red oak", "beech", "white pine", "sugar maple", "hemlock")


def made(path: Path, readings: int, chance: random.Random) -> None:
    """A survey of as many trees as readings, five hundred a plot."""
    trees = []
    for at in range(readings):
        size = Decimal(chance.randint(100, 800)) / 10
        past = (PastMeasurement(date(2021, 7, 8), size, Unit.CENTIMETRE),)
        trees.append(Tree(f"P{at // 500}", str(at % 500 + 1), chance.choice(SPECIES), past))
    folder = make_survey(path, tuple(trees), PlotSettings(plot=""), {}, AT)
    rows = [
        (
            at + 1,
            AT,
            tree.plot,
            tree.tag,
            tree.species,
            str(tree.past[0].value + Decimal(chance.randint(-5, 40 if at % 100 else 140)) / 10),
            f"tree {tree.tag} {tree.past[0].value}",
            '["shrunk"]' if at % 40 == 0 else "[]",
        )
        for at, tree in enumerate(trees)
    ]
    with closing(sqlite3.connect(folder.database)) as opened:
        opened.executemany(
            "INSERT INTO readings(entry, at, plot, tag, species, value, unit, status, stem, words,"
            " source, engine, confidence, who, warnings, is_new, void)"
            " VALUES (?, ?, ?, ?, ?, ?, 'cm', 'live', '', ?, 'voice', 'closed', '0.91', 'R.V.', ?,"
            " 0, 0)",
            rows,
        )
        opened.commit()


def timed(address: str) -> tuple[float, bytes]:
    """Seconds until the whole answer was there, and the answer."""
    begun = time.perf_counter()
    with urllib.request.urlopen(address) as answer:
        data = answer.read()
    return time.perf_counter() - begun, data


def told_of(pid: int) -> tuple[float, float]:
    """Processor seconds of a process so far, and the most memory it had, MB."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    status = Path(f"/proc/{pid}/status").read_text()
    (kilobytes,) = re.findall(r"VmHWM:\s+(\d+)", status)
    return (int(fields[11]) + int(fields[12])) / 100, int(kilobytes) / 1024


def searched(address: str, pid: int, when: str) -> None:
    """Print how long searches take."""
    took = []
    for word in ("oak", "P17 ", "83", "hemlock", "tree 400", "nothing at all") * 3:
        before = told_of(pid)[0]
        seconds, _ = timed(f"{address}list?show=all&find={word.replace(' ', '%20')}")
        took.append((seconds, told_of(pid)[0] - before))
    wall, cpu = (statistics.median(item) for item in zip(*took, strict=True))
    print(f"search {when}, median of {len(took)}: {wall:.3f} s ({cpu:.3f} s of the processor)")


def judged(address: str) -> int:
    """How many readings grew out of bounds, once all were judged."""
    while True:
        counts = json.loads(timed(f"{address}counts")[1])
        if "growth" in counts:
            return int(counts["growth"])


def main() -> None:
    """Make, serve, ask, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--readings", type=int, default=100_000)
    parser.add_argument("--kept", type=Path, help="a survey made before, or where to keep it")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as where:
        path = args.kept or Path(where) / "fen"
        if not path.is_dir():
            made(path, args.readings, random.Random(1))
        begun = time.perf_counter()
        command = [sys.executable, "-m", "callout", "office", str(path)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as served:
            assert served.stdout is not None
            address = served.stdout.readline().split(": ", 1)[1].strip()
            timed(address)
            _, first = timed(f"{address}list?show=flagged")
            ready = time.perf_counter() - begun
            used, _ = told_of(served.pid)
            print(
                f"ready after {ready:.2f} s ({used:.2f} s of the processor),"
                f" {json.loads(first)['count']} flagged"
            )
            searched(address, served.pid, "while growth is judged")
            grown = judged(address)
            took, used = time.perf_counter() - begun, told_of(served.pid)[0]
            print(f"all judged after {took:.1f} s ({used:.1f} s of the processor): {grown} grown")
            searched(address, served.pid, "then")
            print(f"memory at most: {told_of(served.pid)[1]:.0f} MB")
            served.terminate()


if __name__ == "__main__":
    main()
