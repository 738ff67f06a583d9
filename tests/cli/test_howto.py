"""docs/first-day.md and docs/how-to, done as they say: commands run, dialogues held.

Each page gets the demo's invented survey, twice, in a folder of its own. What is said is typed;
what a page gives as the answer must be part of what was told since. The links of all pages lead
somewhere.
"""

from __future__ import annotations

import importlib.util
import io
import json
import re
import shlex
import shutil
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from urllib.parse import unquote

import pytest
from command_tools import Run

from callout.cli.commands import COMMANDS
from callout.cli.main import main
from callout.practice.demo import make_demo_survey

DOCS = Path(__file__).parents[2] / "docs"
PAGES = [DOCS / "first-day.md", *sorted((DOCS / "how-to").glob("*.md"))]
ALL_PAGES = [*sorted(DOCS.rglob("*.md")), *sorted(DOCS.parent.glob("*.md"))]
FENCE = re.compile(r"```(\w+)\n(.*?)```", re.DOTALL)
TYPED = ("--headless", "--typed")
# Works on its own machine, or needs a person; each is tested with its command.
NOT_HERE = {"doctor": (0, 1), "practice": None, "daemon": None}


@pytest.fixture(scope="module")
def walked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two recorders' surveys of one invented place; in one, tree 61 was measured."""
    path = tmp_path_factory.mktemp("howto")
    for name in ("fresh", "walked"):
        make_demo_survey(path / name, datetime.now().astimezone())
    with pytest.MonkeyPatch.context() as here:
        here.setattr("sys.stdin", io.StringIO("61 19.2\nconfirm\n"))
        assert main(["listen", str(path / "walked"), *TYPED]) == 0
    return path


def steps(page: Path) -> Iterator[tuple[str, str]]:
    """Of a page, in its order: ("run", command) and ("said", dialogue), ("roster", table)."""
    text = page.read_text(encoding="utf-8")
    found = [(match.start(), match[1], match[2]) for match in FENCE.finditer(text)]
    found += [
        (match.start(), "run", match[1])
        for match in re.finditer(r"^ {4,}(callout .*)$", text, re.MULTILINE)
    ]
    yield from ((kind, told) for _, kind, told in sorted(found))


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_a_page_does_what_it_says(
    page: Path, walked: Path, tmp_path: Path, callout: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    dialogue = [(kind, told) for kind, told in steps(page) if kind != "run"]
    listens = any(command.startswith("callout listen") for _, command in steps(page))
    if page.stem != "first-day":
        shutil.copytree(walked / ("fresh" if listens else "walked"), "HARROW")
        shutil.copytree(walked / "walked", "HARROW-2")
    Path("trees.csv").write_text("plot,tag,species\nK1,83,ACRU\nK2,84,BEPA\n")
    for kind, told in dialogue:
        if kind == "roster":
            Path("trees.csv").write_text(told)
    for kind, command in steps(page):
        if kind != "run" or command.split()[1] in NOT_HERE:
            continue
        words = shlex.split(command, comments=True)[1:]
        if words[0] == "listen":
            listen(words, [told for kind, told in dialogue if kind == "said"], callout, monkeypatch)
            continue
        ran = callout(*words)
        assert ran.code == 0, (command, ran)


def listen(
    words: list[str], dialogue: list[str], callout: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = [line.split(maxsplit=1) for part in dialogue for line in part.splitlines()]
    said = [told for who, told in lines if who == "you"]
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{one}\n" for one in said)))
    ran = callout(*words, *TYPED)
    assert (ran.code, ran.err) == (0, "")
    answers = iter(json.loads(line) for line in ran.out.splitlines())
    told, heard = "", ""
    for who, expected in lines:
        if who == "you":
            heard, told = expected, ""
            for one in answers:
                if one["event"] == "heard":
                    assert one["words"] == expected
                    break
            rest = list(answers)
            for one in rest:
                if one["event"] == "heard":
                    break
                told += f" {one.get('text', '')}"
            answers = iter(rest)
        else:
            assert who == "it"
            assert expected in told, f"after {heard!r}"


@pytest.mark.parametrize("page", ALL_PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)\s]+)\)", page.read_text(encoding="utf-8")):
        if re.match(r"[a-z]+:", target):
            assert target.startswith("https://"), target
            continue
        path, _, heading = unquote(target).partition("#")
        found = (page.parent / path) if path else page
        assert found.exists() or found.name == "reference.md", f"{page.name}: {target}"
        if heading:
            titles = re.findall(r"^#+ (.*)$", found.read_text(encoding="utf-8"), re.MULTILINE)
            slugs = {re.sub(r"[^\w\- ]", "", one.lower()).replace(" ", "-") for one in titles}
            assert heading in slugs, f"{page.name}: {target}"


def test_every_page_is_on_the_way_from_the_first() -> None:
    reached, waiting = set(), [DOCS / "index.md"]
    while waiting:
        page = waiting.pop()
        if page in reached or not page.exists():
            continue
        reached.add(page)
        for target in re.findall(r"\]\(([^)#\s]+\.md)", page.read_text(encoding="utf-8")):
            waiting.append((page.parent / target).resolve())
    assert {page for page in DOCS.rglob("*.md") if page.parent != DOCS / "screens"} <= reached


def test_the_site_has_every_page_and_its_reference_the_whole_program() -> None:
    """Built and asked by ``.ci/packages``; what can be told without building is told here."""
    site = (DOCS.parent / ".ci" / "mkdocs.yml").read_text(encoding="utf-8")
    listed = set(re.findall(r"([\w/-]+\.md)$", site, re.MULTILINE)) - {"screens/README.md"}
    there = {str(page.relative_to(DOCS)) for page in DOCS.rglob("*.md")} - {"screens/README.md"}
    assert listed == there | {"reference.md"}
    spec = importlib.util.spec_from_file_location(
        "site_reference", DOCS.parent / ".ci/site_reference.py"
    )
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    page = module.reference()
    for name in COMMANDS:
        assert f"### callout {name}\n\n```text\nusage: callout {name} " in page
    for part in ("graduation = ", "grammar callout", "| `confirm-asked` | confirm? |"):
        assert part in page, part
