"""Updates from a foreign thread, a stray tap, a silent microphone, a small window."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Awaitable, Callable
from dataclasses import replace

import fake_face as scripted
import pytest
from textual.pilot import Pilot
from waiting import LONG_S

from callout.station.face import Level
from callout.terminal import station_screen
from callout.terminal.widgets.line import Line
from callout.terminal.widgets.reading import Reading

Step = Callable[[Pilot[None], scripted.FakeFace], Awaitable[None]]


async def until(pilot: Pilot[None], there: Callable[[], bool]) -> None:
    """Let the screen work until ``there`` says so."""
    end = time.monotonic() + LONG_S
    while not there():
        assert time.monotonic() < end, "it did not come"
        await pilot.pause(0.02)


def text_of(pilot: Pilot[None], name: str) -> str:
    return str(pilot.app.screen.query_one(name, Line).render())


def run(
    step: Step,
    view: scripted.View = scripted.IDLE,
    size: tuple[int, int] = (80, 24),
    clock: Callable[[], float] = lambda: 100.0,
) -> scripted.FakeFace:
    face = scripted.FakeFace(view)

    async def main() -> None:
        app = scripted.screen(face, False, clock)
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            await step(pilot, face)

    asyncio.run(main())
    return face


def test_bursts_from_foreign_threads_end_in_the_newest_view() -> None:
    async def step(pilot: Pilot[None], face: scripted.FakeFace) -> None:
        def burst() -> None:
            for number in range(500):
                face.tell(replace(scripted.PENDING, tag=str(number)))
                face.tell(Level(-40.0, False))
            face.tell(scripted.WARNED)

        thread = threading.Thread(target=burst)
        thread.start()
        while thread.is_alive():
            await asyncio.sleep(0.01)
        await until(pilot, lambda: text_of(pilot, "#banner").startswith("CHECK, THEN ACCEPT?"))
        assert "down 0.4" in text_of(pilot, "#warnings")
        assert "-40 dB quiet" in text_of(pilot, "#meter")

    run(step)


def test_an_update_after_the_screen_is_gone_is_harmless() -> None:
    async def step(pilot: Pilot[None], face: scripted.FakeFace) -> None:
        await pilot.pause()

    face = run(step)
    face.tell(scripted.PENDING)
    face.tell(Level(-30.0, True))


def test_a_stray_tap_does_not_take_the_keys_away() -> None:
    async def step(pilot: Pilot[None], face: scripted.FakeFace) -> None:
        await pilot.click("#reading")
        await pilot.click("#warnings")
        await pilot.pause()
        await pilot.press("f3")
        assert face.asked == [("press", "repeat")]

    run(step, scripted.WARNED)


def test_a_tap_confirms_nothing() -> None:
    async def step(pilot: Pilot[None], face: scripted.FakeFace) -> None:
        for place in ("#banner", "#reading", "#keys", "#entry", "#saved"):
            await pilot.click(place)

    assert run(step, scripted.PENDING).asked == []


def test_what_was_saved_stands_and_then_the_next_tree_is_marked_as_next(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As a station tells it: the tree that was saved is still the one in hand."""
    saved = replace(scripted.SAVED, tag="83", next_tag="84")

    def label(pilot: Pilot[None]) -> str:
        return str(pilot.app.screen.query_one("#reading", Reading).render()).splitlines()[0]

    async def stands(pilot: Pilot[None], face: scripted.FakeFace) -> None:
        face.tell(saved)
        await until(pilot, lambda: label(pilot).startswith("Saved: tree 83, 25.4"))
        assert "SAVED" in text_of(pilot, "#banner")

    async def has_stood(pilot: Pilot[None], face: scripted.FakeFace) -> None:
        face.tell(saved)
        await until(pilot, lambda: label(pilot) == "Next: tree 84")
        assert "SAVED" not in text_of(pilot, "#banner"), "84 is not what was saved"
        face.tell(replace(saved, muted=True))
        await until(pilot, lambda: "MUTE" in text_of(pilot, "#place").upper())
        assert label(pilot) == "Next: tree 84", "it has been seen"
        face.tell(replace(scripted.PENDING, tag="84"))
        await until(pilot, lambda: label(pilot).startswith("Tree 84, 25.4"))

    monkeypatch.setattr(station_screen, "SAVED_STANDS_S", 3600.0)
    run(stands)
    monkeypatch.setattr(station_screen, "SAVED_STANDS_S", 0.05)
    run(has_stood)


def test_a_meter_without_levels_says_so() -> None:
    seconds = [100.0]

    async def step(pilot: Pilot[None], face: scripted.FakeFace) -> None:
        face.tell(Level(-23.0, True))
        await until(pilot, lambda: "speech" in text_of(pilot, "#meter"))
        seconds[0] += 10  # the screen looks once a second
        await until(pilot, lambda: "NO LEVEL" in text_of(pilot, "#meter"))

    run(step, clock=lambda: seconds[0])


@pytest.mark.parametrize("size", [(80, 24), (80, 18), (60, 16), (200, 60)], ids=str)
@pytest.mark.parametrize("view", [scripted.PENDING, scripted.CROWDED], ids=["one", "crowded"])
def test_reading_and_entry_line_are_always_on_the_screen(
    view: scripted.View, size: tuple[int, int]
) -> None:
    async def step(pilot: Pilot[None], face: scripted.FakeFace) -> None:
        screen = pilot.app.screen
        for name in ("#banner", "#reading", "#entry", "#keys"):
            widget = screen.query_one(name)
            assert screen.region.contains_region(widget.region), name
            assert widget.region.area > 0, name

    run(step, view, size)


@pytest.mark.parametrize("height", (15, 16))
def test_a_label_of_two_rows_takes_none_of_the_large_type(height: int) -> None:
    """Its lowest row holds the point: 24.6 without it would be 246."""

    async def step(pilot: Pilot[None], face: scripted.FakeFace) -> None:
        reading = pilot.app.screen.query_one("#reading", Reading)
        painted = [strip.text for strip in reading.render_lines(reading.outer_size.region)]
        drawn = str(reading.render()).splitlines()
        assert large(painted) == large(drawn), painted
        assert "25.4" in "".join(painted)

    def large(rows: list[str]) -> list[str]:
        return [row.strip() for row in rows if "█" in row]

    run(step, replace(scripted.PENDING, tag="1283", species="Fraxinus pennsylvanica"), (40, height))


def test_an_unchanged_view_repaints_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    painted: list[Line] = []
    monkeypatch.setattr(Line, "update", lambda self, content: painted.append(self))

    async def step(pilot: Pilot[None], face: scripted.FakeFace) -> None:
        painted.clear()
        face.tell(replace(scripted.PENDING))
        await pilot.pause()
        assert painted == []
        face.tell(replace(scripted.PENDING, muted=True))
        await pilot.pause()
        assert [part.id for part in painted] == ["place"]

    run(step, scripted.PENDING)
