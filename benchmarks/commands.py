"""What a short command and a parse cost: ``python benchmarks/commands.py``.

Prints medians: CPU seconds and imported modules of commands that need little, milliseconds of a
parse, and of reading the English grammar.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable

from callout.grammar.parser import parse_words
from callout.grammar.scope import Scope
from callout.station.data import load_language

COMMANDS = (["--version"], ["parse", "tree eighty three, twenty four point six"], ["--help"])
CALLOUTS = (
    "tree eighty three twenty four point six",
    "tree eighty-three, diameter twenty-four point six",
    "tree two hundred five diameter twenty four point six dead standing",
    "83 24.6",
    "confirm",
)
COUNTING = (
    "import sys; from callout.cli.main import main\n"
    "try: main(sys.argv[1:])\nexcept SystemExit: pass\n"
    "print(len(sys.modules), file=sys.stderr)"
)
STARTS = 7
PARSES = 200


def cpu_s(command: list[str]) -> float:
    """CPU seconds of one run of ``callout``, the interpreter's start included."""
    before = os.times()
    subprocess.run([sys.executable, "-m", "callout", *command], stdout=subprocess.DEVNULL)
    after = os.times()
    return after[2] + after[3] - before[2] - before[3]


def modules(command: list[str]) -> int:
    """How many modules the command has imported at its end."""
    ran = subprocess.run(
        [sys.executable, "-c", COUNTING, *command], capture_output=True, text=True, check=True
    )
    return int(ran.stderr.split()[-1])


def median_ms(work: Callable[[], object], times: int) -> float:
    """The median of ``times`` runs, CPU milliseconds."""
    took = []
    for _ in range(times):
        started = time.process_time_ns()
        work()
        took.append((time.process_time_ns() - started) / 1e6)
    return statistics.median(took)


def main() -> None:
    """Measure and print."""
    print(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")
    for command in COMMANDS:
        told = " ".join(["callout", *command])
        median_s = statistics.median(cpu_s(command) for _ in range(STARTS))
        print(f"{told:<60}{median_s:>7.2f} CPU s{modules(command):>7} modules")
    print(f"{'reading the English grammar':<60}{median_ms(load_language_en, STARTS):>7.0f} CPU ms")
    full = load_language("en").full
    for words in CALLOUTS:
        took = median_ms(lambda words=words: parse_words(full, words, Scope()), PARSES)
        print(f"{words:<60}{took:>7.3f} CPU ms")


def load_language_en() -> object:
    """English, read anew."""
    return load_language("en")


if __name__ == "__main__":
    main()
