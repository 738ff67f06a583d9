"""Biomass and carbon at published coefficients, taper, and the coverage of intervals."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from stand_frames import frame, harrow_fen, measurement, plot_history, plots
from test_change import adds_up

from callout.core.checking.checks import measurement_sd_mm
from callout.core.errors import OperatorError
from callout.core.units import Unit
from callout.reports.stand.census import stem_census
from callout.reports.stand.corrected import corrected
from callout.reports.stand.history import PlotFacts
from callout.reports.stand.mass.biomass import (
    CarbonSettings,
    biomass_summary,
    carbon_components,
    mass_kg,
    stem_biomass,
)
from callout.reports.stand.mass.equation_set import read_equations
from callout.reports.stand.mass.mass_variance import PARTS, Draws
from callout.reports.stand.mass.reading_errors import PUBLISHED, from_repeats
from callout.reports.stand.mass.uncertainty import carbon_intervals, carbon_parts, mass_draws
from callout.reports.stand.taper import Taper, at_height, effect
from callout.station.data import data_folder
from callout.survey.roster import read_roster
from callout.survey.species_table import species_of

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
    """0.47 as IPCC 2006, 0.5 as round figure; 44/12; plain arithmetic."""
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
    """The table that ships; its groups are those of the equations."""
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
    table = biomass_summary(stem_biomass(stem_census(measurements), SET, LEVEL), PlotFacts(places))
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


def pairs_apart(rng, count, scale, share, size=30.0):
    """Pairs of one true size: small errors of ``scale`` times the published, large by ``share``."""
    shape = (count, 2)
    far = rng.random(shape) < share
    sd = np.where(far, 4.64, scale * PUBLISHED.sd_cm(np.array(size)))
    first, second = (size + sd * rng.standard_normal(shape)).T
    return pd.DataFrame({"first_cm": first, "second_cm": second, "difference_cm": second - first})


def test_errors_come_from_pairs_as_far_as_they_go():
    """Invented: many pairs tell their own errors, few stay near the published ones."""
    rng = np.random.default_rng(4)
    many = from_repeats(pairs_apart(rng, 4000, 2.0, 0.10))
    assert many.constant_cm == near(2 * PUBLISHED.constant_cm, rel=0.05)
    assert many.large_share == near(0.10, abs=0.015)
    assert many.large_cm == near(4.64, rel=0.08)
    assert "4000 stems" in many.source
    few = from_repeats(pairs_apart(rng, 4, 1.0, 0.0))
    assert 0.5 < few.constant_cm / PUBLISHED.constant_cm < 1.5
    assert few.large_share == near(0.05, abs=0.015)
    clean = from_repeats(pairs_apart(rng, 400, 1.0, 0.0))
    assert clean.large_share < 0.006
    assert from_repeats(pairs_apart(rng, 0, 1.0, 0.0)) is PUBLISHED


def simulated(rng, plot_count, trees, settings, *, rounding, graduation):
    """Surveys whose truth is known: true diameters and masses; readings with error, rounded.

    Two censuses; a tree keeps its residual, a plot's equation its departure; errors are drawn anew.
    Truths by census: whole, and what the equation gives of the true diameters.
    """
    pine = SET.equations["pine"]
    shape = (plot_count, trees)
    true_1 = rng.uniform(12, 60, shape)
    true_2 = true_1 + rng.uniform(0.5, 3, shape)
    shared = np.sqrt(settings.equation_share) * pine.residual_ln
    own = np.sqrt(1 - settings.equation_share) * pine.residual_ln
    residual = own * rng.standard_normal(shape) + shared * rng.standard_normal((plot_count, 1))
    if settings.equation_gives == "mean":
        residual -= 0.5 * pine.residual_ln**2
    middle = np.exp(0.5 * pine.residual_ln**2) if settings.equation_gives == "median" else 1.0
    frames, truths = [], []
    for census, true in ((2015, true_1), (2020, true_2)):
        by_equation = mass_kg(true, pine.b0, pine.b1)
        whole = (by_equation * np.exp(residual)).sum(axis=1)
        truths.append({"": whole, "measuring_": middle * by_equation.sum(axis=1)})
        far = rng.random(shape) < settings.error.large_share
        sd = np.where(far, settings.error.large_sd_cm(true), settings.error.sd_cm(true))
        crew = settings.error.crew_cm * rng.standard_normal((plot_count, 1))
        read = (true + crew + sd * rng.standard_normal(shape)) / graduation
        steps = np.floor(read + 0.5) if rounding == "nearest" else np.floor(read)
        frames.append(
            pd.DataFrame(
                {
                    "plot": np.repeat([f"{at:04d}" for at in range(plot_count)], trees),
                    "tag": np.tile(np.arange(trees).astype(str), plot_count),
                    "stem": "",
                    "species": "Pinus strobus",
                    "date": pd.Timestamp(f"{census}-07-01"),
                    "value": None,
                    "unit": "cm",
                    "diameter_cm": np.maximum(steps, 1).ravel() * graduation,
                    "status": "live",
                    "measured_height_m": 1.37,
                    "source": "callout",
                    "graduation": str(graduation),
                    "rounding": rounding,
                }
            )
        )
    rows = pd.concat(frames, ignore_index=True)
    names = sorted(set(rows["plot"]))
    facts = PlotFacts(plots(*((name, 0.1, "cm", "") for name in names)))
    stems = stem_census(corrected(rows, facts))
    return stem_biomass(stems, SET, CarbonSettings(0.5)), facts, truths


@pytest.mark.parametrize(
    ("rounding", "graduation", "gives", "trees"),
    [
        ("nearest", 0.1, "mean", 40), ("down", 0.254, "median", 40), ("nearest", 2.54, "mean", 40),
        ("down", 2.54, "mean", 8),
    ],
)  # fmt: skip
def test_intervals_cover_the_truth(rounding, graduation, gives, trees):
    """95 % intervals of stock and change hold the truth in 93 to 97 % of 1,000 plots.

    Those of measuring alone hold what the equations give of the true diameters.
    """
    rng = np.random.default_rng(20)
    settings = Draws(draws=1000, stream=3, equation_gives=gives)
    rows, facts, (first, second) = simulated(
        rng, 1000, trees, settings, rounding=rounding, graduation=graduation
    )
    table = carbon_intervals(rows, facts, 0.5, settings)
    stock = table[table["census"] == 2015]
    change = table[table["census"] == 2020]
    for kind in ("", "measuring_"):
        true, grown = first[kind] / 2, (second[kind] - first[kind]) / 2
        held = (stock[f"{kind}low_kg"] <= true) & (true <= stock[f"{kind}high_kg"])
        assert 930 <= held.sum() <= 970
        low, high = change[f"change_{kind}low_kg"], change[f"change_{kind}high_kg"]
        assert 930 <= ((low <= grown) & (grown <= high)).sum() <= 970


def test_sums_of_variances_are_those_of_trees_drawn_one_by_one():
    """The same plots by brute force: each tree's errors drawn, 20,000 times."""
    rng = np.random.default_rng(8)
    settings = Draws(draws=20_000)
    rows, _, _ = simulated(rng, 1, 12, settings, rounding="nearest", graduation=0.1)
    first = rows[rows["census"] == 2015]
    size, pine = first["basis_cm"].to_numpy(), SET.equations["pine"]
    shape = (settings.draws, len(size))
    far = rng.random(shape) < settings.error.large_share
    sd = np.where(far, settings.error.large_sd_cm(size), settings.error.sd_cm(size))
    drawn = size + sd * rng.standard_normal(shape) + (rng.random(shape) - 0.5) * 0.1
    drawn += settings.error.crew_cm * rng.standard_normal((settings.draws, 1))
    ln = pine.residual_ln
    tree = math.sqrt(1 - settings.equation_share) * ln * rng.standard_normal(shape)
    group = math.sqrt(settings.equation_share) * ln * rng.standard_normal((settings.draws, 1))
    mass = mass_kg(drawn, pine.b0, pine.b1) * np.exp(tree + group - ln**2 / 2)
    groups, ours = mass_draws(rows, settings)
    assert groups["census"].tolist() == [2015, 2020]
    for share in (0.025, 0.5, 0.975):
        assert np.quantile(ours[:, 0], share) == near(
            np.quantile(mass.sum(axis=1), share), rel=0.02
        )


def test_the_parts_add_up_and_a_crew_is_one_error():
    rng = np.random.default_rng(8)
    settings = Draws()
    rows, _, _ = simulated(rng, 1, 30, settings, rounding="nearest", graduation=0.1)
    parts = carbon_parts(rows, settings)
    assert parts[list(PARTS)].sum(axis=1).tolist() == near([1.0, 1.0])
    one = carbon_parts(rows.assign(who="R.V."), settings)["crew"]
    crews = np.where(rows["stem_code"] % 2, "R.V.", "K.L.")
    two = carbon_parts(rows.assign(who=crews), settings)["crew"]
    assert one.tolist() == near(parts["crew"].tolist())
    assert two[0] < 0.7 * one[0]  # two crews' offsets cancel in part


def test_the_same_number_draws_the_same_interval():
    measurements, places = harrow_fen()
    trees = stem_biomass(stem_census(measurements), SET)
    first = carbon_intervals(trees, PlotFacts(places), 0.47, Draws(draws=200, stream=5))
    again = carbon_intervals(trees, PlotFacts(places), 0.47, Draws(draws=200, stream=5))
    other = carbon_intervals(trees, PlotFacts(places), 0.47, Draws(draws=200, stream=6))
    pd.testing.assert_frame_equal(first, again)
    assert (first["low_kg"] != other["low_kg"]).all()
    assert (first["low_kg"] < first["high_kg"]).all()
    assert first["change_kg"].isna().tolist() == [True, False, False] * 2


def test_rounding_down_is_put_right_by_the_row_the_day_and_the_plot():
    """Half a graduation is added to what was rounded down: plain arithmetic."""
    day = "2018-07-01"
    rows = frame(
        measurement(1, "2015-07-01", "20.0", "in", plot="K1"),
        measurement(1, "2020-07-01", "20.0", "in", plot="K1"),
        measurement(2, "2015-07-01", "20.0", "in", plot="K1", rounding="nearest", graduation="1"),
        measurement(1, "2015-07-01", "20.0", plot="K2"),
        measurement(1, "2020-07-01", "20.0", plot="K2", rounding="down", graduation="0.2"),
        measurement(3, "2020-07-01", "20.0", plot="K3", raw_unit="cm girth", rounding="down"),
    )
    rows[["rounding", "graduation", "raw_unit"]] = rows[
        ["rounding", "graduation", "raw_unit"]
    ].fillna("")
    history = plot_history(("K1", "2000-01-01", {"rounding": "down", "graduation": "0.2"}),
                           ("K1", day, {"rounding": "nearest", "graduation": "0.1"}))  # fmt: skip
    places = plots(("K1", 0.1, "in", ""), ("K2", 0.1, "cm", ""), ("K3", 0.1, "cm", ""))
    got = corrected(rows, PlotFacts(places, history))
    shift = got["diameter_cm"] - rows["diameter_cm"]
    assert shift.tolist() == near([0.254, 0, 0, 0.1, 0.1, 0.05 / math.pi])
    assert got["step_cm"].tolist()[:3] == near([0.508, 0.254, 2.54])


def test_a_tape_that_reads_too_much_is_put_right_by_the_day():
    rows = frame(measurement(1, "2015-07-01", "20.0"), measurement(1, "2020-07-01", "20.0"))
    history = plot_history(("K2", "2018-01-01", {"tape_offset": "0.3"}))
    got = corrected(rows, PlotFacts(plots(("K2", 0.1, "cm", "")), history))["diameter_cm"]
    assert got.tolist() == near([20.0, 19.7])


def test_draws_centre_on_the_equation_where_it_gives_the_mean():
    rng = np.random.default_rng(1)
    settings = Draws(draws=4000)
    trees, _, _ = simulated(rng, 3, 60, settings, rounding="nearest", graduation=0.1)
    groups, draws = mass_draws(trees, settings)
    expected = trees.groupby(["plot", "census"])["mass_kg"].sum().to_numpy()
    assert draws.mean(axis=0) == near(expected, rel=0.01)
    assert len(groups) == 6


@pytest.mark.parametrize(
    "wrong", [{"draws": 5}, {"level": 1.0}, {"graduation_cm": -1}, {"equation_share": 2}]
)
def test_settings_that_draw_nothing_are_refused(wrong):
    with pytest.raises(OperatorError):
        Draws(**wrong)
