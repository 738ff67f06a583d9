"""Practice: an invented plot from a number, walked by typing, and its score."""

from __future__ import annotations

import os
import pty
import signal
import subprocess
import sys

import pytest
from command_tools import Ran, called

from callout.core.units import Unit
from callout.practice.practice import drilled, invented


def practice(typed: str, *options: object) -> Ran:
    return called("practice", "--typed", "--number", "5", "--trees", "3", *options, stdin=typed)


def cards(unit: Unit = Unit.CENTIMETRE) -> list[str]:
    return [f"{card.tag} {card.size}" for card in invented(5, 3, unit)[1]]


def test_all_right_the_first_time(tmp_path):
    done = practice("".join(f"{card}\nconfirm\n" for card in cards()), "--into", tmp_path / "p")
    assert done.code == 0, done.err
    assert "3 of 3 trees; right the first time 3; asked or said again 0; saved wrong 0" in done.out
    for card in cards():
        tag, size = card.split()
        assert f"CALL     tree {tag}, the tape shows {size} cm" in done.out
    assert called("verify", tmp_path / "p").code == 0


def test_what_is_said_again_and_what_is_saved_wrong_is_told():
    one, two, three = cards()
    tag = two.split()[0]
    typed = (
        f"{one}\nno\n{one}\nconfirm\n{tag} 99.9\naccept\n{two}\naccept\nbanana\n{three}\nconfirm\n"
    )
    done = practice(typed)
    # "no", the wrong size that was called, and "banana".
    assert "3 of 3 trees; right the first time 0; asked or said again 3; saved wrong 1" in done.out
    assert f"WRONG  saved {tag} 99.9; the card says {two} cm" in done.out
    size = two.split()[1]
    assert f"Heard wrongly: size {size} heard as 99.9." in done.out


def test_a_walk_broken_off_is_scored_as_far_as_it_went():
    done = practice(f"{cards()[0]}\nconfirm\n")
    assert done.code == 0
    assert "1 of 3 trees; right the first time 1" in done.out and "not done" in done.out


def test_leaving_by_ctrl_c_keeps_the_score() -> None:
    command = [sys.executable, "-m", "callout", "practice", "--typed", "--number", "5"]
    with subprocess.Popen(
        [*command, "--trees", "3"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as walk:
        assert walk.stdin is not None and walk.stdout is not None
        walk.stdin.write(f"{cards()[0]}\nconfirm\n")
        walk.stdin.flush()
        told = ""
        while f"CALL     tree {cards()[1].split()[0]}" not in told:
            told += walk.stdout.readline()
        walk.send_signal(signal.SIGINT)
        told += walk.stdout.read()
    assert walk.returncode == 0
    assert "Left before the end" in told and "1 of 3 trees; right the first time 1" in told


def test_inches_stay_inches():
    done = practice(f"{cards(Unit.INCH)[0]}\nconfirm\n", "--unit", "in")
    assert "right the first time 1" in done.out
    assert " cm" not in done.out and "centim" not in done.out


def test_digits_are_drilled_and_what_was_heard_wrongly_is_told():
    one, two, three = drilled(5, 3, Unit.CENTIMETRE)[1]
    wrong = f"{one.size}".replace("4", "0", 1)
    assert wrong != f"{one.size}", "the invented plot has a four to be taken for an oh"
    typed = f"{one.tag} {wrong}\nno\n{one.tag} {one.size}\naccept\n"
    typed += f"tree {two.tag}, fifteen\nno\n{two.tag} {two.size}\naccept\n"
    typed += f"{three.tag} {three.size}\naccept\n"
    done = practice(typed, "--digits")
    assert done.code == 0, done.err
    assert "Say every figure by itself" in done.out and "check digit" not in done.out
    assert "  say    tree " in done.out
    assert f"size {one.size} heard as {wrong}" in done.out
    assert f"size {two.size} heard as 15" in done.out
    assert "Callouts not said one by one: 1." in done.out
    assert "3 of 3 trees; right the first time 1" in done.out


def test_a_wrong_figure_of_a_checked_tag_is_asked_about_and_saved_to_no_tree():
    (card, *_) = drilled(5, 3, Unit.CENTIMETRE, checked=True)[1]
    slipped = card.tag[:-1] + str((int(card.tag[-1]) + 1) % 10)
    done = practice(f"{slipped} {card.size}\nconfirm\n", "--digits", "--check-digit")
    assert "Each tag ends in a check digit" in done.out
    assert f"no tree {slipped} in this plot" in done.out
    assert "0 of 3 trees" in done.out and "saved wrong 0" in done.out
    assert f"tag {card.tag} heard as {slipped}" in done.out


@pytest.mark.parametrize(
    "options",
    [["--trees", "0"], ["--trees", "101"], ["--unit", "ft"], ["--unit", "x"], ["--check-digit"]],
)
def test_what_cannot_be_walked_is_refused(options):
    assert practice("", *options).code == 2


def test_on_a_terminal_colours_are_shown_and_not_spelt_out():
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "callout", "practice", "--typed", "--trees", "1"]
    done = subprocess.run(
        command, input=b"", stdout=theirs, stderr=subprocess.DEVNULL,
        env={**os.environ, "TERM": "xterm-256color"}, timeout=300,
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
