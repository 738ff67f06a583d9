"""The report's files: whole, self-contained, escaped, readable in grey, equal to the tables."""

from __future__ import annotations

import base64
import csv
import io
import json
import re
import zlib
from decimal import Decimal
from html.parser import HTMLParser

import matplotlib.colors
import matplotlib.image
import numpy as np
import pandas as pd
import pytest
from stand_frames import frame, harrow_fen, measurement, plots

from callout.core.errors import OperatorError
from callout.reports.figures.stand import _runs, change_components, growth_by_year
from callout.reports.figures.style import SHADES
from callout.reports.figures.survey import measured_when
from callout.reports.pages import writing
from callout.reports.pages.analysis import ReportSettings, analyse
from callout.reports.pages.colophon import fingerprint
from callout.reports.pages.html import number
from callout.reports.pages.methods import limits, methods
from callout.reports.pages.plot_page import plot_page
from callout.reports.pages.writing import Wanted, plot_files, write_report
from callout.reports.spreadsheets import FORMULA_SIGNS
from callout.reports.stand.census import stem_census
from callout.reports.stand.corrected import corrected
from callout.reports.stand.dynamics.change import COMPONENTS
from callout.reports.stand.history import PlotFacts
from callout.reports.stand.mass.mass_variance import Draws

EVIL = "<script>alert('x')</script> $x_2$ &amp;"


class Page(HTMLParser):
    """Tags and the addresses they load from."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.loads, self.words = [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.loads += [value for name, value in attrs if name in ("src", "href", "srcset")]

    def handle_data(self, data):
        self.words.append(data)


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    measurements, places = harrow_fen()
    measurements.loc[measurements["plot"] == "K2", "species"] = EVIL
    places["treatment"] = ["=1+1", "control"]
    settings = ReportSettings(title="Harrow Fen", control="control", made="2026-01-05")
    analysis = analyse(measurements, places, settings)
    folder = tmp_path_factory.mktemp("report")
    write_report(analysis, folder)
    return analysis, folder


def test_a_page_a_plot_and_a_summary(written):
    _, folder = written
    assert {path.name for path in folder.glob("*.html")} == {
        "index.html", "plot-K1.html", "plot-K2.html",
    }  # fmt: skip


def test_pages_load_nothing_from_elsewhere(written):
    _, folder = written
    for path in folder.glob("*.html"):
        page = Page(path.read_text(encoding="utf-8"))
        assert "script" not in page.tags
        for address in page.loads:
            if address.startswith("#"):
                assert f'id="{address[1:]}"' in path.read_text(encoding="utf-8")
            else:
                inside = address.startswith("data:image/png;base64,")
                assert inside or (folder / address).is_file()


def test_names_are_shown_as_they_are(written):
    _, folder = written
    words = "".join(Page((folder / "index.html").read_text(encoding="utf-8")).words)
    assert EVIL in words


def test_every_figure_is_whole(written):
    _, folder = written
    figures = list((folder / "figures").glob("*.png"))
    assert {path.stem for path in figures} >= {"plot-K1-diameters", "plot-K1-change", "all-carbon"}
    for path in figures:
        image = matplotlib.image.imread(path)
        assert image.shape[0] > 200
        red, green, blue = np.moveaxis((image[..., :3] * 255).astype(np.uint32), -1, 0)
        assert len(np.unique(red << 16 | green << 8 | blue)) > 3
    inlined = re.findall(r"base64,([^\"]+)", (folder / "plot-K1.html").read_text())
    assert all(base64.b64decode(data).startswith(b"\x89PNG") for data in inlined)


def test_every_column_of_every_table_is_told(written):
    """The dictionary beside the tables, and their data package."""
    analysis, folder = written
    rows = list(csv.DictReader((folder / "tables" / "dictionary.csv").read_text().splitlines()))
    assert [row for row in rows if not row["meaning"]] == []
    assert len(rows) == sum(len(table.columns) for table in analysis.tables.values())
    told = json.loads((folder / "tables" / "datapackage.json").read_text())
    assert [item["path"] for item in told["resources"]] == [f"{n}.csv" for n in analysis.tables]
    assert all(item["description"] for item in told["resources"])


def test_a_page_tells_program_settings_and_data(written):
    _, folder = written
    facts = json.loads((folder / "report.json").read_text())
    assert facts["settings"]["carbon"]["fraction"] == 0.47
    for path in folder.glob("*.html"):
        words = "".join(Page(path.read_text(encoding="utf-8")).words)
        assert f"Made by {facts['program']} from data with the fingerprint {facts['data']}" in words
        assert "carbon fraction 0.47" in words
        assert "from memory" not in words
        assert "Figure 1." in words and "Table 1." in words


def test_a_fingerprint_is_of_the_data():
    measurements, places = harrow_fen()
    first = fingerprint(measurements, places)
    assert first == fingerprint(measurements.astype({"plot": "category"}), places)
    other = measurements.copy()
    other.loc[3, "value"] = Decimal("12.5")
    assert first != fingerprint(other, places)


def test_pages_of_plots_are_drawn_when_asked(written, tmp_path):
    """All of up to twelve; of more none unasked, and figures in the forms asked for."""
    analysis, _ = written
    write_report(analysis, tmp_path, "x", Wanted(("K2",), ("png", "svg", "pdf")))
    assert [path.name for path in tmp_path.glob("plot-*.html")] == ["plot-K2.html"]
    begins = {".png": b"\x89PNG", ".svg": b"<?xml", ".pdf": b"%PDF"}
    found = sorted((tmp_path / "figures").iterdir())
    assert {path.suffix for path in found} == set(begins)
    assert all(path.read_bytes().startswith(begins[path.suffix]) for path in found)
    with pytest.raises(OperatorError, match="no plot 'K9'"):
        write_report(analysis, tmp_path, "x", Wanted(("K9",)))
    with pytest.raises(OperatorError, match="no figures as 'gif'"):
        Wanted(forms=("gif",))
    many = frame(*(measurement(1, "2024-06-01", "20.0", plot=f"P{at}") for at in range(13)))
    places = plots(*((f"P{at}", 0.1, "cm", "") for at in range(13)))
    write_report(analyse(many, places, ReportSettings()), tmp_path / "many")
    assert list((tmp_path / "many").glob("*.html")) == [tmp_path / "many" / "index.html"]


def test_tables_hold_what_was_computed_and_no_formula(written):
    analysis, folder = written
    for name, table in analysis.tables.items():
        rows = list(csv.DictReader(io.StringIO((folder / "tables" / f"{name}.csv").read_text())))
        assert len(rows) == len(table)
        for row in rows:
            for cell in row.values():
                assert not cell.startswith(FORMULA_SIGNS) or float(cell) < 0
    rows = list(
        csv.DictReader((folder / "tables" / "change_basal_area.csv").read_text().splitlines())
    )
    for row in rows:
        parts = sum(sign * Decimal(row[name]) for name, sign in COMPONENTS.items())
        assert parts == Decimal(row["net"])


def test_the_summary_tells_methods_sources_and_limits(written):
    analysis, folder = written
    words = "".join(Page((folder / "index.html").read_text(encoding="utf-8")).words)
    for sentence in (*methods(analysis), *limits(analysis), *analysis.cautions):
        assert sentence in words
    assert "An assumption, not a published equation" in words  # heights of the plots differ
    assert any("left out of carbon: no equation" in item for item in analysis.cautions)
    assert any("not found or not measured" in item for item in analysis.cautions)


def test_the_same_data_gives_the_same_files(written, tmp_path):
    analysis, folder = written
    write_report(analysis, tmp_path)
    for path in folder.rglob("*.*"):
        assert zlib.crc32(path.read_bytes()) == zlib.crc32(
            (tmp_path / path.relative_to(folder)).read_bytes()
        ), path.name


def test_shades_stay_apart_in_grey():
    """Relative luminance (WCAG 2, from memory) of neighbours of one figure differs by 0.04."""

    def luminance(shade):
        part = np.array(matplotlib.colors.to_rgb(shade))
        line = np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)
        return float(line @ [0.2126, 0.7152, 0.0722])

    found = [luminance(shade) for shade in SHADES]
    assert found == sorted(found)
    assert min(np.diff(found)) >= 0.04


def test_plots_whose_names_are_no_file_names(tmp_path):
    names = ["../up", "a/b", "A b", "a-b", "плот", ""]
    sizes = ["20.0", *[None] * 5]  # few figures: only what was measured when
    rows = [
        measurement(1, "2024-06-01", size, plot=name)
        for name, size in zip(names, sizes, strict=True)
    ]
    places = plots(*((name, 0.1, "cm", "") for name in names))
    analysis = analyse(frame(*rows), places, ReportSettings())
    files = plot_files(analysis)
    assert len(set(files.values())) == len(names)
    assert all(re.fullmatch(r"[A-Za-z0-9_-]+", name) for name in files.values())
    write_report(analysis, tmp_path)
    assert len(list(tmp_path.glob("plot-*.html"))) == len(names)


def test_one_census_without_area_or_equation(tmp_path):
    rows = frame(measurement(1, "2024-06-01", "20.0", species=""))
    analysis = analyse(rows, plots(("K2", float("nan"), "cm", "")), ReportSettings())
    write_report(analysis, tmp_path)
    assert any("Area not known" in item for item in analysis.cautions)


def test_categories_give_what_texts_give():
    """Large surveys come with texts as categories; nothing may depend on it."""
    measurements, places = harrow_fen()
    texts = ["plot", "tag", "stem", "species", "unit", "status", "source"]
    first = analyse(measurements, places, ReportSettings())
    second = analyse(
        measurements.astype(dict.fromkeys(texts, "category")), places, ReportSettings()
    )
    for name, table in first.tables.items():
        other = second.tables[name]
        plain = {column: table[column].dtype for column in table if column in texts}
        pd.testing.assert_frame_equal(table, other.astype(plain), check_categorical=False)
    for plot in ("K1", "K2"):
        rows = first.stems["plot"] == plot
        assert measured_when(first.stems[rows]).png == measured_when(second.stems[rows]).png


def test_nothing_measured_is_told():
    rows = frame(measurement(1, "2024-06-01", None))
    with pytest.raises(OperatorError, match="measure first"):
        analyse(rows, plots(("K2", 0.1, "cm", "")), ReportSettings())
    with pytest.raises(OperatorError, match="no breast height"):
        ReportSettings(basis_m=4.5)


def test_names_that_look_like_formulas_are_drawn_plain():
    table = pd.DataFrame(
        {"year": [2024], "species": ["$\\frac{"], "stems": [3], "diameter_cm_year": [0.3],
         "high_cm_year": [0.4], "spread": [0.0]}
    )  # fmt: skip
    assert growth_by_year(table).png.startswith(b"\x89PNG")


def test_many_stems_and_a_change_of_nothing():
    rows = [measurement(at, "2024-06-01", "20.0") for at in range(500)]
    assert measured_when(stem_census(frame(*rows))).png.startswith(b"\x89PNG")
    table = pd.DataFrame(
        {"from_census": [1], "to_census": [2], "net": [0], **dict.fromkeys(COMPONENTS, 0)}
    )
    assert change_components(table).png.startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("value", "places", "shown"),
    [(1234.5, 1, "1,234.5"), (-0.04, 1, "0.0"), (-2.0, 1, "−2.0"), (float("nan"), 1, "–")],
)
def test_numbers_as_shown(value, places, shown):
    assert number(value, places) == shown


def test_years_of_one_interval_are_drawn_as_one_run():
    """Five years between two censuses, then two measured singly with the same growth."""
    table = pd.DataFrame(
        {"year": [2012, 2013, 2014, 2015, 2016, 2017, 2018], "stems": [9] * 7,
         "diameter_cm_year": [0.3] * 5 + [0.2, 0.2], "high_cm_year": [0.4] * 5 + [0.3, 0.3],
         "spread": [1.0] * 5 + [0.0, 0.0]}
    )  # fmt: skip
    runs = _runs(table)
    assert list(zip(runs["first"], runs["last"], strict=True)) == [
        (2012, 2016), (2017, 2017), (2018, 2018),
    ]  # fmt: skip


def test_rows_without_a_height_are_taken_at_their_plots():
    """Else a visit whose table told no height would stand at another height than the next."""
    rows = frame(
        measurement(1, "2015-06-01", "10.0", "in", plot="K1", measured_height_m=float("nan")),
        measurement(1, "2020-06-01", "10.0", "in", plot="K1", measured_height_m=1.37),
        measurement(2, "2015-06-01", "10.0", "in", plot="K1", measured_height_m=1.60),
        measurement(1, "2015-06-01", "20.0", plot="K9", measured_height_m=float("nan")),
    )
    places = plots(("K1", 0.1, "in", ""), ("K9", 0.1, "cm", ""))
    places.loc[places["plot"] == "K9", "breast_height_m"] = float("nan")
    analysis = analyse(rows, places, ReportSettings(draws=Draws(draws=100)))
    pairs = analysis.tables["tree_growth"]
    assert pairs["diameter_cm"].tolist() == [0.0]  # not the step from 1.37 m to 1.30 m
    heights = corrected(rows, PlotFacts(places))["measured_height_m"]
    assert heights.fillna(0).tolist() == [1.37, 1.37, 1.60, 0]
    told = [caution for caution in analysis.cautions if "height of measurement" in caution]
    assert told == [
        "2 rows tell no height of measurement: taken at the plot's breast height; 1 stem is of "
        "plots that tell none, and taken as measured."
    ]


def test_visits_and_stems_without_an_equation_are_told():
    rows = frame(
        measurement(1, "2015-06-01", "10.0", who="R.V."),
        measurement(2, "2015-06-03", "10.0", species="yggdrasil", who="M.O."),
        measurement(1, "2020-06-01", None, status="cut", who="R.V."),
        measurement(2, "2020-06-01", "11.0", species="yggdrasil", who="R.V."),
    )
    settings = ReportSettings(draws=Draws(draws=100), notes=("Told before.",))
    analysis = analyse(rows, plots(("K2", 0.1, "cm", "")), settings)
    visits = analysis.tables["censuses"]
    assert visits[["first_day", "last_day", "who"]].to_numpy().tolist() == [
        ["2015-06-01", "2015-06-03", "M.O., R.V."], ["2020-06-01", "2020-06-01", "R.V."],
    ]  # fmt: skip
    assert visits[["measured", "dead", "cut", "lost"]].to_numpy().tolist() == [
        [2, 0, 0, 0], [1, 0, 1, 0],
    ]  # fmt: skip
    missing = analysis.tables["left_out"]
    why = "no equation for this species"
    assert missing.to_numpy().tolist() == [["K2", "2", "", "yggdrasil", why, 2015, 2020]]
    assert "yggdrasil" in plot_page(analysis, "K2")[0]
    assert analysis.cautions[0] == "Told before."
    assert any("1 stem is left out of carbon" in caution for caution in analysis.cautions)


def test_treatments_are_compared_in_growth_too():
    """Two plots a treatment, invented: growth of 0.2 and 0.3 against 0.5 and 0.7 cm a year.

    Student's t with two degrees of freedom and the pooled variance, by hand.
    """
    rows = []
    for plot, growth in (("a", 0.2), ("b", 0.3), ("c", 0.5), ("d", 0.7), ("few", 9.0)):
        for year, size in ((2015, 20.0), (2020, 20.0 + 5 * growth)):
            for tag in range(1 if plot == "few" else 5):
                rows.append(measurement(tag, f"{year}-06-01", f"{size:.1f}", plot=plot))
    places = plots(
        *(
            (name, 0.1, "cm", "control" if name in ("a", "b") else "thinned")
            for name in ("a", "b", "c", "d", "few")
        )
    )
    settings = ReportSettings(draws=Draws(draws=100), control="control")
    tables = analyse(frame(*rows), places, settings).tables
    effects = tables["treatment_effects"]
    (row,) = effects[effects["figure"] == "diameter_cm_year"].to_dict("records")
    years = 1827 / 365.25
    assert row["effect"] == pytest.approx((0.6 - 0.25) * 5 / years)
    error = 5 / years * ((0.02 + 0.005) / 2 * (1 / 2 + 1 / 2)) ** 0.5
    assert row["high"] - row["effect"] == pytest.approx(4.302653 * error, rel=1e-6)
    assert (row["plots"], row["control_plots"], row["freedom"]) == (2, 2, 2)  # one stem: no plot
    assert "There is no before" in row["told"]


def test_a_long_table_is_written_by_columns_and_reads_as_a_short_one(tmp_path, monkeypatch):
    """The same cells, whatever they hold; a number is the same number."""
    table = pd.DataFrame(
        {
            "plot": pd.Categorical(["K1", "=1+1", None]), "words": ['a "b", c', "'x", ""],
            "value": [Decimal("20.10"), None, Decimal("3")], "size": [20.0, np.nan, 1.5e-7],
            "count": [1, 2, 3], "sure": [True, False, True],
            "day": pd.to_datetime(["2020-06-01", None, "2021-06-01"]),
        }
    )  # fmt: skip
    found = []
    for most, name in ((100, "short.csv"), (1, "long.csv")):
        monkeypatch.setattr(writing, "LONG_ROWS", most)
        writing.write_table(tmp_path / name, table)
        with (tmp_path / name).open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        for row in rows:
            row["size"] = row["size"] and float(row["size"])
        found.append(rows)
    assert found[0] == found[1]
    assert found[1][1]["plot"] == "'=1+1"
