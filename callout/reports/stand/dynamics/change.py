"""What changed between two censuses of a plot: components that add up exactly.

Each tree's basal area is first rounded to a whole 10^-9 m2 (a thousandth of a square millimetre)
and its biomass to a whole milligram; from there on only whole numbers are added, so that the parts
equal the whole to the last digit. The fate of a stem is never guessed.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import numpy as np
import pandas as pd

from callout.reports.stand.columns import CUT, DEAD, LOST
from callout.reports.stand.dynamics.late import by_interval, census_days, spells
from callout.reports.stand.formulas import basal_area_m2
from callout.reports.stand.history import PlotFacts

# Each component, and whether it adds to the stand (+1) or takes from it (-1). Growth and scope
# carry their own sign.
COMPONENTS = {
    "survivor_growth": 1,
    "ingrowth": 1,
    "found_again": 1,
    "scope": 1,
    "mortality": -1,
    "cut": -1,
    "lost": -1,
    "unmeasured": -1,
}
SIGNED = ("survivor_growth", "scope")
_FATES = ["", *COMPONENTS]
NANO = Decimal("1E-9")  # basal area: whole 10^-9 m2
MILLIGRAM = Decimal("1E-6")  # biomass in kg: whole milligrams


def whole_basal_area(stems: pd.DataFrame) -> pd.Series:
    """Basal area of each row in whole 10^-9 m2; 0 if not live and measured."""
    return whole(basal_area_m2(stems["diameter_cm"]), stems["measured"], 1e9)


def whole(figure: Any, counted: pd.Series, per_unit: float) -> pd.Series:
    """``figure`` as whole numbers of 1/``per_unit``; 0 if not ``counted``."""
    kept = np.where(counted.to_numpy(dtype=bool), np.asarray(figure, dtype=np.float64), 0.0)
    return pd.Series(np.rint(kept * per_unit).astype(np.int64), index=counted.index)


def fates(
    stems: pd.DataFrame, amount: pd.Series, facts: pd.DataFrame | None = None
) -> pd.DataFrame:
    """One row per stem and pair of consecutive censuses of its plot in which it counts.

    ``amount`` is whole numbers, one per row of ``stems``. Gives ``plot``, ``visit`` (of the first
    census), ``fate`` (a key of COMPONENTS), ``before``, ``after`` (amounts, 0 if not counted).
    ``facts`` (``scope_facts``) says where the plot's area or smallest diameter changed. A death or
    a cut found after skipped censuses has a row in each interval that it may lie in, its amount
    shared out; the rest of it is unmeasured in the first and found again in the later ones.
    """
    both = _side_by_side(stems, amount)
    counted_1, counted_2 = both["measured_1"], both["measured_2"]
    new, state = both["new"], both["status"]
    came, left = _scope(both, facts)
    fate = np.select(
        [
            counted_1 & counted_2,
            counted_2 & new & came,
            counted_2 & new,
            counted_2,
            counted_1 & state.isin(DEAD),
            counted_1 & (state == CUT),
            counted_1 & state.isin(LOST),
            counted_1 & state.isna() & left,
            counted_1,
        ],
        [
            _FATES.index(name)
            for name in (
                "survivor_growth",
                "scope",
                "ingrowth",
                "found_again",
                "mortality",
                "cut",
                "lost",
                "scope",
                "unmeasured",
            )
        ],
        0,
    )
    table = both[["plot", "stem_code", "visit"]].assign(
        fate=pd.Categorical.from_codes(fate, _FATES),
        before=both["amount_1"].where(counted_1, 0),
        after=both["amount_2"].where(counted_2, 0),
    )
    return _with_late(table[table["fate"] != ""].reset_index(drop=True), stems, amount)


def _side_by_side(stems: pd.DataFrame, amount: pd.Series) -> pd.DataFrame:
    """Each stem's rows of two consecutive censuses of its plot; one side is empty without a row.

    ``measured``, ``diameter_cm`` and ``amount`` end in ``_1`` and ``_2``; ``status`` is the second
    row's, and ``new`` says that the stem was never seen before it.
    """
    code, visit = stems["stem_code"].to_numpy(), stems["visit"].to_numpy()
    plot, _ = pd.factorize(stems["plot"])
    last = pd.Series(visit).groupby(plot).max().to_numpy()
    same = np.r_[code[1:] == code[:-1], False][: len(code)]
    follows = same & (np.r_[visit[1:], 0][: len(code)] == visit + 1)
    led = np.r_[False, follows[:-1]][: len(code)]
    first = np.flatnonzero(visit < last[plot])
    second = np.where(follows[first], first + 1, -1)
    alone = np.flatnonzero(~led & (visit > 0))  # no row in the census before
    before, after = np.r_[first, np.full(len(alone), -1)], np.r_[second, alone]
    at = np.where(before >= 0, before, after)
    has_1, has_2 = before >= 0, after >= 0
    seen_first = ~np.r_[False, same[:-1]][: len(code)]
    measured = stems["measured"].to_numpy(dtype=bool)
    size, whole = stems["diameter_cm"].to_numpy(dtype=np.float64), amount.to_numpy()
    return pd.DataFrame(
        {
            "plot": stems["plot"].array[at],
            "stem_code": code[at],
            "visit": visit[at] - ~has_1,
            "measured_1": has_1 & measured[before],
            "measured_2": has_2 & measured[after],
            "diameter_cm_1": np.where(has_1, size[before], np.nan),
            "diameter_cm_2": np.where(has_2, size[after], np.nan),
            "amount_1": np.where(has_1, whole[before], 0),
            "amount_2": np.where(has_2, whole[after], 0),
            "status": pd.Series(stems["status"].array[after]).where(has_2),
            "new": has_2 & seen_first[after],
        }
    )


def _scope(both: pd.DataFrame, facts: pd.DataFrame | None) -> tuple[Any, Any]:
    """Whether a new stem came, or one without a row left, because the plot's scope changed."""
    none = pd.Series(False, index=both.index)
    if facts is None or not len(facts):
        return none, none
    told = both[["plot", "visit"]].merge(facts, how="left", on=["plot", "visit"])
    came = told["larger"].eq(True) | (both["diameter_cm_2"] < told["smallest_before"])
    left = told["smaller"].eq(True) | (both["diameter_cm_1"] < told["smallest_after"])
    return came.fillna(False), left.fillna(False)


def scope_facts(stems: pd.DataFrame, facts: PlotFacts) -> pd.DataFrame | None:
    """Changes of a plot's scope between two censuses; None without a history.

    Columns: ``plot``, ``visit`` (of the first), ``larger``, ``smaller`` (its area),
    ``smallest_before`` and ``smallest_after`` (cm, if the smallest diameter was lowered or raised;
    else NaN).
    """
    if facts.history is None:
        return None
    days = census_days(stems)
    on_day = facts.on(days["plot"], days["census_day"])
    table = days[["plot", "visit"]].assign(area=on_day["area_ha"], smallest=on_day["smallest_cm"])
    after = table.groupby("plot", observed=True)[["area", "smallest"]].shift(-1)
    table["larger"] = after["area"] > table["area"] * (1 + 1e-9)
    table["smaller"] = after["area"] < table["area"] * (1 - 1e-9)
    lowered, raised = after["smallest"] < table["smallest"], after["smallest"] > table["smallest"]
    table["smallest_before"] = table["smallest"].where(lowered)
    table["smallest_after"] = after["smallest"].where(raised)
    changed = table["larger"] | table["smaller"] | lowered | raised
    return table[changed].drop(columns=["area", "smallest"]).reset_index(drop=True)


def _with_late(table: pd.DataFrame, stems: pd.DataFrame, amount: pd.Series) -> pd.DataFrame:
    """The fates, with deaths and cuts found late spread over the intervals where they may lie."""
    known = spells(stems)
    found = known[(known["seen"] > known["visit"] + 1) & (known["end"] != "alive")]
    found = found[stems["measured"].to_numpy()[found["row"]]]
    if found.empty:
        return table
    _, places = by_interval(known, census_days(stems))
    places = places[places["row"].isin(found["row"])]
    whole = amount.to_numpy()[places["row"]]
    # Shares in whole numbers that add up: each is the step between two rounded sums.
    upto = places.groupby("spell")["share"].cumsum().to_numpy()
    ends = np.rint(upto * whole).astype(np.int64)
    last = (places["spell"] != places["spell"].shift(-1)).to_numpy()
    ends[last] = whole[last]
    first = (places["offset"] == 0).to_numpy()
    part = ends - np.where(first, 0, np.r_[0, ends[:-1]])
    stem = stems["stem_code"].to_numpy()[places["row"]]
    rows = pd.DataFrame(
        {
            "plot": stems["plot"].array[places["row"]],
            "stem_code": stem,
            "visit": places["visit"].to_numpy(),
            "before": part,
            "after": 0,
            "fate": _of_fate(np.where(places["end"] == "cut", "cut", "mortality")),
        }
    )
    again = rows[~first].assign(
        fate=lambda late: _of_fate(["found_again"] * len(late)), before=0, after=part[~first]
    )
    keys = ["stem_code", "visit"]
    out = rows[first].set_index(keys)["before"]
    at = pd.MultiIndex.from_frame(table[keys])
    taken = out.reindex(at).to_numpy(dtype=np.float64)
    leaving = table["fate"].isin(["unmeasured", "lost", "scope"]).to_numpy() & ~np.isnan(taken)
    rest = table["before"] - np.where(leaving, np.nan_to_num(taken), 0).astype(np.int64)
    return pd.concat([table.assign(before=rest), rows, again], ignore_index=True)


def _of_fate(names: Any) -> pd.Categorical:
    return pd.Categorical(names, categories=_FATES)


def components(
    stems: pd.DataFrame, amount: pd.Series, unit: Decimal = NANO, facts: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Components of change of each plot and pair of censuses, as exact decimals.

    Columns: ``plot``, ``from_census``, ``to_census``, ``at_first``, ``at_second`` (sums of all
    live measured stems), the COMPONENTS (told as positive amounts except the SIGNED), ``net``
    (at_second - at_first). Always ``net = survivor_growth + ingrowth + found_again + scope -
    mortality - cut - lost - unmeasured``. ``found_again`` are stems known earlier but not measured
    at the first census; ``scope`` came or went with a change of the plot's area or smallest
    diameter; ``lost`` are told missing or not found; ``unmeasured`` got no diameter or no row.
    """
    rows = fates(stems, amount, facts)
    change = rows["after"] - rows["before"]
    change = change.where(rows["fate"].isin(SIGNED), change.abs())
    table = _totals(stems, amount)
    parts = pd.concat([table, by_fate(table, rows, change.to_numpy())], axis=1)
    parts["net"] = parts["at_second"] - parts["at_first"]
    exact = {
        name: [int(number) * unit for number in parts[name]]
        for name in ("at_first", "at_second", *COMPONENTS, "net")
    }
    return table[["plot", "from_census", "to_census"]].assign(**exact)


def by_fate(table: pd.DataFrame, rows: pd.DataFrame, amount: Any) -> pd.DataFrame:
    """Sums of ``amount`` (whole numbers, of ``rows`` from ``fates``) for each row of ``table``.

    By ``plot`` and ``visit``; a column for each of COMPONENTS.
    """
    keys = ["plot", "visit"]
    at = pd.MultiIndex.from_frame(table[keys]).get_indexer(pd.MultiIndex.from_frame(rows[keys]))
    sums = np.zeros((len(table) + 1, len(_FATES)), dtype=np.int64)  # the last for no place: -1
    np.add.at(sums, (at, rows["fate"].cat.codes.to_numpy()), amount)
    return pd.DataFrame(sums[:-1, 1:], index=table.index, columns=_FATES[1:])


def _totals(stems: pd.DataFrame, amount: pd.Series) -> pd.DataFrame:
    """Totals of each plot's censuses beside those of the next, independent of any fate."""
    counted = amount.where(stems["measured"], 0)
    grouped = stems.assign(amount=counted).groupby(["plot", "visit"], observed=True)
    sums = grouped.agg(census=("census", "first"), amount=("amount", "sum")).reset_index()
    follows = np.flatnonzero((sums["plot"] == sums["plot"].shift()).to_numpy(dtype=bool))
    first, second = sums.iloc[follows - 1].reset_index(drop=True), sums.iloc[follows]
    return first[["plot", "visit"]].assign(
        from_census=first["census"],
        to_census=second["census"].array,
        at_first=first["amount"],
        at_second=second["amount"].array,
    )
