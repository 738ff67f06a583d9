"""Framing and the gate: nothing lost or doubled when all is well, bounded when it is not."""

from __future__ import annotations

import random
import tracemalloc
from datetime import UTC, datetime
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from callout.core.units import Scale, Unit
from callout.devices.intake import Intake, Limits, Taken
from callout.devices.line_format.framing import LineFramer
from callout.devices.line_format.lines import LineFormat
from callout.devices.line_format.template import compile_template
from callout.devices.measurement import Measurement, Reason, Refused
from callout.devices.presentation import PresentationFormat

AT = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
PLAIN = LineFormat(compile_template("plain"))


def intake(**limits: object) -> Intake:
    return Intake("tape", PLAIN, Limits(**limits))  # type: ignore[arg-type]


def values(taken: list[Taken]) -> list[str]:
    return [str(one.value) for one in taken if isinstance(one, Measurement)]


def reasons(taken: list[Taken]) -> dict[Reason, int]:
    return {one.reason: one.count for one in taken if isinstance(one, Refused)}


def test_a_measurement_carries_everything() -> None:
    (taken,) = intake().stream(b"24.6 cm\r\n", AT, 0.0)
    assert taken == Measurement(
        Decimal("24.6"), Unit.CENTIMETRE, Scale.DIAMETER, "tape", AT, b"24.6 cm"
    )


@given(st.lists(st.integers(1, 9), max_size=60), st.sampled_from([b"\n", b"\r", b"\r\n", b"\0"]))
def test_lines_come_out_alike_however_the_stream_is_cut(cuts: list[int], ending: bytes) -> None:
    whole = b"".join(b"%d.%d cm" % (n, n % 7) + ending for n in range(1, 40))
    framer, lines, at = LineFramer(), [], 0
    for cut in [*cuts, len(whole)]:
        found, dropped = framer.feed(whole[at : at + cut], 0.0)
        assert dropped == []
        lines += found
        at += cut
    assert lines == [b"%d.%d cm" % (n, n % 7) for n in range(1, 40)]


@given(st.lists(st.tuples(st.binary(max_size=600), st.floats(0, 5)), max_size=20))
def test_a_framer_never_holds_more_than_one_line(feeds: list[tuple[bytes, float]]) -> None:
    framer, now = LineFramer(longest=64), 0.0
    for data, later in feeds:
        now += later
        lines, dropped = framer.feed(data, now)
        assert framer.held <= 64
        assert all(0 < len(line) <= 64 for line in lines)
        assert len({one.reason for one in dropped}) == len(dropped)


def test_an_endless_line_is_counted_once_and_its_end_is_no_reading() -> None:
    gate = intake()
    for _ in range(1000):
        assert gate.stream(b"1" * 1000, AT, 0.0) == []
    assert reasons(gate.stream(b"24.6 cm\n", AT, 0.0)) == {Reason.TOO_LONG: 1}
    assert values(gate.stream(b"24.7 cm\n", AT, 0.0)) == ["24.7"]


def test_a_line_in_two_halves_with_a_long_gap_is_dropped_whole() -> None:
    gate = intake()
    gate.stream(b"12", AT, 0.0)
    # "4.6 cm" alone would be a good line, and a wrong reading.
    assert reasons(gate.stream(b"4.6 cm\n", AT, 2.5)) == {Reason.CUT: 1}
    assert values(gate.stream(b"24.6 cm\n", AT, 3.0)) == ["24.6"]


def test_half_a_line_before_unplugging_never_joins_what_comes_after() -> None:
    gate = intake()
    gate.connected(0.0)
    gate.stream(b"12", AT, 1.0)
    assert reasons(gate.lost()) == {Reason.CUT: 1}
    gate.connected(1.5)
    assert values(gate.stream(b"34.5 cm\n", AT, 1.8)) == ["34.5"]


def test_a_line_under_way_while_connecting_has_lost_its_beginning() -> None:
    gate = intake()
    gate.connected(0.0)
    assert reasons(gate.stream(b"4.6 cm\n31.2 cm\n", AT, 0.01)) == {Reason.CUT: 1}
    gate.connected(10.0)
    assert gate.stream(b"4.", AT, 10.01) == []
    assert reasons(gate.stream(b"6 cm\n", AT, 10.2)) == {Reason.CUT: 1}
    gate.connected(20.0)
    assert values(gate.stream(b"24.6 cm\n", AT, 20.2)) == ["24.6"]


def test_a_repeated_frame_is_one_press() -> None:
    gate = intake()
    assert values(gate.stream(b"24.6 cm\n" * 5, AT, 0.0)) == ["24.6"]
    assert gate.refused == {Reason.REPEATED: 4}
    assert values(gate.stream(b"24.6 cm\n", AT, 1.0)) == ["24.6"]


def test_a_flood_is_cut_off_and_the_next_press_is_heard() -> None:
    gate = intake()
    got: list[str] = []
    for tick in range(1000):
        lines = b"".join(b"%d.%02d cm\n" % (n + 1, tick % 100) for n in range(10))
        got += values(gate.stream(lines, AT, tick / 1000))
    assert 100 <= len(got) <= 201
    assert gate.refused[Reason.FLOOD] == 10_000 - len(got)
    assert values(gate.stream(b"24.6 cm\n", AT, 2.0)) == ["24.6"]


def test_memory_stays_bounded_under_noise() -> None:
    gate, rng = intake(), random.Random(1)
    chunks = [rng.randbytes(4096) for _ in range(64)]
    gate.stream(chunks[0], AT, 0.0)
    tracemalloc.start()
    before, _ = tracemalloc.get_traced_memory()
    for turn in range(2000):
        gate.stream(chunks[turn % 64], AT, turn / 100)
    after, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert after - before < 50_000
    assert sum(gate.refused.values()) > 10_000


def test_one_refusal_per_reason_with_its_count() -> None:
    taken = intake().stream(b"x\ny\n-1 cm\n2 cm\nz\n", AT, 0.0)
    assert values(taken) == ["2"]
    assert reasons(taken) == {Reason.NO_MATCH: 3, Reason.NOT_POSITIVE: 1}


def test_packets_need_no_line_end() -> None:
    gate = intake()
    assert values(gate.packet(b"24.6 cm", AT, 0.0)) == ["24.6"]
    assert values(gate.packet(b"24.7 cm\r\n", AT, 0.0)) == ["24.7"]
    assert gate.packet(b"\r\n", AT, 0.0) == []


def test_values_that_describe_themselves_pass_the_same_gate() -> None:
    form = PresentationFormat(0x06, -1, 0x27A2, 1, 0)
    gate = intake(lines_a_second=2)
    taken = [gate.value(raw, form, Scale.DIAMETER, AT, 0.0) for raw in (b"\xf6\0", b"\xf6\0", b"x")]
    assert values(taken[0]) == ["24.6"]
    assert reasons(taken[1]) == {Reason.REPEATED: 1}
    assert reasons(taken[2]) == {Reason.FLOOD: 1}
