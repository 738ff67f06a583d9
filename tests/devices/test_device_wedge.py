"""A keyboard wedge, and what a plot records of a device's reading."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal

import pytest

from callout.core.model import PlotSettings
from callout.core.rounding import Rounding
from callout.core.units import Scale, Unit
from callout.devices.measurement import Measurement, Reason, Refused
from callout.devices.recorded import diameter_in, recorded_in
from callout.devices.settings import device_from
from callout.devices.wedge import Wedge, typed_by_device

AT = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)


def test_what_a_wedge_types_passes_the_same_gate() -> None:
    wedge = Wedge(
        device_from({"name": "caliper", "transport": "wedge", "pattern": "number", "unit": "mm"})
    )
    (taken,) = wedge.typed("246.5", AT, 0.0)
    assert isinstance(taken, Measurement)
    assert (taken.value, taken.unit, taken.device) == (
        Decimal("246.5"), Unit.MILLIMETRE, "caliper"
    )  # fmt: skip
    assert wedge.typed("246.5", AT, 0.05) == [Refused(Reason.REPEATED, 1, b"246.5")]
    assert wedge.typed("tree 83", AT, 1.0) == [Refused(Reason.NO_MATCH, 1, b"tree 83")]
    arabic = "٢٤".encode()
    assert wedge.typed("٢٤", AT, 2.0) == [Refused(Reason.NOISE, 1, arabic)]
    assert sum(wedge.intake.refused.values()) == 3


@pytest.mark.parametrize(
    ("gaps", "device"),
    [([0.005] * 5, True), ([0.12] * 5, False), ([0.005, 0.2, 0.005], False), ([0.005], False),
     ([], False), ([-1.0] * 5, False)],
)  # fmt: skip
def test_a_device_types_faster_than_a_person(gaps: list[float], device: bool) -> None:
    times = [0.0]
    for gap in gaps:
        times.append(times[-1] + gap)
    assert typed_by_device(times) is device


def test_what_a_plot_records() -> None:
    # Computed: 78.4 in of girth is 24.955 in of diameter, 25.0 to the nearest tenth and 24.9
    # down; 63.5 cm is 25 in exactly.
    inches = PlotSettings("K1", Unit.INCH)
    girth = Measurement(Decimal("78.4"), Unit.INCH, Scale.GIRTH, "tape", AT, b"")
    assert abs(diameter_in(girth, inches) - Decimal("24.955")) < Decimal("0.001")
    assert str(recorded_in(girth, inches)) == "25.0"
    assert str(recorded_in(girth, replace(inches, rounding=Rounding.DOWN))) == "24.9"
    metric = replace(girth, value=Decimal("63.5"), unit=Unit.CENTIMETRE, scale=Scale.DIAMETER)
    assert str(recorded_in(metric, inches)) == "25.0"
    assert str(recorded_in(metric, PlotSettings("K2"))) == "63.5"
