"""The office's live page: everything found and ruled on, by keyboard, in a real browser.

The browser's tests need Chromium and Playwright; accessibility is held against axe-core's rules
(WCAG). ``CALLOUT_OFFICE_PNG`` names a folder to keep pictures in.
"""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import shutil
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from office_sites import forge, planted
from waitress.server import create_server

from callout.cli.main import main
from callout.crews.place import read_place
from callout.journal.folder import SurveyFolder
from callout.office import asked as asked_module
from callout.office.desk import Desk
from callout.office.states import States
from callout.office.web import OfficeApp

TOKEN = "invented-token"


class Client:
    """Asks the page at ``address`` as a browser does."""

    def __init__(self, address: str) -> None:
        self.address = address

    def ask(
        self, rest: str, body: object = None, headers: dict[str, str] | None = None
    ) -> tuple[int, Any]:
        """Status and what was answered, JSON where it is."""
        data = None if body is None else json.dumps(body).encode()
        kind = {} if body is None else {"Content-Type": "application/json"}
        asked = urllib.request.Request(self.address + rest, data, {**kind, **(headers or {})})
        try:
            with urllib.request.urlopen(asked) as answer:
                return answer.status, json.loads(answer.read())
        except urllib.error.HTTPError as error:
            text = error.read()
            return error.code, json.loads(text) if text.startswith(b"{") else text


class Served(Client):
    """The page of a site on a port of its own, as ``callout office`` serves it."""

    def __init__(self, site: Path) -> None:
        self.desk, self.site = Desk(site), site
        app = OfficeApp(self.desk, States(site), TOKEN, ())
        self._server = create_server(app, host="127.0.0.1", port=0, threads=8, ident=None)
        self.host = f"127.0.0.1:{self._server.effective_port}"
        app.hosts = frozenset([self.host])
        super().__init__(f"http://{self.host}/{TOKEN}/")
        self._thread = threading.Thread(target=self._server.run, daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._server.close()
        self._thread.join(10)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return planted(tmp_path_factory.mktemp("office"))


@pytest.fixture
def site(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path / "fen")
    return tmp_path / "fen"


@pytest.fixture
def served(site: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Served]:
    # Twenty at once take turns; a busy machine is given time for them all.
    monkeypatch.setattr(asked_module, "_WAIT_S", 180.0)
    serving = Served(site)
    yield serving
    serving.close()


def ruling(served: Client, at: int = 0) -> dict[str, Any]:
    """A ruling on one side of the pair that disagrees, as the page would ask for it."""
    with_pair = served.ask("list?show=twice")[1]["html"]
    name = with_pair.split('data-name="')[1 + at].split('"')[0]
    return {"name": name, "seen": "", "verdict": "stands", "value": None}


def rules(
    served: Client, *rulings: dict[str, Any], reason: str = "heard", who: str = "H.F."
) -> Any:
    asked = {"rulings": rulings, "reason": reason, "who": who, "accept": False}
    return served.ask("rule", asked)


def written(served: Served) -> list[str]:
    return [item.ruling.told for item in read_place(served.site).standing if item.ruling]


def test_each_list_finds_what_was_planted(served: Served) -> None:
    counts = served.ask("counts")[1]
    assert (counts["twice"], counts["growth"], counts["left"], counts["notes"]) == (1, 1, 2, 1)
    told = {show: served.ask(f"list?show={show}")[1]["html"] for show in counts}
    assert "K1 83: 0.60 in apart" in told["twice"] and "24.6 in" in told["twice"]
    assert told["twice"].count('class="play"') == 2, "both sounds"
    assert "29.9 in" in told["growth"] and told["growth"].count('class="card"') == 1
    assert "2026: 24.6 in" in told["growth"], "its history"
    assert "<b>91</b>" in told["left"] and "<b>101</b>" in told["left"]
    assert "crown broken in the storm" in told["notes"]
    assert "removed by order, entry" in told["all"], "T.A.'s sound"
    assert "<img" not in "".join(told.values()) and "&lt;img" in told["growth"]
    found = served.ask("list?show=all&find=TWENTY%20FIVE")[1]
    assert found["count"] == 1 and "25.2 in" in found["html"]
    assert served.ask("list?show=all&plot=K2")[1]["count"] == 1
    assert served.ask("list?show=nothing")[0] == 400


def test_a_forged_entry_and_an_erased_person_are_told(site: Path) -> None:
    name = forge(site)
    serving = Served(site)
    try:
        until = time.monotonic() + 300
        while (told := serving.ask("list?show=states")[1])["running"]:
            assert time.monotonic() < until
            time.sleep(0.2)
        assert f"{name}: BROKEN" in told["html"]
        assert "1 sound by order of Office" in told["html"] and "sealed up to entry" in told["html"]
    finally:
        serving.close()


def test_rulings_are_entries_and_undone_by_entries(served: Served) -> None:
    left, right = ruling(served), {**ruling(served, 1), "verdict": "void"}
    assert rules(served, left, right)[0] == 200
    assert written(served) == ["stands: heard (H.F.)", "void: heard (H.F.)"]
    assert served.ask("counts")[1]["twice"] == 0
    shown = served.ask("list?show=ruled")[1]["html"]
    seen = [part.split('"')[0] for part in shown.split('data-seen="')[1:]]
    for item, newest in ((left, seen[0]), (right, seen[1])):
        back = {**item, "verdict": "withdrawn", "seen": newest}
        assert rules(served, back, reason="wrong tree")[0] == 200
    assert written(served) == []
    assert served.ask("counts")[1]["twice"] == 1
    assert main(["verify", str(served.site)]) == 0


@pytest.mark.parametrize(
    "change",
    [{"verdict": "maybe"}, {"name": "x:5"}, {"name": "5"}, {"value": "24.6"}, {"seen": 4},
     {"verdict": "amended", "value": "99999"}, {"name": f"{'0' * 16}:5"}],
)  # fmt: skip
def test_what_is_no_ruling_is_refused_and_nothing_is_written(
    served: Served, change: dict[str, Any]
) -> None:
    before = {**ruling(served), **change}
    assert rules(served, before)[0] == 400
    assert rules(served, ruling(served), reason=" ")[0] == 400
    assert rules(served, ruling(served), who="")[0] == 400
    assert rules(served, ruling(served), before)[0] == 400, "both or none"
    assert written(served) == []


def test_another_user_or_site_is_told_nothing(served: Served) -> None:
    for address in (f"http://{served.host}/", f"http://{served.host}/{TOKEN}x/counts"):
        with pytest.raises(urllib.error.HTTPError, match="404"):
            urllib.request.urlopen(address)
    assert served.ask("counts", headers={"Host": "fen.example"})[0] == 404
    asked = {"rulings": [ruling(served)], "reason": "r", "who": "w", "accept": False}
    assert served.ask("rule", asked, {"Origin": "http://fen.example"})[0] == 404
    assert served.ask("rule", asked, {"Content-Type": "text/plain"})[0] == 404
    assert served.ask(f"sound/{'0' * 64}")[0] == 400
    assert served.ask("sound/..%2f..%2fjournal.db")[0] == 400
    assert written(served) == []


def test_two_browsers_ruling_at_the_same_time(served: Served) -> None:
    """Twenty ask at once upon the same page: one is written, the others are told of it."""
    left = ruling(served)
    with ThreadPoolExecutor(20) as pool:
        codes = list(pool.map(lambda at: rules(served, left, who=f"P{at}")[0], range(20)))
    assert sorted(codes) == [200, *[409] * 19]
    assert len(written(served)) == 1
    assert main(["verify", str(served.site)]) == 0


def test_a_ruling_made_elsewhere_meanwhile_is_seen(served: Served) -> None:
    left = ruling(served)
    words = ["rule", str(served.site), "--entry", left["name"], "--void", "--reason", "x"]
    assert main([*words, "--who", "M.O."]) == 0
    code, told = rules(served, left)
    assert code == 409 and "void: x (M.O.)" in told["error"]
    assert served.ask("counts")[1]["twice"] == 0


def test_a_kill_in_the_middle_loses_and_doubles_nothing(site: Path) -> None:
    """The real command is killed while rulings are asked; what it said is written is there once."""
    command = [sys.executable, "-m", "callout", "office", str(site)]
    told: list[str] = []
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as serving:
        assert serving.stdout is not None
        address = serving.stdout.readline().split(": ", 1)[1].strip()
        client = Client(address)
        item, seen = ruling(client), ""

        def keep_ruling() -> None:
            nonlocal seen
            with contextlib.suppress(OSError, http.client.HTTPException, ValueError):
                for number in range(1000):
                    reason = f"reason {number}"
                    code, answer = rules(client, {**item, "seen": seen}, reason=reason)
                    assert code == 200, answer
                    told.append(reason)
                    shown = client.ask("list?show=ruled")[1]["html"]
                    seen = shown.split('data-seen="')[1].split('"')[0]

        asking = threading.Thread(target=keep_ruling)
        asking.start()
        until = time.monotonic() + 180
        while len(told) < 3 and time.monotonic() < until:
            time.sleep(0.01)
        serving.kill()
        asking.join(180)
    with SurveyFolder(site / "office").reading() as reader:
        kept = [entry.content["reason"] for entry in reader.of_kind("ruling")]
    assert kept[: len(told)] == told
    assert len(kept) <= len(told) + 1, "at most the one that was not answered yet"
    assert len(set(kept)) == len(kept)
    assert main(["verify", str(site)]) == 0


# ---- in a real browser ----


Tab = Callable[[int], Any]


@pytest.fixture
def tab(browser: Any, served: Served) -> Iterator[Tab]:
    """Opens the page at a width; an error of it, or a request elsewhere, fails the test."""
    errors: list[str] = []
    asked: list[str] = []

    def opened(width: int) -> Any:
        page = browser.new_page(viewport={"width": width, "height": 800})
        page.set_default_timeout(180_000)
        page.on("console", lambda told: errors.append(told.text) if told.type == "error" else None)
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("request", lambda request: asked.append(request.url))
        page.goto(served.address)
        page.wait_for_selector(".card")
        return page

    yield opened
    assert [told for told in errors if "409" not in told] == []
    assert [url for url in asked if not url.startswith((served.address, "data:"))] == []


def picture(page: Any, name: str) -> None:
    if folder := os.environ.get("CALLOUT_OFFICE_PNG"):
        page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)


def test_a_pair_is_heard_and_ruled_on_by_keys_alone(tab: Tab, served: Served) -> None:
    page = tab(1280)
    picture(page, "twice-1280")
    page.focus("#who")
    page.keyboard.type("H.F.")
    page.keyboard.press("Tab")
    page.keyboard.press("Escape")
    page.focus("#heading")
    page.keyboard.press("j")
    page.keyboard.press("p")
    page.wait_for_function("() => player.currentTime > 0 || player.ended")
    page.keyboard.press("1")
    page.keyboard.type("heard on the recording")
    picture(page, "ruling-1280")
    page.keyboard.press("Enter")
    page.wait_for_function(
        "() => document.querySelector('#told').textContent.startsWith('Written')"
    )
    assert written(served) == [
        "stands: heard on the recording (H.F.)", "void: heard on the recording (H.F.)"
    ]  # fmt: skip
    page.keyboard.press("/")
    page.evaluate("() => choose('growth')")
    page.wait_for_function("() => document.querySelector('#heading').textContent === 'Growth: 1'")
    page.focus("#heading")
    for key in ("j", "a"):
        page.keyboard.press(key)
    page.keyboard.type("24.9")
    page.keyboard.press("Tab")
    page.keyboard.type("a slip")
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.querySelector('#told').textContent.includes('24.9')")
    assert "amended to 24.9 in: a slip (H.F.)" in written(served)
    assert page.title() == "fen: office", "a stranger's markup stays text"


@pytest.mark.parametrize("width", [1280, 390])
def test_every_list_fits_and_axe_finds_nothing(tab: Tab, width: int) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="no axe-core")
    page = tab(width)
    for show in ("twice", "all", "states"):
        page.click(f".list[data-show={show}]")
        page.wait_for_function(f"() => show === '{show}' && document.querySelector('.card')")
        page.wait_for_timeout(300)
        picture(page, f"{show}-{width}")
        over = page.evaluate("() => document.documentElement.scrollWidth > innerWidth")
        assert not over, f"{show}: nothing is off the screen"
        found = axe.Axe().run(page).response["violations"]
        assert [(item["id"], item["impact"]) for item in found] == [], show
