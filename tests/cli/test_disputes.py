"""The walk through a dispute in docs/disputes.md: every command in it runs, in its order."""

from __future__ import annotations

import csv
import io
import re
import shlex
import shutil
from pathlib import Path
from typing import Any

import pytest

DOC = Path(__file__).parents[2] / "docs" / "disputes.md"


def commands() -> list[list[str]]:
    """The indented lines that are commands."""
    lines = re.findall(r"^    ((?:callout|cp) .+)$", DOC.read_text(encoding="utf-8"), re.MULTILINE)
    return [shlex.split(line) for line in lines]


def test_the_document_is_read_whole() -> None:
    named = {words[1] for words in commands() if words[0] == "callout"}
    assert named == {
        "demo", "verify", "key", "replay", "rebuild", "erase", "review", "rule", "readings",
    }  # fmt: skip


def test_a_dispute_from_question_to_ruling(
    callout: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("CALLOUT_KEY", str(tmp_path / "home" / "seal.pem"))
    told: dict[str, Any] = {}
    for words in commands():
        if words[0] == "cp":
            shutil.copy(words[1], words[2])
            continue
        ran = callout(*words[1:])
        assert ran.code == 0, (words, ran)
        told[" ".join(words)] = ran
    assert re.search(r"^sealed: \d+ [0-9a-f]{64} ", told["callout verify fen --seal"].out, re.M)
    moments = told["callout replay fen --tree 83"].out
    assert "heard      tree eighty three twenty four point six" in moments
    assert "saved      entry 23: tree 83 24.6 in" in moments
    again = told["callout replay fen --tree 83 --engine pocketsphinx"]
    assert (again.out, "2 the same" in again.err) == ("", True)
    assert "the same, bit for bit" in told["callout rebuild fen --into again"].out
    anew = told["callout rebuild fen --into heard --from-sound callouts"].out
    assert "12 trees the same, 0 differ" in anew
    assert "by 0.5     24.5 in" in told["callout replay fen --tree 83 --graduation 0.5"].out
    assert "27 sounds would be removed" in told["callout erase fen --person R.V."].out
    rows = csv.DictReader(io.StringIO(told["callout readings fen --format csv"].out))
    row = next(row for row in rows if row["tag"] == "83")
    assert (row["recorded"], row["ruling"]) == ("24.6", "stands: heard on the recording (M.O.)")
    assert (tmp_path / "fen" / "seals.txt").read_text().count("\n") == 2
    assert callout("verify", "again").code == 0
