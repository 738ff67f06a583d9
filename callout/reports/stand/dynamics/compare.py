"""Treatments against the control: the plot as the unit, before and after where there is a before.

A mixed model with plots, and each plot's shift between before and after, as random effects. Where
every plot has as many censuses before and as many after as the others, its test is that of each
plot's own mean or change, and those are compared (ordinary least squares); else the model is fitted
by restricted maximum likelihood. Degrees of freedom: plots less groups; intervals: Student's t.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from statsmodels.regression.linear_model import OLS
from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec
from statsmodels.tools.tools import add_constant

from callout.reports.stand.history import PlotFacts
from callout.reports.stand.sampling import mean_interval, t_quantile

BEFORE_AFTER, LEVEL_ONLY = "before and after", "level"
FEWEST_EACH = 2  # plots of the treatment, and of the control
NONE_TOLD = "none told"
_SLACK = pd.Timedelta(days=30)
MEANS = ["figure", "treatment", "period", "plots", "mean", "low", "high"]
EFFECTS = [
    "figure",
    "treatment",
    "control",
    "design",
    "plots",
    "control_plots",
    "effect",
    "low",
    "high",
    "freedom",
    "told",
]


@dataclass(frozen=True)
class Figure:
    """What is compared: its column ``name``, its words, and the decimals to show."""

    name: str
    words: str
    places: int


def assigned(rows: pd.DataFrame, facts: PlotFacts) -> pd.DataFrame:
    """``rows`` with the plot's final ``treatment`` and its start.

    ``rows`` has ``plot``, ``start``, ``day``, ``value``; ``since`` is the day from which it is
    treated so (NaT: always).
    """
    names, history = facts.plots["plot"].astype(object), facts.history
    last = facts.on(names, pd.Series(pd.Timestamp.max, index=names.index))
    final = pd.Series(last["treatment"].to_numpy(), index=names).replace("", NONE_TOLD)
    since = pd.Series(pd.NaT, index=names, dtype="datetime64[ns]")
    if history is not None:
        told = history[history["treatment"].astype(str) != ""].sort_values("from_day")
        told = told[told["treatment"].astype(object) == told["plot"].astype(object).map(final)]
        first = told.drop_duplicates("plot").set_index("plot")["from_day"]
        since.loc[since.index.isin(first.index)] = first.reindex(
            since.index[since.index.isin(first.index)]
        ).to_numpy()
    plot = rows["plot"].astype(object)
    return rows.assign(treatment=plot.map(final), since=plot.map(since))


def treatment_effects(rows: pd.DataFrame, figure: Figure, control: str) -> pd.DataFrame:
    """One row per treatment, against ``control``; ``rows`` from ``assigned``. Columns EFFECTS."""
    found = []
    for name in sorted(set(rows["treatment"]) - {control, NONE_TOLD}):
        own = rows[rows["treatment"].isin([name, control])]
        found.append(
            {"figure": figure.name, "treatment": name, "control": control}
            | _effect(own, figure, name, control)
        )
    return pd.DataFrame(found, columns=EFFECTS)


def _effect(rows: pd.DataFrame, figure: Figure, name: str, control: str) -> dict[str, object]:
    dated = _in_periods(rows, name)
    design = BEFORE_AFTER
    whole = dated.groupby("plot")["after"].transform("nunique") == 2
    counts = _plots_of(dated[whole], name)
    if min(counts) < FEWEST_EACH:
        design, whole = LEVEL_ONLY, dated["after"] == 1
        counts = _plots_of(dated[whole], name)
    data = dated[whole].assign(treated=(dated["treatment"] == name).astype(float))
    told: dict[str, object] = {"design": design, "plots": counts[0], "control_plots": counts[1]}
    none = {"effect": np.nan, "low": np.nan, "high": np.nan, "freedom": 0}
    if min(counts) < FEWEST_EACH:
        words = (
            f"{figure.words}: {name} ({counts[0]} plots) and {control} ({counts[1]}) cannot be "
            f"compared: that takes {FEWEST_EACH} plots of each, since one plot's difference cannot "
            "be told from that between any two plots."
        )
        return {**told, **none, "told": words}
    effect, error = _fitted(data, design)
    freedom = sum(counts) - 2
    half = float(t_quantile(freedom)) * error
    figures = {"effect": effect, "low": effect - half, "high": effect + half, "freedom": freedom}
    words = _sentence(figure, name, control, design, (effect, half), counts)
    return {**told, **figures, "told": words}


def _in_periods(rows: pd.DataFrame, name: str) -> pd.DataFrame:
    """``rows`` with ``after`` (1 or 0); intervals across the treatment's day are left out.

    Control plots are split at the middle of the days on which plots were treated.
    """
    since = rows["since"].where(rows["treatment"] == name)
    days = since.groupby(rows["plot"], observed=True).first().dropna()
    if days.empty:
        return rows.assign(after=1)
    split = since.fillna(days.sort_values().iloc[(len(days) - 1) // 2])
    always = (rows["treatment"] == name) & rows["since"].isna()
    after = (rows["start"] >= split - _SLACK) | always
    before = (rows["day"] <= split + _SLACK) & ~after
    # A census on the very day or just before it shows the plot untreated.
    single = rows["start"] == rows["day"]
    after, before = (
        after & ~(single & (rows["day"] <= split) & ~always),
        before | (single & (rows["day"] <= split) & ~always),
    )
    return rows.assign(after=after.astype(int))[after | before]


def _plots_of(rows: pd.DataFrame, name: str) -> tuple[int, int]:
    treated = rows["treatment"] == name
    return rows[treated]["plot"].nunique(), rows[~treated]["plot"].nunique()


def _fitted(data: pd.DataFrame, design: str) -> tuple[float, float]:
    """The effect and its standard error."""
    cells = data.groupby(["plot", "after"], observed=True)["value"].agg(["mean", "size"])
    cells = cells.reset_index()
    even = (cells.groupby("after")["size"].nunique() == 1).all()
    if not even and (found := _mixed(data, design)) is not None:
        return found
    means = cells.pivot(index="plot", columns="after", values="mean")
    own = means[1] - means[0] if design == BEFORE_AFTER else means[1]
    treated = data.groupby("plot", observed=True)["treated"].first().reindex(own.index)
    fit = OLS(own.to_numpy(), add_constant(treated.to_numpy())).fit()
    return float(fit.params[1]), float(fit.bse[1])


def _mixed(data: pd.DataFrame, design: str) -> tuple[float, float] | None:
    """By restricted maximum likelihood; None if it does not converge."""
    after, treated = data["after"].to_numpy(dtype=float), data["treated"].to_numpy()
    columns = [np.ones(len(data)), treated]
    if design == BEFORE_AFTER:
        columns += [after, treated * after]
    plot = data["plot"].astype(str).to_numpy()
    shifts = None
    if design == BEFORE_AFTER:
        own = [after[plot == name] for name in np.unique(plot)]
        shifts = VCSpec(
            ["shift"],
            [[["before", "after"] for _ in own]],
            [[np.column_stack([1 - part, part]) for part in own]],
        )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            model = MixedLM(
                data["value"].to_numpy(dtype=float),
                np.column_stack(columns),
                plot,
                exog_re=np.ones((len(data), 1)),
                exog_vc=shifts,
            )
            fit = model.fit(reml=True)
    except (Warning, ValueError, np.linalg.LinAlgError):
        return None
    error = float(np.asarray(fit.bse_fe)[-1])
    return (float(np.asarray(fit.fe_params)[-1]), error) if np.isfinite(error) else None


def _sentence(
    figure: Figure,
    name: str,
    control: str,
    design: str,
    found: tuple[float, float],
    counts: tuple[int, int],
) -> str:
    effect, half = found
    shown = [f"{number:.{figure.places}f}" for number in (effect, effect - half, effect + half)]
    sure = "which is more than chance" if abs(effect) > half else "which chance alone could give"
    how = "changed from before to after by" if design == BEFORE_AFTER else "differ by"
    rest = "" if design == BEFORE_AFTER else " There is no before: plots may have differed always."
    return (
        f"{figure.words}: {name} plots {how} {shown[0]} against {control} (95 % interval "
        f"{shown[1]} to {shown[2]}; {counts[0]} and {counts[1]} plots), {sure}.{rest}"
    )


def treatment_means(rows: pd.DataFrame, figure: Figure) -> pd.DataFrame:
    """Means of plots by treatment and period, with Student's t over plots. Columns MEANS."""
    return pd.DataFrame(list(_means(rows, figure)), columns=MEANS)


def _means(rows: pd.DataFrame, figure: Figure) -> Iterator[dict[str, object]]:
    for name in sorted(set(rows["treatment"])):
        dated = _in_periods(rows[rows["treatment"] == name], name)
        for after, own in dated.groupby("after"):
            values = own.groupby("plot", observed=True)["value"].mean().to_numpy(dtype=np.float64)
            mean, low, high = mean_interval(values)
            yield {
                "figure": figure.name,
                "treatment": name,
                "period": "before" if after == 0 else "after" if dated["after"].min() == 0 else "",
                "plots": len(values),
                "mean": mean,
                "low": low,
                "high": high,
            }


def level_rows(table: pd.DataFrame, days: pd.DataFrame, figure: str) -> pd.DataFrame:
    """A figure of each plot and census (``days``: census_day) as rows to compare."""
    day = table[["plot", "census"]].merge(days, how="left", on=["plot", "census"])["census_day"]
    rows = table[["plot"]].assign(start=day.to_numpy(), day=day.to_numpy(), value=table[figure])
    return rows[rows["value"].notna()].reset_index(drop=True)


def change_rows(table: pd.DataFrame, days: pd.DataFrame, figure: str) -> pd.DataFrame:
    """A figure of each plot and pair of censuses as rows to compare."""
    rows = table[["plot"]].assign(value=table[figure])
    for name, key in (("start", "from_census"), ("day", "to_census")):
        at = table[["plot", key]].rename(columns={key: "census"})
        day = at.merge(days, how="left", on=["plot", "census"])["census_day"]
        rows[name] = day.to_numpy()
    return rows[rows["value"].notna()].reset_index(drop=True)
