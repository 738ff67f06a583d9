"""A simulated tape in its own process drives ``callout listen --headless``, through pyserial."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from callout.core.model import PlotSettings
from callout.core.units import Unit
from callout.devices.settings import device_from
from callout.devices.survey_file import with_device
from callout.journal.folder import SurveyFolder, make_survey
from callout.survey.config import measuring_from
from callout.survey.roster import read_roster

TAPE = Path(__file__).with_name("simulated_tape.py")
CALLOUT = [sys.executable, "-c", "from callout.cli.main import run; run()"]
PRESSES = 1000


def survey_with_tape(folder: Path, port: Path) -> SurveyFolder:
    """Harrow Fen (invented), with the tape in its settings."""
    roster = folder / "trees.csv"
    roster.write_text("plot,tag,species\nK2,83,oak\n")
    base = measuring_from("", {"unit": "cm"}, PlotSettings(""))
    at = "2026-05-04T09:00:00+00:00"
    survey = make_survey(folder / "fen", read_roster(roster, {}, Unit.CENTIMETRE), base, {}, at)
    tape = device_from(
        {"name": "tape", "transport": "serial", "port": str(port), "retry_s": 0.02,
         "longest_retry_s": 0.1, "lines_a_second": 2000}
    )  # fmt: skip
    survey.settings.write_text(with_device(survey.settings.read_text(), tape))
    return survey


class Listening:
    """The command at work; its JSON lines are gathered as they come."""

    def __init__(self, survey: SurveyFolder) -> None:
        command = [*CALLOUT, "listen", str(survey.path), "--headless", "--typed", "--mute"]
        self.process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        self.lines: list[dict[str, Any]] = []
        self.reader = threading.Thread(target=self._read)
        self.reader.start()

    def _read(self) -> None:
        assert self.process.stdout
        for line in self.process.stdout:
            self.lines.append(json.loads(line))

    def type(self, text: str) -> None:
        assert self.process.stdin
        self.process.stdin.write(text + "\n")
        self.process.stdin.flush()

    def presses(self) -> list[str]:
        heard = [line for line in self.lines if line.get("source") == "tape"]
        return [line["words"] for line in heard]

    def stop(self) -> int:
        assert self.process.stdin
        self.process.stdin.close()
        code = self.process.wait(30)
        self.reader.join(10)
        assert self.process.stdout
        self.process.stdout.close()
        return code


def wait_for(what: Callable[[], bool], seconds: float = 60) -> None:
    deadline = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < deadline, "waited in vain"
        time.sleep(0.02)


def test_a_thousand_presses_none_lost_none_doubled(tmp_path: Path) -> None:
    port = tmp_path / "tape"
    listening = Listening(survey_with_tape(tmp_path, port))
    listening.type("tree eighty three")
    wait_for(lambda: any(line.get("source") == "typed" for line in listening.lines))
    command = [sys.executable, str(TAPE), str(port), str(PRESSES), "0.005"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=100)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["pulled_out"] == 3
    wait_for(lambda: len(listening.presses()) >= PRESSES)
    listening.type("yes")
    wait_for(lambda: any(line["event"] == "saved" for line in listening.lines))
    assert listening.stop() == 0
    # The tape's own count: from 5.1 cm to 105.0 cm, a tenth apart, in this order.
    sent = [f"{(number + 50) // 10}.{(number + 50) % 10} cm" for number in range(1, PRESSES + 1)]
    assert listening.presses() == sent
    (saved,) = [line for line in listening.lines if line["event"] == "saved"]
    assert (saved["tag"], saved["recorded"]) == ("83", "105.0")
