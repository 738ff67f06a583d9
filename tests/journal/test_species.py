"""The species table that ships, and a survey's own."""

from __future__ import annotations

import tomllib
from decimal import Decimal

import pytest

from callout.core.errors import OperatorError
from callout.reports.stand.mass.equation_set import DEFAULT_SET
from callout.survey.species_table import SHIPPED, parse_species, read_species, species_of


def test_the_table_that_ships():
    """Sizes as printed in FHWA-RD-97-028, table 2, upper end of the range, in metres."""
    by_name = {one.common: one for one in read_species(SHIPPED)}
    printed = {"beech": "0.9", "red oak": "1.2", "yellow birch": "0.6", "western red cedar": "2.4"}
    for name, metres in printed.items():
        assert by_name[name].largest_cm == Decimal(metres) * 100
    assert by_name["Douglas-fir"].largest_cm is None, "the table has a dash there"
    assert all(one.source and one.group for one in by_name.values())


def test_its_groups_are_those_of_the_biomass_equations():
    known = tomllib.loads(DEFAULT_SET.read_text(encoding="utf-8"))["equations"]
    assert {one.group for one in read_species(SHIPPED)} <= set(known)


def test_a_survey_s_own_table_replaces_it(tmp_path):
    assert species_of(tmp_path) == read_species(SHIPPED)
    (tmp_path / "species.csv").write_text("scientific,common\nFagus sylvatica,beech\n")
    (only,) = species_of(tmp_path)
    assert (only.scientific, only.largest_cm) == ("Fagus sylvatica", None)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "no column 'scientific'"),
        ("scientific\n", "names no species"),
        ("scientific,colour\nA b,red\n", "unknown column 'colour'"),
        ("scientific,common\n,beech\n", "line 2: no scientific name"),
        ("scientific,largest_cm\nA b,big\n", "line 2: 'big' is not a number"),
        ("scientific,largest_cm\nA b,0\n", "must be above zero"),
        ("scientific,common\nA b\n", "not as many cells"),
        ("scientific,common\nA b,oak,x\n", "not as many cells"),
        ("scientific,common\nA b,oak\nC d,Oak\n", "line 3: 'oak' is A b too"),
        ('scientific\n"A b', "not CSV"),
    ],
)
def test_refused(text, told):
    with pytest.raises(OperatorError, match=told):
        parse_species(text, "species.csv")


def test_not_utf_8(tmp_path):
    (tmp_path / "species.csv").write_bytes(b"scientific\n\xff\n")
    with pytest.raises(OperatorError, match="not UTF-8"):
        species_of(tmp_path)
