"""How soon ``callout listen`` can be typed into, and hears: ``python -m benchmarks.starts``.

Each start is a real one, at a terminal of its own, on an invented survey. Told are medians of wall
seconds from the command to the painted screen, and to the recogniser's name on it; beside them the
CPU seconds that the command's own process had used by then, which is what the wall shows on a
machine with nothing else to do. ``--lines`` types so many lines in all, spread over the starts and
begun at once, from before the screen stands on; told is how many of them the journal lacks.
"""

from __future__ import annotations

import argparse
import os
import sqlite3
import statistics
import sys
import tempfile
import time
from datetime import datetime
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "tests" / "terminal"))

from real_terminal import LEAVE, Terminal  # noqa: E402

from callout.practice.demo import make_demo_survey  # noqa: E402

PAINTED, HEARS = b"a tree and its size", b"closed: Whisper"
TICKS = os.sysconf("SC_CLK_TCK")


def cpu_s(pid: int) -> float:
    """CPU seconds of one process so far, user and system."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


def started(survey: Path, lines: list[str]) -> tuple[float, float, float, float]:
    """Wall and CPU seconds to the painted screen, then to hearing; ``lines`` are typed at once."""
    began = time.monotonic()
    screen = Terminal(["listen", str(survey), "--mute"])
    screen.press(b"".join(line.encode() + b"\r" for line in lines[: len(lines) // 2]))
    if not screen.wait_for(lambda output: PAINTED in output or b"Press any key" in output):
        raise RuntimeError("no screen stands")
    painted, painted_cpu = time.monotonic() - began, cpu_s(screen.pid)
    for line in lines[len(lines) // 2 :]:
        screen.press(line.encode() + b"\r")
        screen.read(0.01)
    if not screen.wait_for(lambda output: HEARS in output):
        raise RuntimeError("nothing hears: is the default engine installed?")
    hears, hears_cpu = time.monotonic() - began, cpu_s(screen.pid)
    screen.press(LEAVE)
    screen.end()
    return painted, painted_cpu, hears, hears_cpu


def typed(survey: Path) -> list[str]:
    """The words of every typed callout in the journal, in order."""
    with sqlite3.connect(f"file:{survey / 'journal.db'}?mode=ro", uri=True) as journal:
        rows = journal.execute(
            "SELECT json_extract(body, '$.words') FROM entries WHERE kind = 'heard' ORDER BY seq"
        )
        return [str(words) for (words,) in rows]


def main() -> None:
    """Print the medians."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--starts", type=int, default=10)
    parser.add_argument("--lines", type=int, default=0, help="typed in all, over the starts")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        survey = make_demo_survey(Path(folder) / "fen", datetime.now().astimezone()).path
        started(survey, ["left"])  # the first of the day shows the safety lines, and fills caches
        every = args.lines // args.starts
        took, wanted = [], ["left"]
        for start in range(args.starts):
            lines = [f"left {start} {at}" for at in range(every)]
            wanted += lines
            took.append(started(survey, lines))
        painted, painted_cpu, hears, hears_cpu = map(statistics.median, zip(*took, strict=True))
        print(f"| | wall, median of {args.starts} | CPU of the command |\n|---|---|---|")
        print(f"| can be typed into | {painted:.2f} s | {painted_cpu:.2f} s |")
        print(f"| hears | {hears:.2f} s | {hears_cpu:.2f} s |")
        found = typed(survey)
        print(
            f"lines typed {len(wanted)}, lost {len(set(wanted) - set(found))}, "
            f"in order {found == wanted}; load {os.getloadavg()[0]:.1f}"
        )


if __name__ == "__main__":
    main()
