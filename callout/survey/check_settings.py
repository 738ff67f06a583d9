"""The ``[checks]`` table of ``survey.toml``, and its rules as the body of a journal entry.

Limits stay in quotes, so that they are exact. ``[checks.plots.K3]`` sets what differs in one plot.
The checks define what the limits mean.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields, replace
from decimal import Decimal
from typing import Any

import tomlkit

from callout.core.checking.checks import FirstLimits, Limits, Rules
from callout.core.errors import OperatorError
from callout.core.given import Reader, above_zero, boolean, read_table, section
from callout.core.model import Plot
from callout.core.species import Species

_LIMITS = tuple(item.name for item in fields(Limits))
_SWITCHES = ("blind", "walk", "accept_word")
_READERS: dict[str, Reader] = {
    **dict.fromkeys(_SWITCHES, boolean),
    **dict.fromkeys(_LIMITS, above_zero),
}


def rules_from(
    checks: object,
    plots: Mapping[str, Plot],
    table: Iterable[Species],
    join_s: float = float(Rules.join_s),
) -> dict[str, Rules]:
    """The rules of every plot by the ``[checks]`` table of ``survey.toml`` ({} if it has none).

    ``table`` gives the sizes of the species in the plot; ``join_s`` is how many seconds a tag and a
    press of a tape may be apart. Raises OperatorError naming what cannot be used.
    """
    given = section("checks", checks)
    single = section("checks.plots", given.get("plots", {}))
    unknown = next((name for name in single if name not in plots), None)
    if unknown is not None:
        raise OperatorError(f"[checks.plots.{unknown}] no such plot: there is {', '.join(plots)}")
    common = {key: value for key, value in given.items() if key != "plots"}
    usual = _ruled("checks", common, Rules(join_s=Decimal(str(join_s))))
    largest = {name: one.largest_cm for one in table if one.largest_cm for name in one.names}
    return {
        name: replace(
            _ruled(f"checks.plots.{name}", section(f"checks.plots.{name}", single[name]), usual)
            if name in single
            else usual,
            largest_cm=_standing(plot, largest),
        )
        for name, plot in plots.items()
    }


def _standing(plot: Plot, largest: Mapping[str, Decimal]) -> dict[str, Decimal]:
    return {name: largest[name] for name in sorted(plot.species) if name in largest}


def _ruled(where: str, given: Mapping[str, Any], over: Rules) -> Rules:
    try:
        values = read_table(given, _READERS)
    except OperatorError as error:
        raise OperatorError(f"[{where}] {error}") from None
    limits = {key: value for key, value in values.items() if key in _LIMITS}
    switches = {key: value for key, value in values.items() if key in _SWITCHES}
    found = replace(over, limits=replace(over.limits, **limits), **switches)
    low, high = found.limits.lowest_m, found.limits.highest_m
    if low >= high:
        raise OperatorError(f"[{where}] lowest_m {low} must be below highest_m {high}")
    if found.limits.shrink_sd > found.limits.reject_sd:
        raise OperatorError(
            f"[{where}] shrink_sd {found.limits.shrink_sd} is above "
            f"reject_sd {found.limits.reject_sd}"
        )
    return found


def reach_text(reach: Mapping[str, Limits]) -> str:
    """The part of a new ``survey.toml`` that sets the highest height of measurement, by plot.

    "" stands for every plot; '' if nothing is set. Raises OperatorError for an invalid height.
    """
    usual, document, single = Limits(), tomlkit.document(), tomlkit.table(is_super_table=True)
    for plot, own in reach.items():
        if own.highest_m <= own.lowest_m:
            raise OperatorError(
                f"highest_m {own.highest_m} must be above lowest_m {own.lowest_m} metres"
            )
        section = tomlkit.table()
        for name in ("lowest_m", "highest_m"):
            if getattr(own, name) != getattr(usual, name):
                section.add(name, str(getattr(own, name)))
        if plot:
            single.add(plot, section)
        else:
            document.add("checks", section)
    if single:
        whole = tomlkit.table(is_super_table=True)
        whole.add("plots", single)
        document.add("checks", whole)
    text = tomlkit.dumps(document)
    return f"\n{text}" if text else ""


def rules_body(rules: Mapping[str, Rules]) -> dict[str, Any]:
    """The rules of every plot as plain values for a journal entry; exact numbers as text."""
    return {
        name: {
            "blind": one.blind,
            "walk": one.walk,
            "accept_word": one.accept_word,
            "join_s": str(one.join_s),
            "edition": one.edition,
            "limits": {key: str(getattr(one.limits, key)) for key in _LIMITS},
            "largest_cm": {species: str(size) for species, size in one.largest_cm.items()},
        }
        for name, one in rules.items()
    }


def rules_of(body: Mapping[str, Any]) -> dict[str, Rules]:
    """The rules that ``rules_body`` wrote; a limit it did not know has its default.

    Rules from before a warning took a word of its own, before growth was learnt from the plot, or
    of another edition of the dialogue, are kept as they were.
    """
    return {
        name: Rules(
            limits=Limits(
                **{key: Decimal(item["limits"][key]) for key in _LIMITS if key in item["limits"]}
            ),
            blind=item["blind"],
            walk=item["walk"],
            accept_word=item.get("accept_word", False),
            join_s=Decimal(item.get("join_s", Rules.join_s)),
            edition=item.get("edition", 1),
            largest_cm={key: Decimal(text) for key, text in item["largest_cm"].items()},
            first=_first_limits(item["limits"]),
        )
        for name, item in body.items()
    }


def _first_limits(written: Mapping[str, str]) -> FirstLimits | None:
    """The limits of checks from before ``slow_sd``, for replays."""
    if "slow_sd" in written:
        return None
    known = (item.name for item in fields(FirstLimits))
    return FirstLimits(**{key: Decimal(written[key]) for key in known if key in written})


def with_rules(settings: Mapping[str, Any], rules: Mapping[str, Rules]) -> dict[str, Any]:
    """The body of a settings entry with the rules beside how each plot is measured."""
    return {**settings, "rules": rules_body(rules)}


def rules_in(settings: Mapping[str, Any]) -> dict[str, Rules]:
    """The rules in the body of a settings entry; empty in one from before there were rules."""
    return rules_of(settings.get("rules", {}))
