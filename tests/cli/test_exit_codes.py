"""Bad input: one clear line, exit code 2, nothing half-made. Every command, every way in."""

from __future__ import annotations

import os
import re
import signal
import struct
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from command_tools import run_callout
from journal_tools import fill, mounted, names, remount_read_only

from callout.cli.commands import COMMANDS
from callout.journal.folder import SurveyFolder
from callout.journal.writer import UNITED, JournalWriter
from callout.practice.demo import make_demo_survey
from callout.station.data import data_folder

README = Path(__file__).parents[2] / "README.md"
WALK = data_folder("audio_fixtures") / "walk.flac"
ROSTER = data_folder("audio_fixtures") / "harrow_fen.csv"


def refused(ran: Any, *says: str) -> None:
    """One line for people on standard error, exit code 2."""
    assert ran.code == 2, ran
    assert ran.err.startswith("callout: ")
    assert ran.err.count("\n") == 1, ran.err
    assert len(ran.err.strip()) > len("callout: ")
    for part in says:
        assert part in ran.err, ran.err


def entries(folder: SurveyFolder) -> int:
    with folder.reading() as reader:
        return len(list(reader.entries()))


# ---- every command is documented ----


def test_readme_has_every_command_in_its_table_and_no_other() -> None:
    text = README.read_text(encoding="utf-8")
    documented = re.findall(r"^\| `callout ([a-z]+)` \| \S.* \|$", text, re.MULTILINE)
    assert sorted(documented) == sorted(COMMANDS)
    assert len(documented) == len(set(documented))


@pytest.mark.parametrize("command", list(COMMANDS))
def test_help_names_what_the_command_takes(command: str, callout: Any) -> None:
    ran = callout(command, "--help")
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.startswith(f"usage: callout {command}")


def test_version_and_no_command(callout: Any) -> None:
    assert re.fullmatch(r"callout \d+\.\d+\S*\n", run_callout("--version").out)
    assert run_callout().code == 0
    assert callout("measure").code == 2
    assert callout("listen").code == 2


# ---- surveys, plots, engines ----


@pytest.mark.parametrize(
    "arguments",
    [
        ("listen", "SURVEY", "--headless", "--audio", WALK),
        ("listen", "SURVEY", "--headless"),
        ("readings", "SURVEY"),
        ("parse", "83 24.6", "--survey", "SURVEY"),
        ("transcribe", WALK, "--survey", "SURVEY"),
    ],
    ids=["listen", "listen live", "readings", "parse", "transcribe"],
)
def test_a_missing_survey(arguments: tuple[object, ...], callout: Any, tmp_path: Path) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    for path in (tmp_path / "nowhere", empty, ROSTER):
        given = [path if item == "SURVEY" else item for item in arguments]
        refused(callout(*given), str(path), "not a survey folder")
    assert names(tmp_path) == ["empty"]
    assert names(empty) == []


def test_a_name_too_long_for_any_disk(callout: Any) -> None:
    refused(callout("readings", "x" * 300), "name too long")


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--engine", "parrot"), ("unknown engine 'parrot'", "pocketsphinx")),
        (("--engine", "vosk", "--model", "/no/such/model"), ("no Vosk model", "/no/such/model")),
        (("--engine", "vosk", "--model", str(ROSTER.parent)), ("no Vosk model",)),
        (("--model", "/no/such/model"), ("no Vosk model", "/no/such/model")),
        (("--plot", "K9"), ("no plot 'K9'", "K1, K2, K3")),
        (("--audio", "/no/such.wav"), ("/no/such.wav",)),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else str(value),
)
def test_listen_and_transcribe_refuse_what_is_not_there(
    options: tuple[str, ...], says: tuple[str, ...], callout: Any, fen: SurveyFolder
) -> None:
    before = entries(fen)
    audio = () if "--audio" in options else ("--audio", WALK)
    refused(callout("listen", fen.path, "--headless", *audio, *options), *says)
    assert entries(fen) == before, "nothing is journalled"
    assert names(fen.path / "audio") == []
    if "--audio" not in options:
        ran = callout("transcribe", WALK, "--survey", fen.path, *options)
        refused(ran, *says)
        assert ran.out == ""


def test_what_can_be_refused_at_once_waits_for_no_recogniser(
    callout: Any, own_fen: SurveyFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It takes many seconds to start on a small board."""

    def started(*given: object, **more: object) -> None:
        raise AssertionError("a recogniser was started")

    monkeypatch.setattr("callout.station.build.ApartEngine", started)
    options = (own_fen.path, "--headless", "--audio", WALK)
    refused(callout("listen", *options, "--plot", "K9"), "no plot 'K9'", "K1, K2, K3")
    with closing(JournalWriter(own_fen.database)):
        refused(callout("listen", *options), "another callout is using")
    (own_fen.path / UNITED).touch()
    refused(callout("listen", *options), "is a copy at a united site")


def test_engine_vosk_without_any_model(
    callout: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.delenv("CALLOUT_VOSK_MODEL", raising=False)
    refused(callout("transcribe", WALK, "--engine", "vosk"), "no Vosk model")
    monkeypatch.setenv("CALLOUT_VOSK_MODEL", "/no/such/model")
    refused(callout("transcribe", WALK), "/no/such/model")


def test_realtime_goes_with_a_file(callout: Any, fen: SurveyFolder) -> None:
    refused(callout("listen", fen.path, "--headless", "--realtime"), "--audio")


def test_unknown_language(callout: Any) -> None:
    for code in ("xx", "../en", ""):
        refused(callout("parse", "83 24.6", "--language", code), "no grammar for language")


def test_broken_settings_and_journal(callout: Any, own_fen: SurveyFolder) -> None:
    whole = own_fen.settings.read_bytes()
    for broken in (b"[measuring\n", b'[measuring]\nunit = "furlong"\n', b"\xff\xfe[", b"plots = 1"):
        own_fen.settings.write_bytes(broken)
        ran = callout("listen", own_fen.path, "--headless", "--audio", WALK)
        refused(ran, "survey.toml")
    own_fen.settings.write_bytes(whole)
    own_fen.database.write_bytes(b"this is no database " * 300)
    refused(callout("readings", own_fen.path), "journal.db")
    refused(callout("listen", own_fen.path, "--headless", "--audio", WALK), "journal.db")


# ---- sound files ----


def wav(path: Path, rate_hz: int = 16000, channels: int = 1, seconds: float = 1.0) -> Path:
    noise = np.random.default_rng(1).integers(-50, 50, (int(rate_hz * seconds), channels))
    soundfile.write(path, noise.astype(np.int16), rate_hz)
    return path


def truncated(path: Path) -> None:
    whole = wav(path).read_bytes()
    path.write_bytes(whole[: len(whole) // 2])


def unfinished(path: Path) -> None:
    # The data chunk's size as a recorder leaves it when its power goes (RIFF specification).
    whole = wav(path).read_bytes()
    at = whole.index(b"data") + 4
    path.write_bytes(whole[:at] + struct.pack("<I", 0) + whole[at + 4 :])


BAD_SOUND: dict[str, Callable[[Path], object]] = {
    "empty": lambda path: path.write_bytes(b""),
    "header only": lambda path: path.write_bytes(wav(path).read_bytes()[:44]),
    "half a header": lambda path: path.write_bytes(wav(path).read_bytes()[:20]),
    "truncated": truncated,
    "unfinished": unfinished,
    "no sound": lambda path: soundfile.write(path, np.zeros(0, np.int16), 16000),
    "text": lambda path: path.write_text("tree eighty three"),
    "three channels": lambda path: wav(path, channels=3),
    "4 kHz": lambda path: wav(path, rate_hz=4000),
    "a folder": lambda path: path.mkdir(),
}


@pytest.mark.parametrize("kind", BAD_SOUND)
def test_bad_sound_is_refused_before_anything_is_journalled(
    kind: str, callout: Any, fen: SurveyFolder, tmp_path: Path
) -> None:
    path = tmp_path / "bad.wav"
    BAD_SOUND[kind](path)
    before = entries(fen)
    ran = callout("listen", fen.path, "--headless", "--audio", path)
    refused(ran, "bad.wav")
    assert ran.out == ""
    assert entries(fen) == before
    refused(callout("transcribe", path), "bad.wav")


def test_a_flac_cut_off_keeps_what_was_confirmed_before_and_says_so(
    callout: Any, own_fen: SurveyFolder, tmp_path: Path
) -> None:
    path = tmp_path / "cut.flac"
    path.write_bytes(WALK.read_bytes()[:600_000])
    ran = callout("listen", own_fen.path, "--headless", "--audio", path)
    refused(ran, "cut.flac")
    told = [line["tag"] for line in ran.lines if line["event"] == "saved"]
    with own_fen.reading() as reader:
        assert [item.tag for item in reader.readings()] == told


# ---- rosters ----


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "is empty"),
        (b"plot,tag\nK1,1\nK1,1\n", "line 3: tag 1 is in plot K1 at line 2 too"),
        (b"plot,tag,date,value\nK1,1,2021-07-08,-2\nK1,2,soon,3\nK1,3,2021-07-08,x\n", "3 rows"),
        (b"plot,tag\nK1,\0\n", "CSV UTF-8"),
        (b"plot,tag\nK1,\xe9\n", "cannot be called"),
    ],
)
def test_a_bad_roster_makes_nothing(
    content: bytes, says: str, callout: Any, tmp_path: Path
) -> None:
    roster = tmp_path / "trees.csv"
    roster.write_bytes(content)
    refused(callout("new", tmp_path / "harrow", "--trees", roster), says)
    assert names(tmp_path) == ["trees.csv"]


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--unit", "furlong"), "furlong"),
        (("--graduation", "0"), "graduation"),
        (("--graduation", "-0.1"), "graduation"),
        (("--graduation", "fine"), "fine"),
        (("--breast-height", "chest"), "breast_height"),
        (("--plot", "K1"), "write it as"),
        (("--plot", "K1:unit"), "write it as"),
        (("--plot", "K1:unit=furlong"), "furlong"),
        (("--plot", "K1:colour=red"), "colour"),
        (("--plot", "K9:unit=in"), "K9"),
    ],
)
def test_bad_options_make_nothing(
    options: tuple[str, str], says: str, callout: Any, tmp_path: Path
) -> None:
    refused(callout("new", tmp_path / "harrow", "--trees", ROSTER, *options), says)
    assert names(tmp_path) == []


def test_choices_that_argparse_refuses(callout: Any, tmp_path: Path) -> None:
    for options in (("--rounding", "up"), ("--scale", "radius")):
        assert callout("new", tmp_path / "h", "--trees", ROSTER, *options).code == 2
    assert callout("readings", tmp_path, "--format", "xml").code == 2
    assert names(tmp_path) == []


def test_new_makes_a_survey_and_will_not_make_it_twice(callout: Any, tmp_path: Path) -> None:
    roster = tmp_path / "trees.csv"
    roster.write_bytes(b"\xef\xbb\xbf" + ROSTER.read_bytes())
    options = ("--trees", roster, "--unit", "cm", "--plot", "K1:unit=in,implied_point=false")
    ran = callout("new", tmp_path / "harrow", *options)
    assert (ran.code, ran.err) == (0, "")
    assert "17 trees in 3 plots (K1, K2, K3)" in ran.out
    assert {"survey.toml", "journal.db", "audio"} <= set(names(tmp_path / "harrow"))
    config = SurveyFolder(tmp_path / "harrow").config()
    assert (config.of("K1").unit.value, config.of("K2").unit.value) == ("in", "cm")
    assert (config.of("K1").implied_point, config.of("K2").implied_point) == (False, True)
    refused(callout("new", tmp_path / "harrow", *options), "exists already")


# ---- disks and outputs that refuse ----


def test_read_only_and_full_disks(callout: Any, tmp_path: Path) -> None:
    from datetime import datetime

    with mounted(tmp_path / "disk", "size=256k") as disk:
        folder = make_demo_survey(disk / "fen", datetime.now().astimezone())
        filler = fill(disk)
        before = entries(folder)
        listen = ("listen", folder.path, "--headless", "--audio", WALK)
        ran = callout(*listen, "--who", "R" * 3000)  # more than a page's slack can take
        refused(ran, "disk is full")
        assert entries(folder) == before
        refused(callout("new", disk / "other", "--trees", ROSTER), "No space left")
        filler.unlink()
        remount_read_only(disk)
        refused(callout(*listen), "Read-only file system")
        refused(callout("new", disk / "other", "--trees", ROSTER), "Read-only file system")
        refused(callout("demo", "--into", disk / "demo"), "Read-only file system")
        ran = callout("readings", folder.path, "--format", "json")
        assert (ran.code, ran.out, ran.err) == (0, "[]\n", "")
        assert [name for name in names(disk) if name != "fen"] == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this system")
@pytest.mark.parametrize("command", ["readings", "parse"])
def test_a_full_output_is_told(command: str, fen: SurveyFolder) -> None:
    arguments = {"readings": [str(fen.path)], "parse": ["83 24.6"]}[command]
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [sys.executable, "-W", "error", "-m", "callout", command, *arguments],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
        )
    assert done.returncode == 2
    assert done.stderr == "callout: No space left on device: check and try again\n"


def test_a_reader_that_goes_away_is_no_error(fen: SurveyFolder) -> None:
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(
        [sys.executable, "-W", "error", "-m", "callout", "readings", str(fen.path)],
        stdout=write,
        stderr=subprocess.PIPE,
        text=True,
    )
    os.close(write)
    assert (done.returncode, done.stderr) == (0, "")


def test_interrupting_leaves_quietly_with_130(own_fen: SurveyFolder) -> None:
    command = [
        sys.executable, "-W", "error", "-m", "callout", "listen", str(own_fen.path),
        "--headless", "--audio", str(WALK), "--realtime", "--mute",
    ]  # fmt: skip
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        while '"said"' not in process.stdout.readline():
            pass
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate(timeout=120)
    assert (process.returncode, errors) == (130, "")


@pytest.mark.parametrize("encoding", ["utf-8:strict", "latin-1:strict"])
def test_bytes_that_are_no_text_and_letters_that_cannot_be_shown(
    encoding: str, own_fen: SurveyFolder
) -> None:
    env = {"PYTHONIOENCODING": encoding}
    for words in (os.fsdecode(b"tree \xff 24.6"), "tree \u516b 24.6"):
        ran = run_callout("parse", words, env=env)
        assert (ran.code, ran.err) == (0, "")
        (line,) = ran.lines
        assert line["problem"]
    who = os.fsdecode(b"R\xff")
    ran = run_callout(
        "listen",
        own_fen.path,
        "--headless",
        "--typed",
        "--who",
        who,
        env=env,
        input=b"83 \xff\n83 25.1\nconfirm\n",
    )
    assert (ran.code, ran.err) == (0, "")
    with own_fen.reading() as reader:
        assert [(item.tag, item.who) for item in reader.readings()] == [("83", "R?")]
