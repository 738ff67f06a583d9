"""Checks that need the plot or the tree's record rather than its last diameter.

On tags, repeated readings, species, trees recorded as dead, and heights. The roster's columns
``status``, ``measured_at_m`` and ``breast_height_m`` describe the last visit.
"""

from __future__ import annotations

from collections.abc import Collection
from decimal import Decimal

from callout.core.checking.checks_limits import Limits, Rules
from callout.core.errors import OperatorError
from callout.core.model import Plot, PlotSettings, Reading, Tree, Warned
from callout.core.saying import saying
from callout.core.statuses import Status, plain_status
from callout.core.told import status_told
from callout.core.units import Unit, convert, parse_decimal

SURELY_HEARD = Decimal("0.5")
"""From this confidence on, what the recogniser heard is taken without a question."""
_DOWN = (Status.DEAD_DOWN.words, Status.CUT.words)
_GONE = ("dead", Status.DEAD_STANDING.words, *_DOWN)
_HEIGHT = "height of measurement"


def unknown_tag(tag: str, trees: Collection[str], is_new: bool) -> Warned | None:
    """A tag that the plot does not have, or a new tree with a tag that is already in use."""
    known = tag in trees
    if not known and not is_new:
        return Warned("unknown tag", saying("warn-unknown-tag", tag=tag), saying("look-tag"))
    if known and is_new:
        return Warned("tag in use", saying("warn-tag-in-use", tag=tag), saying("look-tag"))
    return None


def old_tag(said: str | None, tag: str, new_tag: str) -> Warned | None:
    """The tree was called by the tag it lost, although another hangs there now."""
    if not new_tag or said != tag:
        return None
    return Warned("old tag", saying("warn-old-tag", tag=tag, new=new_tag), saying("look-tag"))


def how_sure(confidence: Decimal | float | None) -> str:
    """In words, with the figure behind them: ``sure, 0.91``; '' for what was typed or pressed."""
    if confidence is None:
        return ""
    return f"{'sure' if confidence >= SURELY_HEARD else 'unsure'}, {confidence}"


def heard_unsurely(confidence: Decimal | None) -> Warned | None:
    """The recogniser's ``confidence`` (0 to 1; None for what was typed or pressed) is low."""
    if confidence is None or confidence >= SURELY_HEARD:
        return None
    return Warned("heard unsurely", saying("warn-heard-unsurely"), saying("look-figures"))


def measured_before(earlier: Reading | None, today: str, blind: bool = False) -> Warned | None:
    """The tree already has a reading from this visit, of ``today`` (ISO 8601) or another day.

    In a ``blind`` plot its value is not shown.
    """
    if earlier is None:
        return None
    told = status_told(earlier.status)
    if blind:
        told = saying("measured")
    elif earlier.value is not None:
        told = saying("size", value=earlier.value)
    if earlier.at[:10] == today:
        says = saying("warn-already-today", what=told)
        return Warned("measured today", says, saying("look-right-tag"))
    says = saying("warn-already-on", what=told, day=earlier.at[:10])
    return Warned("measured this visit", says, saying("look-right-tag"))


def species_not_in_plot(species: str, plot: Plot) -> Warned | None:
    """A species that no tree of the roster has; no warning if the roster names no species."""
    known = plot.species
    if not species or not known or species.casefold() in known:
        return None
    says = saying("warn-species-not-in-plot", species=species)
    return Warned("species not in plot", says, saying("look-leaves"))


def beyond_species(value: Decimal, unit: Unit, species: str, rules: Rules) -> Warned | None:
    """Larger than ``species_share`` times a mature large tree of the species."""
    largest = rules.largest_cm.get(species.casefold())
    if largest is None:
        return None
    if convert(value, unit, Unit.CENTIMETRE) <= largest * rules.limits.species_share:
        return None
    says = saying("warn-beyond-species", species=species)
    return Warned("beyond species", says, saying("look-species-stem"))


def last_status(tree: Tree) -> str:
    """The status at the last visit in plain words, from the roster's column; '' if unknown."""
    return plain_status(_told(tree, "status"))


def dead_then_alive(tree: Tree, status: str) -> Warned | None:
    """Live now but dead, down or cut last time; or standing now but down or cut last time."""
    before = last_status(tree)
    again = status == Status.DEAD_STANDING and before in _DOWN
    if before not in _GONE or (status != Status.LIVE and not again):
        return None
    says = saying("warn-status-last-time", status=status_told(before))
    return Warned("dead last time", says, saying("look-tag-bud"))


def last_height_m(tree: Tree) -> Decimal | None:
    """The height in metres at which the tree was measured last time, if not at breast height.

    Raises OperatorError for a height that is not a number.
    """
    told = _told(tree, "measured_at_m")
    return parse_decimal(told) if told else None


def height_moved(
    height_m: Decimal | None, tree: Tree, settings: PlotSettings, limits: Limits
) -> Warned | None:
    """Measured at another height than last time, by more than ``height_share`` of that height."""
    try:
        before = last_height_m(tree)
    except OperatorError:
        told = _told(tree, "measured_at_m")
        says = saying("warn-roster-height", text=told)
        return Warned(_HEIGHT, says, saying("look-at-old-line"))
    if before is None or before <= 0:
        return None
    now = height_m or settings.breast_height_m
    if abs(now - before) <= limits.height_share * before:
        return None
    says = saying("warn-height-last-time", height=before)
    return Warned(_HEIGHT, says, saying("look-old-line"))


def other_standard(tree: Tree, settings: PlotSettings) -> Warned | None:
    """Breast height was different last time; earlier measurements are never converted."""
    try:
        told = _told(tree, "breast_height_m")
        before = parse_decimal(told) if told else None
    except OperatorError:
        return Warned("breast height", saying("warn-roster-breast-height", text=told))
    if before is None or before == settings.breast_height_m:
        return None
    says = saying("warn-breast-height", before=before, now=settings.breast_height_m)
    return Warned("breast height", says, saying("look-old-line"))


def standard_changed(plot: Plot) -> Warned | None:
    """Breast height was different last time for most trees: said once, not at every tree."""
    found = [other_standard(tree, plot.settings) for tree in plot.trees.values()]
    told = [item for item in found if item is not None]
    return told[0] if told and 2 * len(told) > len(found) else None


def _told(tree: Tree, column: str) -> str:
    for label, text in tree.extra.items():
        if label.strip().lower().replace(" ", "_") == column:
            return text.strip()
    return ""
