"""Meanings from emitted tokens, and to JSON and back."""

from __future__ import annotations

import json
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from callout.core.meaning import Meaning, meaning_of
from callout.core.units import Unit


@pytest.mark.parametrize(
    ("tokens", "tag", "value"),
    [
        ("@tag 8 3 @size 2 4 . 6 @kind:reading", "83", "24.6"),
        ("@tag 0 8 @size 9 . 0 @kind:reading", "08", "9.0"),
        ("@tag 1 2 @redo 8 3 @size 2 4 . @redo 2 6 @kind:reading", "83", "26"),
        ("@tag 8 3 @size 2 4 ~ 6 @kind:reading", "83", "24.6"),
        ("@tag 8 3 @size 1 1 .5 @kind:reading", "83", "11.5"),
        ("@new 2 0 1 @size 1 2 @kind:new", "201", "12"),
    ],
)
def test_slots(tokens, tag, value):
    meaning = meaning_of(tokens.split())
    assert (meaning.tag, str(meaning.value)) == (tag, value)
    assert meaning.implied == ("~" in tokens)


@pytest.mark.parametrize("size", ["1 . 2 . 3", "2 ~ 4 .5", ". 5", ""])
def test_what_is_no_number_is_no_meaning(size):
    assert meaning_of(["@tag", "8", "@size", *size.split(), "@kind:reading"]) is None


def test_parts_that_are_said_apart():
    tokens = ["@tag", "8", "3", "@stem", "2", "@size", "9", "@unit:in", "@kind:reading"]
    assert meaning_of(tokens) == Meaning("reading", "83", Decimal(9), Unit.INCH, stem="2")
    assert meaning_of(["@height", "1", ".5", "@kind:height"]).height_m == Decimal("1.5")
    assert meaning_of(["@retag", "3", "0", "1", "@kind:retag"]).new_tag == "301"


meanings = st.builds(
    Meaning,
    kind=st.sampled_from(["reading", "size", "new", "status"]),
    tag=st.none() | st.from_regex(r"[A-Z]?[0-9]{1,4}", fullmatch=True),
    value=st.none() | st.decimals(min_value=0, max_value=999, places=7),
    unit=st.none() | st.sampled_from(Unit),
    implied=st.booleans(),
    status=st.none() | st.sampled_from(["live", "cut"]),
    stem=st.none() | st.just("2"),
    height_m=st.none() | st.decimals(min_value=0, max_value=3, places=2),
)


@given(meanings)
def test_json_and_back(meaning):
    told = json.loads(json.dumps(meaning.as_json()))
    assert Meaning.from_json(told) == meaning
    assert {"kind", "tag", "value", "unit"} <= told.keys()
    assert told["value"] is None or "E" not in told["value"]
