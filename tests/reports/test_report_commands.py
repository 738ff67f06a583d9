"""``report``, ``export`` and ``import`` as commands, frames given in place of a survey."""

from __future__ import annotations

import argparse

import pytest
from stand_frames import harrow_fen

from callout.cli.desk import export_command as export
from callout.cli.desk import import_command as import_
from callout.cli.desk import report_command as report
from callout.core.errors import OperatorError
from callout.core.units import Unit
from callout.reports.exchange.darwincore_read import read_archive
from callout.reports.exchange.datapackage import read_package
from callout.reports.exchange.dataset import Dataset
from callout.reports.exchange.excel import read_workbook
from callout.reports.exchange.parquet import read_parquet
from callout.reports.exchange.taken import taking
from callout.survey.roster import read_roster


@pytest.fixture
def run(monkeypatch):
    """Runs a command line with the demo frames as the survey."""
    monkeypatch.setattr(taking, "is_survey", lambda path: True)
    monkeypatch.setattr(
        taking, "survey_dataset", lambda path, about=None, told_in=None: Dataset(*harrow_fen())
    )
    parser = argparse.ArgumentParser()
    subparsers = parser.add_subparsers()
    for module in (report, export, import_):
        module.add_parser(subparsers)

    def called(*words):
        args = parser.parse_args([str(word) for word in words])
        return args.run(args)

    return called


def test_report(run, tmp_path, capsys):
    climate = tmp_path / "climate.csv"
    rows = "".join(f"{year},{600 + year % 7 * 30},9.5\n" for year in range(2015, 2026))
    climate.write_text("year,precipitation_mm,temperature_c\n" + rows)
    groups = tmp_path / "groups.csv"
    groups.write_text('species,group\nred maple,"soft maple, birch"\n')
    out = tmp_path / "out"
    words = ["--climate", climate, "--species-groups", groups, "--control", "control"]
    assert run("report", tmp_path / "Harrow Fen", "--out", out, "--excel", *words) == 0
    assert "report: " in capsys.readouterr().out
    assert "Harrow Fen" in (out / "index.html").read_text()
    assert (out / "tables" / "climate.csv").is_file()
    assert (out / "tables.xlsx").stat().st_size > 5000


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--taper", "50"], "taper"),
        (["--carbon-fraction", "5"], "carbon fraction"),
        (["--basis", "13"], "breast height"),
        (["--climate", "none.csv"], "none.csv"),
        (["--equations", "none.toml"], "none.toml"),
        (["--control", "burnt"], "no treatment"),
        (["--draws", "1"], "draws"),
        (["--equation-share", "3"], "equation share"),
        (["--classes", "0"], "class width"),
    ],
)
def test_report_refuses_in_words(run, tmp_path, options, says):
    with pytest.raises(OperatorError, match=says):
        run("report", tmp_path, "--out", tmp_path / "out", *options)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("form", "name", "read"),
    [
        ("datapackage", "out", read_package),
        ("darwincore", "out.zip", read_archive),
        ("parquet", "out", read_parquet),
        ("excel", "out.xlsx", read_workbook),
    ],
)
def test_export(run, tmp_path, form, name, read):
    out = tmp_path / name
    assert run("export", tmp_path, "--form", form, "--out", out) == 0
    got = read(out).measurements
    assert [str(item) for item in got["value"]] == [str(v) for v in harrow_fen()[0]["value"]]


def test_export_to_the_wrong_kind_of_path(run, tmp_path):
    with pytest.raises(OperatorError, match="is a folder"):
        run("export", tmp_path, "--form", "excel", "--out", tmp_path)
    (tmp_path / "file").write_text("")
    with pytest.raises(OperatorError, match="is a file"):
        run("export", tmp_path, "--out", tmp_path / "file")


TABLE = """plot,tag,species,date,dbh
K2,1,Quercus rubra,30.06.2024,25.4
K2,2,Quercus rubra,30.06.2024,tall
K2,1,Quercus rubra,30.06.2019,23.9
"""


def test_import_asks_then_takes_then_tells(run, tmp_path, capsys):
    """Proposed, asked for the unit, filled in, confirmed; the roster is one that ``new`` reads."""
    table, mapping, out = tmp_path / "t.csv", tmp_path / "t.mapping.toml", tmp_path / "out"
    table.write_text(TABLE)
    with pytest.raises(OperatorError, match="fill in"):
        run("import", table, "--out", out)
    assert "unit in, cm or mm?" in capsys.readouterr().out
    mapping.write_text(mapping.read_text().replace('unit = "?"', 'unit = "cm"'))
    with pytest.raises(OperatorError, match="--yes"):
        run("import", table, "--out", out)
    assert not out.exists()
    assert run("import", table, "--out", out, "--yes") == 1
    assert "line 3, dbh: 'tall'" in capsys.readouterr().out
    assert (out / "refused.csv").read_text().splitlines()[1].startswith("3,dbh,tall,")
    got = read_package(out).measurements
    assert [str(item) for item in got["value"]] == ["25.4", "23.9"]
    trees = read_roster(out / "roster.csv", {}, Unit.CENTIMETRE)
    assert [(tree.tag, len(tree.past)) for tree in trees] == [("1", 2)]
    assert str(trees[0].last.value) == "25.4"


def test_import_asks_on_a_terminal(run, tmp_path, monkeypatch, capsys):
    table, out = tmp_path / "t.csv", tmp_path / "out"
    table.write_text(TABLE.replace("dbh", "dbh cm").replace("tall", "20"))
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda _: "n")
    assert run("import", table, "--out", out) == 0
    assert "Nothing imported" in capsys.readouterr().out
    assert not out.exists()
    monkeypatch.setattr("builtins.input", lambda _: "y")
    assert run("import", table, "--out", out) == 0
    assert out.is_dir()
