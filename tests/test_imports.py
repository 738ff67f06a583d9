"""Dependencies point inwards: who may import whom, read from the source's syntax trees."""

from __future__ import annotations

import ast
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "callout"

# Each folder and the folders of ours that it may import besides itself.
MAY_IMPORT = {
    "core": set(),
    "wording": {"core"},
    "grammar": {"core"},
    "session": {"core"},
    "sound": {"core"},
    "speech": {"core", "grammar"},
    "devices": {"core"},
    "survey": {"core", "grammar"},
    "journal": {"core", "grammar", "survey"},
    "proof": {"core", "grammar", "survey", "journal"},
    "crews": {"core", "survey", "journal", "proof"},
    "reports": {"core", "survey", "journal", "crews"},
    "tuning": {"core", "grammar", "survey", "journal", "sound", "speech"},
    "terminal": {"core", "lookback", "station", "wording"},
}
# These join the others; only what is outside them is forbidden.
MAY_NOT_IMPORT = {
    "station": {"lookback", "practice", "office", "terminal", "cli", "daemon"},
    "lookback": {"practice", "office", "terminal", "cli", "daemon"},
    "practice": {"lookback", "office", "terminal", "cli", "daemon"},
    "office": {"lookback", "practice", "terminal", "cli", "daemon"},
    "doctor": {"lookback", "practice", "office", "terminal", "cli", "daemon"},
    "daemon": {"terminal", "cli"},
    "cli": set(),
}
# Pure folders: nothing but ours and the standard library, and none of its doors to the world.
# Of ``datetime`` only names may be imported: then whatever is asked of them can be seen.
PURE = ("core", "grammar", "session")
EDGES = {
    "asyncio", "datetime", "io", "logging", "multiprocessing", "os", "pathlib", "queue",
    "random", "shutil", "socket", "sqlite3", "subprocess", "tempfile", "threading", "time",
    "urllib", "uuid",
}  # fmt: skip

MODULES = sorted(PACKAGE.rglob("*.py"))


def package_of(module: Path) -> str:
    """The folder below ``callout`` that a module lies in; '' for the top."""
    parts = module.relative_to(PACKAGE).parts
    return parts[0] if len(parts) > 1 else ""


def imported(module: Path) -> Iterator[str]:
    """Dotted names of everything imported anywhere in the module, relative ones resolved."""
    here = ("callout", *module.relative_to(PACKAGE).parts[:-1])
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = here[: len(here) - node.level + 1] if node.level else ()
            source = ".".join((*above, *(node.module or "").split("."))).strip(".")
            yield from (f"{source}.{alias.name}" for alias in node.names)


def ours(module: Path) -> set[str]:
    """Our folders that the module imports from, its own left out."""
    names = {name.split(".")[1] for name in imported(module) if name.startswith("callout.")}
    folders = {path.name for path in PACKAGE.iterdir() if path.is_dir()}
    return (names & folders) - {package_of(module)}


def told(module: Path) -> str:
    return str(module.relative_to(PACKAGE))


@pytest.mark.parametrize("module", MODULES, ids=told)
def test_directions(module):
    package = package_of(module)
    if package in MAY_IMPORT:
        wrong = ours(module) - MAY_IMPORT[package]
    else:
        wrong = ours(module) & MAY_NOT_IMPORT.get(package, set())
    assert not wrong, f"{told(module)} may not import {', '.join(sorted(wrong))}"


@pytest.mark.parametrize("module", [item for item in MODULES if package_of(item) in PURE], ids=told)
def test_the_pure_parts_know_only_the_standard_library(module):
    for name in imported(module):
        top = name.split(".")[0]
        assert top in sys.stdlib_module_names | {"callout"}, f"{told(module)} imports {name}"
        # "datetime" forbids the module, not its names; what those may do is told below.
        doors = {name} if top == "datetime" else {top, name}
        assert not doors & EDGES, f"{told(module)} imports {name}"


def test_every_folder_has_its_rule():
    folders = {package_of(item) for item in MODULES} - {""}
    assert folders <= MAY_IMPORT.keys() | MAY_NOT_IMPORT.keys()
    assert {"core", "grammar", "session"} <= folders


def test_the_reader_of_imports_sees_every_form(tmp_path, monkeypatch):
    """So that the rule cannot pass by blindness."""
    monkeypatch.setattr(sys.modules[__name__], "PACKAGE", tmp_path)
    (tmp_path / "core").mkdir()
    module = tmp_path / "core" / "bad.py"
    module.write_text(
        "import callout.journal\nfrom callout import cli\nfrom ..sound import x\n"
        "def late():\n    from callout.station.face import View\n"
    )
    for folder in ("journal", "cli", "sound", "station"):
        (tmp_path / folder).mkdir()
    assert ours(module) == {"journal", "cli", "sound", "station"}


# To read an event's own time is not to read a clock.
OF_DATETIME = {"fromisoformat"}
CLOCKS = {"now", "utcnow", "today", "localtime", "time_ns", "monotonic", "perf_counter"}


def read_clocks(module: Path) -> list[str]:
    """Whatever reads a clock or a file: ``date.today`` and the like, called or only handed on;

    and all of ``datetime`` but what reads a written time.
    """
    tree = ast.parse(module.read_text(encoding="utf-8"))
    attributes = [node for node in ast.walk(tree) if isinstance(node, ast.Attribute)]
    found = {node.attr for node in attributes} & CLOCKS
    of_datetime = {
        node.attr
        for node in attributes
        if isinstance(node.value, ast.Name) and node.value.id == "datetime"
    }
    calls = [node.func for node in ast.walk(tree) if isinstance(node, ast.Call)]
    plain = {call.id for call in calls if isinstance(call, ast.Name)}
    return sorted(found | of_datetime - OF_DATETIME | plain & {*CLOCKS, "open", "print", "input"})


def renamed(module: Path) -> list[str]:
    """Names of ``datetime`` that go by another name, behind which a clock could hide."""
    return [
        alias.name
        for node in ast.walk(ast.parse(module.read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom) and node.module == "datetime"
        for alias in node.names
        if alias.asname or alias.name == "*"
    ]


@pytest.mark.parametrize("module", [item for item in MODULES if package_of(item) in PURE], ids=told)
def test_the_pure_parts_read_no_clock_and_no_file(module):
    assert read_clocks(module) == []
    assert renamed(module) == []


@pytest.mark.parametrize(
    ("source", "seen"),
    [
        ("datetime.now()", ["now"]),
        ("moment = datetime.utcnow", ["utcnow"]),
        ("moment = date.today", ["today"]),
        ("datetime.fromtimestamp(0)", ["fromtimestamp"]),
        ("open('x')", ["open"]),
        ("datetime.fromisoformat('2026-06-02')", []),
    ],
)
def test_the_reader_of_clocks_sees_every_form(tmp_path, source, seen):
    module = tmp_path / "bad.py"
    module.write_text(f"from datetime import date, datetime\n{source}\n")
    assert read_clocks(module) == seen
    module.write_text("from datetime import datetime as moment\nmoment.max\n")
    assert renamed(module) == ["datetime"]


def test_no_module_is_too_long():
    long = {told(item): lines for item in MODULES if (lines := count_lines(item)) > 300}
    assert long == {}


def test_no_name_stands_twice():
    """A module's name finds it: only ``__init__`` is in every room."""
    names = Counter(item.stem for item in MODULES if item.stem not in {"__init__", "__main__"})
    assert {name for name, times in names.items() if times > 1} == set()


def test_no_room_is_too_full():
    rooms = Counter(item.parent for item in MODULES if item.stem != "__init__")
    assert {told(room): count for room, count in rooms.items() if count > 16} == {}


def count_lines(module: Path) -> int:
    return len(module.read_text(encoding="utf-8").splitlines())


@pytest.mark.parametrize("module", MODULES, ids=told)
def test_every_module_says_what_it_is_for(module):
    assert ast.get_docstring(ast.parse(module.read_text(encoding="utf-8")))
