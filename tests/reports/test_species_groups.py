"""Which biomass equation serves which species, and what is refused.

Groups as in the national reference species table (column of Jenkins and others' groups), of which a
public copy was read whole in 2026 (file REF_SPECIES.csv of a package of forest analyses; its rows
below number 1000): its rows by number, one string a group, those that no string names being of the
mixed hardwoods.
"""

from __future__ import annotations

from collections import Counter

import pytest
from stand_frames import frame, measurement, plots

from callout.reports.pages.analysis import ReportSettings, analyse
from callout.reports.stand.census import stem_census
from callout.reports.stand.history import PlotFacts
from callout.reports.stand.mass.biomass import CarbonSettings, biomass_summary, stem_biomass
from callout.reports.stand.mass.equation_set import read_equations
from callout.reports.stand.mass.mass_variance import Draws
from callout.reports.stand.taper import Taper
from callout.survey.species_table import reference_species

SET = read_equations().knowing(reference_species())
LEVEL = CarbonSettings(taper=Taper(0.0))
WOODLAND = "juniper, oak, mesquite (woodland)"
# Numbers of the reference table, ranges inclusive. Number 57 is the bare genus Juniperus.
READ = {
    "cedar, larch": "40-43 50-56 64 67 68 70-75 81 211 212 220-223 240-242",
    "Douglas-fir": "200-202",
    "true fir, hemlock": "10-12 14-22 230-232 250-252 260-264",
    "pine": "100-105 107-132 135-137 139 142 144",
    "spruce": "90-98",
    WOODLAND: "58-63 65 66 69 106 133 134 138 140 141 143 303 304 321 322 363 475 522 523 "
    "755-758 803 810 814 829 843 846 847 867 902 990",
    "aspen, alder, cottonwood, willow": "350-353 355 740-749 752 753 920-929",
    "soft maple, birch": "310-313 315-317 319 320 370-379",
    "hard maple, oak, hickory, beech": "314 318 400-413 531 800-802 804-809 811-813 815-828 "
    "830-842 844 845 851",
}
# Read there too, and not in our list of names.
FURTHER = {
    "cedar, larch": ["Juniperus chinensis", "Juniperus bermudiana", "Taxus baccata"],
    "pine": ["Araucaria heterophylla", "Cryptomeria", "Platycladus orientalis"],
    WOODLAND: [
        "Lagerstroemia indica", "Arbutus xalapensis", "Diospyros texana", "Ehretia anacua",
        "Condalia hookeri", "Acacia greggii",
    ],
    "soft maple, birch": ["Acer pseudoplatanus", "Acer circinatum", "Acer x freemanii"],
    "hard maple, oak, hickory, beech": ["Fagus sylvatica", "Quercus robur", "Quercus turbinella"],
    "mixed hardwood": [
        "Acer palmatum", "Acer ginnala", "Quercus suber", "Aesculus hippocastanum",
        "Prosopis juliflora", "Platanus orientalis", "Ulmus procera", "Rhus typhina",
        "Acacia koa", "Diospyros virginiana", "Arbutus menziesii",
    ],
    "aspen, alder, cottonwood, willow": ["Alnus incana", "Populus x canadensis"],
}  # fmt: skip


def numbers(text):
    for part in text.split():
        first, _, last = part.partition("-")
        yield from range(int(first), int(last or first) + 1)


def test_no_species_of_the_reference_table_is_in_a_wrong_group():
    read = {str(number): group for group, text in READ.items() for number in numbers(text)}
    wrong = []
    for one in reference_species():
        group = read.get(one.number, "mixed hardwood")
        for name in (one.scientific, one.common, one.code, *one.synonyms, one.number):
            if SET.group_of(name) != group:
                wrong.append((one.number, name, SET.group_of(name)))
    for group, names in FURTHER.items():
        wrong += [(name, SET.group_of(name)) for name in names if SET.group_of(name) != group]
    assert wrong == []
    assert len(reference_species()) >= 350


def test_each_name_of_the_list_is_of_one_tree():
    """The table calls Celtis occidentalis hackberry, the genus "hackberry spp."."""
    names = [name for one in reference_species() for name in set(one.names)]
    assert [name for name, count in Counter(names).items() if count > 1] == []
    by_name = {name: one.scientific for one in reference_species() for name in one.names}
    assert by_name["hackberry"] == "Celtis occidentalis"
    assert by_name["caal27"] == by_name["cato6"] == "Carya tomentosa"


def test_every_name_of_the_list_has_a_group():
    assert [one.scientific for one in reference_species() if not SET.group_of(one.scientific)] == []


@pytest.mark.parametrize(
    "name",
    [
        "Juniperus",  # some at breast height, some at the root collar
        "Acacia",  # likewise
        "juniper",
        "Metasequoia glyptostroboides",
        "yggdrasil",
        "",
        "ash juniper",  # whose first word is another tree's whole name
        "hickory pine",
    ],
)
def test_what_has_no_group(name):
    assert SET.group_of(name) == ""


@pytest.mark.parametrize(
    ("name", "as_is"),
    [
        ("Quercus rubra L.", "Quercus rubra"),
        ("Acer \N{MULTIPLICATION SIGN} freemanii", "Acer rubrum"),
        ("juniperus  virginiana var. creba", "Juniperus virginiana"),
        ("Carya sp.", "Carya"),
    ],
)
def test_authors_varieties_and_hybrids(name, as_is):
    assert SET.group_of(name) == SET.group_of(as_is) != ""


def mass(species, height):
    rows = frame(measurement(1, "2024-06-01", "30.0", species=species, measured_height_m=height))
    return stem_biomass(stem_census(rows), SET, LEVEL).iloc[0]


def test_redcedar_and_western_juniper_are_cedars():
    """284.40 kg at 30 cm (plain arithmetic), not the woodland group's 160.24 (44 % less)."""
    for species in ("Juniperus virginiana", "Juniperus occidentalis"):
        assert mass(species, 1.37)["mass_kg"] == pytest.approx(284.40, abs=0.006)


@pytest.mark.parametrize("height", [1.30, 1.37, float("nan")])
def test_a_woodland_species_at_breast_height_gets_no_mass(height):
    """Its equation is for the diameter at the root collar (reference table: woodland species)."""
    for species in ("Pinus edulis", "Quercus gambelii", "Juniperus osteosperma", "honey mesquite"):
        tree = mass(species, height)
        assert (tree["note"], tree["mass_kg"] == tree["mass_kg"]) == ("another height", False)
        assert mass(species, 0.1)["mass_kg"] == pytest.approx(160.24, abs=0.006)


def test_any_other_tree_at_the_root_collar_gets_none():
    assert mass("Quercus rubra", 0.1)["note"] == "another height"
    assert mass("Quercus rubra", 2.0)["note"] == ""


def test_what_is_left_out_is_listed_with_what_it_would_change():
    """One oak of 30 cm, one pinyon of 20 cm at breast height, one unknown of 10 cm (invented)."""
    rows = frame(
        measurement(1, "2024-06-01", "30.0"),
        measurement(2, "2024-06-01", "20.0", species="Pinus edulis"),
        measurement(3, "2024-06-01", "10.0", species="yggdrasil"),
    )
    settings = ReportSettings(equations=SET, draws=Draws(draws=100), carbon=LEVEL)
    analysis = analyse(rows, plots(("K2", 0.1, "cm", "")), settings)
    gaps = analysis.tables["species_gaps"].set_index("species")
    assert gaps.loc["Pinus edulis", "basal_area_percent"] == pytest.approx(100 * 400 / 1400)
    assert gaps.loc["yggdrasil", "basal_area_percent"] == pytest.approx(100 * 100 / 1400)
    assert "the root collar" in gaps.loc["Pinus edulis", "why"]
    # exp(-2.0336 + 2.2592 ln 20) and exp(-2.0127 + 2.4342 ln 20), times 0.47: plain arithmetic
    assert gaps.loc["Pinus edulis", "carbon_low_kg"] == pytest.approx(53.48, abs=0.01)
    assert gaps.loc["Pinus edulis", "carbon_high_kg"] == pytest.approx(92.25, abs=0.01)
    told = [caution for caution in analysis.cautions if "left out of carbon" in caution]
    assert len(told) == 2 and any("root collar" in caution for caution in told)
    trees = stem_biomass(stem_census(rows), SET, LEVEL)
    (row,) = biomass_summary(trees, PlotFacts(plots(("K2", 0.1, "cm", "")))).to_dict("records")
    assert (row["no_equation"], row["another_height"]) == (1, 1)
    assert row["mass_kg"] == pytest.approx(526.63, abs=0.006)  # the oak alone
