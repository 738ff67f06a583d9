"""Stems that got no biomass: which, why, and their possible effect.

A gap is reported with its size: its share of basal area, and the carbon that it would add by the
lightest and by the heaviest equation of the set. No equation is chosen for it here.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from callout.reports.stand.formulas import basal_area_m2
from callout.reports.stand.mass.biomass import ANOTHER_HEIGHT, NO_EQUATION, mass_kg
from callout.reports.stand.mass.equation_set import EquationSet

LEFT_OUT = (NO_EQUATION, ANOTHER_HEIGHT)


def left_out(trees: pd.DataFrame, equations: EquationSet) -> pd.DataFrame:
    """Measured stems without a mass, each once (``trees`` from ``stem_biomass``).

    ``plot``, ``tag``, ``stem``, ``species``, ``why``, ``first`` and ``last`` (censuses).
    """
    rows = trees[trees["note"].isin(LEFT_OUT)]
    rows = rows.assign(why=_reasons(rows, equations))
    grouped = rows.groupby(["plot", "tag", "stem", "species", "why"], observed=True, sort=True)
    return grouped.agg(first=("census", "min"), last=("census", "max")).reset_index()


def _reasons(rows: pd.DataFrame, equations: EquationSet) -> list[str]:
    reasons = []
    for note, group in zip(rows["note"], rows["group"], strict=True):
        if note == NO_EQUATION:
            reasons.append("no equation for this species")
        else:
            place = equations.equations[str(group)].measured_at
            reasons.append(f"the equation's diameter is taken at {place}, this one elsewhere")
    return reasons


def species_gaps(trees: pd.DataFrame, equations: EquationSet, fraction: float) -> pd.DataFrame:
    """What is left out of carbon, by plot, census, species and reason; and what it would change.

    ``stems``, ``basal_area_percent`` (of the plot's live stems), ``carbon_low_kg`` and
    ``carbon_high_kg``: by the lightest and the heaviest equation of the set at each diameter, as if
    taken at breast height; for reading, not for adding.
    """
    live = trees[trees["measured"]]
    area = pd.Series(basal_area_m2(live["diameter_cm"]), index=live.index)
    whole = area.groupby([live["plot"], live["census"]], observed=True).sum().rename("whole")
    rows = live[live["note"].isin(LEFT_OUT)]
    size = rows["diameter_cm"].to_numpy(dtype=np.float64)
    breast = [one for one in equations.equations.values() if np.isinf(one.highest_m)]
    masses = np.array([mass_kg(size, one.b0, one.b1) for one in breast]) * fraction
    rows = rows.assign(
        why=_reasons(rows, equations),
        area=area.loc[rows.index],
        carbon_low_kg=masses.min(axis=0),
        carbon_high_kg=masses.max(axis=0),
    )
    grouped = rows.groupby(["plot", "census", "species", "why"], observed=True, sort=True)
    table = grouped.agg(
        stems=("area", "size"),
        area=("area", "sum"),
        carbon_low_kg=("carbon_low_kg", "sum"),
        carbon_high_kg=("carbon_high_kg", "sum"),
    ).reset_index()
    table = table.merge(whole.reset_index(), how="left", on=["plot", "census"])
    share = 100 * table.pop("area") / table.pop("whole")
    table.insert(5, "basal_area_percent", share)
    return table
