"""Growth that no tree makes is questioned at the tree, and a plain yes does not save it.

Typed through the command itself. Sizes are invented; what the plot grew stands in its roster.
"""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

from command_tools import Ran, called

TODAY = date.today()  # noqa: DTZ011  (the command goes by the same clock)
THEN = (TODAY - timedelta(days=1826), TODAY - timedelta(days=3652))


def typed(where: Path, roster: str, *lines: str) -> Ran:
    (where / "roster.csv").write_text(roster, encoding="utf-8")
    made = called("new", where / "fen", "--trees", where / "roster.csv", "--unit", "cm")
    assert made.code == 0, made.err
    given = "".join(f"{line}\n" for line in lines)
    return called("listen", where / "fen", "--headless", "--typed", "--mute", stdin=given)


def said(ran: Ran) -> list[str]:
    return [line["text"] for line in ran.lines if line["event"] == "said"]


def test_from_33_to_61_in_five_years_takes_more_than_a_yes(tmp_path):
    roster = f"plot,tag,species,date,value\nK1,7,beech,{THEN[0]},33.0\nK1,8,beech,{THEN[0]},40.0\n"
    ran = typed(tmp_path, roster, "7 61.2", "yes")
    assert (ran.code, ran.err) == (0, "")
    assert any("that is up 28.2 in 5 years" in text and text.endswith("Accept?")
               for text in said(ran))  # fmt: skip
    assert [line for line in ran.lines if line["event"] == "saved"] == []


def test_what_the_plot_grew_before_says_what_is_odd_and_leaves_the_rest_alone(tmp_path):
    """Every tree grew 2.5 cm in five years, five years ago."""
    rows = [
        f"K1,{tag},beech,{THEN[1]},{19 + tag / 2},{THEN[0]},{21.5 + tag / 2}"
        for tag in range(1, 12)
    ]
    rows += [f"K1,12,beech,{THEN[1]},36.5,{THEN[0]},39.0"]
    roster = "plot,tag,species,date,value,date2,value2\n" + "\n".join(rows) + "\n"
    odd = {  # 7 had 25.0, 11 had 27.0
        "7 25.1": "that is up 0.1 in 5 years",
        "7 25.0": "the same as 5 years ago",
        "7 24.6": "that is down 0.4 in 5 years",
        "7 31.0": "that is up 6 in 5 years",
        "7 72.8": "two digits look swapped",
        "12 29.5": "it fits tree 11 better",
    }
    lines = [typing for line in odd for typing in (line, "yes", "scratch that")]
    ran = typed(tmp_path, roster, *lines, "7 27.4", "yes", "8 28.3", "yes")
    told_of = said(ran)
    for line, told in odd.items():
        assert any(told in text for text in told_of), (line, told_of)
    assert len([line for line in ran.lines if line["event"] == "saved"]) == 2
