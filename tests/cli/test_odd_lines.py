"""Odd lines typed at ``listen``: each is refused in words, and the work goes on. Invented trees."""

from __future__ import annotations

import json
from pathlib import Path

from command_tools import called

ODD = (
    "83 " + "9" * 27,
    "83 0." + "1" * 27,
    "83 1e999",
    "83 24.6\x00",
    "\x1b[2J83 24.6\x07",
    "\u202e83 24.6",
    "🌲 83 24.6 🌲",
    "x" * 10_000,
    "8" * 10_000,
    "tree " * 2_000,
    "83 0.0",
    "83 -24.6",
    "\u0663\u0664 24.6",
)


def test_odd_lines_are_refused_in_words_and_the_work_goes_on(tmp_path: Path) -> None:
    roster, survey = tmp_path / "trees.csv", tmp_path / "fen"
    roster.write_text("plot,tag\nK1,83\nK1,84\n", encoding="utf-8")
    assert called("new", survey, "--trees", roster).code == 0
    # Whatever an odd line left waiting would be saved by the "accept" after it.
    lines = "".join(f"{line}\naccept\n" for line in ODD) + "84 25.6\naccept\n"
    options = ("--headless", "--typed", "--plot", "K1", "--who", "R.V.")
    ran = called("listen", survey, *options, stdin=lines)
    assert (ran.code, ran.err) == (0, "")
    saved = [(row["tag"], row["recorded"]) for row in ran.lines if row["event"] == "saved"]
    assert saved == [("84", "25.6")]
    refused = [row for row in ran.lines if row["event"] == "said" and row["tone"] == "refused"]
    assert len(refused) >= 2 * len(ODD)
    assert all(row["text"].isprintable() for row in refused), json.dumps(refused)
