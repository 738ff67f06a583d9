"""Tables of others: what is proposed, what is asked, what is refused; hostile ones never crash."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pandas as pd
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from callout.core.errors import OperatorError
from callout.reports.exchange.taken.importing import import_table
from callout.reports.exchange.taken.mapping import (
    Diameter,
    TableMapping,
    mapping_text,
    propose,
    read_mapping,
)
from callout.reports.stand.census import stem_census
from callout.survey.days import read_day
from callout.survey.sheets import parse_sheet, read_sheet

# Invented, in a form that offices use: wide, semicolons, decimal commas, a year in each name.
WIDE = """Plot;Tree no;Species;DBH_cm_2015;DBH_cm_2020
K2;1;Quercus rubra;25,4;27,0
K2;2;Quercus rubra;31,0;
K2;3;Acer rubrum;12,x;13,1
K2;;Acer rubrum;12,0;13,1
K2;5;Acer rubrum;;
K2;1;Quercus rubra;25,4;27,0
K2;6;Acer rubrum;10.5;11,0
"""
LONG = """plot,tag,species,date,dbh (in),status
K1,7,Pinus strobus,6/30/2024,12.4,alive
K1,8,Pinus strobus,6/14/2024,,standing dead
K1,9,Pinus strobus,13/6/2024,9.9,alive
K1,10,Pinus strobus,6/14/2024,8.1,asleep
K1,11,Pinus strobus,6/14/2024,8.1
"""


def table(text, name="trees.csv"):
    return parse_sheet(text.encode("utf-8"), name)


def test_a_wide_table_with_decimal_commas():
    mapping = propose(table(WIDE))
    assert mapping.decimal == ","
    assert mapping.columns == {"plot": "Plot", "tag": "Tree no", "species": "Species"}
    assert [(item.unit, item.date) for item in mapping.diameters] == [
        ("cm", "2015"),
        ("cm", "2020"),
    ]
    assert mapping.open_questions() == ["year_day: which day, as 07-01, stands for a bare year?"]
    frame, refused = import_table(table(WIDE), replace(mapping, year_day="07-01"))
    assert frame["value"].tolist() == [Decimal("25.4"), Decimal("27.0"), Decimal("31.0")]
    assert [str(item) for item in frame["value"]] == ["25.4", "27.0", "31.0"]
    assert frame["date"].dt.year.tolist() == [2015, 2020, 2015]
    assert [(item.line, item.text) for item in refused] == [
        (4, "12,x"), (5, ""), (6, ""), (7, "K2 1 "), (8, "10.5"),
    ]  # fmt: skip
    assert "same stem and day as in line 2" in refused[3].why
    assert len(stem_census(frame)) == 3  # the frame is one that the computations take


def test_a_wide_row_tells_the_state_of_its_last_visit():
    """Invented: dead by 2020, measured alive in 2015; cut and without any diameter; live."""
    text = (
        "plot,tag,dbh_cm_2015,dbh_cm_2020,status\n"
        "K2,1,25.4,,dead standing\nK2,2,,,cut\nK2,3,31.0,31.5,dead standing\nK2,4,20.1,,live\n"
    )
    mapping = replace(propose(table(text)), year_day="07-01")
    frame, refused = import_table(table(text), mapping)
    assert refused == ()
    told = [(row.tag, row.date.year, str(row.value), row.status) for row in frame.itertuples()]
    assert told == [
        ("1", 2015, "25.4", "live"), ("1", 2020, "None", "dead standing"),
        ("2", 2020, "None", "cut"),
        ("3", 2015, "31.0", "live"), ("3", 2020, "31.5", "dead standing"),
        ("4", 2015, "20.1", "live"),
    ]  # fmt: skip


def test_inches_and_centimetres_side_by_side():
    """One column for each unit, one day a row; a state without a size takes its plot's unit."""
    text = (
        "plot,tag,date,dbh in,dbh cm,status\nK1,1,2021-07-01,9.6,,live\n"
        "K1,2,2021-07-01,,,cut\nK2,1,2021-07-01,,30.1,live\nK2,2,2021-07-01,,,dead down\n"
        "K2,3,2021-07-01,,,live\n"
    )
    frame, refused = import_table(table(text), propose(table(text)))
    told = [(row.plot, row.tag, row.unit, row.status) for row in frame.itertuples()]
    assert told == [
        ("K1", "1", "in", "live"), ("K1", "2", "in", "cut"),
        ("K2", "1", "cm", "live"), ("K2", "2", "cm", "dead down"),
    ]  # fmt: skip
    assert [(item.line, item.why) for item in refused] == [(6, "a live stem without any diameter")]


def test_each_row_may_tell_its_own_unit():
    """As our own roster does; a unit that is none, or missing, refuses the row."""
    text = (
        "plot,tag,date,dbh,unit\nK1,1,2021-07-01,10.0,in\nK1,2,2021-07-01,25.4,cm\n"
        "K1,3,2021-07-01,254,MM\nK1,4,2021-07-01,25.4,\nK1,5,2021-07-01,25.4,ft\n"
        "K1,6,2021-07-01,25.4,rods\nK1,7,2021-07-01,10,inches\n"
    )
    mapping = propose(table(text))
    assert mapping.diameters == (Diameter("dbh", "?", date_column="date", unit_column="unit"),)
    assert mapping.open_questions() == []
    assert read_mapping(mapping_text(mapping)) == mapping
    frame, refused = import_table(table(text), mapping)
    assert [(row.tag, str(row.value), row.unit) for row in frame.itertuples()] == [
        ("1", "10.0", "in"), ("2", "25.4", "cm"), ("3", "25.4", "cm"), ("7", "10", "in"),
    ]  # fmt: skip
    assert [(item.line, item.text) for item in refused] == [(5, ""), (6, "ft"), (7, "rods")]
    usual = replace(mapping, diameters=(replace(mapping.diameters[0], unit="cm"),))
    frame, refused = import_table(table(text), usual)
    assert [item.line for item in refused] == [6, 7]


def test_a_long_table_in_inches():
    mapping = propose(table(LONG))
    assert mapping.date_order == "?"  # both 6/30 and 13/6 are there: no one order
    assert mapping.diameters == (Diameter("dbh (in)", "in", date_column="date"),)
    assert mapping.statuses == {"alive": "live", "standing dead": "dead standing", "asleep": "?"}
    with pytest.raises(OperatorError, match="not finished: date_order"):
        import_table(table(LONG), mapping)
    statuses = {"alive": "live", "standing dead": "dead standing"}
    frame, refused = import_table(
        table(LONG), replace(mapping, date_order="m-d-y", statuses=statuses)
    )
    assert frame["status"].tolist() == ["live", "dead standing"]
    assert frame["date"].tolist() == [pd.Timestamp("2024-06-30"), pd.Timestamp("2024-06-14")]
    assert [(item.line, item.column) for item in refused] == [(4, "date"), (5, "status"), (6, "")]


@pytest.mark.parametrize(
    ("dates", "order"),
    [
        (["2024-06-30"], "y-m-d"),
        (["30.06.2024", "01.02.2024"], "d-m-y"),
        (["06/30/2024", "01/02/2024"], "m-d-y"),
        (["01/02/2024"], "?"),
    ],
)
def test_order_of_dates_is_told_only_where_it_shows(dates, order):
    text = "tag,date,dbh cm\n" + "".join(f"{at},{day},10\n" for at, day in enumerate(dates))
    assert propose(table(text)).date_order == order


@pytest.mark.parametrize(
    ("text", "order"),
    [
        ("2024-06-30", "y-m-d"), ("2024/6/30", "y-m-d"), ("30.6.2024", "d-m-y"),
        ("6/30/2024", "m-d-y"), ("30 June 2024", "y-m-d"), ("30-Jun-2024", "y-m-d"),
        ("20240630", "y-m-d"), ("2024-06-30T10:11:12", "y-m-d"), ("2024", "y-m-d"),
    ],
)  # fmt: skip
def test_usual_forms_of_dates(text, order):
    assert read_day(text, order, "06-30") == date(2024, 6, 30)


@pytest.mark.parametrize(
    "text", ["", "30.6.24", "2024-02-30", "31.31.2024", "June", "0001-01-01", "٢٠٢٤-٠٦-٣٠x", "2024"]
)
def test_no_date_is_made_up(text):
    with pytest.raises(ValueError, match=r"\w"):
        read_day(text, "d-m-y")


def test_girths_and_millimetres_against_pint():
    units = pint.UnitRegistry()
    text = "plot,tag,girth_mm,date\nK3,1,1000,2024-06-30\n"
    mapping = propose(table(text))
    assert mapping.diameters[0].girth
    frame, _ = import_table(table(text), mapping)
    expected = (units.Quantity(1000, "mm") / 3.141592653589793).to("cm").m
    assert float(frame["value"][0]) == pytest.approx(expected, abs=5e-5)
    assert frame["raw"].tolist() == ["1000"]
    assert frame["raw_unit"].tolist() == ["mm girth"]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_encodings_and_separators(encoding, separator):
    lines = [["plot", "tag", "species", "dbh cm"], ["K2", "1", "Chêne, rouge é", "25.4"]]
    quoted = [separator.join(f'"{cell}"' for cell in line) for line in lines]
    got = parse_sheet("\r\n".join(quoted).encode(encoding), "x")
    assert got.header == tuple(lines[0])
    assert got.rows[0][1] == tuple(lines[1])


def test_a_mapping_is_kept_and_read_back():
    mapping = replace(propose(table(LONG)), plot="K1", height_m="1.37", year_day="07-01")
    assert read_mapping(mapping_text(mapping)) == mapping


TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)


@settings(max_examples=60, deadline=None)
@given(
    st.dictionaries(st.sampled_from(["plot", "tag", "stem", "who"]), TEXT),
    st.lists(
        st.builds(Diameter, TEXT, st.sampled_from(["in", "cm", "?"]), st.booleans(), TEXT, TEXT),
        max_size=3,
    ),
    st.dictionaries(TEXT, st.sampled_from(["live", "cut", "?"]), max_size=3),
)
def test_any_mapping_is_kept(columns, diameters, statuses):
    clean = TableMapping(columns, tuple(diameters), statuses=statuses)
    assert read_mapping(mapping_text(clean)) == clean


@pytest.mark.parametrize(
    "text",
    ["[", 'decimal = ";"', 'date_order = "d-y"', "diameter = 3", "[[diameter]]\nunit = 'cm'",
     "columns = 3", "[columns]\nheight = 'x'", "[[diameter]]\ncolumn='d'\nunit='ft'"],
)  # fmt: skip
def test_a_mapping_that_is_none_is_refused(text):
    with pytest.raises(OperatorError, match="mapping"):
        read_mapping(text)


def test_columns_that_are_not_there_are_refused():
    mapping = TableMapping({"tag": "label"}, (Diameter("dbh (in)", "in", date="2024-06-01"),), "K1")
    with pytest.raises(OperatorError, match="no column 'label'"):
        import_table(table(LONG), mapping)


def test_files_that_are_no_table(tmp_path):
    for data in (b"", b"\n\n", b'a,b\n"1,2\n3,4\n'):
        with pytest.raises(OperatorError):
            parse_sheet(data, "x.csv")
    with pytest.raises(OperatorError, match="no file"):
        read_sheet(tmp_path / "none.csv")


NASTY = (
    b"\0", b'"', b'""', b"\r", b"\n", b";", b",", b"\t", b"\xff\xfe", b"\xef\xbb\xbf", b"=1+1",
    b"NaN", b"inf", b"-0", b"1e999", b"9" * 400, b"\xc3", b"\xed\xa0\x80", b"0000-00-00",
    b"31.02.2024", b"2024", b"'", b"\x1b[2J", "١٢".encode(), "²".encode(), b"0x1F", b"1_000",
)  # fmt: skip


def hostile(rng):
    """One of the tables above, cut, shuffled and strewn with what breaks readers."""
    data = bytearray(rng.choice((WIDE, LONG)).encode())
    for _ in range(rng.randrange(1, 12)):
        at = rng.randrange(len(data) + 1)
        act = rng.randrange(4)
        if act == 0:
            data[at:at] = rng.choice(NASTY)
        elif act == 1:
            del data[at : at + rng.randrange(1, 9)]
        elif act == 2:
            data[at : at + 1] = bytes([rng.randrange(256)])
        else:
            lines = bytes(data).split(b"\n")
            rng.shuffle(lines)
            data = bytearray(b"\n".join(lines))
    return bytes(data)


def test_a_thousand_hostile_tables_never_crash_an_import():
    """Each is read, mapped and imported, or refused in words; no row is lost without a word."""
    rng = random.Random(7)
    taken = refused_rows = refused_files = 0
    for _ in range(1000):
        try:
            read = parse_sheet(hostile(rng), "hostile.csv")
            mapping = propose(read)
            assert read_mapping(mapping_text(mapping)) == mapping
            statuses = dict.fromkeys(mapping.statuses, "live")
            diameters = tuple(
                replace(
                    item, unit="cm" if item.unit == "?" else item.unit, date=item.date or "2024"
                )
                for item in mapping.diameters
            )
            finished = replace(
                mapping, plot=mapping.plot or "K1", date_order="m-d-y", year_day="07-01",
                statuses=statuses, diameters=diameters,
            )  # fmt: skip
            frame, refused = import_table(read, finished)
        except OperatorError:
            refused_files += 1
            continue
        assert all(value is None or value > 0 for value in frame["value"])
        assert {line for line, _ in read.rows} >= {item.line for item in refused}
        if len(finished.diameters) == 1:
            assert len(frame) + len(refused) == len(read.rows)
        taken += len(frame)
        refused_rows += len(refused)
    assert taken > 500
    assert refused_rows > 500
    assert refused_files < 900


def test_a_column_that_mixes_forms_of_dates_is_refused_with_the_rows():
    text = "plot,tag,dbh cm,date\nK1,1,20,03/07/2021\nK1,2,20,2021-07-14\nK1,3,20,14/07/2021\n"
    with pytest.raises(OperatorError, match=r"line 3 '2021-07-14'.*line 2 '03/07/2021', line 4"):
        propose(table(text))
    plain = propose(table(text.replace("2021-07-14", "13/07/2021")))
    with pytest.raises(OperatorError, match="dates are written in two ways"):
        import_table(table(text), plain)


@pytest.mark.parametrize("word", ["D", "L", "A", "dead", "nf"])
def test_an_abbreviated_status_is_asked_for(word):
    mapping = propose(table(f"plot,tag,dbh cm,date,status\nK1,1,20,2021-07-14,{word}\n"))
    assert mapping.statuses == {word: "?"}


@pytest.mark.parametrize(
    ("height", "why"),
    [("13.7", "out of reach"), ("0", "out of reach"), ("4.5", "4.5 ft if feet are meant")],
)
def test_a_height_that_nobody_reaches_is_refused_with_its_row(height: str, why: str):
    text = "plot,tag,date,dbh (cm),height\n"
    text += f"K1,7,2021-07-08,24.6,{height}\nK1,8,2021-07-08,24.6,1.37\n"
    proposed = propose(table(text))
    columns = {**proposed.columns, "measured_height_m": "height"}
    frame, refused = import_table(table(text), replace(proposed, columns=columns))
    assert list(frame["tag"]) == ["8"]
    assert [(one.line, one.column, one.text) for one in refused] == [(2, "height", height)]
    assert why in refused[0].why
