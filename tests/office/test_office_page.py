"""The office's page as it answers: what each list finds, who may rule, and who is told nothing."""

from __future__ import annotations

import contextlib
import http.client
import os
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from office_served import TOKEN, Client, Served, written
from office_sites import forge

from callout.cli.main import main
from callout.journal.folder import SurveyFolder
from callout.office.desk import LISTS


def ruling(served: Client, at: int = 0) -> dict[str, Any]:
    """A ruling on one side of the pair that disagrees, as the page would ask for it."""
    with_pair = served.cards("twice")
    name = with_pair.split('data-name="')[1 + at].split('"')[0]
    return {"name": name, "seen": "", "verdict": "stands", "value": None}


def rules(
    served: Client, *rulings: dict[str, Any], reason: str = "heard", who: str = "H.F."
) -> Any:
    asked = {"rulings": rulings, "reason": reason, "who": who, "accept": False}
    return served.ask("rule", asked)


def test_each_list_finds_what_was_planted(served: Served) -> None:
    counts = served.counts()
    assert (counts["twice"], counts["growth"], counts["left"], counts["notes"]) == (1, 1, 2, 1)
    told = {show: served.cards(show) for show in LISTS}
    assert "K1 83: 0.60 in apart" in told["twice"] and "24.6 in" in told["twice"]
    assert told["twice"].count('class="play"') == 2, "both sounds"
    assert "too fast: 24.6 in on 2026-06-02, then 29.9 in on 2027-06-02" in told["growth"]
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
        assert serving.counts("states")["states"] == "1 BROKEN"
        first, *others = serving.cards("states").split("</li>")
        assert f"recorder {name[:8]}" in first and "BROKEN, first at entry" in first
        assert "broken" not in "".join(others).lower()
        assert sum("1 sound by order of Office" in told for told in (first, *others)) == 1
        assert sum("sealed up to entry" in told for told in (first, *others)) == 3
    finally:
        serving.close()


def test_rulings_are_entries_and_undone_by_entries(served: Served) -> None:
    left, right = ruling(served), {**ruling(served, 1), "verdict": "void"}
    assert rules(served, left, right)[0] == 200
    assert written(served) == ["stands: heard (H.F.)", "void: heard (H.F.)"]
    assert served.ask("counts")[1]["twice"] == 0
    shown = served.cards("ruled")
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


# The real command, telling of every address that it binds or asks for.
LISTENED_TO = """
import sys
NAMES = {"socket.bind", "socket.connect", "socket.getaddrinfo", "socket.sendto"}
def told(event, args):
    if event in NAMES:
        host = args[0] if event == "socket.getaddrinfo" else args[1][0]
        print(event, host, file=sys.stderr, flush=True)
sys.addaudithook(told)
from callout.cli.main import main
main(sys.argv[1:])
"""


def test_a_kill_in_the_middle_loses_and_doubles_nothing(site: Path) -> None:
    """The real command is killed while two browsers rule on a pair, each on both of its readings.

    What was answered "written" is there once; no address but this machine's own is ever used.
    """
    command = [sys.executable, "-c", LISTENED_TO, "office", str(site)]
    told: list[str] = []
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as serving:
        assert serving.stdout is not None and serving.stderr is not None
        address = serving.stdout.readline().split(": ", 1)[1].strip()
        pair = [ruling(Client(address), at) for at in (0, 1)]

        def keep_ruling(name: str) -> None:
            client, seen = Client(address), ["", ""]
            with contextlib.suppress(OSError, http.client.HTTPException, ValueError):
                for number in range(1000):
                    at, reason = number % 2, f"{name} {number}"
                    code, answer = rules(client, {**pair[at], "seen": seen[at]}, reason=reason)
                    if code == 400:  # the other has held the journal for long
                        assert "is using" in answer["error"], answer
                    elif code == 200:
                        told.append(reason)
                        seen[at] = answer["written"][0]["seen"]
                    else:
                        assert code == 409, answer
                        shown = client.cards("ruled").split(f'data-name="{pair[at]["name"]}"')
                        seen[at] = shown[1].split('data-seen="')[1].split('"')[0]

        asking = [threading.Thread(target=keep_ruling, args=(name,)) for name in ("A", "B")]
        for thread in asking:
            thread.start()
        until = time.monotonic() + 180
        while time.monotonic() < until and len(told) < 6:
            time.sleep(0.01)
        serving.kill()
        for thread in asking:
            thread.join(180)
        used = {tuple(line.split()) for line in serving.stderr if line.startswith("socket.")}
    assert used and {host for _, host in used} == {"127.0.0.1"}
    with SurveyFolder(site / "office").reading() as reader:
        kept = [entry.content["reason"] for entry in reader.of_kind("ruling")]
    assert len(told) >= 6 and set(told) <= set(kept)
    assert len(kept) <= len(told) + 2, "at most what neither was answered yet"
    assert len(set(kept)) == len(kept)
    assert main(["verify", str(site)]) == 0


AS_NOBODY = """
import contextlib, email.generator, encodings.idna, os, sys, urllib.error, urllib.request
pid, host, folder, token = sys.argv[1], sys.argv[2], sys.argv[3], sys.stdin.read()
os.setgroups([]); os.setgid(65534); os.setuid(65534)
for path in ("/", "/counts", "//counts", "/list?show=all", "/x/", "/sound/" + "0" * 64):
    try:
        urllib.request.urlopen(f"http://{host}{path}")
        sys.exit(f"{path} was answered")
    except urllib.error.HTTPError as error:
        text = f"{error.read()} {error.headers.items()}"
        if error.code != 404 or token in text:
            sys.exit(f"{path}: {error.code} {text}")
for name in ("cmdline", "environ", "maps", "mem"):
    with contextlib.suppress(OSError), open(f"/proc/{pid}/{name}", "rb") as file:
        if token.encode() in file.read(1_000_000):
            sys.exit(f"{name} tells the token")
for path in (folder, f"{folder}/journal.db", f"{folder}/recorders"):
    if os.access(path, os.R_OK):
        sys.exit(f"{path} can be read")
with urllib.request.urlopen(f"http://{host}/{token}/counts") as answer:
    print("with the token:", answer.status)
"""


@pytest.mark.skipif(os.getuid() != 0, reason="only root can act as another user")
def test_another_user_of_this_machine_cannot_read_it(site: Path) -> None:
    """Who has no token: nothing is answered, and what they may see of the process has none."""
    command = [sys.executable, "-m", "callout", "office", str(site)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as serving:
        try:
            assert serving.stdout is not None
            address = serving.stdout.readline().split(": ", 1)[1].strip()
            host, token = address.removeprefix("http://").rstrip("/").split("/")
            done = subprocess.run(
                [sys.executable, "-c", AS_NOBODY, str(serving.pid), host, str(site)],
                input=token, capture_output=True, text=True, check=False,
            )  # fmt: skip
        finally:
            serving.kill()
    assert (done.returncode, done.stdout) == (0, "with the token: 200\n"), done.stderr
