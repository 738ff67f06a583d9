"""Practice: an invented plot from a number, walked by typing, and its score."""

from __future__ import annotations

import os
import pty
import subprocess
import sys

import pytest
from command_tools import Ran, run_callout

from callout.core.units import Unit
from callout.station.practice import invented


def practice(typed: str, *options: object) -> Ran:
    return run_callout(
        "practice", "--typed", "--number", "5", "--trees", "3", *options, input=typed.encode()
    )


def cards(unit: Unit = Unit.CENTIMETRE) -> list[str]:
    return [f"{card.tag} {card.size}" for card in invented(5, 3, unit)[1]]


def test_all_right_the_first_time(tmp_path):
    done = practice("".join(f"{card}\nconfirm\n" for card in cards()), "--into", tmp_path / "p")
    assert done.code == 0, done.err
    assert "3 of 3 trees; right the first time 3; asked or said again 0; saved wrong 0" in done.out
    for card in cards():
        tag, size = card.split()
        assert f"CALL     tree {tag}, the tape shows {size} cm" in done.out
    assert run_callout("verify", tmp_path / "p").code == 0


def test_what_is_said_again_and_what_is_saved_wrong_is_told():
    one, two, three = cards()
    tag = two.split()[0]
    typed = (
        f"{one}\nno\n{one}\nconfirm\n{tag} 99.9\naccept\n{two}\naccept\nbanana\n{three}\nconfirm\n"
    )
    done = practice(typed)
    # "no", the wrong size that was called, and "banana".
    assert "3 of 3 trees; right the first time 0; asked or said again 3; saved wrong 1" in done.out
    assert f"{tag} 99.9" in done.out


def test_a_walk_broken_off_is_scored_as_far_as_it_went():
    done = practice(f"{cards()[0]}\nconfirm\n")
    assert done.code == 0
    assert "1 of 3 trees; right the first time 1" in done.out and "not done" in done.out


def test_inches_stay_inches():
    done = practice(f"{cards(Unit.INCH)[0]}\nconfirm\n", "--unit", "in")
    assert "right the first time 1" in done.out
    assert " cm" not in done.out and "centim" not in done.out


@pytest.mark.parametrize(
    "options", [["--trees", "0"], ["--trees", "101"], ["--unit", "ft"], ["--unit", "x"]]
)
def test_what_cannot_be_walked_is_refused(options):
    assert practice("", *options).code == 2


def test_on_a_terminal_colours_are_shown_and_not_spelt_out():
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "callout", "practice", "--typed", "--trees", "1"]
    done = subprocess.run(
        command, input=b"", stdout=theirs, stderr=subprocess.DEVNULL,
        env={**os.environ, "TERM": "xterm-256color"}, timeout=120,
    )  # fmt: skip
    os.close(theirs)
    told = b""
    try:
        while piece := os.read(ours, 65_536):
            told += piece
    except OSError:  # a terminal whose other end is closed reads so on Linux
        pass
    os.close(ours)
    assert done.returncode == 0
    assert b"\x1b[1mCALL" in told and b"\\u001b" not in told
