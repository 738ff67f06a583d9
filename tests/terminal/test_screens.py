"""What the screens look like (against stored pictures) and what they must never do with data."""

from __future__ import annotations

import re
from dataclasses import replace

import fake_face as scripted
import pytest
import screenshots

SIZES = ((80, 24), (120, 40))
STATES = {
    "idle": scripted.IDLE,
    "tree-named": scripted.NAMED,
    "pending": scripted.PENDING,
    "pending-warned": scripted.WARNED,
    "pending-dead": scripted.DEAD,
    "pending-crowded": scripted.CROWDED,
    "saved": scripted.SAVED,
    "asked": scripted.ASKED,
    "refused": scripted.REFUSED,
    "faults": scripted.FAULTY,
}


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize("name", STATES)
def test_state_looks_as_stored(name: str, size: tuple[int, int]) -> None:
    svg = screenshots.shot(STATES[name], size)
    assert screenshots.agrees(f"{name}-{size[0]}x{size[1]}", svg)


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize(
    ("name", "keys", "safety"),
    [
        ("safety", (), True),
        ("help", ("f1",), False),
        ("dusk", ("f2",), False),
        ("typing", ("8", "3"), False),
        ("too-soon", ("enter",), False),
    ],
)
def test_screen_looks_as_stored(
    name: str, keys: tuple[str, ...], safety: bool, size: tuple[int, int]
) -> None:
    svg = screenshots.shot(scripted.WARNED, size, keys, safety)
    assert screenshots.agrees(f"{name}-{size[0]}x{size[1]}", svg)


def test_comparison_sees_text_colour_and_place() -> None:
    svg = screenshots.shot(scripted.WARNED, (80, 24))
    assert screenshots.meaning(svg.replace("tape&#160;slack", "tape&#160;tight")) != (
        screenshots.meaning(svg)
    )
    assert screenshots.meaning(svg.replace("#ffc400", "#ffffff")) != screenshots.meaning(svg)
    assert screenshots.meaning(re.sub(r"terminal-\d+", "other", svg)) == screenshots.meaning(svg)


def test_everything_asked_for_is_on_the_small_screen() -> None:
    seen = screenshots.words(screenshots.shot(scripted.WARNED, (80, 24)))
    for part in (
        "Tree 83, 24.6 in", "Quercus rubra", "25.0 in, 2019-06-04", "down 0.4", "CHECK: ",
        "tape slack or twisted?", "218 left", "83  84  85", "-23 dB speech", "82  18.2 in",
        "Heard: tree eighty three", "Said:  83, 24.6", "Engine: pocketsphinx", "voice on",
    ):  # fmt: skip
        assert part in seen, part


def test_every_warning_and_fault_is_whole_on_the_small_screen() -> None:
    seen = screenshots.words(screenshots.shot(scripted.CROWDED, (80, 24)))
    flat = re.sub(r"\s+", " ", seen)
    for part in (*scripted.CROWDED.warnings, *scripted.CROWDED.looks, *scripted.CROWDED.faults):
        pieces = part.split()
        assert all(piece in flat for piece in pieces), part
    assert "█" in seen


# ECMA-48 control functions: escape (1B), CSI introduced by 9B, OSC (1B 5D), string terminator.
HOSTILE = "\x1b[2J\x1b]0;x\x07[bold red]\x9b31m\u202eabc\nnew row[/]"


def test_data_brings_no_control_sequence_and_no_markup() -> None:
    view = replace(
        scripted.WARNED, plot=HOSTILE, who=HOSTILE, tag=HOSTILE, species=HOSTILE, before=HOSTILE,
        change=HOSTILE, warnings=(HOSTILE,), looks=(HOSTILE,), said=HOSTILE, heard=HOSTILE,
        left=(HOSTILE,), recent=(scripted.SavedLine(*[HOSTILE] * 4, True),), engine=HOSTILE,
        faults=(HOSTILE,),
    )  # fmt: skip
    seen = screenshots.words(screenshots.shot(view, (120, 40)))
    assert not set(seen) & {"\x1b", "\x9b", "\x07", "\u202e"}
    assert "CHECK: ␛[2J␛]0;x␇[bold red]\ufffd31m\ufffdabc␊new row[/]" in seen
