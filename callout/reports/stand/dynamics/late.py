"""Deaths found after a skipped census: spread over the missed interval by its likelihood.

A spell lies between two censuses that know a stem: alive at the first, and alive, dead or cut at
the second. One that ends in death after skipped censuses may have ended in any interval between;
each interval gets its share by the plot's own rates (self-consistency, B. W. Turnbull, Journal
of the Royal Statistical Society B 38 (1976) 290-295). No amounts are summed.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from callout.reports.stand.columns import CUT, DEAD, LIVE
from callout.reports.stand.formulas import years_between

_ROUNDS = 200
_CLOSE = 1e-10
_ENDS = ["alive", "died", "cut"]


def spells(stems: pd.DataFrame) -> pd.DataFrame:
    """One row per stem and two consecutive censuses that know its state, from ``stem_census``.

    ``plot``, ``stem_code``, ``row`` (of ``stems``, at the first), ``visit``, ``seen`` (the visit
    that knows it again) and ``end``: 'alive', 'died' or 'cut'.
    """
    status = stems["status"]
    live, cut = (status == LIVE).to_numpy(dtype=bool), (status == CUT).to_numpy(dtype=bool)
    known = np.flatnonzero(live | cut | status.isin(DEAD).to_numpy(dtype=bool))
    code = stems["stem_code"].to_numpy()[known]
    visit = stems["visit"].to_numpy()[known]
    follows = np.flatnonzero((code[1:] == code[:-1]) & live[known[:-1]])
    after = known[follows + 1]
    end = pd.Categorical.from_codes(np.where(live[after], 0, np.where(cut[after], 2, 1)), _ENDS)
    return pd.DataFrame(
        {
            "plot": stems["plot"].array[known[follows]],
            "stem_code": code[follows],
            "row": known[follows],
            "visit": visit[follows],
            "seen": visit[follows + 1],
            "end": end,
        }
    )


def census_days(stems: pd.DataFrame) -> pd.DataFrame:
    """``plot``, ``visit``, ``census``, ``census_day`` of each census; ``years`` to the next."""
    table = stems[["plot", "visit", "census", "census_day"]].drop_duplicates(["plot", "visit"])
    table = table.sort_values(["plot", "visit"], kind="stable").reset_index(drop=True)
    after = table.groupby("plot", observed=True)["census_day"].shift(-1)
    return table.assign(years=years_between(table["census_day"], after))


def by_interval(found: pd.DataFrame, days: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Counts of each plot and interval, and where each late end lies.

    Of ``spells`` and ``census_days``. First: ``plot``, ``visit``, ``survivors``, ``died``, ``cut``
    (both with their shares of late ones, fractions), ``late`` (deaths found late, shared out).
    Second: a row per late spell and interval in it: ``row``, ``end``, ``visit`` and ``share``,
    which add up to one for each spell.
    """
    code, plots = pd.factorize(days["plot"])
    most = int(days["visit"].max()) + 2 if len(days) else 2
    years = np.zeros(len(plots) * most)
    years[code * most + days["visit"].to_numpy()] = days["years"].fillna(0.0)
    start = pd.Index(plots).get_indexer(pd.Index(found["plot"])) * most + found["visit"].to_numpy()
    length = (found["seen"] - found["visit"]).to_numpy()
    end = found["end"]
    alive = _covered(start, length, (end == "alive").to_numpy(dtype=bool), len(years))
    at_once = length == 1
    died = np.bincount(start[at_once & (end == "died")], minlength=len(years)).astype(float)
    cut = np.bincount(start[at_once & (end == "cut")], minlength=len(years)).astype(float)
    late = np.flatnonzero(~at_once & (end != "alive").to_numpy(dtype=bool))
    places = _places(found, late, start, length)
    places["share"] = _by_time(places, years)
    natural = (places["end"] == "died").to_numpy()
    deaths = places[natural].reset_index(drop=True)
    survivors, late_died = alive.copy(), np.zeros(len(years))
    if len(deaths):
        deaths["share"], survivors, late_died = _shared(deaths, alive, died)
        places.loc[natural, "share"] = deaths["share"].to_numpy()
    cuts = places[~natural]
    cut += np.bincount(cuts["interval"], cuts["share"], len(years))
    at = code * most + days["visit"].to_numpy()
    table = days[["plot", "visit"]].assign(
        survivors=survivors[at], died=died[at] + late_died[at], cut=cut[at], late=late_died[at]
    )
    places["visit"] = places["interval"] % most
    return table, places


def _covered(start: np.ndarray, length: np.ndarray, counted: np.ndarray, size: int) -> np.ndarray:
    """How many spells cover each interval."""
    steps = np.zeros(size + 1)
    steps += np.bincount(start[counted], minlength=size + 1)
    steps -= np.bincount((start + length)[counted], minlength=size + 1)
    return np.asarray(np.cumsum(steps)[:size])


def _places(
    found: pd.DataFrame, late: np.ndarray, start: np.ndarray, length: np.ndarray
) -> pd.DataFrame:
    """One row per late spell and interval that it may have ended in."""
    size = length[late]
    spell = np.repeat(np.arange(len(late)), size)
    offset = np.arange(len(spell)) - np.repeat(np.cumsum(size) - size, size)
    return pd.DataFrame(
        {
            "spell": spell,
            "row": found["row"].to_numpy()[late][spell],
            "end": found["end"].array[late][spell],
            "interval": start[late][spell] + offset,
            "offset": offset,
        }
    )


def _by_time(places: pd.DataFrame, years: np.ndarray) -> np.ndarray:
    weight = np.maximum(years[places["interval"]], 1e-9)
    whole = np.bincount(places["spell"], weight)
    return np.asarray(weight / whole[places["spell"]])


def _shared(
    deaths: pd.DataFrame, alive: np.ndarray, died: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Shares of late deaths by the plot's own rates; survivors and late deaths by interval."""
    spell, interval = deaths["spell"].to_numpy(), deaths["interval"].to_numpy()
    spell = np.unique(spell, return_inverse=True)[1]
    first = deaths["offset"].to_numpy() == 0
    share = deaths["share"].to_numpy(dtype=np.float64)
    size = len(alive)
    for _ in range(_ROUNDS):
        before = _before(share, first)
        # Alive through an interval: the part of a late death that lies in a later one.
        lasting = 1 - before - share
        late = np.bincount(interval, share, size)
        survivors = alive + np.bincount(interval, np.maximum(lasting, 0), size)
        with np.errstate(invalid="ignore", divide="ignore"):
            rate = np.nan_to_num((died + late) / (died + late + survivors))
        survived = _product_before(1 - rate[interval], first)
        weight = survived * rate[interval]
        whole = np.bincount(spell, weight)[spell]
        new = np.where(whole > 0, weight / np.maximum(whole, 1e-300), share)
        step = float(np.abs(new - share).max())
        share = new
        if step < _CLOSE:
            break
    lasting = np.maximum(1 - _before(share, first) - share, 0)
    survivors = alive + np.bincount(interval, lasting, size)
    return share, survivors, np.bincount(interval, share, size)


def _before(share: np.ndarray, first: np.ndarray) -> np.ndarray:
    """What was assigned to earlier intervals of the same spell."""
    whole = np.cumsum(share) - share
    start = np.maximum.accumulate(np.where(first, np.arange(len(share)), 0))
    return np.asarray(whole - whole[start])


def _product_before(kept: np.ndarray, first: np.ndarray) -> np.ndarray:
    """The product of ``kept`` over earlier intervals of the same spell."""
    logs = np.log(np.maximum(kept, 1e-300))
    return np.asarray(np.exp(_before(logs, first)))
