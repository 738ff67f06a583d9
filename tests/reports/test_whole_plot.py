"""One whole plot, from roster and typed readings to every table, again by plain arithmetic.

Invented: six trees of plot K1 in inches at 1.37 m, 0.1 ha; one died, one was cut, one is new. The
survey, its readings and its tables are the program's; the figures beside them use nothing but
``math`` and the published formulas, named where they are used.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path

import pandas as pd
import pytest
from station_tools import at_work, settle

from callout.cli.main import main
from callout.journal.folder import SurveyFolder
from callout.reports.pages.analysis import ReportSettings, analyse
from callout.reports.stand.mass.mass_variance import Draws
from callout.reports.survey_frames import survey_frames

near = pytest.approx

SPECIES = {"1": "red oak", "2": "white pine", "3": "hemlock", "4": "beech", "5": "red oak"}
FIRST = {"1": 10.0, "2": 14.5, "3": 8.2, "4": 6.1, "5": 21.3}  # inches, on 2021-06-02
SECOND = {"1": 10.8, "2": 15.1, "3": 8.1}  # inches, on 2026-06-02; 4 is dead, 5 was cut
NEW = 4.0
YEARS = 1826 / 365.25  # R. Condit and co-workers, public code
HECTARES = 0.1
# Jenkins, Chojnacky, Heath and Birdsey 2003, from agreeing transcriptions; d in cm at 1.37 m.
EQUATIONS = {
    "red oak": (-2.0127, 2.4342), "beech": (-2.0127, 2.4342), "white pine": (-2.5356, 2.4349),
    "hemlock": (-2.5384, 2.4814),
}  # fmt: skip


@pytest.fixture(scope="module")
def tables(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, pd.DataFrame]:
    place = tmp_path_factory.mktemp("plot")
    rows = [f"K1,{tag},{SPECIES[tag]},2021-06-02,{size},in" for tag, size in FIRST.items()]
    roster = place / "trees.csv"
    roster.write_text("plot,tag,species,date,value,unit\n" + "\n".join(rows) + "\n")
    plot = "--plot=K1:unit=in,breast_height=1.37,area_ha=0.1"
    assert main(["new", str(place / "fen"), "--trees", str(roster), plot]) == 0
    typed = [*(f"{tag} {size}" for tag, size in SECOND.items()), "4 dead standing", "5 cut"]
    with at_work(SurveyFolder(place / "fen")) as station:
        station.open("K1", "R.V.")
        for text in [*typed, "new tree 6 4.0"]:
            station.type(text)
            settle(station)
        assert not station.memory.pending
    return tables_of(place / "fen")


def tables_of(path: Path) -> Mapping[str, pd.DataFrame]:
    from callout.reports.stand.mass.equation_set import read_equations
    from callout.survey.species_table import species_of

    settings = ReportSettings(
        equations=read_equations().knowing(species_of(path)), draws=Draws(draws=100)
    )
    return analyse(*survey_frames(path), settings).tables


def row(table: pd.DataFrame, **keys: object) -> pd.Series:
    for name, value in keys.items():
        table = table[table[name] == value]
    assert len(table) == 1
    return table.iloc[0]


def area_m2(inches: float) -> float:
    """pi d2 / 40000 with d in cm: all was measured at 1.37 m, so nothing is converted."""
    return math.pi / 40_000 * (inches * 2.54) ** 2


def mass_kg(species: str, inches: float) -> float:
    b0, b1 = EQUATIONS[species]
    return math.exp(b0 + b1 * math.log(inches * 2.54))


@pytest.mark.parametrize(
    ("census", "inches"), [(2021, list(FIRST.values())), (2026, [*SECOND.values(), NEW])]
)
def test_the_stand(tables, census, inches):
    got = row(tables["summary"], plot="K1", census=census)
    mean_square = sum((size * 2.54) ** 2 for size in inches) / len(inches)
    assert got["stems"] == len(inches)
    assert got["stems_per_ha"] == near(len(inches) / HECTARES)
    assert got["stems_per_acre"] == near(len(inches) / HECTARES * 0.40468564224)
    assert got["basal_area_m2_ha"] == near(sum(map(area_m2, inches)) / HECTARES)
    assert got["qmd_cm"] == near(math.sqrt(mean_square))
    # Reineke 1933.
    index = len(inches) / HECTARES * (math.sqrt(mean_square) / 25.4) ** 1.605
    assert got["sdi_per_ha"] == near(index)


def test_increments(tables):
    got = row(tables["growth"], plot="K1", from_census=2021, to_census=2026)
    grown = [(SECOND[tag] - FIRST[tag]) * 2.54 / YEARS for tag in SECOND]
    assert got["stems"] == 3
    assert got["diameter_cm_year"] == near(sum(grown) / 3)
    areas = [area_m2(SECOND[tag]) - area_m2(FIRST[tag]) for tag in SECOND]
    assert got["basal_area_m2_year"] == near(sum(areas) / YEARS)
    relative = [math.log(SECOND[tag] / FIRST[tag]) / YEARS for tag in SECOND]
    assert got["relative_year"] == near(sum(relative) / 3)


def test_components_of_change(tables):
    got = row(tables["change_basal_area"], plot="K1", from_census=2021)
    nano = 1e-9  # each tree's area is rounded to it first
    grown = sum(
        round(area_m2(SECOND[tag]) / nano) - round(area_m2(FIRST[tag]) / nano) for tag in SECOND
    )
    assert float(got["survivor_growth"]) == near(grown * nano, abs=1e-15)
    assert float(got["ingrowth"]) == near(round(area_m2(NEW) / nano) * nano, abs=1e-15)
    assert float(got["mortality"]) == near(round(area_m2(FIRST["4"]) / nano) * nano, abs=1e-15)
    assert float(got["cut"]) == near(round(area_m2(FIRST["5"]) / nano) * nano, abs=1e-15)
    parts = got["survivor_growth"] + got["ingrowth"] - got["mortality"] - got["cut"]
    assert parts == got["net"] == got["at_second"] - got["at_first"]  # exact decimals


def test_demographic_rates(tables):
    """Of four stems with a natural fate three survive; one comes in. Condit's (ln N - ln S) / t."""
    got = row(tables["rates"], plot="K1", from_census=2021)
    assert (got["at_risk"], got["survivors"], got["died"], got["recruits"], got["cut"]) == (
        4, 3, 1, 1, 1,
    )  # fmt: skip
    assert got["mortality_year"] == near((math.log(4) - math.log(3)) / YEARS)
    assert got["recruitment_year"] == near((math.log(4) - math.log(3)) / YEARS)


def test_biomass_carbon_and_co2(tables):
    """0.47 of dry mass (IPCC 2006) and 44/12; the new tree has no species."""
    first = sum(mass_kg(SPECIES[tag], size) for tag, size in FIRST.items())
    second = sum(mass_kg(SPECIES[tag], size) for tag, size in SECOND.items())
    carbon = tables["carbon"]
    for census, mass in ((2021, first), (2026, second)):
        got = row(carbon, plot="K1", census=census)
        assert got["mass_t_ha"] == near(mass / 1000 / HECTARES)
        assert got["carbon_t_ha"] == near(mass * 0.47 / 1000 / HECTARES)
        assert got["co2_t_ha"] == near(mass * 0.47 * 44 / 12 / 1000 / HECTARES)
    got = row(carbon, plot="K1", census=2026)
    change = (second - first) * 0.47 * 44 / 12 / 1000 / HECTARES / YEARS
    assert got["co2_t_ha_year"] == near(change)
    assert got["no_equation"] == 1
    assert tables["left_out"]["tag"].tolist() == ["6"]
