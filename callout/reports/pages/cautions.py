"""What a reader must know about the figures: what is missing, doubtful, or was corrected.

Sentences only; every figure in them comes from ``analysis``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

import pandas as pd

from callout.reports.stand.census import unsettled
from callout.reports.stand.columns import LIVE, LOST
from callout.reports.stand.corrected import told_of_rounding
from callout.reports.stand.dynamics.growth import ALL_MOVED
from callout.reports.stand.taper import SPAN_M, Taper
from callout.reports.stand.visits import told_aside

_MOST = 8


def cautions(
    stems: pd.DataFrame, trees: pd.DataFrame, tables: dict[str, pd.DataFrame], untold: int
) -> tuple[str, ...]:
    """All cautions. ``untold``: how many rows give no height of measurement."""
    return (
        *_unsettled(stems),
        *told_aside(tables["set_aside"]),
        *_areas(tables["summary"]),
        *told_of_rounding(stems),
        *_moved(tables["growth"]),
        *_renamed(tables["reidentified"]),
        *_ranges(trees),
        *_absent(stems),
        *_late(tables["rates"]),
        *gaps_told(tables["left_out"], tables["species_gaps"]),
        *heights_told(untold, stems),
    )


def counted(count: int, noun: str, verb: str = "") -> str:
    """A count with its noun and verb: 1 stem was, 2 stems were."""
    verbs = {"was": "were", "is": "are", "tells": "tell", "": ""}
    words = f"{count} {noun}{'' if count == 1 else 's'}"
    return f"{words} {verb if count == 1 else verbs[verb]}".rstrip()


def some(names: list[str], most: int = _MOST) -> str:
    """The first names, and how many more there are."""
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def _unsettled(stems: pd.DataFrame) -> list[str]:
    rows = stems[unsettled(stems)]
    names = list(dict.fromkeys(f"{row.plot} {row.tag}" for row in rows.itertuples()))
    if not names:
        return []
    return [
        f"Trees measured by two recorders who disagree, without a ruling yet: {some(names)}. "
        "Growth leaves them out; stand figures take the reading that was saved without a "
        "warning, else the later one."
    ]


def _areas(summary: pd.DataFrame) -> list[str]:
    told = []
    unknown = summary["area_ha"].isna()
    never = summary[unknown].groupby("plot", observed=True).size()
    of_all = summary.groupby("plot", observed=True).size().reindex(never.index)
    names = [str(plot) for plot in never.index[never == of_all]]
    if names:
        told.append(f"Area not known for {some(names)}: nothing is given a hectare there.")
    parted = [str(plot) for plot in never.index[never < of_all]]
    if parted:
        told.append(
            f"Area not known at some censuses of {some(parted)}, before the first day that the "
            "plots' history tells: nothing is given a hectare there."
        )
    known = summary[~unknown].groupby("plot", observed=True)["area_ha"].agg(["min", "max"])
    changed = [str(plot) for plot in known.index[known["max"] > known["min"] * (1 + 1e-9)]]
    if changed:
        told.append(
            f"The area of {some(changed)} changed: figures a hectare go by the area of the day, "
            "and no recruitment is told where it grew, since who is new cannot be told from who "
            "was outside before."
        )
    return told


def plots_apart(heights: Mapping[str, float], taper: Taper) -> list[str]:
    """That plots were measured at different heights, and the effect of that alone."""
    known = Counter(heights.values())
    if len(known) < 2:
        return []
    apart = max(known) - min(known)
    percent = 2 * taper.percent * apart / SPAN_M
    much = f" (about {percent:.1g} % of basal area)" if apart <= taper.reach_m else ""
    told = "; ".join(
        f"{height:.2f} m: {counted(count, 'plot')}" for height, count in sorted(known.items())
    )
    return [
        f"Plots were measured at different heights ({told}). Each plot's figures go by its own, so "
        f"that plots differ a little by that alone{much}; --basis brings all to one height."
    ]


def _moved(growth: pd.DataFrame) -> list[str]:
    moved = growth[growth["moved"] > 0]
    if moved.empty:
        return []
    plots = list(dict.fromkeys(str(name) for name in moved["plot"]))
    none = sorted({str(name) for name in moved["plot"][moved["why"] == ALL_MOVED]})
    rest = f" That leaves none in {some(none)}: no growth is told there." if none else ""
    return [
        f"{int(moved['moved'].sum())} stems in {some(plots)} were measured at another height than "
        f"at the census before; growth leaves them out.{rest}"
    ]


def _renamed(table: pd.DataFrame) -> list[str]:
    if table.empty:
        return []
    names = [f"{row.plot} {row.tag} ({row.before}, now {row.now})" for row in table.itertuples()]
    return [
        f"Trees identified anew: {some(names)}. All their figures go by the latest name, so that "
        "no carbon comes or goes by a name."
    ]


def _ranges(trees: pd.DataFrame) -> list[str]:
    told = []
    for note, words in (
        ("above range", "measured stems are larger than their equation's range (extrapolated)"),
        ("below range", "measured stems are smaller than their equation's range (extrapolated)"),
    ):
        rows = trees[trees["note"] == note]
        if len(rows):
            kinds = ", ".join(str(name) or "not told" for name in rows["species"].unique()[:6])
            told.append(f"{len(rows)} {words}: {kinds}.")
    return told


def _absent(stems: pd.DataFrame) -> list[str]:
    last = stems.groupby("plot", observed=True)["census"].transform("max")
    gone = stems["status"].isin(LOST) | ((stems["status"] == LIVE) & ~stems["measured"])
    absent = int((gone & (stems["census"] == last)).sum())
    if not absent:
        return []
    return [
        f"{counted(absent, 'stem', 'was')} not found or not measured at the plot's last census: "
        "until that is done, counted as lost in changes of basal area and carbon."
    ]


def _late(rates: pd.DataFrame) -> list[str]:
    late = rates.groupby("plot", observed=True)["late"].sum()
    late = late[late > 0]
    if late.empty:
        return []
    return [
        f"{counted(round(late.sum()), 'death', 'was')} found after a census that skipped the stem "
        f"({some([str(plot) for plot in late.index])}): each is shared among the intervals that it "
        "may lie in."
    ]


def gaps_told(stems: pd.DataFrame, gaps: pd.DataFrame) -> list[str]:
    """How much of each plot carbon leaves out, and why."""
    told = []
    for why, rows in stems.groupby("why", sort=True):
        names = [str(name) or "species not told" for name in rows["species"].unique()]
        more = f" and {len(names) - 6} more" if len(names) > 6 else ""
        share = gaps[gaps["why"] == why].groupby(["plot", "census"], observed=True)
        most = share["basal_area_percent"].sum().max()
        told.append(
            f"{counted(len(rows), 'stem', 'is')} left out of carbon: {why} "
            f"({', '.join(names[:6])}{more}), up to {most:.0f} % of a plot's basal area; "
            "the table species_gaps tells what that would change. Tell their species, or give "
            "--species-groups or --equations."
        )
    return told


def heights_told(untold: int, stems: pd.DataFrame) -> list[str]:
    """How many rows give no height of measurement, and the height assumed for them."""
    if not untold:
        return []
    still = int(stems["measured_height_m"].isna().sum())
    rest = f"; {counted(still, 'stem', 'is')} of plots that tell none, and taken as measured"
    return [
        f"{counted(untold, 'row', 'tells')} no height of measurement: taken at the plot's breast "
        f"height{rest if still else ''}."
    ]
