"""Data that others can cite: what each form loses (nothing), names that last, true provenance.

Terms and meanings: Darwin Core (TDWG), Ecological Metadata Language 2.2.0, Citation File
Format 1.2.0, Frictionless Data Package 1. All data are invented.
"""

from __future__ import annotations

import json
import shutil
import warnings
import zipfile
from dataclasses import replace
from xml.etree import ElementTree

import pandas as pd
import pytest
import yaml
from stand_frames import undrawn
from station_tools import ScriptedEngine, at_work, settle, sound

from callout.cli.main import main
from callout.journal.folder import SurveyFolder
from callout.reports.exchange.citation import citation
from callout.reports.exchange.darwincore import OTHERWISE, PROTOCOLS
from callout.reports.exchange.darwincore_terms import EVENT, FACT, OCCURRENCE
from callout.reports.exchange.metadata import about_from, read_about
from callout.reports.exchange.taken.taking import survey_dataset, take

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)  # the libraries' own
    from dwca.read import DwCAReader

    try:
        import frictionless
    except ImportError:  # a heavy outside judge
        frictionless = None

FORMS = {"datapackage": "p", "darwincore": "a.zip", "parquet": "q", "excel": "a.xlsx"}
EVERY_FORM = pytest.mark.parametrize("form", FORMS)
PLOT = (
    "--plot=K1:unit=in,breast_height=1.37,rounding=down,area_ha=0.1,treatment=thinned,"
    "site=Harrow Fen,shape=circle,established=1968-05-12,paint_line=true"
)
ABOUT = """title = "Harrow Fen trees"
licence = "CC-BY-4.0"
version = "1.2"
description = "Tagged trees of an invented fen"
methods = "Diameter tape at a painted line"
keywords = ["trees", "diameter"]

[[contributor]]
given = "Rosa"
family = "Vale"
orcid = "https://orcid.org/0000-0002-1825-0097"
role = "author"

[[contributor]]
name = "Fen office"
role = "publisher"

[plot.K1]
latitude = "47.3812"
longitude = "-71.0034"
coordinate_uncertainty_m = "25"
"""
# Every key that a history can tell; the last are what the settings tell.
HISTORY = """
[history.K1."1990-01-01"]
area_ha = "0.05"
breast_height = "1.30"
graduation = "1"
rounding = "nearest"
scale = "diameter"
smallest = "4"
tape_offset = "-0.05"
treatment = "none yet"

[history.K1."2018-05-01"]
area_ha = "0.1"
breast_height = "1.37"
graduation = "0.1"
rounding = "down"
smallest = "0.4"
tape_offset = "0"
treatment = "thinned"

[history.K2."2001-03-04"]
rounding = "nearest"

[censuses]
"summer 2021" = "2021-06-01 to 2021-08-31"
"""


def made(path, *, about=True):
    """A survey with a past, warnings, a note, a tree not reached and an unmeasured plot."""
    roster = path.with_suffix(".csv")
    roster.write_text(
        "plot,tag,species,date,value,unit,crown\n"
        "K1,83,red oak,2021-07-08,25.0,in,sound\nK1,88,FAGR,2021-07-08,8.60,in,\n"
        "K1,91,beech,2021-07-08,12.9,in,thin\nK1,92,woolly thing,,,,broken top\n"
        "K2,101,white pine,,,,\n"
    )
    assert main(["new", str(path), "--trees", str(roster), PLOT]) == 0
    if about:
        (path / "about.toml").write_text(ABOUT)
    return SurveyFolder(path)


def worked(path, **other):
    survey = made(path, **other)
    engine = ScriptedEngine()
    with at_work(survey, engine) as station:
        station.open("K1", "R.V.")
        for text in ("83 25.4", "88 19.9", "91 dead standing"):
            station.type(text)
            settle(station)
        station.press("note")
        engine.next_words = "tree ninety two"
        station.hear(sound(1))
    return survey


def corrected(survey, text):
    with at_work(survey) as station:
        station.open("K1", "R.V.")
        station.type(text)
        settle(station)


def exported(survey, form, out, *more):
    words = ["export", str(survey.path), "--form", form, "--out", str(out)]
    assert main([*words, *more]) == 0
    return out


def losses(before, after):
    """Everything that ``after`` does not hold as ``before`` did, one line each."""
    lost = []
    pairs = {"measurements": (before.measurements, after.measurements)}
    pairs["plots"] = (before.plots, after.plots)
    for name, table in before.further.items():
        pairs[name] = (table, after.further.get(name, pd.DataFrame()))
    for table, (first, then) in pairs.items():
        if len(first) != len(then):
            lost.append(f"{table}: {len(first)} rows became {len(then)}")
            continue
        for column in first.columns:
            if column not in then.columns:
                if first[column].astype(str).replace("", None).notna().any():
                    lost.append(f"{table}.{column} is not there")
                continue
            was = [str(cell) for cell in first[column]]
            now = [str(cell) for cell in then[column]]
            both = zip(was, now, strict=True)
            lost += [f"{table}.{column}: {a!r} became {b!r}" for a, b in both if a != b]
    for name, value in before.about.plain.items():
        if value != after.about.plain.get(name):
            lost.append(f"about.{name}: {value!r} became {after.about.plain.get(name)!r}")
    return lost


@EVERY_FORM
def test_what_a_round_trip_loses(form, tmp_path, capsys):
    """The list is empty: rows, plots, trees, notes, the history, and what is told of the data."""
    survey = worked(tmp_path / "first")
    settings = survey.path / "survey.toml"
    settings.write_text(settings.read_text(encoding="utf-8") + HISTORY, encoding="utf-8")
    before = survey_dataset(survey.path)
    assert len(before.further["history"]) == 3
    assert set(before.measurements["census_told"]) == {"", "summer 2021"}
    notes = before.further["notes"]
    assert len(notes) == 1 and notes["sound"].iloc[0] and len(before.trees) == 5
    assert before.measurements["warnings"].astype(str).str.len().gt(0).any()
    assert before.measurements["time"].astype(str).str.contains("T").any()
    after = take(exported(survey, form, tmp_path / FORMS[form]))
    assert after.about.created.startswith("20")  # the moment of the export
    same = replace(after.about, created=before.about.created, creator=before.about.creator)
    assert losses(before, replace(after, about=same)) == []


@EVERY_FORM
def test_the_next_survey_knows_what_the_plot_is(form, tmp_path, capsys):
    survey = worked(tmp_path / "first")
    out = exported(survey, form, tmp_path / FORMS[form])
    assert main(["new", str(tmp_path / "again"), "--from", str(out)]) == 0
    first, then = survey_dataset(survey.path), survey_dataset(tmp_path / "again")
    pd.testing.assert_frame_equal(first.plots, then.plots, check_dtype=False)
    assert read_about(tmp_path / "again" / "about.toml", first.about).places == first.about.places


# ---- names that last ----


def ids(path):
    rows = take(path).measurements
    keys = rows["plot"].astype(str) + "/" + rows["tag"].astype(str) + " " + rows["date"].astype(str)
    return dict(zip(keys, rows["measurement_id"], strict=True))


@EVERY_FORM
def test_a_correction_changes_no_name(form, tmp_path, capsys):
    survey = worked(tmp_path / "first")
    before = ids(exported(survey, form, tmp_path / f"1{FORMS[form]}"))
    corrected(survey, "88 9.1")
    after = ids(exported(survey, form, tmp_path / f"2{FORMS[form]}"))
    assert before == after and len(set(before.values())) == len(before) == 6
    rows = survey_dataset(survey.path).measurements.set_index("measurement_id")
    (beech,) = (rows.loc[name] for key, name in before.items() if key.startswith("K1/88 2026"))
    assert str(beech["value"]) == "9.1"


def test_two_sites_share_no_name(tmp_path, capsys):
    """The same roster twice, the same callouts: every name differs, of trees too."""
    first = survey_dataset(worked(tmp_path / "first").path).measurements
    second = survey_dataset(worked(tmp_path / "second").path).measurements
    for column in ("measurement_id", "tree_id"):
        assert not set(first[column]) & set(second[column])


def test_copies_of_one_survey_share_what_they_began_with(tmp_path, capsys):
    """Crews of one site: rows of the roster are the same rows, readings are each one's own."""
    survey = made(tmp_path / "first")
    main(["new", str(tmp_path / "x"), "--from", str(survey.path)])  # not a copy: another survey
    shutil.copytree(survey.path, tmp_path / "copy")
    for folder in (survey, SurveyFolder(tmp_path / "copy")):
        corrected(folder, "83 25.4")
    one = survey_dataset(survey.path).measurements.set_index("source")
    two = survey_dataset(tmp_path / "copy").measurements.set_index("source")
    assert list(one.loc["roster", "measurement_id"]) == list(two.loc["roster", "measurement_id"])
    assert one.loc["callout", "tree_id"] == two.loc["callout", "tree_id"]
    site = tmp_path / "site"
    assert main(["merge", str(survey.path), str(tmp_path / "copy"), "--into", str(site)]) == 0
    united = survey_dataset(site).measurements
    assert united["measurement_id"].is_unique
    assert set(one["measurement_id"]) <= set(united["measurement_id"])


def test_a_tree_is_one_over_all_visits(tmp_path, capsys):
    survey = worked(tmp_path / "first")
    assert main(["new", str(tmp_path / "again"), "--from", str(survey.path)]) == 0
    corrected(SurveyFolder(tmp_path / "again"), "83 25.9")
    before, after = (
        survey_dataset(path).measurements for path in (survey.path, tmp_path / "again")
    )
    assert set(before["measurement_id"]) <= set(after["measurement_id"])
    oak = after[after["tag"] == "83"]
    assert len(oak) == 3 and oak["tree_id"].nunique() == 1
    assert set(oak["tree_id"]) <= set(before["tree_id"])


def test_a_table_imported_twice_has_its_names_again(tmp_path, capsys):
    table = tmp_path / "t.csv"
    table.write_text("plot,tag,species,date,dbh cm\nK2,1,Quercus rubra,2024-06-30,25.40\n")
    other = tmp_path / "u.csv"
    other.write_text("plot,tag,species,date,dbh cm\nK2,1,Quercus rubra,2024-06-30,25.40\n\n")
    for name, source in (("a", table), ("b", table), ("c", other)):
        assert main(["import", str(source), "--out", str(tmp_path / name), "--yes"]) == 0
    first, second, third = (ids(tmp_path / name) for name in "abc")
    assert first == second != third


# ---- what a row says of itself ----


def archive(tmp_path, **other):
    survey = worked(tmp_path / "first", **other)
    path = exported(survey, "darwincore", tmp_path / "a.zip")
    with DwCAReader(str(path)) as reader:
        rows = [(row.data, [part.data for part in row.extensions]) for row in reader]
    dwc = "http://rs.tdwg.org/dwc/terms/"
    return [
        (
            {name.removeprefix(dwc): text for name, text in event.items()},
            [{name.removeprefix(dwc): text for name, text in part.items()} for part in parts],
        )
        for event, parts in rows
    ]


def test_only_what_was_called_out_here_is_told_to_have_been(tmp_path, capsys):
    events = [event for event, _ in archive(tmp_path) if event["eventType"] == "Observation"]
    told = {event["eventDate"][:4]: event["samplingProtocol"] for event in events}
    assert told == {"2021": OTHERWISE, "2026": PROTOCOLS["typed"]}


def test_scientific_name_holds_names_and_never_a_code(tmp_path, capsys):
    """FAGR and "red oak" by the species table; a thing that nobody knows is a plant, as told."""
    found = {}
    for _, parts in archive(tmp_path):
        for part in parts:
            if "scientificName" in part:
                name = (part["scientificName"], part["taxonRank"], part["vernacularName"])
                found[part["verbatimIdentification"]] = name
    assert found == {
        "red oak": ("Quercus rubra", "species", "red oak"),
        "FAGR": ("Fagus grandifolia", "species", "FAGR"),
        "beech": ("Fagus grandifolia", "species", "beech"),
    }


def test_a_graduation_is_no_accuracy(tmp_path, capsys):
    facts = [part for _, parts in archive(tmp_path) for part in parts if "measurementType" in part]
    assert {fact["measurementAccuracy"] for fact in facts} == {""}
    graduations = [f for f in facts if f["measurementType"] == "graduation of the tape"]
    assert {(f["measurementValue"], f["measurementUnit"]) for f in graduations} == {("0.1", "in")}


def test_warnings_notes_time_and_place_stand_in_terms_of_the_standard(tmp_path, capsys):
    rows = archive(tmp_path)
    (plot, parts), *_ = [row for row in rows if row[0]["eventID"] == "plot:K1"]
    assert (plot["decimalLatitude"], plot["decimalLongitude"]) == ("47.3812", "-71.0034")
    assert (plot["geodeticDatum"], plot["coordinateUncertaintyInMeters"]) == ("WGS84", "25")
    assert (plot["locality"], plot["sampleSizeValue"]) == ("Harrow Fen", "0.1")
    facts = {part["measurementType"]: part for part in parts if "measurementType" in part}
    assert facts["shape"]["measurementValue"] == "circle"
    assert facts["paint_line"]["measurementValue"] == "yes"
    assert facts["established"]["measurementValue"] == "1968-05-12"
    assert facts["note 1"]["measurementValue"] == "tree ninety two"
    (beech,) = [
        (event, parts) for event, parts in rows
        if event["fieldNumber"] == "88" and event["eventDate"].startswith("2026")
    ]  # fmt: skip
    assert "warned: " in beech[0]["eventRemarks"] and "T" in beech[0]["eventDate"]


def test_every_term_is_one_of_darwin_core(tmp_path, capsys):
    """Against the terms of the classes in the TDWG quick reference (list from memory)."""
    known = {
        "eventID", "parentEventID", "eventType", "eventDate", "locationID", "locality",
        "decimalLatitude", "decimalLongitude", "geodeticDatum", "coordinateUncertaintyInMeters",
        "fieldNumber", "samplingProtocol", "sampleSizeValue", "sampleSizeUnit", "eventRemarks",
        "dynamicProperties", "occurrenceID", "basisOfRecord", "occurrenceStatus", "organismID",
        "scientificName", "taxonRank", "kingdom", "vernacularName", "verbatimIdentification",
        "vitality", "recordedBy", "measurementID", "measurementType", "measurementValue",
        "measurementAccuracy", "measurementUnit", "measurementDeterminedBy",
        "measurementDeterminedDate", "measurementMethod", "measurementRemarks",
    }  # fmt: skip
    assert {*EVENT, *OCCURRENCE, *FACT} <= known


def test_the_metadata_tell_who_where_when_and_how(tmp_path, capsys):
    path = exported(worked(tmp_path / "first"), "darwincore", tmp_path / "a.zip")
    with zipfile.ZipFile(path) as opened:
        root = ElementTree.fromstring(opened.read("eml.xml"))
    dataset = root.find("dataset")
    # The order is the schema's (EML 2.2.0, resource group, then dataset).
    assert [part.tag for part in dataset] == [
        "title", "creator", "associatedParty", "pubDate", "abstract", "keywordSet",
        "intellectualRights", "coverage", "contact", "methods",
    ]  # fmt: skip
    assert dataset.findtext("creator/individualName/surName") == "Vale"
    assert dataset.findtext("intellectualRights/para") == "CC-BY-4.0"
    box = dataset.find("coverage/geographicCoverage/boundingCoordinates")
    assert [part.text for part in box] == ["-71.0034", "-71.0034", "47.3812", "47.3812"]
    assert dataset.findtext("coverage/temporalCoverage/rangeOfDates/beginDate/calendarDate") == (
        "2021-07-08"
    )
    taxa = dataset.findall("coverage/taxonomicCoverage/taxonomicClassification")
    assert [one.findtext("taxonRankValue") for one in taxa] == [
        "Fagus grandifolia",
        "Quercus rubra",
    ]
    assert "painted line" in dataset.findtext("methods/methodStep/description/para")


def test_the_package_is_valid_and_says_how_to_cite_it(tmp_path, capsys):
    out = exported(worked(tmp_path / "first"), "datapackage", tmp_path / "p")
    if frictionless is not None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)
            report = frictionless.validate(str(out / "datapackage.json"))
        assert report.valid, report.flatten(["message"])
    told = json.loads((out / "datapackage.json").read_text())
    assert [one["title"] for one in told["contributors"]] == ["Rosa Vale", "Fen office"]
    assert (told["version"], told["licenses"]) == ("1.2", [{"name": "CC-BY-4.0"}])
    assert told["temporal"]["start"] == "2021-07-08"
    fields = {
        field["name"]: field for one in told["resources"] for field in one["schema"]["fields"]
    }
    untold = [name for name in fields if "description" not in fields[name]]
    assert untold == ["crown"]  # a column of the roster's own
    cff = yaml.safe_load((out / "CITATION.cff").read_text())
    assert {"cff-version", "message", "title", "authors"} <= set(cff)  # what its schema requires
    assert cff["authors"] == [
        {"given-names": "Rosa", "family-names": "Vale",
         "orcid": "https://orcid.org/0000-0002-1825-0097"}
    ]  # fmt: skip
    assert (cff["type"], cff["version"], cff["license"]) == ("dataset", "1.2", "CC-BY-4.0")


def test_what_is_not_told_is_named(tmp_path, capsys):
    exported(worked(tmp_path / "first", about=False), "datapackage", tmp_path / "p")
    said = capsys.readouterr().out
    assert "not told: a licence, contributors, where plots lie, a version; see --about" in said


def page(path, out, *words):
    command = ["report", str(path), "--out", str(out), "--draws", "100", "--title", "T", *words]
    assert main(command) == 0
    return {one.name: one.read_bytes() for one in sorted((out / "tables").iterdir())}


def test_the_public_makes_the_same_tables_from_the_package(tmp_path, capsys):
    survey = worked(tmp_path / "first")
    (survey.path / "species.csv").write_text(
        "scientific,common,group\nQuercus rubra,red oak,\nFagus grandifolia,beech,\n"
        "Fagus odd,FAGR,pine\n"
    )
    own = page(survey.path, tmp_path / "own")
    for form in ("datapackage", "parquet"):
        out = exported(survey, form, tmp_path / FORMS[form])
        if form == "parquet":
            (out / "species.csv").write_bytes((survey.path / "species.csv").read_bytes())
        with undrawn():
            assert page(out, tmp_path / form) == own


def test_somebody_elses_package_by_a_mapping(tmp_path, capsys):
    folder = tmp_path / "theirs"
    folder.mkdir()
    (folder / "trees.csv").write_text(
        "plot,tag,species,date,dbh cm\nK2,1,Quercus rubra,2019-06-30,25.4\n"
        "K2,1,Quercus rubra,2024-06-30,27.0\n"
    )
    descriptor = {"name": "theirs", "resources": [{"name": "trees", "path": "trees.csv"}]}
    (folder / "datapackage.json").write_text(json.dumps(descriptor))
    assert main(["report", str(folder), "--out", str(tmp_path / "x")]) == 2
    assert "no data package of this program" in capsys.readouterr().err
    mapping = tmp_path / "m.toml"
    words = ["import", str(folder / "trees.csv"), "--out", str(tmp_path / "i"), "--yes"]
    assert main([*words, "--mapping", str(mapping)]) == 0
    tables = page(folder, tmp_path / "y", "--mapping", str(mapping))
    assert b"27.0" in tables["tree_growth.csv"]
    with undrawn():
        assert tables == page(tmp_path / "i", tmp_path / "z")
    (folder / "trees.csv").write_text("plot,tag,species,date,dbh cm\nK2,1,oak,2019-06-30,tall\n")
    out = tmp_path / "w"
    assert main(["report", str(folder), "--out", str(out), "--mapping", str(mapping)]) == 2
    assert "1 row cannot be used (line 2: " in capsys.readouterr().err
    assert not out.exists()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("title = 3", "title must be a text"),
        ("licence", "is not TOML"),
        ('colour = "red"', "unknown key 'colour'"),
        ("[[contributor]]\nrole = 'author'", "has no name"),
        ("[[contributor]]\nname = 'A'\nrole = 'boss'", "role 'boss' of A"),
        ("[[contributor]]\nname = 'A'\norcid = '12'", "orcid '12'"),
        ("[plot.K1]\nlatitude = 95.0\nlongitude = 1.0", "latitude '95.0'"),
        ("[plot.K1]\nlatitude = 45.0", "longitude ''"),
        ("[plot.K1]\nnorthing = 45.0", "there is latitude"),
    ],
)
def test_what_is_told_wrongly_is_refused(text, says, tmp_path, capsys):
    survey = made(tmp_path / "first")
    (survey.path / "about.toml").write_text(text)
    assert main(["export", str(survey.path), "--out", str(tmp_path / "p")]) == 2
    assert says in capsys.readouterr().err
    assert not (tmp_path / "p").exists()


@pytest.mark.parametrize("creator", ["", " ", "Fen office"])
def test_a_citation_names_somebody_even_where_nobody_was_named(tmp_path, creator):
    survey = worked(tmp_path / "first", about=False)
    out = exported(survey, "datapackage", tmp_path / "p", "--creator", creator)
    cff = yaml.safe_load((out / "CITATION.cff").read_text())
    assert cff["authors"] == [{"name": creator.strip() or "not told"}]


def test_a_contributor_without_a_name_is_nobody(tmp_path):
    """As a stranger's package may bring one; our own about.toml refuses it."""
    about = about_from({"contributors": [{"orcid": "x"}, {"given": "Rosa"}, {"name": " "}]})
    assert [one.told for one in about.people] == ["Rosa"]
    assert yaml.safe_load(citation(about))["authors"] == [{"given-names": "Rosa"}]
    nobody = about_from({"contributors": [{"orcid": "x"}]})
    assert yaml.safe_load(citation(nobody))["authors"] == [{"name": "not told"}]
