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
