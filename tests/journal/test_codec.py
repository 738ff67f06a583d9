"""Everything the journal keeps comes back exactly: same digits, same trailing zeros."""

from __future__ import annotations

import json
from dataclasses import fields
from decimal import Decimal

import pytest
from hypothesis import given
from journal_tools import events, plot_settings, readings, rosters

from callout.core.errors import StorageError
from callout.core.events import Event, Heard
from callout.core.model import PlotSettings, Reading, Tree
from callout.journal.codec import (
    canonical,
    event_from,
    event_parts,
    reading_from,
    reading_row,
    roster_body,
    settings_body,
    settings_from,
    trees_from,
)


def no_floats(value: object) -> bool:
    """Whether JSON text holds no binary float anywhere."""

    def refuse(text: str) -> float:
        raise AssertionError(f"binary float {text} in {value}")

    json.loads(str(value), parse_float=refuse)
    return True


def digits(value: object) -> object:
    """A value whose equality minds trailing zeros: Decimal('1.0') is not Decimal('1.00')."""
    return repr(value)


@given(events)
def test_events_round_trip(event: Event) -> None:
    kind, body = event_parts(event)
    text = canonical(body)
    assert no_floats(text)
    back = event_from(event.entry, event.at, kind, json.loads(text))
    assert back == event
    assert digits(back) == digits(event)
    assert canonical(event_parts(back)[1]) == text


@given(readings)
def test_readings_round_trip(reading: Reading) -> None:
    row = reading_row(reading)
    assert set(row) == {item.name for item in fields(Reading)}
    assert all(isinstance(value, str | int | None) for value in row.values())
    assert digits(reading_from(row)) == digits(reading)


@given(rosters)
def test_rosters_round_trip(trees: tuple[Tree, ...]) -> None:
    text = canonical(roster_body(trees))
    assert no_floats(text)
    back = trees_from(json.loads(text))
    assert back == trees
    assert [digits(tree.past) for tree in back] == [digits(tree.past) for tree in trees]


@given(plot_settings("K1"), plot_settings("K2"))
def test_settings_round_trip(one: PlotSettings, two: PlotSettings) -> None:
    text = canonical(settings_body({"K1": one, "K2": two}))
    assert no_floats(text)
    assert digits(settings_from(json.loads(text))) == digits({"K1": one, "K2": two})


def test_canonical_text_does_not_depend_on_the_order_of_keys() -> None:
    assert canonical({"b": 1, "a": "é"}) == canonical({"a": "é", "b": 1}) == '{"a":"é","b":1}'


def test_an_entry_of_another_kind_is_no_event_and_a_strange_body_is_told() -> None:
    assert event_from(1, "x", "roster", {}) is None
    with pytest.raises(StorageError, match="entry 7 is not understood"):
        event_from(7, "x", "timed_out", {"surprise": 1})


def test_confidence_keeps_its_zeros() -> None:
    event = Heard(1, "x", "voice", "w", (), confidence=Decimal("0.990"))
    kind, body = event_parts(event)
    back = event_from(1, "x", kind, json.loads(canonical(body)))
    assert isinstance(back, Heard)
    assert str(back.confidence) == "0.990"
