"""The process whose file calls are written down: the worker of the kill tests, for a while.

Run as ``recorded_worker.py SURVEY MARKS SEED CONFIRMATIONS``; what it was told goes into MARKS.
"""

from __future__ import annotations

import os
import sys
from functools import partial
from pathlib import Path

import killed_worker

from callout.journal.folder import SurveyFolder
from callout.station.station import Station


def main() -> None:
    folder, seed, most = SurveyFolder(Path(sys.argv[1])), int(sys.argv[3]), int(sys.argv[4])
    pipe = os.open(sys.argv[2], os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    press, presses = Station.press, 0

    def counted(station: Station, *args: object, **kwargs: object) -> None:
        nonlocal presses
        press(station, *args, **kwargs)  # type: ignore[arg-type]
        presses += 1
        if presses % 9 == 0:
            station.seal()
        if presses >= most:
            os._exit(0)

    Station.press = counted  # type: ignore[method-assign,assignment]
    killed_worker.work(folder, partial(killed_worker.written_to, pipe), seed)


if __name__ == "__main__":
    main()
