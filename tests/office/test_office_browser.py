"""The office's page in a real browser: all of it by keys alone, on a desk and on a phone.

Needs Chromium and Playwright; accessibility is held against axe-core's rules (WCAG).
``CALLOUT_OFFICE_PNG`` names a folder to keep pictures in.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from office_served import Served
from office_sites import forge

Tab = Callable[[int], Any]


@pytest.fixture
def tab(browser: Any, site: Path) -> Iterator[Tab]:
    """Opens the page of the site, one survey of it forged, at a width.

    An error of the page, or a request elsewhere, fails the test.
    """
    forge(site)
    serving = Served(site)
    pages: list[Any] = []
    errors: list[str] = []
    asked: list[str] = []

    def opened(width: int) -> Any:
        page = browser.new_page(viewport={"width": width, "height": 800})
        page.set_default_timeout(180_000)
        page.on("console", lambda told: errors.append(told.text) if told.type == "error" else None)
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("request", lambda request: asked.append(request.url))
        page.goto(serving.address)
        page.wait_for_selector(".card")
        pages.append(page)
        return page

    yield opened
    for page in pages:
        page.close()
    serving.close()
    assert errors == []
    assert [url for url in asked if not url.startswith((serving.address, "data:"))] == []


def picture(page: Any, name: str) -> None:
    if folder := os.environ.get("CALLOUT_OFFICE_PNG"):
        page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)


class Hands:
    """Somebody at a keyboard without a mouse; what they see is read, nothing else is touched."""

    def __init__(self, page: Any) -> None:
        self.page = page
        page.evaluate("() => { window.heard = []; player.addEventListener('playing', "
                      "() => window.heard.push(player.src)); }")  # fmt: skip

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)

    def sees(self, text: str, where: str = "body") -> None:
        shown = "([where, text]) => document.querySelector(where)?.innerText.includes(text)"
        self.page.wait_for_function(shown, arg=[where, text])

    def goes_to(self, heading: str) -> None:
        """To the list of that heading, list by list."""
        title = heading.partition(":")[0]
        for _ in range(9):
            self.press("l")
            pressed = self.page.inner_text(".list[aria-pressed=true]")
            if pressed.startswith(title):
                return self.sees(heading, "#heading")
        raise AssertionError(f"no list {title}")

    def in_hand(self) -> str:
        return str(self.page.evaluate("() => document.activeElement.innerText"))

    def hears(self, key: str, sounds: int) -> None:
        self.press(key)
        self.page.wait_for_function("(sounds) => new Set(window.heard).size === sounds", arg=sounds)


def test_a_whole_site_is_gone_through_by_keys_alone(tab: Tab) -> None:
    """What was planted is found, heard, ruled on, and the ruling taken back."""
    hands = Hands(tab(1280))
    hands.sees("Measured twice: 1", "#heading")
    picture(hands.page, "twice-1280")
    hands.press("j")
    assert "0.60 in apart" in hands.in_hand()
    hands.hears("p", 1)
    hands.hears("Shift+P", 2)
    hands.press("1")
    hands.page.keyboard.type("H.F.")
    hands.press("Tab")
    hands.page.keyboard.type("heard on the recording")
    picture(hands.page, "ruling-1280")
    hands.press("Enter")
    hands.sees(
        "Written: K1 83, 24.6 in stands: heard on the recording (H.F.); K1 83, 25.2 in void",
        "#told",
    )
    hands.sees("Measured twice: 0", "#heading")
    picture(hands.page, "written-1280")
    hands.press("u")
    hands.page.keyboard.type("the wrong tree")
    hands.press("Enter")
    hands.sees("24.6 in withdrawn", "#told")
    hands.sees("Measured twice: 1", "#heading")

    hands.goes_to("Growth: 1")
    hands.sees("too fast: 24.6 in on 2026-06-02, then 29.9 in on 2027-06-02", "#cards")
    picture(hands.page, "growth-1280")
    hands.press("j", "a")
    for typed in ("29,9", "a slip"):
        hands.page.keyboard.type(typed)
        hands.press("Tab")
    hands.press("Enter")
    hands.sees("as 24.6", "#fault")
    hands.press("ControlOrMeta+A")
    hands.page.keyboard.type("24.9")
    hands.press("Enter")
    hands.sees("29.9 in amended to 24.9 in: a slip", "#told")
    hands.sees("Growth: 0", "#heading")

    hands.goes_to("Notes: 1")
    hands.sees("crown broken in the storm", "#cards")
    hands.goes_to("All readings: 6")
    hands.sees("removed by order, entry", "#cards")
    hands.press("/")
    hands.page.keyboard.type("twenty five")
    hands.press("Enter")
    hands.page.wait_for_function("() => document.activeElement.matches('.card')")
    assert "25.2 in" in hands.in_hand()
    hands.press("/", "ControlOrMeta+A", "Delete", "Enter")
    hands.goes_to("Surveys: 1 BROKEN")
    hands.press("j")
    assert "BROKEN, first at entry" in hands.in_hand()
    hands.sees("erased: 1 sound by order of Office", "#cards")
    picture(hands.page, "states-1280")
    hands.goes_to("Left to measure: 2")
    hands.sees("101", "#cards")
    picture(hands.page, "left-1280")
    hands.goes_to("Ruled on: 1")
    assert hands.page.title() == "fen: office", "a stranger's markup stays text"


@pytest.mark.parametrize("width", [1280, 390])
def test_every_list_fits_and_axe_finds_nothing(tab: Tab, width: int) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="no axe-core")
    page = tab(width)
    hands = Hands(page)
    hands.sees("BROKEN", "nav")
    for heading in ("Measured twice", "All readings", "Surveys", "a ruling"):
        if heading == "a ruling":
            hands.goes_to("Measured twice")
            hands.press("j", "2")
            page.wait_for_selector("dialog[open]")
        elif heading != "Measured twice":
            hands.goes_to(heading)
        picture(page, f"{heading.replace(' ', '-').lower()}-{width}")
        over = page.evaluate("() => document.documentElement.scrollWidth > innerWidth")
        assert not over, f"{heading}: nothing is off the screen"
        found = axe.Axe().run(page).response["violations"]
        assert [(item["id"], item["impact"]) for item in found] == [], heading
