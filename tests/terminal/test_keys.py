"""Keys, typing and held keys, through Textual's Pilot and a scripted station."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import replace

import fake_face as scripted
import pytest
from textual.pilot import Pilot

from callout.station.face import Level

Step = Callable[[Pilot[None], scripted.FakeFace, "Clock"], Awaitable[None]]


class Clock:
    """Seconds that pass only when told."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


def drive(view: scripted.View, step: Step, safety: bool = False) -> list[tuple[str, object]]:
    """Run ``step`` on an app that shows ``view``, seen for five seconds; what was asked for."""
    face = scripted.FakeFace(view)
    clock = Clock()

    async def main() -> None:
        app = scripted.screen(face, safety, clock)
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            clock.now += 5
            await step(pilot, face, clock)
            await pilot.pause()

    asyncio.run(main())
    return face.asked


def covered(pilot: Pilot[None]) -> str:
    """What lies over the screen."""
    if not pilot.app.screen.query_one("#cover").display:
        return ""
    return next(
        name for name in ("safety", "help") if pilot.app.screen.query_one(f"#{name}").display
    )


def pressing(*keys: str, apart_s: float = 1.0) -> Step:
    async def step(pilot: Pilot[None], face: scripted.FakeFace, clock: Clock) -> None:
        for key in keys:
            await pilot.press(key)
            clock.now += apart_s

    return step


@pytest.mark.parametrize("key", ["enter", "ctrl+j", "pagedown"])
def test_yes_keys_confirm_what_waits(key: str) -> None:
    assert drive(scripted.PENDING, pressing(key)) == [("press", "confirm")]


@pytest.mark.parametrize("key", ["enter", "ctrl+j", "pagedown"])
@pytest.mark.parametrize("view", [scripted.IDLE, scripted.NAMED, scripted.SAVED, scripted.ASKED])
def test_yes_keys_send_nothing_when_nothing_waits(key: str, view: scripted.View) -> None:
    assert drive(view, pressing(key)) == []


@pytest.mark.parametrize(
    ("key", "kind"),
    [("escape", "reject"), ("pageup", "reject"), ("f8", "undo"), ("f3", "repeat"), ("f5", "skip")],
)
def test_command_keys(key: str, kind: str) -> None:
    assert drive(scripted.PENDING, pressing(key)) == [("press", kind)]


def test_mute_turns_over() -> None:
    assert drive(scripted.IDLE, pressing("f7", "f7")) == [("mute", True), ("mute", False)]


def test_typing_submits_and_space_is_a_space() -> None:
    keys = ("8", "3", "space", "2", "4", "full_stop", "6", "enter")
    assert drive(scripted.PENDING, pressing(*keys)) == [("submit", "83 24.6")]


def test_escape_clears_typing_before_it_rejects() -> None:
    asked = drive(scripted.PENDING, pressing("8", "escape", "escape"))
    assert asked == [("press", "reject")]


def test_pasted_line_break_neither_sends_nor_confirms() -> None:
    async def step(pilot: Pilot[None], face: scripted.FakeFace, clock: Clock) -> None:
        from textual.events import Paste

        pilot.app.screen.post_message(Paste("83\x1b[31m 24.6\nyes\n"))
        await pilot.pause()
        assert face.asked == []
        await pilot.press("enter")

    assert drive(scripted.PENDING, step) == [("submit", "83\x1b[31m 24.6")]


def test_a_held_key_counts_once() -> None:
    assert drive(scripted.IDLE, pressing(*["f8"] * 30, apart_s=0.033)) == [("press", "undo")]


def test_a_key_pressed_again_and_again_counts_in_the_end() -> None:
    asked = drive(scripted.PENDING, pressing(*["enter"] * 4, apart_s=0.5))
    assert asked == [("press", "confirm")] * 2


def test_enter_held_after_typing_does_not_confirm() -> None:
    async def step(pilot: Pilot[None], face: scripted.FakeFace, clock: Clock) -> None:
        await pilot.press("8", "3", "space", "2", "5", "enter")
        face.tell(scripted.PENDING)
        await pilot.pause()
        clock.now += 0.5
        for _ in range(40):
            await pilot.press("enter")
            clock.now += 0.033

    assert drive(scripted.IDLE, step) == [("submit", "83 25")]


def test_a_reading_too_new_to_be_read_is_not_confirmed() -> None:
    async def step(pilot: Pilot[None], face: scripted.FakeFace, clock: Clock) -> None:
        face.tell(replace(scripted.PENDING, value="52.4"))
        await pilot.pause()
        clock.now += 0.3
        await pilot.press("pagedown")
        assert face.asked == []
        clock.now += 1
        await pilot.press("pagedown")

    assert drive(scripted.PENDING, step) == [("press", "confirm")]


def test_a_reading_that_is_not_on_the_screen_yet_is_not_confirmed() -> None:
    async def step(pilot: Pilot[None], face: scripted.FakeFace, clock: Clock) -> None:
        face.now = replace(scripted.PENDING, tag="84")  # changed, and not painted
        await pilot.press("enter")

    assert drive(scripted.PENDING, step) == []


def test_safety_is_left_by_any_key_and_that_key_does_nothing_else() -> None:
    async def step(pilot: Pilot[None], face: scripted.FakeFace, clock: Clock) -> None:
        assert covered(pilot) == "safety"
        await pilot.press("enter")
        await pilot.pause()
        assert covered(pilot) == ""
        await pilot.press("enter")
        assert face.asked == []  # hidden until now, so not read yet

    assert drive(scripted.PENDING, step, safety=True) == []


def test_help_opens_and_gives_way_to_a_reading() -> None:
    async def step(pilot: Pilot[None], face: scripted.FakeFace, clock: Clock) -> None:
        await pilot.press("f1")
        await pilot.pause()
        assert covered(pilot) == "help"
        face.tell(scripted.PENDING)
        await pilot.pause()
        await pilot.pause()
        assert covered(pilot) == ""

    assert drive(scripted.IDLE, step) == []


def test_f6_opens_a_closed_microphone_and_the_meter_says_how_it_stands() -> None:
    async def step(pilot: Pilot[None], face: scripted.FakeFace, clock: Clock) -> None:
        meter = pilot.app.screen.query_one("#meter")
        face.tell(Level(-23.0, True))
        await pilot.pause()
        assert "Mic closed: F6 to talk" in str(meter.render())
        await pilot.press("f6")
        face.tell(Level(-23.0, True))
        await pilot.pause()
        assert "-23 dB" in str(meter.render())
        await pilot.press("8")
        clock.now += 2
        await pilot.press("f6")
        await pilot.pause()
        assert "Mic closed" in str(meter.render()), "while typing, too"

    asked = drive(replace(scripted.PENDING, talk="closed"), step)
    assert [name for name, _ in asked] == ["talk", "talk"]
