"""What rows of another's table tell of their plot, by date: area, treatment, rounding, height.

Invented rows; truths by plain arithmetic. Everything by the public commands.
"""

from __future__ import annotations

import csv
import math
import tomllib

import pytest

from callout.cli.main import main
from callout.reports.exchange.taken.taking import take

near = pytest.approx
# One plot enlarged from 0.10 to 0.25 ha, ten stems of 20 cm on the first and 25 on the second.
OLD, NEW = "2010-06-01", "2018-06-01"


def rows(extra, heights=("1.37", "1.37")):
    told = []
    for day, count, height, cells in (
        (OLD, 10, heights[0], extra[0]), (NEW, 25, heights[1], extra[1])
    ):  # fmt: skip
        told += [["K1", str(tag), "Quercus rubra", day, "20.0", height, *cells]
                 for tag in range(1, count + 1)]  # fmt: skip
    return told


def write(path, columns, table):
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["plot", "tag", "species", "date", "dbh_cm", "pom_m", *columns])
        writer.writerows(table)
    return path


def imported(tmp_path, columns, table, capsys):
    path = write(tmp_path / "their.csv", columns, table)
    code = main(["import", str(path), "--out", str(tmp_path / "taken"), "--yes"])
    return code, capsys.readouterr()


def reported(tmp_path, name, *source):
    out = tmp_path / name
    assert main(["report", *map(str, source), "--out", str(out), "--draws", "200"]) == 0
    with (out / "tables" / "summary.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file)), (out / "index.html").read_text(encoding="utf-8")


def history_of(taken):
    return taken.further["history"].astype(str).to_dict("records")


def dense(count, area):
    return count * math.pi * 20.0**2 / 40_000 / area


def test_an_area_that_changes_by_date_is_taken_into_the_history(tmp_path, capsys):
    """10 stems on 0.10 ha and 25 on 0.25 ha: the same basal area a hectare."""
    code, told = imported(tmp_path, ["plot_area_ha"], rows((["0.10"], ["0.25"])), capsys)
    assert code == 0
    assert f"K1 from {OLD}: area_ha 0.1" in told.out
    assert f"K1 from {NEW}: area_ha 0.25" in told.out
    summary, page = reported(tmp_path, "pages", tmp_path / "taken")
    for row, count, area in zip(summary, (10, 25), (0.10, 0.25), strict=True):
        assert float(row["area_ha"]) == near(area)
        assert float(row["basal_area_m2_ha"]) == near(dense(count, area))
    assert "The area of K1 changed" in page
    assert "basal_area_m2<" not in page  # a column's name is no word of the page
    own = (tmp_path / "pages" / "plot-K1.html").read_text(encoding="utf-8")
    assert "Area by census: 0.1 ha in 2010; 0.25 ha in 2018." in own


@pytest.mark.parametrize(
    ("column", "cells"),
    [
        ("plot_area_m2", (["1000"], ["2500"])),
        ("area m2", (["1000"], ["2500.0"])),
        # An acre is 4046.8564224 m2.
        ("plot_area_acres", (["0.2471053814671653"], ["0.6177634536679133"])),
    ],
)
def test_areas_in_other_units(tmp_path, capsys, column, cells):
    assert imported(tmp_path, [column], rows(cells), capsys)[0] == 0
    history = take(tmp_path / "taken").further["history"]
    assert [float(text) for text in history["area_ha"]] == near([0.10, 0.25], rel=1e-12)


def test_the_same_by_the_mapping_alone(tmp_path, capsys):
    imported(tmp_path, ["plot_area_ha"], rows((["0.10"], ["0.25"])), capsys)
    by_import = take(tmp_path / "taken")
    by_mapping = take(tmp_path / "their.csv", tmp_path / "their.mapping.toml")
    assert history_of(by_import) == history_of(by_mapping)
    assert by_import.plots["area_ha"].tolist() == by_mapping.plots["area_ha"].tolist() == [0.25]


def test_the_next_visit_keeps_what_the_table_told(tmp_path, capsys):
    table = rows((["0.10", "control"], ["0.25", "thinned"]), ("1.37", "1.30"))
    imported(tmp_path, ["plot_area_ha", "treatment"], table, capsys)
    assert main(["new", str(tmp_path / "next"), "--from", str(tmp_path / "taken")]) == 0
    told = tomllib.loads((tmp_path / "next" / "survey.toml").read_text(encoding="utf-8"))
    assert told["history"]["K1"] == {
        OLD: {"area_ha": "0.1", "treatment": "control", "breast_height": "1.37"},
        NEW: {"area_ha": "0.25", "treatment": "thinned", "breast_height": "1.3"},
    }
    kept = take(tmp_path / "next")
    heights = kept.measurements.groupby("date")["measured_height_m"].unique()
    assert [list(own) for own in heights] == [[1.37], [1.30]]
    assert history_of(kept) == history_of(take(tmp_path / "taken"))


def test_heights_that_differ_within_a_day_are_the_rows_own_alone(tmp_path, capsys):
    table = rows(([], []), ("1.37", "1.30"))
    table[0][5] = "1.80"
    imported(tmp_path, [], table, capsys)
    taken = take(tmp_path / "taken")
    assert "history" not in taken.further
    assert sorted(set(taken.measurements["measured_height_m"])) == [1.30, 1.37, 1.80]


def test_what_never_changes_is_the_plots_own(tmp_path, capsys):
    imported(tmp_path, ["plot_area_ha"], rows((["0.10"], [""])), capsys)
    taken = take(tmp_path / "taken")
    assert taken.plots["area_ha"].tolist() == [0.1]
    assert "history" not in taken.further


def test_rows_that_were_rounded_down_are_unbiased(tmp_path, capsys):
    """Down to whole centimetres before, nearest to a tenth now: half a centimetre is added."""
    table = rows((["1", "down"], ["0.1", "nearest"]))
    imported(tmp_path, ["graduation", "rounding"], table, capsys)
    summary, _ = reported(tmp_path, "pages", tmp_path / "taken")
    ratio = float(summary[0]["basal_area_m2"]) / float(summary[1]["basal_area_m2"])
    assert ratio == near((10 * 20.5**2) / (25 * 20.0**2))


@pytest.mark.parametrize(
    ("column", "cell", "why"),
    [
        ("plot_area_ha", "-1", "area"),
        ("plot_area_ha", "lots", "not a number"),
        ("plot_area_ha", "0.3", "another plot_area_ha"),
        ("treatment", "burnt", "another treatment"),
        ("graduation", "0", "graduation"),
        ("rounding", "up", "down or nearest"),
    ],
)
def test_a_row_that_cannot_be_so_is_refused_with_its_reason(tmp_path, capsys, column, cell, why):
    """The last row alone says otherwise than all others of its day."""
    usual = {"plot_area_ha": "0.25", "treatment": "control", "graduation": "1", "rounding": "down"}
    table = rows(([usual[column]], [usual[column]]))
    table[-1][-1] = cell
    code, told = imported(tmp_path, [column], table, capsys)
    assert code == 1
    assert "1 row refused" in told.out and why in told.out
    assert f"line {len(table) + 1}" in told.out


def test_an_area_without_a_unit_is_asked_for(tmp_path, capsys):
    code, told = imported(tmp_path, ["plot area"], rows((["0.10"], ["0.25"])), capsys)
    assert code == 2
    assert "area_unit: ha, m2 or acre?" in told.out


def test_a_girths_graduation_is_refused_whole(tmp_path, capsys):
    path = tmp_path / "their.csv"
    path.write_text("plot,tag,date,girth_cm,graduation\nK1,1,2020-06-01,80.0,0.1\n")
    assert main(["import", str(path), "--out", str(tmp_path / "taken"), "--yes"]) == 2
    assert "girth" in capsys.readouterr().err
    assert not (tmp_path / "taken").exists()
