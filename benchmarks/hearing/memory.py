"""Peak memory of a process that starts one engine and hears a few callouts of the plot.

``python -m benchmarks.hearing.memory ENGINE HEADS`` prints MiB; libraries and grammar are in it,
as they are in the process in which the station keeps its engine.
"""

from __future__ import annotations

import resource
import subprocess
import sys
from pathlib import Path

import numpy as np

UTTERANCES = 12


def of(engine: str, heads: Path) -> float:
    """MiB, measured in a process of its own."""
    command = [sys.executable, "-m", "benchmarks.hearing.memory", engine, str(heads)]
    told = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    return float(told)


def _measure(engine: str, heads: Path) -> float:
    from benchmarks.hearing.engines import ENGINES
    from benchmarks.hearing.plot import SCOPE
    from callout.station.data import load_language

    listening = ENGINES[engine](heads, "")
    listening.prepare(load_language("en").spoken_in(SCOPE))
    noise = np.random.default_rng(1)
    for _ in range(UTTERANCES):
        listening.hear(noise.normal(0, 2000, 4 * 16_000).astype(np.int16))
    return _peak_mib()


def _peak_mib() -> float:
    """What this process itself took; ``getrusage`` would count what its parent had at the fork."""
    status = Path("/proc/self/status")
    if status.is_file():
        lines = status.read_text(encoding="ascii").splitlines()
        (peak,) = (line for line in lines if line.startswith("VmHWM"))
        return int(peak.split()[1]) / 1024
    peak_kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak_kib / 1024 if sys.platform != "darwin" else peak_kib / 1024**2


if __name__ == "__main__":
    print(f"{_measure(sys.argv[1], Path(sys.argv[2])):.0f}")
