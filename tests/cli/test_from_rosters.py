"""What a roster or a foreign table says of a tree is looked at when its size is called.

Through the public commands. Trees, sizes and tags are invented.
"""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from callout.cli.main import main

ROSTER = "plot,tag,species,date,value,unit,status\n"


@pytest.fixture
def call(capsys, monkeypatch):
    def called(survey: Path, *lines: str) -> tuple[list[str], list[dict]]:
        """What was said to the lines, and what was saved."""
        monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(lines) + "\n"))
        capsys.readouterr()
        command = ["listen", str(survey), "--headless", "--typed", "--plot", "K1", "--who", "R.V."]
        assert main(command) == 0
        told = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
        said = [line["text"] for line in told if line["event"] == "said"]
        return said, [line for line in told if line["event"] == "saved"]

    return called


@pytest.mark.parametrize("status", ["Dead", "dead_standing", "Snag", "felled", "DOWN"])
def test_a_dead_tree_of_the_roster_that_lives_is_questioned(tmp_path, call, status) -> None:
    roster = tmp_path / "trees.csv"
    roster.write_text(
        ROSTER + f"K1,A-12,beech,2021-07-08,24.0,cm,{status}\n"
        "K1,8,beech,2021-07-08,31.0,cm,alive\n",
        encoding="utf-8",
    )
    survey = tmp_path / "fen"
    assert main(["new", str(survey), "--trees", str(roster)]) == 0
    said, saved = call(survey, "A-12 24.6", "yes", "accept", "8 31.7", "yes")
    assert any("last time. Is this the right tag?" in text for text in said)
    assert any(text.startswith("Not saved yet: A-12, 24.6") for text in said)
    assert [(row["tag"], row["recorded"]) for row in saved] == [("A-12", "24.6"), ("8", "31.7")]
    assert "dead last time" in saved[0]["warnings"]
    assert "dead last time" not in saved[1]["warnings"]


def test_a_dead_tree_of_an_imported_table_that_lives_is_questioned(tmp_path, call) -> None:
    table = tmp_path / "office.csv"
    table.write_text(
        "plot,tag,species,date,dbh (cm),status\n"
        "K1,B-7,beech,2021-07-08,24.0,dead standing\nK1,8,beech,2021-07-08,31.0,alive\n",
        encoding="utf-8",
    )
    out, survey = tmp_path / "taken", tmp_path / "fen"
    assert main(["import", str(table), "--out", str(out), "--yes"]) == 0
    assert main(["new", str(survey), "--from", str(out)]) == 0
    said, saved = call(survey, "b-7 24.6", "yes", "accept")
    assert any("dead standing last time" in text for text in said)
    assert [(row["tag"], "dead last time" in row["warnings"]) for row in saved] == [("B-7", True)]


@pytest.mark.parametrize("tag", ["AB", "12in", "1-2"])
def test_a_tag_that_cannot_be_typed_begins_no_survey(tmp_path, capsys, tag) -> None:
    """Neither from a roster nor from a table that was taken over."""
    text = f"plot,tag,species,date,dbh (cm)\nK1,{tag},beech,2021-07-08,24.0\n"
    table, out, roster = (tmp_path / name for name in ("office.csv", "taken", "trees.csv"))
    table.write_text(text, encoding="utf-8")
    roster.write_text(f"plot,tag\nK1,{tag}\n", encoding="utf-8")
    assert main(["import", str(table), "--out", str(out), "--yes"]) == 0
    for source in (("--from", out), ("--trees", roster)):
        assert main(["new", str(tmp_path / "fen"), *map(str, source)]) == 2
        told = capsys.readouterr().err
        assert f"tag '{tag}' cannot be called" in told.replace(tag.upper(), tag)
    assert not (tmp_path / "fen").exists()


LADDER = "plot,tag,species,date,value,unit,measured_at_m\nK1,7,kapok,2021-07-08,94.0,cm,4.20\n"


@pytest.fixture
def ladder(tmp_path) -> Path:
    """A survey whose tree is measured above its buttresses, from a ladder."""
    roster, survey = tmp_path / "trees.csv", tmp_path / "fen"
    roster.write_text(LADDER, encoding="utf-8")
    assert main(["new", str(survey), "--trees", str(roster), "--highest-m", "6"]) == 0
    return survey


def test_a_height_beyond_reach_in_a_roster_is_taken_when_it_is_said_so(
    tmp_path, capsys, call, ladder
) -> None:
    roster, other = tmp_path / "trees.csv", tmp_path / "marsh"
    assert main(["new", str(other), "--trees", str(roster)]) == 2
    told = capsys.readouterr().err
    assert "line 2: measured_at_m: '4.20' is out of reach" in told and "--highest-m" in told
    assert main(["new", str(other), "--trees", str(roster), "--highest-m", "4"]) == 2
    assert "0.1 to 4 m" in capsys.readouterr().err and not other.exists()
    said, saved = call(
        ladder, "7 94.8", "yes", "correction 94.8", "measured at 5.1 metres", "accept",
        "correction 94.8", "measured at 6.1 metres", "no",
    )  # fmt: skip
    assert [row["recorded"] for row in saved] == ["94.8", "94.8"]
    assert sum("measured at 5.1 metres" in text for text in said) >= 1
    assert any("6.1" in text and "out of reach" in text for text in said)


@pytest.mark.parametrize("form", ["survey", "datapackage", "darwincore"])
def test_the_next_visit_reaches_as_high_as_the_last(tmp_path, call, ladder, form) -> None:
    """Once by the survey itself, once by each form in which others get it."""
    said, saved = call(ladder, "7 94.8", "measured at 5.1 metres", "accept")
    assert [row["recorded"] for row in saved] == ["94.8"], said
    source, after, again = ladder, tmp_path / "after", tmp_path / "again"
    if form != "survey":
        source = tmp_path / ("pack" if form == "datapackage" else "pack.zip")
        assert main(["export", str(ladder), "--form", form, "--out", str(source)]) == 0
    assert main(["new", str(after), "--from", str(source)]) == 0
    said, saved = call(after, "7 95.0", "measured at 5.1 metres", "yes", "accept")
    assert [row["recorded"] for row in saved] == ["95.0"], said
    assert not any("out of reach" in text for text in said)
    assert main(["new", str(again), "--from", str(after)]) == 0
    pack = tmp_path / "after-pack"
    assert main(["export", str(after), "--out", str(pack)]) == 0
    roster = next(path for path in pack.iterdir() if path.name == "trees.csv")
    command = ["new", str(tmp_path / "last"), "--trees", str(roster), "--highest-m", "6"]
    assert main(command) == 0


@pytest.mark.parametrize("given", ["0.05", "tall", "-2"])
def test_a_highest_height_that_is_none_makes_no_survey(tmp_path, capsys, given) -> None:
    roster, survey = tmp_path / "trees.csv", tmp_path / "fen"
    roster.write_text(LADDER, encoding="utf-8")
    assert main(["new", str(survey), "--trees", str(roster), f"--highest-m={given}"]) == 2
    assert "--highest-m" in capsys.readouterr().err
    assert not survey.exists()


def test_an_imported_height_beyond_reach_is_taken_when_the_mapping_says_so(
    tmp_path, capsys, call
) -> None:
    table, out, survey = tmp_path / "office.csv", tmp_path / "taken", tmp_path / "fen"
    mapping = tmp_path / "mapping.toml"
    table.write_text(
        "plot,tag,date,dbh (cm),height_m\nK1,7,2021-07-08,94.0,4.2\nK1,8,2021-07-08,31.0,1.3\n",
        encoding="utf-8",
    )
    text = (
        '{height}[columns]\nplot = "plot"\ntag = "tag"\nmeasured_height_m = "height_m"\n'
        '[[diameter]]\ncolumn = "dbh (cm)"\nunit = "cm"\ndate_column = "date"\n'
    )
    command = ["import", str(table), "--mapping", str(mapping), "--out", str(out), "--yes"]
    mapping.write_text(text.format(height='highest_m = "5"\n'), encoding="utf-8")
    assert main(command) == 0
    assert main(["new", str(survey), "--from", str(out)]) == 0
    said, saved = call(survey, "7 94.8", "measured at 4.2 metres", "yes", "accept")
    assert [row["recorded"] for row in saved] == ["94.8"], said


def test_a_table_with_dates_in_two_ways_is_refused_with_its_rows(tmp_path, capsys) -> None:
    """Day and month are never guessed row by row."""
    table, out = tmp_path / "office.csv", tmp_path / "taken"
    table.write_text(
        "plot,tag,dbh (cm),date\nK1,1,20.1,04/09/2020\nK1,2,21.0,2020-09-23\n", encoding="utf-8"
    )
    assert main(["import", str(table), "--out", str(out), "--yes"]) == 2
    told = capsys.readouterr().err
    assert "line 3 '2020-09-23'" in told and "line 2 '04/09/2020'" in told
    assert not out.exists()
