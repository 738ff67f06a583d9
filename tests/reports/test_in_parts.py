"""The tables of plots computed some at a time are those of the report of all at once.

All data are invented: plots with late deaths, several stems, two heights of measurement, dated
facts, a campaign about a new year, a mistyped date, and a species found to be another.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from stand_frames import harrow_fen, measurement, plot_history, plots

from callout.cli.main import main
from callout.core.errors import OperatorError
from callout.reports.exchange.dataset import Dataset
from callout.reports.exchange.metadata import About
from callout.reports.exchange.parquet import write_parquet
from callout.reports.pages import in_parts
from callout.reports.pages.analysis import ReportSettings, analyse
from callout.reports.pages.in_parts import Terms, tables_in_parts
from callout.reports.stand.taper import Taper
from callout.survey import archives

TERMS = Terms(None, 5, "nearest", Taper(1.0), 0.5)


def site():
    rng = np.random.default_rng(12)
    rows, places = [], []
    for at in range(7):
        plot, unit = f"P{at:02}", "in" if at % 3 == 0 else "cm"
        places.append((plot, 0.1 * (at + 1), unit, "thinned" if at % 2 else "control"))
        for tag in range(1, 31):
            size, alive = rng.integers(60, 400), True
            for census, day in enumerate(("2010-12-20", "2015-08-10", "2020-08-01")):
                date = pd.Timestamp(day) + pd.Timedelta(days=at * 4 + tag % 3)
                if not alive or (census == 1 and rng.random() < 0.2):
                    continue  # skipped: a death may be found late
                alive = rng.random() > 0.15
                size += rng.integers(-1, 12)
                stem = "2" if tag == 4 else ""
                other = {"plot": plot, "stem": stem, "status": "live" if alive else "cut"}
                if tag % 5 and not alive:
                    other["status"] = "dead standing"
                if at == 5 and census == 2:
                    other["measured_height_m"] = 1.37 if tag % 2 else 1.30
                other["species"] = "Acer rubrum" if tag == 9 and census == 2 else "Quercus rubra"
                value = f"{size / 10:.1f}" if alive else None
                rows.append(measurement(tag, date, value, unit, **other))
                if tag == 4:
                    rows.append(measurement(tag, date, value, unit, **{**other, "stem": "1"}))
    rows.append(measurement(7, "2031-08-02", "30.0", plot="P01"))  # a mistyped year
    history = plot_history(
        ("P02", "2014-01-01", {"area_ha": 0.4}), ("P03", "2018-01-01", {"rounding": "down"}),
        ("P04", "2012-01-01", {"smallest": "12.0"}),
    )  # fmt: skip
    order = rng.permutation(len(rows))
    return pd.DataFrame([rows[at] for at in order]), plots(*places), history


def same(found, wanted):
    for name, table in found.items():
        other = wanted[name]
        if name == "fluxes":  # those of carbon are for the whole report alone
            other = other[other["pool"] == "basal_area_m2"].reset_index(drop=True)
        if name in ("set_aside", "reidentified"):  # in the order of the measurements
            keys = list(table.columns[:4])
            table, other = (each.sort_values(keys, ignore_index=True) for each in (table, other))
        pd.testing.assert_frame_equal(
            table, other, check_dtype=False, check_categorical=False, rtol=1e-12, obj=name
        )


@pytest.fixture(scope="module")
def at_once():
    measurements, places, history = site()
    return analyse(measurements, places, ReportSettings(), None, history)


@pytest.mark.parametrize("rows_a_part", [150, 10**6])
def test_in_parts_as_at_once(rows_a_part, at_once):
    measurements, places, history = site()
    tables, heights = tables_in_parts(
        measurements.astype({"plot": "category", "status": "category"}), places, history, TERMS,
        rows_a_part=rows_a_part,
    )  # fmt: skip
    assert heights == at_once.heights
    assert len(tables["set_aside"]) == 1
    assert len(tables["reidentified"]) > 3
    assert (tables["rates"]["late"] > 0).any()
    # The years of the winter's campaign are one only where all plots are looked at together.
    assert tables["censuses"]["census"].nunique() == 3
    same(tables, at_once.tables)


def test_the_command_on_every_core(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(in_parts, "_ALONE", 0)
    monkeypatch.setattr(in_parts, "ROWS_A_PART", 200)
    monkeypatch.setattr(in_parts.os, "cpu_count", lambda: 2)
    measurements, places, _ = site()
    about = About("invented", "here", "2026-01-01T00:00:00Z")
    write_parquet(tmp_path / "rows", Dataset(measurements, places), about)
    monkeypatch.setattr(archives, "OF_STRANGERS", archives.Limits(10**6, 1000))
    monkeypatch.setattr("callout.reports.exchange.parquet.OF_STRANGERS", archives.OF_STRANGERS)
    words = ["report", str(tmp_path / "rows"), "--out", str(tmp_path / "out"), "--tables-only"]
    assert main(words) == 2
    assert "--large" in capsys.readouterr().err
    assert main([*words, "--large"]) == 0
    told = capsys.readouterr().out
    assert "P01 7 on 2031-08-02" in told
    wanted, _ = tables_in_parts(measurements, places, None, TERMS)
    found = pd.read_csv(tmp_path / "out" / "tables" / "summary.csv")
    assert list(found["plot"]) == list(wanted["summary"]["plot"])
    assert np.allclose(found["basal_area_m2"], wanted["summary"]["basal_area_m2"])
    assert (tmp_path / "out" / "tables" / "dictionary.csv").is_file()
    assert not (tmp_path / "out" / "index.html").exists()


def test_too_many_for_pages_is_refused(tmp_path, monkeypatch, capsys):
    measurements, places = harrow_fen()
    write_parquet(tmp_path / "rows", Dataset(measurements, places), About("x", "here", "2026"))
    monkeypatch.setattr("callout.cli.desk.report_command.MOST_ON_PAGES", 5)
    assert main(["report", str(tmp_path / "rows"), "--out", str(tmp_path / "out")]) == 2
    assert "--tables-only" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_nothing_alive_is_refused():
    measurements, places, _ = site()
    with pytest.raises(OperatorError, match="no live stem"):
        tables_in_parts(measurements[measurements["status"] == "cut"], places, None, TERMS)
