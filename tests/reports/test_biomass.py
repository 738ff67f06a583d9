"""Biomass and carbon at published coefficients, taper, and the coverage of intervals."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from stand_frames import frame, harrow_fen, measurement, plots
from test_change import adds_up

from callout.core.checks import measurement_sd_mm
from callout.core.errors import OperatorError
from callout.core.units import Unit
from callout.journal.roster import read_roster
from callout.journal.species import species_of
from callout.reports.pages.analysis import ReportSettings, analyse, roundings
from callout.reports.stand.biomass import (
    CarbonSettings,
    biomass_summary,
    carbon_components,
    mass_kg,
    stem_biomass,
)
from callout.reports.stand.census import stem_census
from callout.reports.stand.equation_set import read_equations
from callout.reports.stand.taper import Taper, at_height, effect
from callout.reports.stand.uncertainty import (
    PUBLISHED,
    Draws,
    carbon_intervals,
    from_repeats,
    mass_draws,
)
from callout.station.data import data_folder

near = pytest.approx
SET = read_equations()
LEVEL = CarbonSettings(taper=Taper(0.0))

# Jenkins, Chojnacky, Heath, Birdsey 2003 (Forest Science 49:12-35), coefficients from independent
# transcriptions; kg at 30 cm by plain arithmetic.
AT_30_CM = {
    "Populus tremuloides": 368.06,
    "Acer rubrum": 460.30,
    "Prunus serotina": 390.28,
    "Quercus rubra": 526.63,
    "Thuja occidentalis": 284.40,
    "Pseudotsuga menziesii": 437.22,
    "Abies balsamea": 365.52,
    "Pinus strobus": 312.93,
    "Picea glauca": 349.08,
    "Juniperus deppeana": 160.24,
}


def one(species="Quercus rubra", size="30.0", **other):
    if species.startswith("Juniperus d"):  # of the woodlands: measured at the root collar
        other = {"measured_height_m": 0.1, **other}
    return stem_census(frame(measurement(1, "2024-06-01", size, species=species, **other)))


@pytest.mark.parametrize(("species", "kilograms"), AT_30_CM.items())
def test_one_tree_of_each_group(species, kilograms):
    tree = stem_biomass(one(species), SET, LEVEL).iloc[0]
    assert tree["mass_kg"] == near(kilograms, abs=0.006)
    assert tree["note"] == ""


def test_every_group_is_tested():
    assert {SET.group_of(name) for name in AT_30_CM} == set(SET.equations)


@pytest.mark.parametrize(
    ("fraction", "carbon", "co2"), [(0.5, 156.46, 573.7), (0.47, 147.08, 539.3)]
)
def test_carbon_and_co2_of_a_pine(fraction, carbon, co2):
    """0.47 as IPCC 2006, 0.5 as round figure; 44/12 (from memory); plain arithmetic."""
    settings = CarbonSettings(fraction, Taper(0.0))
    tree = stem_biomass(one("Pinus strobus"), SET, settings).iloc[0]
    assert tree["carbon_kg"] == near(carbon, abs=0.006)
    assert tree["co2_kg"] == near(co2, abs=0.05)


@pytest.mark.parametrize(
    ("species", "size", "note"),
    [
        ("Quercus rubra", "73.0", ""),
        ("Quercus rubra", "73.1", "above range"),
        ("Quercus rubra", "2.4", "below range"),
        ("Juniperus", "30.0", "no equation"),
        ("", "30.0", "no equation"),
    ],
)
def test_what_an_equation_was_not_made_for_is_told(species, size, note):
    tree = stem_biomass(one(species, size), SET, LEVEL).iloc[0]
    assert tree["note"] == note
    assert math.isnan(tree["mass_kg"]) == (note == "no equation")


def test_names_can_be_added_only_to_groups_that_exist():
    named = SET.with_names({"red  Oak": "hard maple, oak, hickory, beech"})
    assert named.group_of("Red oak") == "hard maple, oak, hickory, beech"
    with pytest.raises(OperatorError, match="no equation 'oaks'"):
        SET.with_names({"red oak": "oaks"})


def test_common_names_and_codes_go_by_the_species_table():
    """The table that ships; its groups are those of the equations (names from memory)."""
    table = species_of(Path("no survey"))
    named = SET.knowing(table)
    for name, group in (
        ("red oak", "hard maple, oak, hickory, beech"),
        ("QURU", "hard maple, oak, hickory, beech"),
        ("White  Pine", "pine"),
        ("hemlock", "true fir, hemlock"),
        ("yggdrasil", ""),
    ):
        assert named.group_of(name) == group, name
    assert {one.scientific for one in table if not named.group_of(one.scientific)} == set()
    own = SET.with_names({"red oak": "pine"}).knowing(table)
    assert own.group_of("red oak") == "pine"  # what was said before stands
    elsewhere = replace(SET, equations={"all": SET.equations["pine"]}, names={})
    assert elsewhere.knowing(table).group_of("red oak") == ""  # another set has other groups


def test_every_species_of_the_demo_has_an_equation():
    """Its roster has common names only."""
    roster = read_roster(data_folder("audio_fixtures") / "harrow_fen.csv", {}, Unit.CENTIMETRE)
    named = SET.knowing(species_of(Path("no survey")))
    assert {tree.species for tree in roster if not named.group_of(tree.species)} == set()
    assert len({tree.species for tree in roster}) == 5


def test_another_set_can_be_added(tmp_path):
    path = tmp_path / "set.toml"
    path.write_text(
        'name="x"\nsource="invented"\nstanding="invented"\npool="p"\nnot_counted="n"\n'
        'breast_height_m=1.3\nfallback="all"\n[equations.all]\nb0=0.0\nb1=2.0\nfrom_cm=1\n'
        "to_cm=100\nresidual_ln=0.1\n"
    )
    tree = stem_biomass(one("anything"), read_equations(path), LEVEL).iloc[0]
    assert tree["mass_kg"] == near(900.0)  # exp(2 ln 30) = 30^2
    for wrong in ("[equations", "name=1", path.read_text().replace("from_cm=1", "from_cm=500")):
        path.write_text(wrong)
        with pytest.raises(OperatorError, match=r"set\.toml"):
            read_equations(path)


def test_carbon_fraction_of_no_wood_is_refused():
    with pytest.raises(OperatorError, match="fraction 47"):
        CarbonSettings(47)


def test_plot_sums_a_hectare_and_year_by_hand():
    measurements, places = harrow_fen()
    table = biomass_summary(stem_biomass(stem_census(measurements), SET, LEVEL), places)
    rows = table[table["plot"] == "K2"].reset_index(drop=True)

    def tonnes(*sizes):
        mass = sum(math.exp(-2.0127 + 2.4342 * math.log(d)) for d in sizes)
        return mass * 0.47 / 1000 / 0.05

    assert rows["carbon_t_ha"].tolist() == near(
        [tonnes(25.4, 31.0), tonnes(27.0, 31.9), tonnes(28.1)]
    )
    years = 1826 / 365.25
    change = (tonnes(27.0, 31.9) - tonnes(25.4, 31.0)) / years
    assert rows["carbon_t_ha_year"][1] == near(change)
    assert rows["co2_t_ha_year"][1] == near(change * 44 / 12)
    assert math.isnan(rows["carbon_t_ha_year"][0])


def test_carbon_components_add_up():
    measurements, _ = harrow_fen()
    table = carbon_components(stem_biomass(stem_census(measurements), SET, LEVEL))
    assert len(table) == 4
    adds_up(table)


def test_taper():
    """1 % over 7 cm: 30 cm at 1.30 m is 29.7 at 1.37 m, and back in proportion."""
    assert at_height([30.0], [1.30], 1.37, Taper(1.0)) == near([29.7])
    assert at_height([30.0], [1.37], 1.37, Taper(1.0)) == near([30.0])
    assert at_height([30.0, 30.0], [3.0, np.nan], 1.37, Taper(1.0)) == near([30.0, 30.0])
    shown = effect(one(), 1.37, Taper(1.0)).iloc[0]
    assert shown["change_percent"] == near(100 * (0.99**2 - 1))
    assert "assumption" in Taper().told
    with pytest.raises(OperatorError):
        Taper(50)


def test_published_error_is_the_one_the_checks_use():
    for millimetres in (100, 300, 900):
        ours = PUBLISHED.sd_cm(np.array([millimetres / 10]))[0] * 10
        assert ours == near(float(measurement_sd_mm(millimetres)))


def test_error_from_repeats():
    """Duplicates differing by d each: deviation d / sqrt 2."""
    pairs = pd.DataFrame({"difference_cm": [0.2, -0.2] * 6})
    assert from_repeats(pairs).constant_cm == near(0.2 / math.sqrt(2))
    assert from_repeats(pairs.head(9)) is PUBLISHED


def simulated(rng, plot_count, trees, *, rounding, graduation, gives):
    """Surveys whose truth is known: true diameters and masses; readings with error, rounded.

    Two censuses; a tree keeps its residual, and its error is drawn anew.
    """
    pine = SET.equations["pine"]
    shape = (plot_count, trees)
    true_1 = rng.uniform(12, 60, shape)
    true_2 = true_1 + rng.uniform(0.5, 3, shape)
    middle = -0.5 * pine.residual_ln**2 if gives == "mean" else 0.0
    residual = middle + pine.residual_ln * rng.standard_normal(shape)
    frames, truths = [], []
    for census, true in ((2015, true_1), (2020, true_2)):
        truths.append((mass_kg(true, pine.b0, pine.b1) * np.exp(residual)).sum(axis=1))
        read = (true + PUBLISHED.sd_cm(true) * rng.standard_normal(shape)) / graduation
        steps = np.floor(read + 0.5) if rounding == "nearest" else np.floor(read)
        frames.append(
            pd.DataFrame(
                {
                    "plot": np.repeat([f"{at:04d}" for at in range(plot_count)], trees),
                    "census": census,
                    "stem_code": np.arange(plot_count * trees),
                    "basis_cm": (steps * graduation).ravel(),
                    "b0": pine.b0,
                    "b1": pine.b1,
                    "residual_ln": pine.residual_ln,
                }
            )
        )
    rows = pd.concat(frames, ignore_index=True)
    mass = mass_kg(rows["basis_cm"], pine.b0, pine.b1)
    return rows.assign(mass_kg=mass, carbon_kg=mass * 0.5), truths


@pytest.mark.parametrize(
    ("rounding", "graduation", "gives"),
    [("nearest", 0.1, "mean"), ("down", 0.254, "median"), ("nearest", 2.54, "mean")],
)
def test_intervals_cover_the_truth(rounding, graduation, gives):
    """95 % intervals of stock and change hold the truth in 93 to 97 % of 1,000 plots."""
    rng = np.random.default_rng(20)
    settings = Draws(
        draws=600, stream=3, rounding=rounding, graduation_cm=graduation, equation_gives=gives
    )
    held_stock = held_change = 0
    for _ in range(20):  # 20 batches of 50 plots
        trees, (first, second) = simulated(
            rng, 50, 40, rounding=rounding, graduation=graduation, gives=gives
        )
        places = plots(*((name, 0.1, "cm", "") for name in sorted(set(trees["plot"]))))
        table = carbon_intervals(trees, places, 0.5, settings)
        stock = table[table["census"] == 2015]
        change = table[table["census"] == 2020]
        held_stock += int(((stock["low_kg"] <= first / 2) & (first / 2 <= stock["high_kg"])).sum())
        grown = (second - first) / 2
        inside = (change["change_low_kg"] <= grown) & (grown <= change["change_high_kg"])
        held_change += int(inside.sum())
    assert 930 <= held_stock <= 970
    assert 930 <= held_change <= 970


def test_the_same_number_draws_the_same_interval():
    measurements, places = harrow_fen()
    trees = stem_biomass(stem_census(measurements), SET)
    first = carbon_intervals(trees, places, 0.47, Draws(draws=200, stream=5))
    again = carbon_intervals(trees, places, 0.47, Draws(draws=200, stream=5))
    other = carbon_intervals(trees, places, 0.47, Draws(draws=200, stream=6))
    pd.testing.assert_frame_equal(first, again)
    assert (first["low_kg"] != other["low_kg"]).all()
    assert (first["low_kg"] < first["high_kg"]).all()
    assert first["change_kg"].isna().tolist() == [True, False, False] * 2


def test_each_row_is_drawn_by_its_own_rounding():
    """Rounded down, the truth lies half a graduation higher on average: plain arithmetic."""
    rng = np.random.default_rng(1)
    trees, _ = simulated(rng, 2, 40, rounding="nearest", graduation=0.1, gives="mean")
    down = trees["plot"] == trees["plot"].iloc[0]
    mixed = trees.assign(rounding=np.where(down, "down", "nearest"))
    nearest, floor = Draws(draws=200), Draws(draws=200, rounding="down")
    groups, got = mass_draws(mixed, nearest)
    is_down = (groups["plot"] == trees["plot"].iloc[0]).to_numpy()
    assert np.array_equal(got[:, is_down], mass_draws(trees, floor)[1][:, is_down])
    assert np.array_equal(got[:, ~is_down], mass_draws(trees, nearest)[1][:, ~is_down])
    assert not np.array_equal(got[:, is_down], mass_draws(trees, nearest)[1][:, is_down])


def test_the_report_takes_each_plots_rounding():
    measurements, places = harrow_fen()
    told = np.where(measurements["date"] > "2024", "nearest", "")
    told = np.where((measurements["plot"] == "K1") & (told != ""), "down", told)
    told[measurements["plot"] == "K2"] = ""
    settings = ReportSettings(draws=Draws(draws=100))
    stems = analyse(measurements.assign(rounding=told), places, settings).tables["carbon"]
    assert len(stems)
    trees = stem_biomass(stem_census(measurements.assign(rounding=told)), SET)
    found = roundings(trees, "nearest")
    assert set(found[trees["plot"] == "K1"]) == {"down"}  # earlier rows: as the plot's newest
    assert set(found[trees["plot"] == "K2"]) == {"nearest"}


def test_draws_centre_on_the_equation_where_it_gives_the_mean():
    rng = np.random.default_rng(1)
    trees, _ = simulated(rng, 3, 60, rounding="nearest", graduation=0.1, gives="mean")
    groups, draws = mass_draws(trees, Draws(draws=4000))
    expected = trees.groupby(["plot", "census"])["mass_kg"].sum().to_numpy()
    assert draws.mean(axis=0) == near(expected, rel=0.01)
    assert len(groups) == 6


@pytest.mark.parametrize("wrong", [{"draws": 5}, {"level": 1.0}, {"graduation_cm": -1}])
def test_settings_that_draw_nothing_are_refused(wrong):
    with pytest.raises(OperatorError):
        Draws(**wrong)
