"""``callout remeasure``: trees drawn at random, measured again blind, and the agreement of both.

Reads options and prints; drawing and figures are in ``reports.quality``.
"""

from __future__ import annotations

import argparse
import secrets
from datetime import datetime
from pathlib import Path
from typing import Any

from callout.core.errors import OperatorError
from callout.core.units import parse_decimal
from callout.journal.folder import SurveyFolder, open_survey

SUFFIX = "-again"
_MOST = 2**31


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("remeasure")
    parser.add_argument("survey", type=Path, metavar="SURVEY", help="the survey to check")
    parser.add_argument("--share", default="5%", help="of the measured trees of every plot (5%%)")
    parser.add_argument(
        "--number", type=int, help="draws the same trees again (default: by chance)"
    )
    parser.add_argument("--plot", help="draw from one plot only")
    parser.add_argument(
        "--into",
        type=Path,
        metavar="FOLDER",
        help=f"the survey of the second walk (default: SURVEY{SUFFIX})",
    )
    parser.add_argument(
        "--report", type=Path, metavar="FOLDER", help="write how the two walks differ, draw nothing"
    )
    parser.add_argument(
        "--tolerance", default="0.1", metavar="INCHES", help="for each step of size"
    )
    parser.add_argument("--tolerance-each", default="20.0", metavar="INCHES", help="step of size")
    parser.add_argument("--objective", default="95%", help="share that should be within tolerance")
    parser.add_argument("--classes", metavar="WIDTH", help="width of a size class, plot's unit")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Draw, or report."""
    first = open_survey(args.survey)
    whole = args.survey.resolve()
    into = args.into or whole.with_name(whole.name + SUFFIX)
    return _report(args, first, into) if args.report else _draw(args, first, into)


def _draw(args: argparse.Namespace, first: SurveyFolder, into: Path) -> int:
    from callout.reports.quality.draw import make_remeasurement, parse_share

    share = parse_share(args.share)
    number = secrets.randbelow(_MOST) if args.number is None else args.number
    at = datetime.now().astimezone().isoformat()
    drawn = make_remeasurement(first, into, share, number, args.plot, at)
    by_plot: dict[str, list[str]] = {}
    for tree in drawn.trees:
        by_plot.setdefault(tree.plot, []).append(tree.tag)
    print(f"Drawn {len(drawn.trees)} trees, number {number} (kept in both journals):")
    for plot, tags in by_plot.items():
        print(f"  plot {plot}: {', '.join(tags)}")
    print(f"A second person walks them blind: callout listen {into} --who INITIALS")
    print(f"Then: callout remeasure {args.survey} --into {into} --report FOLDER")
    return 0


def _report(args: argparse.Namespace, first: SurveyFolder, into: Path) -> int:
    from callout.reports.quality.agreement import Tolerance
    from callout.reports.quality.draw import parse_share
    from callout.reports.quality.pages import quality_of, write_quality
    from callout.reports.quality.pairs import paired

    tolerance = Tolerance(
        _above_zero("--tolerance", args.tolerance),
        _above_zero("--tolerance-each", args.tolerance_each),
        float(parse_share(args.objective)),
    )
    found = paired(first, open_survey(into))
    title = f"Quality check of {args.survey.resolve().name}"
    quality = quality_of(title, found, tolerance, args.classes)
    path = write_quality(quality, args.report)
    for line in quality.findings:
        print(line)
    print(f"report: {path}")
    return 0


def _above_zero(option: str, text: str) -> Any:
    value = parse_decimal(text)
    if value <= 0:
        raise OperatorError(f"{option} {text} must be above zero")
    return value
