"""The review page: complete, harmless whatever a roster says, and working in a real browser.

The browser's tests need Chromium and Playwright; without them they are skipped. Accessibility is
held against axe-core's rules (WCAG). ``CALLOUT_REVIEW_PNG`` names a file to keep a picture in.
"""

from __future__ import annotations

import base64
import json
import os
import re
import shutil
from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from journal_tools import survey
from station_tools import LANGUAGE, ScriptedEngine, at_work, clock

from callout.cli.main import main
from callout.core.model import PastMeasurement, PlotSettings, Reading, Tree
from callout.core.units import Unit
from callout.journal.folder import SurveyFolder, make_survey
from callout.proof.verify import take_snapshot
from callout.reports.templating import environment
from callout.sound.frames import SAMPLE_RATE_HZ, Samples
from callout.sound.sound_files import decode_flac
from callout.station.hearing.engines import choose_engine
from callout.station.scopes import scope_of

NASTY = '<img src=x onerror="alert(1)">'


def tone(hertz: float, seconds: float = 0.6) -> Samples:
    """A sound that is really there: a sine at half of full scale."""
    at = np.arange(int(SAMPLE_RATE_HZ * seconds)) / SAMPLE_RATE_HZ
    return (16000 * np.sin(2 * np.pi * hertz * at)).astype(np.int16)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> SurveyFolder:
    """Invented: four trees saved, one of them twice, one undone."""
    made, engine = survey(tmp_path_factory.mktemp("review") / "harrow"), ScriptedEngine()
    with at_work(made, engine, clock()) as station:
        station.open("K1", "R.V.")
        for mark, words in enumerate((
            "tree eighty three twenty four point six", "accept",
            "tree ninety one twelve point nine", "accept",
            "tree eighty three twenty five point two", "accept",
            "tree ninety one thirteen point nine", "accept", "undo", "accept",
        )):  # fmt: skip
            engine.next_words = words
            station.hear(tone(300 + 50 * mark))
        station.open("K2", "M.O.")
        station.type("101 30.0")
        station.press("accept")
    return made


@pytest.fixture(scope="module")
def page(folder: SurveyFolder) -> Path:
    out = folder.path.parent / "review.html"
    assert main(["review", str(folder.path), "--out", str(out)]) == 0
    return out


def test_every_reading_is_on_the_page_with_its_very_sound(folder: SurveyFolder, page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    with folder.reading() as reader:
        readings = [item for item in reader.readings() if not item.void]
    entries = [int(entry) for entry in re.findall(r'data-entry="(\d+)"', text)]
    assert sorted(entries) == sorted(item.entry for item in readings)
    sounds = {base64.b64decode(item) for item in re.findall(r"audio/flac;base64,([^\"]+)", text)}
    assert sounds == {folder.audio.read(item.audio) for item in readings if item.audio}
    for said in ("superseded by entry 9", "undone by entry 13", "24.6 in", "30.0 cm"):
        assert said in text, said
    for warning in {warning for item in readings for warning in item.warnings}:
        assert f"<li>{warning}</li>" in text
    assert oct(page.stat().st_mode & 0o777) == "0o600", "voices are for their owner"


def history_cell(reading: Reading, past: tuple[PastMeasurement, ...]) -> str:
    """As a page has it."""
    return str(environment().get_template("parts.html").module.history(reading, past))


class Tags(HTMLParser):
    """Every start tag of a page with its attributes."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))


def test_nothing_in_a_roster_becomes_markup_and_nothing_is_fetched(tmp_path: Path) -> None:
    past = (PastMeasurement(date(2021, 7, 8), Decimal("25.0"), Unit.INCH),)
    trees = (Tree("K1", "83", NASTY, past), Tree(f"K{NASTY}", "9", "@@rows@@"))
    inches = PlotSettings(plot="K1", unit=Unit.INCH)
    made = make_survey(tmp_path / "a'&b", trees, inches, {}, "2026-06-02T09:15:00.000+02:00")
    with at_work(made, None, clock()) as station:
        for plot, text in (("K1", "83 25.1"), (f"K{NASTY}", "9 8.1")):
            station.open(plot, NASTY)
            station.type(text)
            station.press("accept")
    out = tmp_path / "review.html"
    assert main(["review", str(made.path), "--out", str(out)]) == 0
    tags = Tags(out.read_text(encoding="utf-8")).found
    assert not [tag for tag, _ in tags if tag in ("img", "link", "iframe", "object")]
    assert not [attrs for _, attrs in tags if any(name.startswith("on") for name in attrs)]
    assert not [attrs for _, attrs in tags if attrs.get("src") or attrs.get("href")]
    assert sum(tag == "script" for tag, _ in tags) == 1


def test_a_missing_sound_is_told(folder: SurveyFolder, tmp_path: Path) -> None:
    copy = SurveyFolder(tmp_path / "copy")
    shutil.copytree(folder.path, copy.path)
    for path in (copy.path / "audio").glob("*.flac"):
        path.write_bytes(b"not it")
    out = tmp_path / "review.html"
    assert main(["review", str(copy.path), "--out", str(out)]) == 0
    assert "missing or altered" in out.read_text(encoding="utf-8")


def test_input_that_cannot_be_used(folder: SurveyFolder, tmp_path: Path) -> None:
    assert main(["review", str(folder.path), "--out", str(tmp_path / "no" / "x.html")]) == 2
    assert main(["review", str(folder.path), "--out", str(tmp_path)]) == 2
    out = tmp_path / "x.html"
    assert main(["review", str(folder.path), "--plot", "K9", "--out", str(out)]) == 2
    assert not out.exists()
    assert main(["review", str(folder.path), "--plot", "K2", "--out", str(out)]) == 0
    assert len(re.findall("data-entry=", out.read_text(encoding="utf-8"))) == 1


def test_todays_hearing_stands_beside_what_was_recorded(
    folder: SurveyFolder, tmp_path: Path
) -> None:
    """The sounds are tones, so the engine hears other things in them, or nothing."""
    out = tmp_path / "x.html"
    options = ["--engine", "pocketsphinx", "--out", str(out)]
    assert main(["review", str(folder.path), *options]) == 0
    text = out.read_text(encoding="utf-8")
    assert '<th scope="col">Heard today</th>' in text
    engine = choose_engine("pocketsphinx", LANGUAGE)
    with folder.reading() as reader:
        engine.prepare(LANGUAGE.spoken_in(scope_of(reader.plots()["K1"])))
        sounds = [item.audio for item in reader.readings() if item.audio and not item.void]
    heard = [engine.hear(decode_flac(folder.audio.read(item))) for item in sounds]
    words = [found[0].words if found else "nothing" for found in heard]
    assert len(words) == 4
    beside = re.findall(
        r'sure, 0.9</small></td>\s*<td><span class="differs">([^<]*)<small>differs', text
    )
    assert sorted(beside) == sorted(words)


def test_the_sparkline_goes_up_where_the_tree_grew_and_names_exact_sizes() -> None:
    past = (
        PastMeasurement(date(2016, 7, 1), Decimal("60.0"), Unit.CENTIMETRE),
        PastMeasurement(date(2021, 7, 1), Decimal("25.0"), Unit.INCH),  # 63.5 cm (by definition)
    )
    at = "2026-07-01T10:00:00+00:00"
    cell = history_cell(Reading(5, at, "K1", "83", value=Decimal("24.60"), unit=Unit.INCH), past)
    points = re.search(r'points="([^"]+)"', cell)
    assert points
    dots = [tuple(map(float, pair.split(","))) for pair in points.group(1).split()]
    xs, ys = zip(*dots, strict=True)
    assert list(xs) == sorted(xs)
    assert xs[1] - xs[0] == pytest.approx(xs[2] - xs[1], abs=0.2), "five years each"
    assert ys[1] < ys[2] < ys[0], "upwards is smaller y: 23.6, 25.0, 24.6 in"
    assert 'aria-label="2016: 60.0 cm, 2021: 25.0 in, now: 24.60 in"' in cell
    one = PastMeasurement(date(2021, 7, 1), Decimal("24.60"), Unit.INCH)
    same = history_cell(Reading(5, at, "K1", "83", value=Decimal("24.60"), unit=Unit.INCH), (one,))
    assert "NaN" not in same
    assert "no earlier size" in history_cell(Reading(5, at, "K1", "83", value=Decimal(8)), ())


# ---- in a real browser ----


@pytest.fixture
def tab(browser: Any, page: Path) -> Iterator[Any]:
    """The page open from the file system; any error of it fails the test."""
    errors: list[str] = []
    asked: list[str] = []
    tab = browser.new_page(viewport={"width": 1400, "height": 800})
    tab.set_default_timeout(180_000)
    tab.on("console", lambda told: errors.append(told.text) if told.type == "error" else None)
    tab.on("pageerror", lambda error: errors.append(str(error)))
    tab.on("request", lambda request: asked.append(request.url[:60]))
    tab.goto(page.as_uri())
    yield tab
    tab.close()
    assert errors == []
    assert not [url for url in asked if not url.startswith(("file:", "data:", "blob:"))]


def shown(tab: Any) -> list[str]:
    found: list[str] = tab.eval_on_selector_all(
        "tbody tr:not([hidden])", "rows => rows.map(row => row.dataset.entry)"
    )
    return found


def test_filters(tab: Any, folder: SurveyFolder) -> None:
    with folder.reading() as reader:
        rows = {str(item.entry): item for item in reader.readings() if not item.void}
    standing = shown(tab)
    assert len(standing) == 3, "superseded and undone ones are put away at first"
    assert tab.text_content("#shown") == f"3 of {len(rows)} shown"
    tab.check("#gone")
    assert set(shown(tab)) == set(rows)
    tab.check("#warned")
    assert set(shown(tab)) == {entry for entry, item in rows.items() if item.warnings}
    tab.uncheck("#warned")
    tab.select_option("#plot", "K2")
    assert [rows[entry].tag for entry in shown(tab)] == ["101"]
    tab.select_option("#plot", "")
    tab.fill("#find", "red OAK")
    assert {rows[entry].tag for entry in shown(tab)} == {"83"}


def test_sound_plays_by_the_keyboard_alone(tab: Any) -> None:
    tab.evaluate("""() => { window.ends = 0;
        player.addEventListener('ended', () => { window.ends += 1; }); }""")
    tab.focus("tr:not([hidden]) .play")
    tab.keyboard.press("Enter")
    tab.wait_for_function("() => player.currentTime > 0.05 && !player.error")
    assert tab.evaluate("() => player.duration") == pytest.approx(0.6, abs=0.01)
    assert tab.text_content(".play.playing") == "■ stop"
    tab.wait_for_function("() => window.ends === 1")
    assert tab.locator(".play.playing").count() == 0


def test_every_control_is_reached_by_tab(tab: Any) -> None:
    reached = set()
    for _ in range(60):
        tab.keyboard.press("Tab")
        reached.add(
            tab.evaluate("() => document.activeElement.id || document.activeElement.className")
        )
    assert {"find", "plot", "warned", "unruled", "gone", "who", "import", "table", "play",
            "verdict"} <= reached  # fmt: skip


def test_rulings_go_out_and_come_in(
    tab: Any, browser: Any, page: Path, folder: SurveyFolder, tmp_path: Path
) -> None:
    entry = shown(tab)[0]
    row = tab.locator(f'tr[data-entry="{entry}"]')
    for field, value, told in (
        (None, "", "Say who rules."),
        ("#who", "M.O.", "No ruling was made."),
    ):
        if field:
            tab.fill(field, value)
        tab.click("text=Export rulings")
        assert tab.text_content("#told") == told
    row.locator(".verdict").select_option("amended")
    for field, value, told in (
        (".value", "24,8", "say what it is amended to"),
        (".value", "24.8", "give a reason"),
    ):
        row.locator(field).fill(value)
        tab.click("text=Export rulings")
        assert told in tab.text_content("#told")
    row.locator(".reason").fill('heard "eight" é')
    with tab.expect_download() as download:
        tab.click("text=Export rulings")
    file = tmp_path / "rulings.json"
    download.value.save_as(file)
    ruling = {"entry": int(entry), "verdict": "amended", "value": "24.8",
              "reason": 'heard "eight" é', "who": "M.O."}  # fmt: skip
    assert json.loads(file.read_text(encoding="utf-8"))["rulings"] == [ruling]

    fresh = browser.new_page()
    fresh.set_default_timeout(180_000)
    fresh.goto(page.as_uri())
    fresh.set_input_files("#import", file)
    fresh.wait_for_function("() => document.querySelector('#told').textContent")
    assert fresh.text_content("#told") == "1 imported."
    again = fresh.locator(f'tr[data-entry="{entry}"]')
    assert again.locator(".verdict").input_value() == "amended"
    assert again.locator(".value").input_value() == "24.8"
    fresh.close()

    copy = SurveyFolder(tmp_path / "copy")
    shutil.copytree(folder.path, copy.path)
    assert main(["rule", str(copy.path), "--import", str(file)]) == 0
    assert take_snapshot(copy.database).entries[-1].kind == "ruling"
    assert main(["verify", str(copy.path)]) == 0


@pytest.mark.parametrize("width", [500, 390])
def test_on_a_narrow_screen_sound_and_ruling_are_there(
    browser: Any, page: Path, width: int
) -> None:
    tab = browser.new_page(viewport={"width": width, "height": 800})
    tab.set_default_timeout(180_000)
    tab.goto(page.as_uri())
    if picture := os.environ.get("CALLOUT_REVIEW_PNG"):
        tab.screenshot(path=f"{picture}.{width}.png", full_page=True)
    off = tab.evaluate(
        "() => [...document.querySelectorAll('tr:not([hidden]) :is(.play, .verdict)')]"
        ".filter((item) => item.getBoundingClientRect().right > innerWidth).length"
    )
    assert off == 0
    tab.close()


def test_axe_finds_nothing_serious(tab: Any) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="no axe-core")
    tab.check("#gone")
    tab.locator(".verdict").first.select_option("amended")
    if picture := os.environ.get("CALLOUT_REVIEW_PNG"):
        tab.screenshot(path=picture)
    found = axe.Axe().run(tab).response["violations"]
    assert [(item["id"], item["impact"]) for item in found] == []
