"""The joining rules, each as a small story; the readings are invented."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from callout.core.units import Scale, Unit
from callout.devices.join import (
    AskForTree,
    Dropped,
    Joined,
    JoinEffect,
    JoinEvent,
    JoinState,
    Pressed,
    Rules,
    SetAside,
    Settled,
    TagNamed,
    Ticked,
    step,
)
from callout.devices.measurement import Measurement

START = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
RULES = Rules(window_s=30)


def at(seconds: float) -> datetime:
    return START + timedelta(seconds=seconds)


def press(seconds: float, value: str, device: str = "tape", tag: str | None = None) -> Pressed:
    return Pressed(
        Measurement(Decimal(value), Unit.CENTIMETRE, Scale.DIAMETER, device, at(seconds), b"", tag)
    )


def told(*events: JoinEvent) -> list[JoinEffect]:
    state, effects = JoinState(), []
    for event in events:
        state, new = step(state, event, RULES)
        effects += new
    return effects


def test_tag_then_press() -> None:
    one = press(5, "24.6")
    assert told(TagNamed(at(0), "83"), one) == [Joined("83", one.measurement)]


def test_press_then_tag_waits_and_asks() -> None:
    one = press(0, "24.6")
    assert told(one) == [AskForTree(one.measurement)]
    assert told(one, TagNamed(at(5), "83"))[1:] == [Joined("83", one.measurement)]


def test_the_later_of_two_presses_takes_the_place_of_the_earlier() -> None:
    one, two = press(5, "24.6"), press(9, "24.8")
    assert told(TagNamed(at(0), "83"), one, two) == [
        Joined("83", one.measurement),
        Joined("83", two.measurement, instead_of=one.measurement),
    ]
    assert told(one, two, TagNamed(at(12), "83")) == [
        AskForTree(one.measurement),
        AskForTree(two.measurement, instead_of=one.measurement),
        Joined("83", two.measurement),
    ]


def test_after_confirmation_a_press_asks_for_its_tree() -> None:
    one, two = press(5, "24.6"), press(9, "31.2")
    effects = told(TagNamed(at(0), "83"), one, Settled(at(7)), two)
    assert effects[1:] == [AskForTree(two.measurement)]


def test_after_a_refusal_the_same_tree_is_measured_again() -> None:
    one, two = press(5, "24.6"), press(40, "24.8")
    effects = told(TagNamed(at(0), "83"), one, Dropped(at(20)), two)
    assert effects[1:] == [Joined("83", two.measurement)]


def test_a_second_device_never_swaps_a_pending_reading() -> None:
    one, other = press(5, "24.6"), press(8, "31.2", "caliper")
    confirm = [Settled(at(9)), TagNamed(at(10), "84"), press(12, "31.2", "caliper")]
    effects = told(TagNamed(at(0), "83"), one, other, *confirm)
    assert effects[0] == Joined("83", one.measurement)
    assert isinstance(effects[1], SetAside)
    assert effects[1].measurement == other.measurement
    assert "caliper was pressed while tape" in effects[1].why
    assert isinstance(effects[2], Joined)
    assert effects[2].tag == "84"


def test_two_devices_with_no_tree_named_are_both_set_aside() -> None:
    one, other = press(0, "24.6"), press(2, "31.2", "caliper")
    effects = told(one, other, TagNamed(at(4), "83"))
    aside = [effect.measurement for effect in effects if isinstance(effect, SetAside)]
    assert aside == [one.measurement, other.measurement]
    assert not any(isinstance(effect, Joined) for effect in effects)


def test_nothing_joins_across_the_window() -> None:
    late = press(30.001, "24.6")
    assert told(TagNamed(at(0), "83"), late) == [AskForTree(late.measurement)]
    early = press(0, "24.6")
    effects = told(early, TagNamed(at(30.001), "83"))
    assert effects[1:] == [SetAside(early.measurement, "pressed too long ago")]
    assert told(early, Ticked(at(31)))[1:] == effects[1:]
    assert told(TagNamed(at(0), "83"), Ticked(at(31)), late) == [AskForTree(late.measurement)]


def test_a_clock_that_goes_back_joins_nothing() -> None:
    one = press(-1, "24.6")
    assert told(TagNamed(at(0), "83"), one) == [AskForTree(one.measurement)]


def test_a_tag_sent_by_the_device_joins_unless_another_was_spoken() -> None:
    own = press(5, "24.6", tag="84")
    assert told(own) == [Joined("84", own.measurement)]
    assert told(TagNamed(at(0), "84"), own) == [Joined("84", own.measurement)]
    (aside,) = told(TagNamed(at(0), "83"), own)
    assert isinstance(aside, SetAside)
    assert "the device says tree 84, tree 83 was named" in aside.why


def test_a_press_that_waited_is_kept_when_another_brings_its_own_tag() -> None:
    one, own = press(0, "24.6"), press(3, "31.2", tag="84")
    assert told(one, own)[1:] == [
        SetAside(one.measurement, "no tree was named for it"),
        Joined("84", own.measurement),
    ]


moments = st.floats(-5, 40, allow_nan=False)
events = st.one_of(
    st.builds(lambda s, t: ("tag", s, t), moments, st.sampled_from(["83", "84"])),
    st.builds(lambda s, d: ("press", s, d), moments, st.sampled_from(["tape", "caliper"])),
    st.builds(lambda s: ("settled", s, ""), moments),
    st.builds(lambda s: ("dropped", s, ""), moments),
    st.builds(lambda s: ("tick", s, ""), moments),
)


@given(st.lists(events, max_size=12))
def test_every_press_is_accounted_for_and_joined_within_the_window(
    story: list[tuple[str, float, str]],
) -> None:
    state, now, presses, seen = JoinState(), 0.0, 0, set()
    last_named: dict[str, float] = {}
    for kind, later, what in story:
        now += later
        event: JoinEvent
        if kind == "press":
            presses += 1
            event = press(now, f"{presses}.5", what)
        elif kind == "tag":
            event, last_named[what] = TagNamed(at(now), what), now
        else:
            event = {"settled": Settled, "dropped": Dropped, "tick": Ticked}[kind](at(now))
        state, effects = step(state, event, RULES)
        for effect in effects:
            seen.add(effect.measurement.value)
            if isinstance(effect, Joined):
                assert effect.tag in last_named
    # Each press led to something a person is told: none vanished.
    assert len(seen) == presses
