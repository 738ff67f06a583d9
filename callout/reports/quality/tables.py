"""The tables of a quality check: every pair, and the figures by size class, measurers and plot.

Frames for the page and the CSVs. Each unit has rows of its own; nothing is converted.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from typing import Any

import pandas as pd

from callout.core.errors import OperatorError
from callout.core.units import Unit, convert
from callout.reports.quality.agreement import Tolerance, agreement, share_within
from callout.reports.quality.pairs import Pair, by_unit

CLASS_WIDTH = {"in": Decimal(4), "cm": Decimal(10), "mm": Decimal(100)}


def pair_frame(pairs: Iterable[Pair], tolerance: Tolerance) -> pd.DataFrame:
    """One row per pair: both values as recorded, the difference, whether it is within tolerance."""
    rows = [
        {
            "plot": pair.first.plot,
            "tag": pair.first.tag_now,
            "stem": pair.first.stem,
            "species": pair.first.species,
            "unit": pair.unit,
            "first": pair.first.value,
            "first_who": pair.first.who,
            "first_at": pair.first.at,
            "second": pair.second.value,
            "second_who": pair.second.who,
            "second_at": pair.second.at,
            "difference": pair.difference,
            "allowed": _allowed(pair, tolerance),
            "within": _is_within(pair, tolerance),
        }
        for pair in pairs
    ]
    return pd.DataFrame(rows)


def agreement_frame(
    pairs: Iterable[Pair], tolerance: Tolerance, width: Decimal | None = None
) -> pd.DataFrame:
    """The figures of all pairs, and by size class, pair of measurers, and plot."""
    if width is not None and width <= 0:
        raise OperatorError(f"class width {width} must be above zero")
    rows = []
    for unit, own in by_unit(pairs).items():
        wide = width or CLASS_WIDTH.get(unit, Decimal(10))
        rows.append(_row(unit, "all", "all", own, tolerance))
        for what, name in _groupings(wide).items():
            groups: dict[str, list[Pair]] = {}
            for pair in sorted(own, key=lambda item: item.size):
                groups.setdefault(name(pair), []).append(pair)
            rows += [_row(unit, what, one, group, tolerance) for one, group in groups.items()]
    return pd.DataFrame(rows)


def _groupings(width: Decimal) -> Mapping[str, Callable[[Pair], str]]:
    def size_class(pair: Pair) -> str:
        low = pair.size // width * width
        return f"{low} to {low + width}"

    def measurers(pair: Pair) -> str:
        return f"{pair.first.who or 'not told'}, then {pair.second.who or 'not told'}"

    return {"size": size_class, "measurers": measurers, "plot": lambda pair: pair.first.plot}


def _row(
    unit: str, what: str, group: str, pairs: list[Pair], tolerance: Tolerance
) -> dict[str, Any]:
    figures = agreement([pair.difference for pair in pairs], [pair.size for pair in pairs])
    within = sum(_is_within(pair, tolerance) for pair in pairs)
    share, bounds = share_within(within, len(pairs))
    return {
        "unit": unit,
        "by": what,
        "group": group,
        "n": figures.n,
        "mean": figures.mean,
        "bias": figures.bias,
        "bias_low": figures.bias_within.low,
        "bias_high": figures.bias_within.high,
        "sd": figures.sd,
        "tem": figures.tem,
        "tem_percent": 100 * figures.tem_share,
        "limit_low": figures.limits.low,
        "limit_high": figures.limits.high,
        "limit_low_from": figures.low_within.low,
        "limit_low_to": figures.low_within.high,
        "limit_high_from": figures.high_within.low,
        "limit_high_to": figures.high_within.high,
        "within": within,
        "within_percent": 100 * share,
        "within_low": 100 * bounds.low,
        "within_high": 100 * bounds.high,
    }


def _is_within(pair: Pair, tolerance: Tolerance) -> bool:
    return abs(pair.difference) <= _allowed(pair, tolerance)


def _allowed(pair: Pair, tolerance: Tolerance) -> Decimal:
    """Tolerance by the second value: the check is the standard for the first."""
    assert pair.second.value is not None
    return tolerance.allowed(pair.second.value, Unit(pair.unit))


def objective_told(row: Mapping[str, Any], tolerance: Tolerance) -> str:
    """Whether the objective is met, and how certain that is with so few pairs."""
    share = row["within_percent"] / 100
    if math.isnan(share):
        return "no pairs"
    met = "met" if share >= tolerance.share else "NOT met"
    sure = f"{row['within_low']:.0f} and {row['within_high']:.0f} %"
    return (
        f"{row['within']} of {row['n']} within tolerance ({share:.1%}): objective {met}; "
        f"by so many pairs the true share lies between {sure}"
    )


def repeats_frame(pairs: Iterable[Pair]) -> pd.DataFrame:
    """The pairs in the form of ``census.measured_again``, for the measurement error.

    In centimetres, as in every computation of the report.
    """
    rows = []
    for pair in pairs:
        assert pair.first.value is not None and pair.second.value is not None
        first = float(convert(pair.first.value, pair.first.unit, Unit.CENTIMETRE))
        second = float(convert(pair.second.value, pair.second.unit, Unit.CENTIMETRE))
        rows.append(
            {
                "plot": pair.first.plot,
                "tag": pair.first.tag_now,
                "stem": pair.first.stem,
                "date": pd.Timestamp(pair.first.at[:10]),
                "first_cm": first,
                "second_cm": second,
                "difference_cm": second - first,
            }
        )
    return pd.DataFrame(rows)
