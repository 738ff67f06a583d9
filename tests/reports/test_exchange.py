"""Open forms: validated by outside readers, and back again with nothing lost."""

from __future__ import annotations

import csv
import json
import warnings
import zipfile
from decimal import Decimal

import openpyxl
import pandas as pd
import pyarrow.parquet
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stand_frames import frame, harrow_fen, measurement, plots

from callout.core.errors import OperatorError
from callout.reports.exchange.darwincore import write_archive
from callout.reports.exchange.darwincore_read import read_archive
from callout.reports.exchange.datapackage import read_package, write_package
from callout.reports.exchange.dataset import Dataset
from callout.reports.exchange.excel import read_workbook, write_workbook
from callout.reports.exchange.metadata import About
from callout.reports.exchange.parquet import read_parquet, write_parquet
from callout.reports.spreadsheets import FORMULA_SIGNS, bared, guarded

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)  # the libraries' own
    from dwca.read import DwCAReader

    try:
        import frictionless
    except ImportError:
        frictionless = None

judged = pytest.mark.skipif(frictionless is None, reason="frictionless is not installed: no judge")

ABOUT = About("Harrow Fen trees", "Harrow Fen crew", "2026-01-02T03:04:05Z", "CC0-1.0", "invented")


def frames(data):
    return data.measurements, data.plots


def package(folder, *tables):
    return frames(read_package(write_package(folder, Dataset(*tables), ABOUT)))


def archive(folder, *tables):
    return frames(read_archive(write_archive(folder / "a.zip", Dataset(*tables), ABOUT)))


def parquet(folder, *tables):
    write_parquet(folder, Dataset(*tables), ABOUT)
    return frames(read_parquet(folder))


def workbook(folder, *tables):
    return frames(read_workbook(write_workbook(folder / "a.xlsx", Dataset(*tables), ABOUT)))


FORMS = pytest.mark.parametrize("there_and_back", [package, archive, parquet, workbook])


def same(before, after, exact=True):
    """Equal cell by cell; dates to the microsecond; what was recorded equal as text."""
    assert [str(item) for item in before["value"]] == [str(item) for item in after["value"]]
    pd.testing.assert_frame_equal(
        before.drop(columns="value"),
        after[before.columns].drop(columns="value"),
        check_dtype=False,
        check_exact=exact,
        rtol=1e-14,
    )


@FORMS
def test_there_and_back(there_and_back, tmp_path):
    measurements, places = harrow_fen()
    measurements["who"] = "R.V."
    measurements["graduation"] = "0.1"
    got, got_places = there_and_back(tmp_path, measurements, places)
    same(measurements, got)
    pd.testing.assert_frame_equal(places, got_places, check_dtype=False)


# What a roster may hold: anything printable. Control characters are dropped on the way in.
WORDS = (
    st.text(st.characters(exclude_categories=["C", "Zl", "Zp"]), min_size=1, max_size=8)
    .map(str.strip)
    .filter(bool)
)
FORMULAS = st.sampled_from(["=1+1", "+A1", "-2", "@x", "'quoted", "''", "=cmd|' /C calc'!A0"])
TEXTS = st.one_of(WORDS, FORMULAS)
ROWS = st.lists(
    st.builds(
        measurement,
        TEXTS,
        st.datetimes(pd.Timestamp(1950, 1, 1), pd.Timestamp(2100, 1, 1)).map(
            lambda moment: moment.replace(microsecond=0)
        ),
        st.one_of(st.none(), st.decimals("0.001", "9999", places=3).map(str)),
        st.sampled_from(["in", "cm"]),
        species=st.one_of(st.just(""), TEXTS),
        stem=st.one_of(st.just(""), TEXTS),
        status=st.sampled_from(["live", "dead standing", "cut", "not found"]),
        measured_height_m=st.one_of(st.just(float("nan")), st.floats(0.1, 9, allow_nan=False)),
        remarks=TEXTS,
    ),
    min_size=1,
    max_size=6,
)


@FORMS
@settings(max_examples=40, deadline=None)
@given(rows=ROWS, area=st.floats(0.0001, 9), treatment=st.one_of(st.just(""), TEXTS))
def test_nothing_is_lost(there_and_back, rows, area, treatment, tmp_path_factory):
    folder = tmp_path_factory.mktemp("form")
    places = plots(("K2", area, "cm", treatment))
    got, got_places = there_and_back(folder, frame(*rows), places)
    exact = there_and_back is not workbook  # a sheet's floats have some 16 digits
    same(frame(*rows), got, exact)
    pd.testing.assert_frame_equal(
        places, got_places, check_dtype=False, check_exact=exact, rtol=1e-14
    )


def test_trailing_zeros_are_kept(tmp_path):
    rows = frame(measurement(1, "2024-06-01", "24.60"), measurement(2, "2024-06-01", "30"))
    for form in (package, archive, parquet, workbook):
        got, _ = form(tmp_path / form.__name__, rows, plots(("K2", 0.1, "cm", "")))
        assert got["value"].tolist() == [Decimal("24.60"), Decimal("30")]
        assert [str(item) for item in got["value"]] == ["24.60", "30"]


def hostile():
    return frame(
        measurement(1, "2024-06-01", "24.6", species='=HYPERLINK("x")', remarks="@SUM(A1)"),
        measurement("+2", "2024-06-01", None, status="cut", species='plain, quoted "oak"'),
    ).fillna({"remarks": ""})


@judged
def test_frictionless_finds_the_package_valid(tmp_path):
    measurements, places = harrow_fen()
    path = write_package(tmp_path, Dataset(measurements, places), ABOUT)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        report = frictionless.validate(str(path))
        resource = frictionless.Package(str(path)).get_resource("measurements")
        values = [row["value"] for row in resource.read_rows()]
    assert report.valid, report.flatten(["message"])
    assert values == measurements["value"].tolist()  # decimals, as recorded
    descriptor = json.loads(path.read_text())
    assert descriptor["resources"][1]["schema"]["foreignKeys"][0]["fields"] == ["plot"]


@judged
@pytest.mark.parametrize(
    ("column", "wrong"), [("value", "tall"), ("status", "asleep"), ("plot", "K9"), ("date", "soon")]
)
def test_frictionless_would_find_a_wrong_one(tmp_path, column, wrong):
    """So that the check above cannot pass by blindness."""
    measurements, places = harrow_fen()
    path = write_package(tmp_path, Dataset(measurements, places), ABOUT)
    data = tmp_path / "measurements.csv"
    rows = list(csv.DictReader(data.read_text().splitlines()))
    rows[2][column] = wrong
    with data.open("w", newline="") as file:
        writer = csv.DictWriter(file, rows[0], lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    descriptor = json.loads(path.read_text())
    for resource in descriptor["resources"]:
        del resource["hash"], resource["bytes"]
    path.write_text(json.dumps(descriptor))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        assert not frictionless.validate(str(path)).valid
    with pytest.raises(OperatorError):
        read_package(path)


def test_a_changed_package_is_refused(tmp_path):
    measurements, places = harrow_fen()
    path = write_package(tmp_path, Dataset(measurements, places), ABOUT)
    data = tmp_path / "measurements.csv"
    data.write_text(data.read_text().replace("10.6", "16.0"))
    with pytest.raises(OperatorError, match="hash differs"):
        read_package(path)
    data.unlink()
    with pytest.raises(OperatorError, match="no data package"):
        read_package(path)


def test_an_outside_reader_reads_the_archive(tmp_path):
    """python-dwca-reader, an independent reader of Darwin Core archives."""
    measurements, places = harrow_fen()
    measurements["who"] = "M.O."
    path = write_archive(tmp_path / "a.zip", Dataset(measurements, places), ABOUT)
    terms = "http://rs.tdwg.org/dwc/terms/"
    with DwCAReader(str(path)) as reader:
        assert reader.descriptor.core.type == terms + "Event"
        assert {item.type for item in reader.descriptor.extensions} == {
            terms + "Occurrence",
            terms + "MeasurementOrFact",
        }
        events = list(reader)
        assert len(events) == len(measurements) + len(places)
        facts = next(item for item in reader.descriptor.extensions if "Fact" in item.type)
        # The nine terms of the class, as TDWG lists them; the event's identifier is the link.
        assert facts.terms == {
            f"{terms}measurement{name}"
            for name in (
                "ID", "Type", "Value", "Accuracy", "Unit", "DeterminedBy", "DeterminedDate",
                "Method", "Remarks",
            )
        }  # fmt: skip
        found = []
        for event in events:
            for fact in event.extensions:
                if fact.data.get(terms + "measurementType") == "diameter":
                    found.append(
                        (
                            fact.data[terms + "measurementValue"],
                            fact.data[terms + "measurementUnit"],
                            fact.data[terms + "measurementDeterminedBy"],
                            fact.data[terms + "measurementDeterminedDate"],
                        )
                    )
    expected = [
        ("" if value is None else str(value), unit, "M.O.", date.date().isoformat())
        for value, unit, date in zip(
            measurements["value"], measurements["unit"], measurements["date"], strict=True
        )
    ]
    assert sorted(found) == sorted(expected)


def test_every_fact_leads_to_an_event(tmp_path):
    measurements, places = harrow_fen()
    path = write_archive(tmp_path / "a.zip", Dataset(measurements, places), ABOUT)
    with zipfile.ZipFile(path) as opened:
        tables = {
            name: list(csv.DictReader(opened.read(name).decode().splitlines()))
            for name in ("event.csv", "occurrence.csv", "measurementorfact.csv")
        }
    events = {row["eventID"] for row in tables["event.csv"]}
    assert len(events) == len(tables["event.csv"])
    for name in ("occurrence.csv", "measurementorfact.csv"):
        assert {row["eventID"] for row in tables[name]} <= events
    assert {row["parentEventID"] for row in tables["event.csv"]} - {""} <= events
    facts = [row["measurementID"] for row in tables["measurementorfact.csv"]]
    assert len(facts) == len(set(facts))


def test_equal_data_gives_equal_bytes(tmp_path):
    measurements, places = harrow_fen()
    first = write_archive(tmp_path / "a.zip", Dataset(measurements, places), ABOUT)
    second = write_archive(tmp_path / "b.zip", Dataset(measurements, places), ABOUT)
    assert first.read_bytes() == second.read_bytes()


@given(st.text())
def test_guarding_is_undone_exactly_and_hides_every_formula(text):
    assert bared(guarded(text)) == text
    assert not guarded(text).startswith(FORMULA_SIGNS)


def test_no_cell_is_a_formula(tmp_path):
    places = plots(("K2", 0.1, "cm", "=1+1"))
    write_package(tmp_path, Dataset(hostile(), places), ABOUT)
    for name in ("measurements.csv", "plots.csv"):
        for row in csv.reader((tmp_path / name).read_text().splitlines(keepends=True)):
            assert not any(cell.startswith(FORMULA_SIGNS) for cell in row)
    book = openpyxl.load_workbook(
        write_workbook(tmp_path / "a.xlsx", Dataset(hostile(), places), ABOUT)
    )
    kinds = {cell.data_type for sheet in book for row in sheet.iter_rows() for cell in row}
    assert "f" not in kinds
    assert book["plots"]["E2"].value == "'=1+1"


def test_a_workbook_shows_readings_as_recorded(tmp_path):
    rows = frame(measurement(1, "2024-06-01", "24.60"))
    path = write_workbook(tmp_path / "a.xlsx", Dataset(rows, plots(("K2", 0.1, "cm", ""))), ABOUT)
    cell = openpyxl.load_workbook(path)["measurements"]["F2"]
    assert (cell.value, cell.number_format) == (24.6, "0.00")


def test_control_characters_do_not_break_a_workbook(tmp_path):
    rows = frame(measurement(1, "2024-06-01", "24.6", species="a\x00b\x1bc"))
    got, _ = workbook(tmp_path, rows, plots(("K2", 0.1, "cm", "")))
    assert got["species"].tolist() == ["a\ufffdb\ufffdc"]


def test_parquet_is_read_by_others_with_its_types(tmp_path):
    measurements, places = harrow_fen()
    write_parquet(tmp_path, Dataset(measurements, places), ABOUT)
    table = pyarrow.parquet.read_table(tmp_path / "measurements.parquet")
    kinds = {field.name: str(field.type) for field in table.schema}
    assert kinds["value"] == "string"
    assert kinds["diameter_cm"] == "double"
    assert kinds["date"] == "timestamp[us]"


@pytest.mark.parametrize("read", [read_package, read_archive, read_parquet, read_workbook])
@pytest.mark.parametrize("data", [b"", b"{}", b"PK\x05\x06" + b"\0" * 18, b"\xff\x00junk"])
def test_anything_else_is_refused_in_words(read, data, tmp_path):
    path = tmp_path / "datapackage.json"
    path.write_bytes(data)
    with pytest.raises(OperatorError):
        read(path)
