"""From a press on a tape to its echo: how long, through everything that lies between.

A process of its own presses a simulated tape on a pseudo-terminal and notes when; this one reads
it with pyserial, joins it to the tree that was named, takes it through the session, commits it to
a journal on disk, and notes when the echo is handed to the voice. Both read the system's one
monotonic clock. Prints the median, the 95th percentile and the slowest, in milliseconds. The
voice's own start, a radio's delay and a real tape's are not in it.

Run: python benchmarks/press_to_echo.py [PRESSES]
"""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
import tempfile
import threading
import time
from datetime import datetime
from pathlib import Path
from statistics import median, quantiles

from callout.core.events import Heard, Say
from callout.core.model import PlotSettings
from callout.core.units import Unit
from callout.devices.measurement import DeviceNotice, NoticeKind
from callout.devices.running import DeviceThread
from callout.devices.settings import device_from
from callout.journal.folder import SurveyFolder, make_survey
from callout.station.data import load_language
from callout.station.done import Done
from callout.station.station import Station
from callout.station.tapes import Presses
from callout.survey.config import measuring_from
from callout.survey.roster import read_roster


def press_when_told() -> None:
    """The other process: makes the port, then presses once for each line on standard input."""
    master, slave = os.openpty()
    print(os.ttyname(slave), flush=True)
    for line in sys.stdin:
        time.sleep(random.uniform(0.02, 0.06))
        pressed = time.monotonic()
        os.write(master, line.strip().encode() + b" cm\r\n")
        print(json.dumps(pressed), flush=True)


class Echoes:
    """When the echo of a press was handed on."""

    def __init__(self) -> None:
        self.came = threading.Event()
        self.at = 0.0

    def __call__(self, done: Done) -> None:
        tape = isinstance(done.event, Heard) and done.event.source == "tape"
        if tape and any(isinstance(effect, Say) for effect in done.effects):
            self.at = time.monotonic()
            self.came.set()


def a_survey(folder: Path, trees: int) -> SurveyFolder:
    """Harrow Fen (invented), one plot in centimetres."""
    roster = folder / "trees.csv"
    rows = "".join(f"K2,{tag},oak\n" for tag in range(1, trees + 1))
    roster.write_text(f"plot,tag,species\n{rows}")
    base = measuring_from("", {"unit": "cm"}, PlotSettings(""))
    return make_survey(
        folder / "fen",
        read_roster(roster, {}, Unit.CENTIMETRE),
        base,
        {},
        datetime.now().astimezone().isoformat(),
    )


def measure(presses: int, folder: Path) -> list[float]:
    """Milliseconds from each press to its echo."""
    command = [sys.executable, __file__, "--press"]
    tape = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert tape.stdin and tape.stdout
    port = tape.stdout.readline().strip()
    survey = a_survey(folder, presses)
    now = lambda: datetime.now().astimezone()  # noqa: E731
    station = Station(survey, load_language("en"), None, lambda samples: b"", now)
    echoes, connected = Echoes(), threading.Event()

    def notice(item: DeviceNotice) -> None:
        if item.kind is NoticeKind.CONNECTED:
            connected.set()

    station.watch(echoes)
    presses = Presses(station, notice)
    devices = DeviceThread(
        [device_from({"name": "tape", "transport": "serial", "port": port})], presses.put
    )
    took: list[float] = []
    station.open("K2", "R.V.")
    devices.start()
    try:
        assert connected.wait(10), "the tape was not found"
        time.sleep(0.2)
        for tag in range(1, presses + 1):
            station.type(f"tree {tag}")
            echoes.came.clear()
            tape.stdin.write(f"{20 + tag % 50}.{tag % 10}\n")
            tape.stdin.flush()
            pressed = json.loads(tape.stdout.readline())
            assert echoes.came.wait(10), f"press {tag} was never echoed"
            took.append((echoes.at - pressed) * 1000)
            station.press("confirm")
    finally:
        devices.stop()
        presses.close()
        station.close()
        tape.terminate()
        tape.communicate()
    return took


def main() -> None:
    """Print the figures."""
    presses = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    with tempfile.TemporaryDirectory() as folder:
        took = measure(presses, Path(folder))
    high = quantiles(took, n=20)[-1]
    print(f"{len(took)} presses, press to echo: median {median(took):.1f} ms, ", end="")
    print(f"95 % within {high:.1f} ms, slowest {max(took):.1f} ms")


if __name__ == "__main__":
    press_when_told() if "--press" in sys.argv else main()
