"""A reading that the engine heard unsurely: echoed with a warning, saved by "accept" alone.

The plot and its sizes are invented; that a doubtful value is read back and agreed to is common
practice.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from session_tools import AT, Talk, survey, tree

from callout.core.checking.checks import Rules
from callout.core.events import Heard, Save
from callout.core.meaning import Meaning


def _said(talk: Talk, confidence: str | None, source: str = "voice", **parts: object) -> str:
    meaning = Meaning("reading", tag="83", value=Decimal("31.4"), **parts)  # type: ignore[arg-type]
    told = None if confidence is None else Decimal(confidence)
    talk.take(Heard(len(talk.events) + 1, AT, source, "words", (meaning,), confidence=told))
    return talk.said


def _talk() -> Talk:
    return Talk(survey(tree("83", "30.9"), tree("84", "22.0"), rules=Rules(walk=False)))


def test_it_is_echoed_with_the_warning_and_a_plain_yes_does_not_save() -> None:
    talk = _talk()
    assert _said(talk, "0.31") == ("83, 31.4, not surely heard. Is every figure right? Accept?")
    assert "Not saved yet: 83, 31.4, not surely heard." in talk.hear("confirm")
    assert not [one for one in talk.effects if isinstance(one, Save)]


def test_accept_saves_it_and_the_doubt_stays_with_the_row() -> None:
    talk = _talk()
    _said(talk, "0.31")
    talk.hear("accept")
    (saved,) = [one.reading for one in talk.effects if isinstance(one, Save)]
    assert saved.value == Decimal("31.4")
    assert saved.warnings == ("heard unsurely",)
    assert saved.confidence == Decimal("0.31")


@pytest.mark.parametrize(
    ("confidence", "source"), [("0.5", "voice"), ("0.97", "voice"), (None, "typed"), (None, "tape")]
)
def test_what_was_surely_heard_typed_or_pressed_is_asked_as_ever(
    confidence: str | None, source: str
) -> None:
    talk = _talk()
    assert _said(talk, confidence, source) == "83, 31.4. Confirm?"


def test_said_again_surely_the_doubt_is_gone() -> None:
    talk = _talk()
    _said(talk, "0.31")
    assert _said(talk, "0.97") == "83, 31.4. Confirm?"
    talk.hear("confirm")
    (saved,) = [one.reading for one in talk.effects if isinstance(one, Save)]
    assert saved.warnings == ()


def test_what_is_told_of_it_while_it_waits_keeps_the_doubt() -> None:
    """A status told of a waiting reading is no second hearing of its figures."""
    talk = _talk()
    _said(talk, "0.31")
    assert "not surely heard" in talk.hear("status", status="dead_standing")
    assert talk.hear("confirm").startswith("Not saved yet")
