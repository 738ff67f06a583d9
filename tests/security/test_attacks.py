"""Every text field of a stranger's survey, every attack, every output: all neutral.

The whole table is tried in the full size (``CALLOUT_ATTACKS=all``); otherwise every field meets
every attack in two of the outputs, turn about, and in the slow report now and then.
"""

from __future__ import annotations

import csv
import io
import json
import os
import re
import sqlite3
import sys
import zipfile
from collections.abc import Callable, Iterator
from html.parser import HTMLParser
from pathlib import Path

import openpyxl
import pytest
from attacks import ATTACKS, FIELDS, obeyed, runs_in_sheet, survey_of

from callout.cli.main import main
from callout.journal.folder import SurveyFolder
from callout.terminal.plain import plain

Told = tuple[int, str, str]
Run = Callable[..., Told]


@pytest.fixture
def callout(capfd: pytest.CaptureFixture[str]) -> Run:
    def run(*arguments: object) -> Told:
        try:
            code = main([str(item) for item in arguments])
        except SystemExit as leaving:
            code = leaving.code if isinstance(leaving.code, int) else 1
        told = capfd.readouterr()
        return code, told.out, told.err

    return run


def on_terminal(told: Told) -> str:
    _, out, err = told
    if "Traceback" in err:
        return "a traceback"
    return obeyed(out) or obeyed(err)


def in_csv(text: str) -> str:
    cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]
    return next((f"formula {cell!r}" for cell in cells if runs_in_sheet(cell)), "")


class _Tags(HTMLParser):
    """Elements that run or fetch something, other than the page's own."""

    def __init__(self) -> None:
        super().__init__()
        self.bad = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name.startswith("on") or ("alert(" in (value or "") and name in ("href", "src")):
                self.bad = f"{tag} {name}={value}"

    def handle_data(self, data: str) -> None:
        if self.cdata_elem == "script" and re.search(r"(?<!\\)<(/?script|img|!--)", data, re.I):
            self.bad = f"script holds {data[:40]!r}"


def in_page(text: str) -> str:
    parser = _Tags()
    parser.feed(text)
    scripts = text.lower().count("<script")
    return parser.bad or ("a script more" if scripts != text.lower().count("</script") else "")


# ---- the outputs: each says what is wrong, or '' ----


def _readings_csv(run: Run, folder: SurveyFolder, tmp: Path) -> str:
    told = run("readings", folder.path)
    return on_terminal(told) or in_csv(told[1])


def _readings_json(run: Run, folder: SurveyFolder, tmp: Path) -> str:
    told = run("readings", folder.path, "--format", "json")
    json.loads(told[1])
    return on_terminal(told)


def _replay(run: Run, folder: SurveyFolder, tmp: Path) -> str:
    return on_terminal(run("replay", folder.path, "--all"))


def _replay_json(run: Run, folder: SurveyFolder, tmp: Path) -> str:
    told = run("replay", folder.path, "--all", "--json")
    return on_terminal(told)


def _verify(run: Run, folder: SurveyFolder, tmp: Path) -> str:
    told = run("verify", folder.path)
    return on_terminal(told) or ("" if told[0] == 0 else "not intact")


def _typed(run: Run, folder: SurveyFolder, tmp: Path) -> str:
    before, sys.stdin = sys.stdin, io.StringIO("83 24.6\nwhat's left\nno\n")
    try:
        return on_terminal(run("listen", folder.path, "--headless", "--typed", "--mute"))
    finally:
        sys.stdin = before


def _no_such_plot(run: Run, folder: SurveyFolder, tmp: Path) -> str:
    with folder.reading() as reader:
        (plot,) = reader.plots()
    return on_terminal(run("replay", folder.path, "--all", "--plot", plot + "x")) or on_terminal(
        run("parse", "83 24.6", "--survey", folder.path, "--plot", plot + "x")
    )


def _review(run: Run, folder: SurveyFolder, tmp: Path) -> str:
    told = run("review", folder.path, "--out", tmp / "review.html")
    return on_terminal(told) or in_page((tmp / "review.html").read_text(encoding="utf-8"))


def _report(run: Run, folder: SurveyFolder, tmp: Path) -> str:
    told = run("report", folder.path, "--out", tmp / "report")
    found = on_terminal(told)
    for page in (tmp / "report").rglob("*"):
        if page.suffix == ".html":
            found = found or in_page(page.read_text(encoding="utf-8"))
        elif page.suffix == ".csv":
            found = found or in_csv(page.read_text(encoding="utf-8"))
    return found


def _excel(run: Run, folder: SurveyFolder, tmp: Path) -> str:
    told = run("export", folder.path, "--form", "excel", "--out", tmp / "x.xlsx")
    if told[0] != 0:
        return on_terminal(told)
    book = openpyxl.load_workbook(tmp / "x.xlsx")
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    bad = next((cell for cell in cells if cell.data_type == "f"), None)
    return on_terminal(told) or (f"formula in {bad.coordinate}" if bad is not None else "")


def _datapackage(run: Run, folder: SurveyFolder, tmp: Path) -> str:
    told = run("export", folder.path, "--form", "datapackage", "--out", tmp / "package")
    tables = [path.read_text(encoding="utf-8") for path in (tmp / "package").rglob("*.csv")]
    return on_terminal(told) or next(filter(None, map(in_csv, tables)), "")


def _darwincore(run: Run, folder: SurveyFolder, tmp: Path) -> str:
    told = run("export", folder.path, "--form", "darwincore", "--out", tmp / "x.zip")
    if told[0] != 0:
        return on_terminal(told)
    with zipfile.ZipFile(tmp / "x.zip") as archive:
        tables = [archive.read(name).decode() for name in archive.namelist()]
        names = [name for name in archive.namelist() if name.startswith(("/", ".."))]
    return on_terminal(told) or str(names or "") or next(filter(None, map(in_csv, tables)), "")


OUTPUTS = {
    "readings": _readings_csv, "readings json": _readings_json, "replay": _replay,
    "replay json": _replay_json, "verify": _verify, "listen": _typed, "errors": _no_such_plot,
    "review page": _review, "report": _report, "excel": _excel, "data package": _datapackage,
    "Darwin Core": _darwincore,
}  # fmt: skip


def chosen(number: int) -> Iterator[str]:
    """The outputs tried for the pair of that number."""
    every = os.environ.get("CALLOUT_ATTACKS") == "all"
    for at, name in enumerate(OUTPUTS):
        if every or (at + number) % (60 if name == "report" else 6) == 0:
            yield name


@pytest.mark.parametrize("field", FIELDS)
def test_no_output_obeys_what_a_field_says(
    field: str, callout: Run, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    found: dict[str, str] = {}
    tried = 0
    for number, (attack, text) in enumerate(ATTACKS.items(), start=FIELDS.index(field)):
        inside = tmp_path / f"a{number}" / "in" / "side"
        inside.mkdir(parents=True)
        folder = survey_of(inside / "fen", field, text)
        for name in chosen(number):
            tried += 1
            wrong = OUTPUTS[name](callout, folder, inside)
            if wrong:
                found[f"{field} × {attack} × {name}"] = wrong
        escaped = list(tmp_path.rglob("*escaped*"))
        assert not escaped
        assert {path.name for path in (tmp_path / f"a{number}" / "in").iterdir()} == {"side"}
    assert not Path("/tmp/callout-escaped").exists()
    with capfd.disabled():
        print(f"\n{field:10} × {len(ATTACKS)} attacks, {tried} outputs: {len(found)} not neutral")
    assert found == {}


def test_the_screen_shows_and_never_obeys(tmp_path: Path) -> None:
    """What the screen paints goes through ``plain``; nothing it leaves is obeyed or too long."""
    for text in ATTACKS.values():
        assert obeyed(plain(text)) == ""
        assert len(plain(text)) <= 400


def test_sql_in_a_tag_is_only_a_tag(tmp_path: Path) -> None:
    folder = survey_of(tmp_path / "fen", "tag", ATTACKS["SQL"])
    with sqlite3.connect(folder.database) as database:
        tables = {name for (name,) in database.execute("SELECT name FROM sqlite_master")}
        assert "readings" in tables
        assert database.execute("SELECT tag FROM readings").fetchall() == [(ATTACKS["SQL"],)]
    database.close()
