"""``callout devices`` as a person uses it, with a tape behind a real socket port."""

from __future__ import annotations

import argparse
import contextlib
import socket
import threading
import time
import tomllib
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path

import pytest
from simulated_tape import SETTLES_S

from callout.cli.field import devices_command as devices
from callout.core.errors import CalloutError, DeviceError, OperatorError
from callout.core.model import PlotSettings
from callout.core.units import Scale, Unit
from callout.devices.intake import Intake, Taken
from callout.devices.settings import devices_from
from callout.journal.folder import SurveyFolder, make_survey
from callout.sound.sound_devices import SoundDevice
from callout.survey.config import measuring_from, plausible_range
from callout.survey.roster import read_roster


class Tape:
    """Sends each of its lines once the command is connected and has taken the one before."""

    def __init__(self, lines: Sequence[bytes]) -> None:
        self.server = socket.create_server(("127.0.0.1", 0))
        self.server.settimeout(60)
        self.ready = threading.Semaphore(0)
        self.url = f"socket://127.0.0.1:{self.server.getsockname()[1]}"
        self.lines = lines
        self.thread = threading.Thread(target=self._send)
        self.thread.start()

    def _send(self) -> None:
        with contextlib.suppress(OSError):  # the command may end before all was sent
            self._send_all()

    def _send_all(self) -> None:
        connection, _ = self.server.accept()
        with connection:
            for line in self.lines:
                assert self.ready.acquire(timeout=60)
                time.sleep(SETTLES_S)
                connection.sendall(line + b"\r\n")
            connection.settimeout(60)
            connection.recv(1)

    def close(self) -> None:
        self.ready.release(len(self.lines))
        self.thread.join(60)
        self.server.close()


@pytest.fixture
def tape(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[Tape]:
    made = Tape(request.param)
    stream, connected = Intake.stream, Intake.connected

    def taken(intake: Intake, data: bytes, at: datetime, at_s: float) -> list[Taken]:
        found = stream(intake, data, at, at_s)
        if b"\n" in data:
            made.ready.release()
        return found

    def there(intake: Intake, at_s: float) -> list[Taken]:
        made.ready.release()
        return connected(intake, at_s)

    monkeypatch.setattr(Intake, "stream", taken)
    monkeypatch.setattr(Intake, "connected", there)
    yield made
    made.close()


@pytest.fixture
def survey(tmp_path: Path) -> SurveyFolder:
    """Harrow Fen with a plot in inches and one in centimetres (invented)."""
    roster = tmp_path / "trees.csv"
    roster.write_text("plot,tag,species\nK1,83,oak\nK2,12,ash\n")
    unit = Unit.CENTIMETRE
    smallest, largest = plausible_range(unit)
    base = measuring_from(
        "", {"unit": "cm"}, PlotSettings("", unit, smallest=smallest, largest=largest)
    )
    inches = {"K1": measuring_from("K1", {"unit": "in"}, base)}
    trees = read_roster(roster, {"K1": Unit.INCH}, unit)
    return make_survey(tmp_path / "fen", trees, base, inches, "2026-05-04T09:00:00+00:00")


def callout(*arguments: str) -> int:
    parser = argparse.ArgumentParser()
    devices.add_parser(parser.add_subparsers())
    args = parser.parse_args(["devices", *arguments])
    return int(args.run(args))


@pytest.mark.parametrize("tape", [[b"24.6 cm", b"what", b"78.4 cm"]], indirect=True)
def test_watching_shows_what_would_be_recorded(
    tape: Tape, survey: SurveyFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    code = callout(
        "--port", tape.url, "--survey", str(survey.path), "--presses", "2", "--yes",
        "--name", "fen tape",
    )  # fmt: skip
    out = capsys.readouterr().out
    assert code == 0
    # 24.6 cm is 9.685 in: 9.7 to the nearest tenth. Computed.
    assert "24.6 cm of diameter  from b'24.6 cm'  recorded as 9.7 in in K1; 24.6 cm in K2" in out
    assert "1 does not fit the pattern; the last was b'what'" in out
    (written,) = devices_from(tomllib.loads(survey.settings.read_text())["device"])
    assert (written.name, written.port, written.scale) == ("fen tape", tape.url, Scale.DIAMETER)
    assert survey.config().plots["K1"].unit is Unit.INCH


@pytest.mark.parametrize("tape", [[b"500;ok", b"501;ok", b"500;ok"]], indirect=True)
def test_teaching_works_out_and_writes_the_pattern(
    tape: Tape,
    survey: SurveyFolder,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    answers = iter(["1", "y"])
    monkeypatch.setattr("builtins.input", lambda question: next(answers))
    code = callout("teach", "--girth", "50cm", "--port", tape.url, "--survey", str(survey.path))
    out = capsys.readouterr().out
    assert code == 0
    assert "Press 3 times on 50 cm of girth." in out
    assert "pattern '{value};ok', unit mm, girth: reads 500 mm, 501 mm, 500 mm" in out
    (written,) = devices_from(tomllib.loads(survey.settings.read_text())["device"])
    assert (written.pattern, written.unit, written.scale) == (
        "{value};ok", Unit.MILLIMETRE, Scale.GIRTH
    )  # fmt: skip


@pytest.mark.parametrize("tape", [[b"24.6", b"24.7"]], indirect=True)
def test_nothing_read_says_what_to_try(tape: Tape, capsys: pytest.CaptureFixture[str]) -> None:
    assert callout("--port", tape.url, "--seconds", "1") == 1
    assert "try: callout devices teach" in capsys.readouterr().out


def test_a_listing_ends_in_what_to_do_next(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={tmp_path / 'none'}")
    assert callout("--scan", "0.1") == 0
    out = capsys.readouterr().out
    assert "Serial ports" in out
    assert "Bluetooth: no Bluetooth service is running on this machine" in out
    assert "callout devices --port PORT" in out


def test_a_listing_names_microphones_and_loudspeakers(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What ``microphone`` and ``speaker`` of the settings may name (devices: invented)."""
    heard = [SoundDevice("Fen Headset", "microphone", "pulse")]
    monkeypatch.setattr(devices, "list_microphones", lambda: heard)
    monkeypatch.setattr(devices, "list_speakers", list)
    assert callout("--scan", "0") == 0
    out = capsys.readouterr().out
    assert "Microphones:\n  Fen Headset\n" in out
    assert "Loudspeakers: none\n" in out


@pytest.mark.parametrize(
    ("arguments", "error", "says"),
    [
        (("--port", "x", "--ble", "y"), OperatorError, "two devices"),
        (("--port", "x", "--pattern", "{val}"), OperatorError, "no field {val}"),
        (("--port", "x", "--unit", "cm"), OperatorError, "remove one of the two"),
        (("--port", "pigeon://x"), DeviceError, "pigeon"),
        (("teach", "--girth", "50", "--port", "x"), OperatorError, "unknown unit"),
        (("teach", "--girth", "0cm", "--port", "x"), OperatorError, "above zero"),
        (("teach", "--girth", "50cm", "--port", "/none", "--seconds", "0.2"), OperatorError,
         "0 presses are too few"),
        (("--survey", "/none"), CalloutError, "not a survey folder"),
    ],
)  # fmt: skip
def test_mistakes_are_told_in_words(
    arguments: tuple[str, ...], error: type[CalloutError], says: str
) -> None:
    with pytest.raises(error, match=says):
        callout(*arguments)


def test_a_device_of_the_survey_is_found_by_its_name(survey: SurveyFolder) -> None:
    with pytest.raises(OperatorError, match="no device named 'caliper'"):
        callout("--survey", str(survey.path), "--name", "caliper")
