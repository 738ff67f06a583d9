"""Any sequence of callouts: replay gives the same memory, and only a confirmation saves."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st
from session_tools import AT, Talk, renewed, replayed, survey, tree

from callout.core.checking.checks import Rules
from callout.core.events import Event, Heard, Opened, Save, TimedOut
from callout.core.meaning import Meaning
from callout.core.saying import as_is
from callout.core.units import Unit
from callout.session.machine import TABLE, step
from callout.session.phase import Phase
from callout.session.state import Memory

TREES = (
    tree("61", "24.0"),
    tree("62", "30.0", status="dead standing"),
    tree("63", "18.0", "red oak", measured_at_m="1.60"),
    tree("64", breast_height_m="1.37"),
)
tags = st.sampled_from(["61", "62", "63", "64", "99", "312"])
sizes = st.decimals(min_value=Decimal("0.5"), max_value=210, places=1)
KINDS = sorted({kind for _, kind in TABLE} | {"confirm", "unheard of"})
meanings = st.builds(
    Meaning,
    kind=st.sampled_from(KINDS),
    tag=st.none() | tags,
    value=st.none() | sizes,
    unit=st.none() | st.sampled_from([Unit.INCH, Unit.CENTIMETRE]),
    status=st.sampled_from(["live", "dead_standing", "cut", "missing"]),
    stem=st.none() | st.sampled_from(["1", "2"]),
    species=st.none() | st.sampled_from(["beech", "larch"]),
    height_m=st.none() | st.sampled_from([Decimal("1.3"), Decimal("1.9")]),
    new_tag=st.none() | st.sampled_from(["62", "312"]),
)


def sensible(meaning: Meaning) -> bool:
    """What a grammar can emit: readings name what they are about."""
    needs_value = meaning.kind in ("reading", "size", "amend", "press")
    needs_tag = meaning.kind in ("tree", "new")
    return (
        (meaning.value is not None or not needs_value)
        and (meaning.tag is not None or not needs_tag)
        and (meaning.height_m is not None or meaning.kind != "height")
        and (meaning.value is None or meaning.kind != "status")
    )


heard = st.builds(
    Heard,
    entry=st.just(0),
    at=st.just(AT),
    source=st.sampled_from(["voice", "typed", "key", "tape"]),
    words=st.just("words"),
    meanings=st.lists(meanings.filter(sensible), max_size=2).map(tuple),
    problem=st.none() | st.just(as_is("not heard")),
)
events = st.lists(
    heard
    | st.builds(TimedOut, entry=st.just(0), at=st.just(AT))
    | st.builds(Opened, st.just(0), st.just(AT), st.just("K2"), st.sampled_from(["R.V.", "M.O."])),
    max_size=25,
)
all_rules = st.builds(Rules, blind=st.booleans(), walk=st.booleans())


def numbered(given_events: list[Event]) -> list[Event]:
    opened = Opened(1, AT, "K2", "R.V.")
    return [opened, *(type(e)(**{**vars(e), "entry": n + 2}) for n, e in enumerate(given_events))]


@settings(max_examples=200)
@given(events, all_rules)
def test_replay_is_exact_and_a_reading_is_saved_by_confirmation_alone(given_events, rules):
    about, memory = survey(*TREES, rules=rules), Memory()
    told = numbered(given_events)
    for event in told:
        before = memory
        memory, effects = step(about, before, event)
        assert step(about, before, event) == (memory, effects)
        for effect in effects:
            if isinstance(effect, Save) and not effect.reading.void:
                assert isinstance(event, Heard)
                assert event.meanings[0].kind in ("confirm", "accept")
                assert before.phase is Phase.PENDING
                assert before.pending is not None
                assert effect.reading.value == before.pending.draft.value
                assert effect.reading.status == before.pending.draft.status
                told_before = [item.check for item in before.pending.warned]
                recorded = list(effect.reading.warnings)
                assert recorded[: len(told_before)] == told_before
                assert rules.blind or recorded == told_before, "no check after saving unless blind"
    assert replayed(about, told) == memory


@given(events, all_rules, st.data())
def test_a_restart_anywhere_stands_where_it_stood(given_events, rules, data):
    about, told = survey(*TREES, rules=rules), numbered(given_events)
    cut = data.draw(st.integers(0, len(told)))
    memory = replayed(about, told[:cut])
    for event in told[cut:]:
        memory, _ = step(about, memory, event)
    assert memory == replayed(about, told)


def test_a_talk_is_what_its_events_replay_to():
    talk = Talk(survey(*TREES, rules=Rules()))
    talk.save("61", "24.5")
    talk.read("62", "30.4")
    assert replayed(talk.survey, talk.events) == talk.memory


@settings(max_examples=150)
@given(events, all_rules)
def test_texts_need_not_be_the_roster_s_own_objects(given_events, rules):
    about, told = survey(*TREES, rules=rules), numbered(given_events)
    memory = read_back = Memory()
    for event in told:
        memory, effects = step(about, memory, event)
        read_back, again = step(about, read_back, renewed(event))
        assert again == effects
        read_back = replace(read_back, plot=str(renewed(read_back.plot)))
    assert read_back == memory
