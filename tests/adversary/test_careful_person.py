"""A careful person and random trouble: nothing is stored that was not meant and confirmed.

A short sample, from fixed numbers; ``benchmarks/adversary.py`` runs a million steps. What was meant
and what was heard are reckoned apart from the program (``wishes``, ``echo_reader``). Planted faults
show that the sample would notice. All invented.
"""

from __future__ import annotations

import random
import re
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from at_table import SPECIES, PureTable, StationTable
from echo_reader import Echo, What, waiting_echo
from person import Careful
from wishes import Place, Wish, fits, kept

from callout.core.model import Reading
from callout.session import saving
from callout.session.state import Memory
from callout.session.told import echo

STEPS = 100


def walked(number: int, table: PureTable | StationTable, steps: int = STEPS) -> Counter[str]:
    person = Careful(table, random.Random(number))
    for _ in range(steps):
        person.act()
    person.reckon()
    return person.counts


def test_nothing_slips_through_the_session() -> None:
    counts: Counter[str] = Counter()
    for number in range(40):
        counts += walked(number, PureTable())
    assert counts["saved"] > 0.12 * counts["events"], "most of what is meant is stored in the end"
    assert counts["given up"] < 0.05 * counts["saved"]
    for what in ("taken back", "restart", "spoken over the echo"):
        assert counts[what] > 10, what


@pytest.mark.parametrize("number", [1, 2])
def test_nothing_slips_through_a_station_with_its_journal(tmp_path: Path, number: int) -> None:
    table = StationTable(tmp_path)
    try:
        assert walked(number, table, 80)["saved"] > 5
    finally:
        table.close()


# ---- the sample would notice ----

_WHAT, _REST = echo._what, echo._rest


def _without_height(reading: Reading, said: object = None) -> object:
    return _WHAT(replace(reading, height_m=None), said)


def _without_status(reading: Reading, said: object = None) -> object:
    return _WHAT(replace(reading, status="live") if reading.value else reading, said)


def _without_lost_tag(reading: Reading, said: object = None) -> object:
    return _REST(replace(reading, tag_lost=False), said)


PLANTED: list[tuple[object, str, Callable[..., object]]] = [
    (saving, "_meant_for_another", lambda turn, pending: False),
    (echo, "_what", _without_height),
    (echo, "_what", _without_status),
    (echo, "_rest", _without_lost_tag),
    (Memory, "asking", property(lambda self: 1)),
]


@pytest.mark.parametrize("at", range(len(PLANTED)))
def test_a_planted_fault_is_found(monkeypatch: pytest.MonkeyPatch, at: int) -> None:
    where, name, fault = PLANTED[at]
    monkeypatch.setattr(where, name, fault)
    with pytest.raises(AssertionError, match=r"stored|meant"):
        for number in range(60):
            walked(number, PureTable())


# ---- the two references themselves ----


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("83, 24.6. Confirm?", Echo("83", what=What(Decimal("24.6"), kept=Decimal("24.6")))),
        (
            "7 again: 28.3 instead of 27.9. Accept?",
            Echo(
                "7",
                again=True,
                what=What(Decimal("28.3"), kept=Decimal("28.3")),
                instead=What(Decimal("27.9"), kept=Decimal("27.9")),
            ),
        ),
        (
            "40, 12.0 was not saved. New tree 301, beech, girth 90.0, diameter 28.6. Confirm?",
            Echo(
                "301",
                new=True,
                species="beech",
                what=What(Decimal("90.0"), girth=True, kept=Decimal("28.6")),
            ),
        ),
        (
            "That has changed. Still waiting: new tree 301 stem 2, beech, girth 90.0, "
            "diameter 28.6, measured at 1.45 metres, dead standing, tag 3 0 1. Accept?",
            Echo(
                "301",
                "2",
                new=True,
                species="beech",
                what=What(
                    Decimal("90.0"),
                    girth=True,
                    kept=Decimal("28.6"),
                    height=Decimal("1.45"),
                    status="dead standing",
                ),
                more=("tag 3 0 1",),
            ),
        ),
        (
            "312, was 40, 11.2 inches, kept as 28.4 centimetres. Confirm?",
            Echo(
                "312",
                lost="was 40",
                what=What(Decimal("11.2"), "in", kept=Decimal("28.4"), kept_unit="cm"),
            ),
        ),
        (
            "Undo 83, 24.6: nothing of it stands then. Accept?",
            Echo("83", undo=True, what=What(Decimal("24.6"), kept=Decimal("24.6"))),
        ),
        ("115, 15.2, tag 1 5 0. Confirm?", None),
        ("Tree 83, beech. Diameter?", None),
        ("Saved 83, 24.6. Next 84.", None),
    ],
)
def test_echoes_are_read_word_for_word(text: str, told: Echo | None) -> None:
    found = waiting_echo(text, SPECIES)
    assert found == (replace(told, wants=found.wants) if told and found else told)


@pytest.mark.parametrize(
    ("called", "unit", "side", "size"),
    [
        ("90.0", "", "girth", "28.6"),  # 90.0 / pi = 28.648 (computed)
        ("11.2", "in", "", "28.4"),  # 28.448
        ("24.65", "", "", "24.7"),  # half up
        ("246", "mm", "", "24.6"),
    ],
)
def test_what_must_be_kept(called: str, unit: str, side: str, size: str) -> None:
    place = Place("K1", "cm", "diameter", False, {"83": "beech"})
    wish = Wish("K1", "83", called=Decimal(called), unit=unit, side=side)
    assert kept(wish, place) == Decimal(size)


@pytest.mark.parametrize("word", ["height", "status", "stem", "new", "lost", "species", "size"])
def test_any_word_that_lacks_is_wrong(word: str) -> None:
    """A careful person says no where one word of the row is not in the echo."""
    place = Place("K1", "cm", "diameter", False, {})
    wish = Wish(
        "K1", "301", "2", Decimal("12.5"), status="dead standing", new=True, species="beech",
        height=Decimal("1.5"), new_tag="312",
    )  # fmt: skip
    whole = (
        "new tree 312 stem 2, was 301, beech, 12.5, measured at 1.5 metres, dead standing. Confirm?"
    )
    lacking = {
        "height": ", measured at 1.5 metres", "status": ", dead standing", "stem": " stem 2",
        "new": "new tree ", "lost": ", was 301", "species": ", beech", "size": ", 12.5",
    }  # fmt: skip
    right = waiting_echo(whole, SPECIES)
    assert right is not None and fits(right, wish, place, None)
    short = waiting_echo(re.sub(lacking[word], "", whole), SPECIES)
    assert short is None or not fits(short, wish, place, None)
