"""What the next visit starts with: trees with their past, plot settings, and all measurements.

A tree's past holds its live diameters; its last state is stored beside, for the checks. Trees that
were cut or down at last are left out of the roster, not out of the measurements.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pandas as pd

from callout.core.errors import OperatorError
from callout.core.model import PastMeasurement, PlotSettings, Tree
from callout.core.rounding import Rounding
from callout.core.statuses import Status
from callout.core.units import Scale, Unit, parse_decimal, parse_unit
from callout.reports.exchange.cells import WRITTEN, extra_columns, text_rows, told
from callout.reports.exchange.dataset import Dataset
from callout.reports.stand.columns import LIVE
from callout.survey.config import plausible_range
from callout.survey.roster import checked_tag

GONE = (Status.DEAD_DOWN.words, Status.CUT.words)
_PLOT_FACTS: Mapping[str, Any] = {
    "site": str,
    "shape": str,
    "established": str,
    "paint_line": {"yes": True, "no": False}.__getitem__,
    "graduation": parse_decimal,
    "rounding": Rounding,
    "scale": Scale,
    "smallest": parse_decimal,
    "largest": parse_decimal,
}
# The columns with a tree's last state; see docs/checks.md.
_LAST = ("status", "measured_at_m", "breast_height_m", "stems")


def next_trees(taken: Dataset, *, with_gone: bool = False) -> tuple[tuple[Tree, ...], int]:
    """The next roster, and the number of trees left out of it because they are gone.

    Raises OperatorError naming a tag that cannot be called.
    """
    heights = {
        str(row.plot): ""
        if pd.isna(row.breast_height_m)
        else str(Decimal(repr(row.breast_height_m)))
        for row in taken.plots.itertuples()
    }
    roster = _roster(taken.trees)
    rows = taken.measurements.assign(
        plot=taken.measurements["plot"].astype(str), tag=taken.measurements["tag"].astype(str)
    ).sort_values("date", kind="stable")
    seen = dict(tuple(rows.groupby(["plot", "tag"], sort=False)))
    trees, gone = [], 0
    for key in dict.fromkeys([*roster, *seen]):
        plot, tag = key
        try:
            checked_tag(tag)
        except OperatorError as error:
            raise OperatorError(f"plot {plot}: {error}") from None
        tree = roster.get(key) or Tree(plot, tag)
        if key in seen:
            tree = _with_past(tree, seen[key], heights.get(plot, ""))
        if tree.extra.get("status") in GONE and not with_gone:
            gone += 1
        else:
            trees.append(tree)
    if not trees:
        raise OperatorError("no tree is left standing: there is nothing to measure again")
    return tuple(trees), gone


def _roster(trees: pd.DataFrame | None) -> dict[tuple[str, str], Tree]:
    if trees is None:
        return {}
    further = [name for name in trees.columns if name not in ("plot", "tag", "species")]
    return {
        (row["plot"], row["tag"]): Tree(
            row["plot"],
            row["tag"],
            row["species"],
            extra={name: row[name] for name in further if row[name]},
        )
        for row in trees.astype(str).to_dict("records")
    }


def _with_past(tree: Tree, own: pd.DataFrame, breast_height: str) -> Tree:
    """``own`` is the tree's rows, the oldest first."""
    last = own.iloc[-1]
    stems = sorted({str(stem) for stem in own["stem"]})
    live = own[(own["status"] == LIVE) & own["value"].notna()]
    past = tuple(
        PastMeasurement(row.date.date(), row.value, Unit(str(row.unit)))
        for row in live.itertuples()
        if len(stems) == 1  # a roster cannot say which stem a diameter is of
    )
    extra = {name: text for name, text in tree.extra.items() if name not in _LAST}
    height = told(live["measured_height_m"].iloc[-1]) if len(live) else ""
    extra["status"] = "" if last["status"] == LIVE else str(last["status"])
    extra["stems"] = "; ".join(stem for stem in stems if stem)
    extra["breast_height_m"] = breast_height
    if not breast_height or not height or Decimal(height) != Decimal(breast_height):
        extra["measured_at_m"] = height
    species = [str(name) for name in own["species"] if str(name)]
    return replace(
        tree,
        species=species[-1] if species else tree.species,
        past=past,
        extra={name: text for name, text in extra.items() if text},
    )


def next_settings(taken: Dataset, base: PlotSettings) -> dict[str, PlotSettings]:
    """How each plot is measured: as in the survey, else from the form, else ``base``."""
    found = {}
    for row in taken.plots.itertuples():
        name = str(row.plot)
        if name in taken.known:
            found[name] = taken.known[name].settings
            continue
        given: dict[str, Any] = {"plot": name, "treatment": str(row.treatment)}
        if row.unit:
            given["unit"] = parse_unit(str(row.unit))
            smallest, largest = plausible_range(given["unit"])
            if given["unit"] is not base.unit:
                given.update(smallest=smallest, largest=largest)
        given.update(_of_plot(row))
        for ours, number in (("area_ha", row.area_ha), ("breast_height_m", row.breast_height_m)):
            if not pd.isna(number):
                given[ours] = Decimal(repr(float(number)))
        readings = _of_readings(taken.measurements, name)
        found[name] = replace(base, **{**readings, **given})
    return found


def _of_plot(row: Any) -> dict[str, Any]:
    """The plot settings that only this form holds."""
    found: dict[str, Any] = {}
    for name, read in _PLOT_FACTS.items():
        text = str(getattr(row, name, "") or "")
        if text:
            try:
                found[name] = read(text)
            except (OperatorError, ValueError, KeyError):
                raise OperatorError(f"plot {row.plot}: {name} {text!r} is not known") from None
    return found


def _of_readings(measurements: pd.DataFrame, plot: str) -> Mapping[str, Any]:
    """Graduation and rounding as in the plot's newest reading."""
    own = measurements[measurements["plot"] == plot]
    found: dict[str, Any] = {}
    for name, read in (("graduation", parse_decimal), ("rounding", Rounding)):
        if name not in own.columns:
            continue
        told_here = [str(text) for text in own[name] if str(text)]
        if told_here:
            try:
                found[name] = read(told_here[-1])
            except ValueError:
                raise OperatorError(f"plot {plot}: {name} {told_here[-1]!r} is not known") from None
    return found


def all_rows(taken: Dataset) -> tuple[list[str], list[list[str]]]:
    """Every measurement as texts, with its columns, for the next survey's journal."""
    columns = [*WRITTEN, *extra_columns(taken.measurements)]
    return columns, text_rows(taken.measurements, columns)
