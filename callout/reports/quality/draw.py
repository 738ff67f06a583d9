"""Draws trees to be measured again, and makes the blind survey that a second person walks.

The draw is recorded in both journals with its number, share and trees, so that nobody can redraw
until the trees are easy. Comparing the walks is in ``pairs`` and ``agreement``.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import tomlkit

from callout.core.errors import OperatorError
from callout.core.model import Plot, Reading, Tree
from callout.core.units import parse_decimal
from callout.journal.folder import SurveyFolder, make_survey
from callout.journal.reader import current
from callout.journal.writer import JournalWriter
from callout.survey.files import refuse_taken, storage_errors
from callout.survey.plot_history import SECTION
from callout.survey.species_table import SPECIES_FILE

DRAWN = "drawn"  # entry in the survey that was drawn from
REMEASURES = "remeasures"  # entry in the survey that is walked again


@dataclass(frozen=True)
class Drawn:
    """The trees of a draw, by plot in roster order; the same ``number`` gives the same trees."""

    number: int
    share: Decimal
    trees: tuple[Tree, ...]


def parse_share(text: str) -> Decimal:
    """A share as ``5%`` or ``0.05``. Raises OperatorError unless above 0 and at most 1."""
    plain = text.strip()
    share = parse_decimal(plain.removesuffix("%").strip())
    share = share / 100 if plain.endswith("%") else share
    if not 0 < share <= 1:
        raise OperatorError(f"share {text!r}: give more than 0 and at most 100 %, as 5%")
    return share


def draw(
    plots: Mapping[str, Plot],
    readings: Iterable[Reading],
    share: Decimal,
    number: int,
    only: str | None = None,
) -> Drawn:
    """Trees with a current diameter, drawn at random: of every plot its ``share``, rounded up.

    ``only`` limits the draw to one plot. Raises OperatorError if nothing was measured.
    """
    if only is not None and only not in plots:
        raise OperatorError(f"no plot {only!r} in this survey: there is {', '.join(plots)}")
    chance = random.Random(number)
    measured = _measured(readings)
    found: list[Tree] = []
    for name, plot in plots.items():
        here = measured.get(name, {})
        order = {tag: at for at, tag in enumerate(plot.trees)}
        trees = [
            replace(plot.trees.get(tag, tree), tag=tree.tag)
            for tag, tree in sorted(here.items(), key=lambda one: order.get(one[0], len(order)))
        ]
        taken = set(chance.sample(range(len(trees)), math.ceil(share * len(trees))))
        if only in (None, name):
            found += [tree for at, tree in enumerate(trees) if at in taken]
    if not found:
        raise OperatorError("nothing has been measured yet: walk the plots first, then draw")
    return Drawn(number, share, tuple(found))


def _measured(readings: Iterable[Reading]) -> dict[str, dict[str, Tree]]:
    """Trees with a diameter, by plot and roster tag, with their present tags."""
    found: dict[str, dict[str, Tree]] = {}
    for item in readings:
        if item.value is not None:
            found.setdefault(item.plot, {})[item.tag] = Tree(item.plot, item.tag_now, item.species)
    return found


def make_remeasurement(
    folder: SurveyFolder, into: Path, share: Decimal, number: int, only: str | None, at: str
) -> Drawn:
    """Draw from ``folder`` and make the survey ``into``, every plot of it blind.

    Earlier visits' measurements go with the trees, for the checks after saving; those of this visit
    do not. Raises OperatorError if the survey is in use, or nothing can be drawn.
    """
    writer = JournalWriter(folder.database)  # holds the survey, so that nothing changes meanwhile
    try:
        with folder.reading() as reader:
            plots, readings = reader.plots(), current(reader.readings())
        drawn = draw(plots, readings, share, number, only)
        config = folder.config()
        names = dict.fromkeys(tree.plot for tree in drawn.trees)
        settings = {name: plots[name].settings for name in names}
        told = _told(drawn)
        origin = {**told, "survey": folder.path.resolve().name}
        refuse_taken(into)
        # In this journal first: a walk that it does not know could never be compared with it, while
        # a draw that was never walked does no harm.
        writer.append(at, DRAWN, {**told, "into": into.name})
        make_survey(
            into,
            drawn.trees,
            config.measuring,
            settings,
            at,
            _files(folder, into.name),
            [(REMEASURES, origin)],
        )
    finally:
        writer.close()
    return drawn


def _told(drawn: Drawn) -> dict[str, Any]:
    return {
        "number": drawn.number,
        "share": str(drawn.share),
        "trees": [[tree.plot, tree.tag] for tree in drawn.trees],
    }


def _files(folder: SurveyFolder, name: str) -> dict[str, bytes]:
    """The survey's own settings, made blind, and its species table if it has one."""
    with storage_errors(f"cannot read {folder.path}"):
        text = folder.settings.read_text(encoding="utf-8")
        files = {folder.settings.name: blind_settings(text, name).encode()}
        species = folder.path / SPECIES_FILE
        if species.is_file():
            files[SPECIES_FILE] = species.read_bytes()
    return files


def blind_settings(text: str, name: str) -> str:
    """The survey's own settings with another name, and every plot blind."""
    document = tomlkit.parse(text)
    survey = document.setdefault("survey", tomlkit.table())
    survey["name"] = name
    checks = document.setdefault("checks", tomlkit.table())
    checks.pop("plots", None)
    checks["blind"] = True
    document.pop(SECTION, None)  # plot history means nothing to a second walk of some trees
    return tomlkit.dumps(document)
