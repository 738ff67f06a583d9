"""``callout new``: a survey folder from a roster."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

from callout.cli.desk.preview import preview
from callout.core.checking.checks_limits import Limits
from callout.core.counted import counted
from callout.core.errors import OperatorError
from callout.core.heights import HIGHEST_M, LOWEST_M
from callout.core.model import PlotSettings, Tree
from callout.core.rounding import Rounding
from callout.core.units import Scale, Unit, parse_decimal, parse_unit
from callout.journal.earlier import KIND, earlier_body
from callout.journal.folder import SurveyFolder, make_survey
from callout.survey.check_settings import reach_text
from callout.survey.config import measuring_from, plausible_range
from callout.survey.days import ORDERS
from callout.survey.new_settings import new_settings
from callout.survey.plot_history import history_text
from callout.survey.roster import roster_of
from callout.survey.sheets import read_sheet
from callout.survey.species_table import SPECIES_FILE

if TYPE_CHECKING:
    from callout.reports.exchange.dataset import Dataset
    from callout.reports.exchange.metadata import About


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("new")
    parser.add_argument("survey", type=Path, metavar="SURVEY", help="the folder to make")
    source = parser.add_mutually_exclusive_group(required=True)
    source.add_argument("--trees", type=Path, metavar="TABLE", help="the roster: CSV or .xlsx")
    source.add_argument(
        "--from",
        type=Path,
        metavar="PATH",
        dest="source",
        help="last visit's survey, united site, or what 'callout export' or 'import' wrote: its "
        "trees, how its plots are measured, and all that was measured",
    )
    parser.add_argument(
        "--with-gone",
        action="store_true",
        help="with --from: trees that were cut or lay down at last stay in the roster",
    )
    parser.add_argument(
        "--dates",
        default="",
        choices=ORDERS,
        help="with --trees: the order of dates that do not begin with the year",
    )
    parser.add_argument(
        "--decimal", default="", choices=(".", ","), help="with --trees: the decimal sign"
    )
    parser.add_argument("--sheet", default="", metavar="NAME", help="of a workbook with several")
    parser.add_argument(
        "--preview", action="store_true", help="with --trees: show what would be made, make nothing"
    )
    parser.add_argument("--unit", help="in or cm: what the tapes show (cm; with --from, as before)")
    parser.add_argument("--graduation", default="0.1", help="the tape's finest graduation")
    parser.add_argument("--rounding", default="nearest", choices=[item.value for item in Rounding])
    parser.add_argument("--scale", default="diameter", choices=[item.value for item in Scale])
    parser.add_argument("--breast-height", default=None, help="as 1.30 m, or 4.5 ft")
    parser.add_argument(
        "--highest-m",
        default=None,
        metavar="METRES",
        help="the greatest height of measurement, where a ladder is used (3)",
    )
    parser.add_argument(
        "--plot",
        action="append",
        default=[],
        metavar="PLOT:KEY=VALUE[,KEY=VALUE]",
        help="what differs in one plot, e.g. K1:unit=in,rounding=down; may be repeated",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Make the survey, or refuse with every reason."""
    before = _measured_before(args.source) if args.source is not None else None
    unit = parse_unit(args.unit) if args.unit else before.unit if before else Unit.CENTIMETRE
    smallest, largest = plausible_range(unit)
    # 4.5 ft where inches are used, 1.30 m elsewhere (common practice).
    height = args.breast_height or ("1.37" if unit.value == "in" else "1.30")
    base = PlotSettings(plot="", unit=unit, smallest=smallest, largest=largest)
    measuring = measuring_from(
        "",
        {
            "unit": unit.value,
            "graduation": args.graduation,
            "rounding": args.rounding,
            "scale": args.scale,
            "breast_height": height,
        },
        base,
    )
    plots = dict(_plot_settings(text, measuring) for text in args.plot)
    at = datetime.now().astimezone().isoformat()
    highest_m = _highest(args.highest_m)
    if args.source is not None:
        for name in ("dates", "decimal", "sheet", "preview"):
            if getattr(args, name):
                raise OperatorError(f"--{name} goes with --trees")
        return _from_earlier(args, measuring, plots, at, highest_m)
    if args.with_gone:
        raise OperatorError("--with-gone goes with --from")
    units = {name: item.unit for name, item in plots.items()}
    sheet = read_sheet(args.trees, args.sheet)
    trees = roster_of(sheet, units, unit, args.dates, highest_m, args.decimal)
    if args.preview:
        preview(sheet, trees)
        return 0
    _refuse_unknown(plots, trees, "the roster")
    reach = {} if args.highest_m is None else {"": Limits(highest_m=highest_m)}
    files = _settings_file(args.survey.name, measuring, plots, reach_text(reach))
    folder = make_survey(args.survey, trees, measuring, plots, at, files)
    _tell(folder, trees)
    return 0


def _measured_before(source: Path) -> PlotSettings | None:
    """What holds in the survey that is begun from where a plot tells nothing of its own.

    Of a united site, that of the newest recorder; None for any other form.
    """
    from callout.reports.exchange.taken.taking import is_survey
    from callout.reports.histories import settled_folders

    if not is_survey(source):
        return None
    folders = [one for one in settled_folders(source) if one.settings.is_file()]
    return folders[-1].config().measuring if folders else None


def _from_earlier(
    args: argparse.Namespace,
    measuring: PlotSettings,
    plots: dict[str, PlotSettings],
    at: str,
    highest_m: Decimal,
) -> int:
    """The next visit's survey from an earlier one, in any form."""
    from callout.reports.exchange.taken.next_reach import next_reach
    from callout.reports.exchange.taken.next_visit import all_rows, next_settings, next_trees
    from callout.reports.exchange.taken.taking import take

    taken = take(args.source)
    trees, gone = next_trees(taken, with_gone=args.with_gone)
    _refuse_unknown(plots, trees, str(args.source))
    settings = {**next_settings(taken, measuring), **plots}
    entries = [(KIND, earlier_body(*all_rows(taken)))]
    files = {**_told(taken.about), **_files(args.source)}
    reach = reach_text(next_reach(taken, args.source, trees, highest_m))
    further = _history(taken, settings) + reach
    files |= _settings_file(args.survey.name, measuring, settings, further)
    folder = make_survey(args.survey, trees, measuring, settings, at, files, entries)
    print(f"From {args.source}: {len(taken.measurements)} measurements are kept with it.")
    if gone:
        trees_gone = counted(gone, "tree that was", "trees that were")
        print(f"Left out of the roster: {trees_gone} cut or down (--with-gone).")
    _tell(folder, trees)
    return 0


def _highest(text: str | None) -> Decimal:
    if text is None:
        return HIGHEST_M
    try:
        highest_m = parse_decimal(text)
    except OperatorError as error:
        raise OperatorError(f"--highest-m: {error}") from None
    if highest_m <= LOWEST_M:
        raise OperatorError(f"--highest-m {text} must be above {LOWEST_M} metres")
    return highest_m


def _history(taken: Dataset, settings: dict[str, PlotSettings]) -> str:
    """The plots' history, in the form of settings; empty if they had none."""
    table = taken.further.get("history")
    if table is None:
        return ""
    from callout.reports.histories import since_of

    return history_text(row for row in since_of(table) if row.plot in settings)


def _settings_file(
    name: str, measuring: PlotSettings, settings: dict[str, PlotSettings], further: str
) -> dict[str, bytes]:
    """The new survey's settings with everything beyond the defaults; none if there is nothing."""
    text = new_settings(name, measuring, settings) + further
    return {SurveyFolder(Path(name)).settings.name: text.encode()} if further else {}


def _files(source: Path) -> dict[str, bytes]:
    """The species table of the earlier survey, and its metadata."""
    from callout.reports.exchange.metadata import ABOUT_FILE

    own = [source / name for name in (SPECIES_FILE, ABOUT_FILE)]
    return {path.name: path.read_bytes() for path in own if path.is_file()}


def _told(about: About | None) -> dict[str, bytes]:
    """The metadata of an import, for the next survey; '' if it has names only."""
    from callout.reports.exchange.metadata import ABOUT_FILE, about_text

    if about is None or not (about.contributors or about.places or about.licence or about.methods):
        return {}
    return {ABOUT_FILE: about_text(about).encode()}


def _refuse_unknown(plots: dict[str, PlotSettings], trees: Sequence[Tree], where: str) -> None:
    unknown = set(plots) - {tree.plot for tree in trees}
    if unknown:
        raise OperatorError(f"--plot {sorted(unknown)[0]}: {where} has no such plot")


def _tell(folder: SurveyFolder, trees: Sequence[Tree]) -> None:
    names = list(dict.fromkeys(tree.plot for tree in trees))
    made = f"{counted(len(trees), 'tree')} in {counted(len(names), 'plot')}"
    print(f"Made {folder.path}: {made} ({', '.join(names)}).")
    print(f"Settings: {folder.settings}. Begin with: callout listen {folder.path}")


def _plot_settings(text: str, measuring: PlotSettings) -> tuple[str, PlotSettings]:
    plot, colon, rest = text.partition(":")
    pairs = [item.partition("=") for item in rest.split(",")]
    if not plot or not colon or not all(key and equals for key, equals, _ in pairs):
        raise OperatorError(f"--plot {text!r}: write it as K1:unit=in,graduation=0.1")
    words: dict[str, Any] = {"true": True, "false": False}
    given = {key.strip(): words.get(value.strip(), value.strip()) for key, _, value in pairs}
    return plot, measuring_from(plot, given, replace(measuring, plot=plot))
