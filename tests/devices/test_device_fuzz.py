"""A short run of the fuzzer; ``fuzz_million.py`` is the long one."""

from __future__ import annotations

from fuzzing import check_line, check_stream, fuzz
from hypothesis import given
from hypothesis import strategies as st

from callout.devices.line_format.numerals import Mark


def test_twenty_thousand_inputs_and_every_decoder_reads_some() -> None:
    outcomes, _ = fuzz(20_000, seed=7)
    for name in ("line", "value", "stream", "teach"):
        assert outcomes[name, "read"] > 20
    assert outcomes["pattern", "compiled"] > 20
    assert sum(outcomes.values()) == 20_000


@given(st.binary(max_size=300), st.sampled_from(["plain", "fixed", "nmea"]))
def test_any_line(line: bytes, pattern: str) -> None:
    check_line(line, pattern, Mark.EITHER)


@given(st.lists(st.binary(max_size=400), max_size=6))
def test_any_stream_however_cut(chunks: list[bytes]) -> None:
    check_stream(chunks)
