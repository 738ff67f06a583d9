"""The replay screen: what it shows of a moment, what its keys do. Moments here are invented."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable

import pytest
import screenshots
from rich.cells import cell_len
from textual.pilot import Pilot
from waiting import LONG_S

from callout.lookback.viewing import Hearing, Look, TimedWord
from callout.terminal.replay_app import WAVE_ROWS, ReplayApp
from callout.terminal.wave import column, ruler, times_told, wave_rows, word_rows
from callout.wording.language_files import english

WORDS = (
    TimedWord("tree", 0.3, 0.61, 0.96),
    TimedWord("eighty", 0.61, 1.0, 1.0),
    TimedWord("three", 1.0, 1.4, 0.42),
    TimedWord("twenty", 1.6, 2.0, 0.99),
)
LOOK = Look(
    ("entry 22  2026-06-02T09:15:22.000+02:00  plot K1  R.V.  voice", "  heard      tree eighty"),
    3.0,
    tuple(abs((at % 100) - 50) / 50 for at in range(400)),
    (Hearing("pocketsphinx", "reading tag 83 value 24.6", 0.98, WORDS),),
)
OTHER = Hearing("closed", "reading tag 83 value 24.6", 0.8, WORDS[:2])
Step = Callable[[Pilot[None], "FakeViewing"], Awaitable[None]]


class FakeViewing:
    """Three moments; the last one has no sound."""

    rows = ("09:15:22  83 24.6 in  tree eighty three", "09:15:25  confirm", "09:16:00  typed")

    def __init__(self) -> None:
        self.asked: list[str] = []
        self.now: float | None = None

    def look(self, at: int, every_engine: bool = False) -> Look:
        self.asked.append(f"look {at} {every_engine}")
        if at == 2:
            return Look(("entry 30  typed",), fault="it was typed: there is no sound")
        return Look(LOOK.lines, 3.0, LOOK.outline, (*LOOK.hearings, *([OTHER] * every_engine)))

    def play(self, at: int) -> str:
        self.asked.append(f"play {at}")
        self.now = 0.0
        return "" if at != 2 else "it was typed: there is no sound"

    def position_s(self) -> float | None:
        return self.now

    def stop(self) -> None:
        self.asked.append("stop")
        self.now = None


def drive(step: Step, size: tuple[int, int] = (100, 30)) -> tuple[list[str], str]:
    viewing = FakeViewing()

    async def main() -> str:
        app = ReplayApp(viewing, "Harrow Fen", english())
        async with app.run_test(size=size) as pilot:
            await settled(pilot)
            await step(pilot, viewing)
            await settled(pilot)
            return app.export_screenshot()

    return viewing.asked, asyncio.run(main())


async def settled(pilot: Pilot[None]) -> None:
    await pilot.pause()
    await pilot.app.workers.wait_for_complete()
    await pilot.pause()


async def nothing(pilot: Pilot[None], viewing: FakeViewing) -> None:
    """As it is at first."""


@pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=lambda size: f"{size[0]}x{size[1]}")
def test_screen_looks_as_stored(size: tuple[int, int]) -> None:
    _, svg = drive(nothing, size)
    assert screenshots.agrees(f"replay-{size[0]}x{size[1]}", svg)


def test_a_scroll_bar_does_not_wrap_the_sound() -> None:
    """At 80 columns, with more to tell than the screen has rows."""
    lines = tuple(f"  line {at} of what was told of this moment, at length" for at in range(30))
    heights: list[int] = []

    class LongViewing(FakeViewing):
        def look(self, at: int, every_engine: bool = False) -> Look:
            return Look(lines, 3.0, LOOK.outline, LOOK.hearings)

    async def main() -> None:
        app = ReplayApp(LongViewing(), "Harrow Fen", english())
        async with app.run_test(size=(80, 24)) as pilot:
            await settled(pilot)
            await settled(pilot)
            heights.append(app.query_one("#wave").size.height)

    asyncio.run(main())
    assert heights == [WAVE_ROWS + 1], "the bars and the ruler"


def test_it_shows_words_times_and_confidences() -> None:
    _, svg = drive(nothing)
    told = screenshots.words(svg)
    assert "pocketsphinx, sure, 0.98: reading tag 83 value 24.6" in told
    assert "three 1.00-1.40 s" in told and "42%" in told and "entry 22" in told


def test_space_plays_the_moment_in_hand_and_stops_it() -> None:
    async def step(pilot: Pilot[None], viewing: FakeViewing) -> None:
        await pilot.press("down")
        await settled(pilot)
        await pilot.press("space")
        await pilot.pause()
        await pilot.press("space")

    asked, _ = drive(step)
    assert asked == ["stop", "look 0 False", "stop", "look 1 False", "play 1", "stop"]


def test_e_sets_every_engine_side_by_side_and_back() -> None:
    async def step(pilot: Pilot[None], viewing: FakeViewing) -> None:
        await pilot.press("e")

    asked, svg = drive(step)
    assert asked[-1] == "look 0 True"
    assert "closed, sure, 0.8:" in screenshots.words(svg)


def test_a_moment_without_sound_says_so() -> None:
    async def step(pilot: Pilot[None], viewing: FakeViewing) -> None:
        await pilot.press("end")

    _, svg = drive(step)
    assert "there is no sound" in screenshots.words(svg)


def test_the_place_that_plays_is_marked() -> None:
    async def step(pilot: Pilot[None], viewing: FakeViewing) -> None:
        viewing.now = 1.5
        until = time.monotonic() + LONG_S
        while screenshots.meaning(pilot.app.export_screenshot()) == unmarked:
            assert time.monotonic() < until, "it was not marked"
            await pilot.pause(0.05)

    unmarked = screenshots.meaning(drive(nothing)[1])
    drive(step)


# ---- rows of text ----


def test_bars_stand_as_high_as_the_sound() -> None:
    assert wave_rows((0.0, 0.5, 1.0, 0.25), 4, 2) == ["  █ ", " ██▄"]
    assert wave_rows((), 3, 1) == ["   "]


def test_words_stand_where_they_were_said_and_never_over_one_another() -> None:
    upper, lower = word_rows(WORDS, 3.0, 60)
    assert upper.index("tree") == column(0.3, 3.0, 60) == 6
    assert upper.index("twenty") == column(1.6, 3.0, 60) == 32
    assert lower[upper.index("three") :].startswith("42%")
    narrow, _ = word_rows(WORDS, 3.0, 24)
    assert narrow == "  tree eighty three twen"
    assert times_told(WORDS[:1]) == "tree 0.30-0.61 s"


def test_the_ruler_names_whole_seconds() -> None:
    row = ruler(2.5, 50)
    assert (row.index("0 s"), row.index("1 s"), row.index("2 s")) == (0, 20, 40)


def test_wide_words_keep_their_columns_and_their_width() -> None:
    words = (TimedWord("나무", 0.3, 0.6, 0.9), TimedWord("팔십삼", 0.4, 1.0, 1.0),
             TimedWord("이십사점육", 2.5, 3.0, 0.4))  # fmt: skip
    upper, lower = word_rows(words, 3.0, 24)
    assert cell_len(upper) <= 24 and len(lower) <= 24
    for word, sure in (("나무", "90%"), ("팔십삼", "100%")):
        assert cell_len(upper[: upper.index(word)]) == lower.index(sure)
