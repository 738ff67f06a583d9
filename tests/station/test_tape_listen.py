"""A simulated tape in its own process drives ``callout listen --headless`` through real pyserial.

Readings are invented. The port is pulled out and put back three times, in the middle of a line.
"""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

from simulated_tape import Plugged, pressed
from waiting import wait_for

from callout.core.events import Heard
from callout.devices.settings import device_from
from callout.devices.survey_file import with_device
from callout.journal.folder import SurveyFolder, open_survey
from callout.journal.reader import current
from callout.practice.demo import make_demo_survey


def survey_with_tape(path: Path, port: Path) -> SurveyFolder:
    folder = make_demo_survey(path, datetime.now().astimezone())
    table = {"name": "tape", "transport": "serial", "port": str(port), "retry_s": 0.02,
             "longest_retry_s": 0.1, "lines_a_second": 2000}  # fmt: skip
    text = with_device(folder.settings.read_text(encoding="utf-8"), device_from(table))
    folder.settings.write_text(text, encoding="utf-8")
    return folder


class Listening:
    def __init__(self, process: subprocess.Popen[str]) -> None:
        self.process = process
        self.lines: list[dict[str, Any]] = []
        self.since = 0
        self.reader = threading.Thread(target=self._read, daemon=True)
        self.reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.append(json.loads(line))

    def type(self, words: str) -> None:
        assert self.process.stdin is not None
        self.since = len(self.lines)
        self.process.stdin.write(words + "\n")
        self.process.stdin.flush()

    def wait(self, what: Callable[[], bool]) -> None:
        def there() -> bool:
            assert self.process.poll() is None, f"callout ended: {self.lines[-5:]}"
            return what()

        wait_for(there)

    def count(self, event: str, **parts: str) -> int:
        return sum(
            line.get("event") == event and parts.items() <= line.items() for line in self.lines
        )

    def said(self, part: str) -> bool:
        """Whether it was said since the last line was typed, or the tape was pressed."""
        return any(part in line.get("text", "") for line in self.lines[self.since :])

    def connections(self) -> int:
        return self.count("device", kind="connected")

    def press(self, tape: Plugged, value: str) -> None:
        self.since = len(self.lines)
        tape.send(f"{value} cm\r\n".encode())


@contextmanager
def listening(folder: SurveyFolder, plot: str) -> Iterator[Listening]:
    command = [sys.executable, "-m", "callout", "listen", str(folder.path), "--headless", "--typed"]
    process = subprocess.Popen(
        [*command, "--plot", plot, "--who", "R.V."],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    with process:
        at_work = Listening(process)
        try:
            yield at_work
            assert process.stdin is not None
            process.stdin.close()
            assert process.wait(60) == 0
        finally:
            process.kill()
            at_work.reader.join(60)


def tape_events(folder: SurveyFolder) -> list[Heard]:
    with folder.reading() as reader:
        events = [entry.event for entry in reader.entries()]
    return [item for item in events if isinstance(item, Heard) and item.source == "tape"]


def test_a_thousand_presses_none_lost_none_doubled(tmp_path: Path) -> None:
    """Every press of one tree is kept; the last one waits, and only its confirmation is saved."""
    folder = survey_with_tape(tmp_path / "s", tmp_path / "tape")
    with listening(folder, "K2") as at_work:
        at_work.wait(lambda: at_work.count("said") >= 1)
        at_work.type("tree 101")
        at_work.wait(lambda: at_work.said("Diameter?"))
        pressed(tmp_path / "tape", 1000, 0.004, at_work.connections)
        at_work.wait(lambda: at_work.count("heard", source="tape") == 1000)
        assert at_work.count("saved") == 0
        at_work.type("accept")
        at_work.wait(lambda: at_work.count("saved") == 1)
    values = [event.meanings[0].value for event in tape_events(folder)]
    assert values == [Decimal(number + 50) / 10 for number in range(1, 1001)]
    with open_survey(folder.path).reading() as reader:
        (reading,) = current(reader.readings())
    assert (reading.tag, reading.value, reading.source) == ("101", Decimal("105.0"), "tape")
    assert at_work.connections() == 4
    told = [line["words"] for line in at_work.lines if line.get("source") == "tape"]
    assert told == [f"{value} cm" for value in values]


def test_press_then_tag_is_asked_for_joined_echoed_and_confirmed(tmp_path: Path) -> None:
    folder = survey_with_tape(tmp_path / "s", tmp_path / "tape")
    with listening(folder, "K2") as at_work:
        at_work.wait(lambda: at_work.count("said") >= 1)
        tape = Plugged(tmp_path / "tape", at_work.connections)
        for tag, value in (("101", "5.1"), ("104", "5.2"), ("107", "5.3")):
            at_work.press(tape, value)
            at_work.wait(lambda value=value: at_work.said(f"Tape {value} cm: which tree?"))
            at_work.type(f"tree {tag}")
            at_work.wait(lambda tag=tag, value=value: at_work.said(f"{tag}, {value}, "))
            at_work.type("accept")
            at_work.wait(lambda tag=tag, value=value: at_work.said(f"Saved {tag}, {value}"))
        tape.pull_out()
    with folder.reading() as reader:
        saved = {item.tag: str(item.value) for item in current(reader.readings())}
    assert saved == {"101": "5.1", "104": "5.2", "107": "5.3"}


def test_a_press_goes_to_the_tree_that_the_words_left_in_hand(tmp_path: Path) -> None:
    """To one whose tag was just lost; to none after a skip."""
    folder = survey_with_tape(tmp_path / "s", tmp_path / "tape")
    steps = (
        (("tree 101 tag lost new tag 312",), "5.1", "312, was 101, 5.1, "),
        (("no", "skip", "tree 104", "skip"), "5.2", "Tape 5.2 cm: which tree?"),
    )
    with listening(folder, "K2") as at_work:
        at_work.wait(lambda: at_work.count("said") >= 1)
        tape = Plugged(tmp_path / "tape", at_work.connections)
        for lines, value, told in steps:
            for line in lines:
                before = at_work.count("heard")
                at_work.type(line)
                at_work.wait(lambda before=before: at_work.count("heard") > before)
            at_work.press(tape, value)
            at_work.wait(lambda told=told: at_work.said(told))
        tape.pull_out()
    assert at_work.count("saved") == 0
