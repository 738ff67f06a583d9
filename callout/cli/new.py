"""``callout new``: a survey folder from a roster."""

from __future__ import annotations

import argparse
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from callout.core.errors import OperatorError
from callout.core.model import PlotSettings
from callout.core.rounding import Rounding
from callout.core.units import Scale, parse_unit
from callout.journal.config import measuring_from, plausible_range
from callout.journal.folder import make_survey
from callout.journal.roster import read_roster


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("new", help="make a survey folder from a roster")
    parser.add_argument("survey", type=Path, metavar="SURVEY", help="the folder to make")
    parser.add_argument("--trees", type=Path, required=True, metavar="CSV", help="the roster")
    parser.add_argument("--unit", default="cm", help="in or cm: what the tapes show")
    parser.add_argument("--graduation", default="0.1", help="the tape's finest graduation")
    parser.add_argument("--rounding", default="nearest", choices=[item.value for item in Rounding])
    parser.add_argument("--scale", default="diameter", choices=[item.value for item in Scale])
    parser.add_argument("--breast-height", default=None, help="metres: 1.37 or 1.30")
    parser.add_argument(
        "--plot", action="append", default=[], metavar="PLOT:KEY=VALUE[,KEY=VALUE]",
        help="what differs in one plot, e.g. K1:unit=in,rounding=down; may be repeated",
    )  # fmt: skip
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Make the survey, or refuse with every reason."""
    unit = parse_unit(args.unit)
    smallest, largest = plausible_range(unit)
    # 4.5 ft where inches are used, 1.30 m elsewhere (common practice).
    height = args.breast_height or ("1.37" if unit.value == "in" else "1.30")
    base = PlotSettings(plot="", unit=unit, smallest=smallest, largest=largest)
    measuring = measuring_from(
        "",
        {
            "unit": args.unit, "graduation": args.graduation, "rounding": args.rounding,
            "scale": args.scale, "breast_height": height,
        },
        base,
    )  # fmt: skip
    plots = dict(_plot_settings(text, measuring) for text in args.plot)
    trees = read_roster(args.trees, {name: item.unit for name, item in plots.items()}, unit)
    unknown = set(plots) - {tree.plot for tree in trees}
    if unknown:
        raise OperatorError(f"--plot {sorted(unknown)[0]}: the roster has no such plot")
    folder = make_survey(
        args.survey, trees, measuring, plots, datetime.now().astimezone().isoformat()
    )
    names = list(dict.fromkeys(tree.plot for tree in trees))
    print(f"Made {folder.path}: {len(trees)} trees in {len(names)} plots ({', '.join(names)}).")
    print(f"Settings: {folder.settings}. Begin with: callout listen {folder.path}")
    return 0


def _plot_settings(text: str, measuring: PlotSettings) -> tuple[str, PlotSettings]:
    plot, colon, rest = text.partition(":")
    pairs = [item.partition("=") for item in rest.split(",")]
    if not plot or not colon or not all(key and equals for key, equals, _ in pairs):
        raise OperatorError(f"--plot {text!r}: write it as K1:unit=in,graduation=0.1")
    words: dict[str, Any] = {"true": True, "false": False}
    given = {key.strip(): words.get(value.strip(), value.strip()) for key, _, value in pairs}
    return plot, measuring_from(plot, given, replace(measuring, plot=plot))
