"""The diameter a plot records for a device's reading: in its unit, to its graduation.

Pure. The checks decide whether the reading is plausible, the session whether it is saved.
"""

from __future__ import annotations

from decimal import Decimal

from callout.core.model import PlotSettings
from callout.core.rounding import to_graduation
from callout.core.units import convert, diameter_from
from callout.devices.measurement import Measurement


def diameter_in(measurement: Measurement, plot: PlotSettings) -> Decimal:
    """The diameter that was measured, in the plot's unit, unrounded (50 digits)."""
    return diameter_from(convert(measurement.value, measurement.unit, plot.unit), measurement.scale)


def recorded_in(measurement: Measurement, plot: PlotSettings) -> Decimal:
    """The diameter as the plot records it, in the plot's unit."""
    return to_graduation(diameter_in(measurement, plot), plot.graduation, plot.rounding)
