"""The control socket's messages: every one survives the way, and nothing else is taken."""

from __future__ import annotations

import json
from dataclasses import asdict, fields
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from callout.core.errors import OperatorError
from callout.daemon.messages import (
    _REQUESTS,
    KEYS,
    MOST_ASKED_BYTES,
    VERSION,
    Request,
    asked,
    request_from,
    told_from,
    update_line,
)
from callout.session.phase import Phase
from callout.station.face import Level, SavedLine, View
from callout.terminal.keyboard import COMMANDS, ON_EMPTY_LINE

text = st.text(max_size=200)
requests = st.one_of(
    st.builds(Request, st.sampled_from(["watch", "view", "stop", "talk"])),
    st.builds(
        Request, st.just("submit"), text=text.filter(lambda given: given.isprintable()),
        waiting=st.integers(0, 2**40), keys_s=st.lists(st.floats(0, 1e9), max_size=20).map(tuple),
    ),
    st.builds(Request, st.just("press"), kind=st.sampled_from(KEYS), waiting=st.integers(0, 2**40)),
    st.builds(Request, st.just("mute"), muted=st.booleans()),
)  # fmt: skip
texts = st.lists(text, max_size=3).map(tuple)
views = st.builds(
    View, **dict.fromkeys(("plot", "who", "unit", "tag", "said", "before"), text),
    phase=st.sampled_from(Phase),
    waiting=st.integers(0, 2**40), warnings=texts, looks=texts, left=texts, faults=texts,
    recent=st.lists(st.builds(SavedLine, text, text, text, text, st.booleans()), max_size=2).map(
        tuple
    ),
    muted=st.booleans(),
)  # fmt: skip
anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | text,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(text, inner, max_size=4),
    max_leaves=12,
)


@given(requests)
def test_a_request_arrives_as_it_was_sent(request: Request) -> None:
    line = asked(request)
    assert line.count(b"\n") == 1
    assert line.endswith(b"\n")
    assert request_from(line) == request


def test_every_key_of_the_screen_may_be_pressed_from_afar() -> None:
    others = {"help", "talk", "mute", "plot"}  # which the screen does itself, or asks otherwise
    for kind in {*COMMANDS.values(), *ON_EMPTY_LINE.values(), "resume"} - others:
        press = Request("press", kind=kind)
        assert request_from(asked(press)) == press


@given(views)
def test_a_view_arrives_as_it_was_sent(view: View) -> None:
    line = update_line(view)
    assert line.count(b"\n") == 1
    assert told_from(line)["view"] == view


def test_every_field_of_a_view_is_carried() -> None:
    assert {item.name for item in fields(View)} == set(asdict(View("", "", "", Phase.IDLE)))
    assert told_from(update_line(Level(-30.5, True)))["level"] == Level(-30.5, True)


@given(st.binary(max_size=300))
def test_bytes_that_are_no_request_are_refused(data: bytes) -> None:
    with pytest.raises(OperatorError):
        request_from(data)


@given(anything)
def test_json_that_is_no_request_is_refused(given_: Any) -> None:
    with pytest.raises(OperatorError):
        request_from(json.dumps(given_).encode())


@given(st.sampled_from(sorted(_REQUESTS)), st.dictionaries(
    st.sampled_from(["text", "kind", "waiting", "muted", "plot", "who", "keys_s", "x"]), anything,
    max_size=4,
))  # fmt: skip
def test_odd_fields_never_pass_unchecked(do: str, more: dict[str, Any]) -> None:
    line = json.dumps({"v": VERSION, "do": do, **more}).encode()
    try:
        request = request_from(line)
    except OperatorError:
        return
    assert set(more) <= set(_REQUESTS[do])
    assert request.kind in (*KEYS, "")
    assert type(request.waiting) is int
    assert type(request.muted) is bool
    assert all(type(item) is float for item in request.keys_s)


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (b'{"v":1,"do":"view"}', "version 2"),
        (b'{"do":"view"}', "version 2"),
        (b'{"v":2,"do":"format"}', "no such request"),
        (b'{"v":2,"do":["view"]}', "no such request"),
        (b'{"v":2,"do":"press","kind":"rm","waiting":0}', "must be confirm, accept"),
        (b'{"v":2,"do":"press","kind":"confirm","waiting":true}', "whole number"),
        (b'{"v":2,"do":"press","kind":"confirm"}', "waiting is missing"),
        (b'{"v":2,"do":"submit","text":"x"}', "waiting is missing"),
        (b'{"v":2,"do":"submit","text":"x","waiting":0,"keys_s":[NaN]}', "one JSON object"),
        (b'{"v":2,"do":"submit","text":"x","waiting":0,"keys_s":[1e999]}', "times are numbers"),
        (b'{"v":2,"do":"submit","text":"' + b"x" * 2000 + b'","waiting":0}', "at most 300 char"),
        (b'{"v":2,"do":"view"' + b" " * MOST_ASKED_BYTES + b"}", "at most"),
        (b"[" * 5000, "one JSON object"),
    ],
)
def test_refusals_say_why(line: bytes, why: str) -> None:
    with pytest.raises(OperatorError, match=why):
        request_from(line)
