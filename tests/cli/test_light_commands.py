"""Commands that need little load little."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = (
    "asyncio", "bleak", "cryptography", "ctranslate2", "matplotlib", "miniaudio", "numpy", "pandas",
    "pocketsphinx", "rich", "scipy", "serial", "soundfile", "soxr", "sqlalchemy", "sqlite3",
    "textual", "tomlkit", "vosk", "webrtcvad",
)  # fmt: skip
PROGRAM = (
    "import sys\nfrom callout.cli.main import main\n"
    "try:\n    main(sys.argv[1:])\nexcept SystemExit:\n    pass\n"
    "print(*sys.modules, file=sys.stderr)"
)


@pytest.mark.parametrize(
    "command",
    [[], ["--version"], ["--help"], ["parse", "tree eighty three, twenty four point six"]],
)
def test_heavy_libraries_stay_out(command: list[str]) -> None:
    ran = subprocess.run(
        [sys.executable, "-c", PROGRAM, *command], capture_output=True, text=True, check=True
    )
    assert ran.stdout.strip()
    loaded = set(ran.stderr.split())
    assert "callout.cli.main" in loaded
    assert loaded.isdisjoint(HEAVY), sorted(loaded.intersection(HEAVY))


def test_the_screen_of_a_day_paints_before_the_station_is_loaded() -> None:
    program = "import callout.cli.field.listen_screen, sys; print(*sys.modules)"
    ran = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    loaded = set(ran.stdout.split())
    assert "callout.terminal.app" in loaded
    assert loaded.isdisjoint({*HEAVY} - {"asyncio", "rich", "textual"})
    rooms = {name.split(".")[1] for name in loaded if name.startswith("callout.")}
    assert rooms <= {
        "cli",
        "core",
        "grammar",
        "session",
        "station",
        "survey",
        "terminal",
        "wording",
    }
    assert loaded.isdisjoint({"callout.station.station", "callout.session.machine"})


def test_only_the_command_that_was_asked_for_is_loaded() -> None:
    ran = subprocess.run(
        [sys.executable, "-c", PROGRAM, "parse", "confirm"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    commands = {name for name in ran.stderr.split() if name.startswith("callout.cli.")}
    commands -= {"callout.cli.field"}
    helpers = {f"callout.cli.{name}" for name in ("commands", "crashes", "main", "shown")}
    assert commands == {*helpers, "callout.cli.field.parse_command"}
