"""``callout report``: pages, figures and tables of a survey.

Reads options and writes through ``reports.pages``; computes nothing.
"""

from __future__ import annotations

import argparse
import csv
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from callout.cli.field.remeasure_command import SUFFIX
from callout.core.errors import OperatorError
from callout.crews.site import Site, is_site, site_folders
from callout.journal.folder import open_survey
from callout.survey.species_table import reference_species, species_of

MOST_ON_PAGES = 2_000_000  # measurements; all in memory they take 1.6 GB a million

# Heavy modules are imported where a command needs them, so that the others start at once.
if TYPE_CHECKING:
    import pandas as pd

    from callout.reports.pages.analysis import ReportSettings
    from callout.reports.stand.mass.equation_set import EquationSet


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("report")
    parser.add_argument(
        "survey",
        type=Path,
        metavar="SURVEY",
        help="a survey, a united site, or any form that 'callout export' writes",
    )
    parser.add_argument(
        "--mapping",
        type=Path,
        metavar="TOML",
        help="for somebody else's data package or CSV: what each column means, as 'callout import' "
        "proposes it",
    )
    parser.add_argument("--out", type=Path, required=True, metavar="FOLDER")
    parser.add_argument("--title", help="of the summary page (the survey folder's name)")
    parser.add_argument("--basis", type=float, help="metres: 1.30 or 1.37 (that of most stems)")
    parser.add_argument(
        "--taper",
        type=float,
        default=1.0,
        metavar="PERCENT",
        help="assumed change of diameter over the 7 cm between 1.30 and 1.37 m; 0 for none",
    )
    parser.add_argument("--carbon-fraction", type=float, default=0.47, help="0.47 or 0.5")
    parser.add_argument("--equations", type=Path, metavar="TOML", help="another set")
    parser.add_argument(
        "--species-groups", type=Path, metavar="CSV", help="columns species, group: further names"
    )
    parser.add_argument("--classes", type=float, default=5, metavar="CM", help="class width")
    parser.add_argument("--control", default="", metavar="TREATMENT")
    parser.add_argument("--climate", type=Path, metavar="CSV", help="columns year and figures")
    parser.add_argument(
        "--equation-share",
        type=float,
        default=0.5,
        metavar="SHARE",
        help="of an equation's residual variance, what all trees of its group share (0 to 1)",
    )
    parser.add_argument("--draws", type=int, default=2000, help="random draws of an interval")
    parser.add_argument(
        "--rounding",
        choices=("nearest", "down"),
        default="nearest",
        help="to the graduation, where neither readings nor plot tell",
    )
    parser.add_argument(
        "--remeasured",
        type=Path,
        metavar="FOLDER",
        help="the blind second walk whose pairs give the error of measurement "
        f"(default: SURVEY{SUFFIX}, where it is there)",
    )
    parser.add_argument(
        "--plot",
        action="append",
        default=[],
        metavar="NAME",
        help="a plot that gets a page; may be repeated (default: all of up to 12 plots)",
    )
    parser.add_argument("--all-plots", action="store_true", help="a page for every plot")
    parser.add_argument(
        "--figures", default="png", metavar="FORMS", help="forms of the figures: png,svg,pdf"
    )
    parser.add_argument("--excel", action="store_true", help="also all tables as a workbook")
    parser.add_argument(
        "--tables-only",
        action="store_true",
        help="the tables by plot alone, without pages, figures and carbon: for any number of "
        "measurements",
    )
    parser.add_argument(
        "--large",
        action="store_true",
        help="read a data package or Parquet files of any size: only where you trust them",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the report and say where it is."""
    from callout.reports.exchange.cells import compacted
    from callout.reports.exchange.taken import taking
    from callout.reports.histories import history_of
    from callout.reports.pages.analysis import analyse
    from callout.reports.pages.colophon import fingerprint
    from callout.reports.pages.writing import Wanted, write_report

    forms = tuple(dict.fromkeys(["png", *filter(None, args.figures.split(","))]))
    asked = Wanted(tuple(args.plot) or None, forms)
    settings = _settings(args)
    data = taking.take(args.survey, args.mapping, large=args.large)
    history = history_of(data.further.get("history"))
    compact = compacted(data.measurements)
    if args.tables_only:
        return _tables_only(args, compact, data.plots, history, settings)
    if len(compact) > MOST_ON_PAGES:
        raise OperatorError(
            f"{len(compact):,} measurements are too many for pages and figures (at most "
            f"{MOST_ON_PAGES:,}): add --tables-only for the tables by plot"
        )
    analysis = analyse(compact, data.plots, settings, _again(args), history)
    if args.all_plots:
        asked = Wanted(tuple(analysis.stems["plot"].astype(str).unique()), forms)
    made_of = fingerprint(data.measurements, data.plots)
    with _progress() as tell:
        path = write_report(analysis, args.out, made_of, asked, tell)
    if args.excel:
        from callout.reports.exchange.excel import write_tables

        write_tables(args.out / "tables.xlsx", analysis.tables)
    for caution in analysis.cautions:
        print(f"note: {caution}")
    print(f"report: {path}")
    return 0


def _tables_only(
    args: argparse.Namespace,
    measurements: pd.DataFrame,
    plots: pd.DataFrame,
    history: pd.DataFrame | None,
    settings: ReportSettings,
) -> int:
    """Write the tables by plot and say where they are."""
    from callout.reports.pages.cautions import plots_apart
    from callout.reports.pages.colophon import fingerprint
    from callout.reports.pages.in_parts import Terms, tables_in_parts
    from callout.reports.pages.writing import write_tables
    from callout.reports.stand.visits import told_aside

    terms = Terms(
        settings.basis_m,
        settings.class_width_cm,
        settings.rounding,
        settings.carbon.taper,
        settings.draws.taper_sd,
    )
    with _progress() as tell, ThreadPoolExecutor(1) as beside:
        made_of = beside.submit(fingerprint, measurements, plots)
        tables, heights = tables_in_parts(measurements, plots, history, terms, tell)
        path = write_tables(tables, settings, args.out, made_of.result(), tell)
    for caution in (*told_aside(tables["set_aside"]), *plots_apart(heights, terms.taper)):
        print(f"note: {caution}")
    print(f"tables: {path}")
    return 0


@contextmanager
def _progress() -> Iterator[Callable[[str, int, int], None]]:
    """Shows on a terminal what is being written, and how much of it is done."""
    from rich.console import Console
    from rich.progress import Progress

    console = Console(stderr=True)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as shown:
        tasks: dict[str, Any] = {}

        def tell(words: str, done: int, of: int) -> None:
            if words not in tasks:
                tasks[words] = shown.add_task(words, total=of)
            shown.update(tasks[words], completed=done)

        yield tell


def _again(args: argparse.Namespace) -> pd.DataFrame | None:
    """Pairs of a second walk: of the one that is named, or else of the one beside the survey."""
    from callout.reports.quality.pairs import paired
    from callout.reports.quality.tables import repeats_frame

    whole = args.survey.resolve()
    beside = whole.with_name(whole.name + SUFFIX)
    if args.remeasured is None and not beside.is_dir():
        return None
    second = args.remeasured or beside
    try:
        pairs = paired(open_survey(args.survey), open_survey(second)).pairs
    except OperatorError as error:
        if args.remeasured is not None:
            raise
        print(f"note: {second.name} is left out: {error}")  # beside it by chance
        return None
    print(f"note: {len(pairs)} pairs of {second.name} go into the error of measurement")
    return repeats_frame(pairs)


def _settings(args: argparse.Namespace) -> ReportSettings:
    from callout.reports.pages.analysis import ReportSettings
    from callout.reports.stand.mass.biomass import CarbonSettings
    from callout.reports.stand.mass.mass_variance import Draws
    from callout.reports.stand.taper import Taper

    return ReportSettings(
        title=args.title or args.survey.resolve().name,
        basis_m=args.basis,
        class_width_cm=args.classes,
        control=args.control,
        rounding=args.rounding,
        carbon=CarbonSettings(args.carbon_fraction, Taper(args.taper)),
        equations=_equations(args),
        draws=Draws(draws=args.draws, equation_share=args.equation_share),
        climate=_climate(args.climate) if args.climate else None,
        made=datetime.now().astimezone().date().isoformat(),
        notes=_site_notes(args.survey),
    )


def _site_notes(path: Path) -> tuple[str, ...]:
    """What a reader must know of a united site before its figures."""
    if not is_site(path):
        return ()
    from callout.crews.place import read_place

    return tuple(read_place(path).notes)


def _equations(args: argparse.Namespace) -> EquationSet:
    from callout.reports.stand.mass.equation_set import DEFAULT_SET, read_equations

    equations = read_equations(args.equations or DEFAULT_SET)
    for folder in _folders(args.survey):
        equations = equations.knowing(species_of(folder))
    equations = equations.knowing(reference_species())
    if args.species_groups is None:
        return equations
    rows = _rows(args.species_groups, ("species", "group"))
    return equations.with_names({row["species"]: row["group"] for row in rows})


def _folders(path: Path) -> list[Path]:
    """Where species tables may be: in the survey, or with each recorder of a site."""
    return [folder.path for folder in site_folders(Site(path))] if is_site(path) else [path]


def _climate(path: Path) -> pd.DataFrame:
    import pandas as pd

    from callout.reports.stand.dynamics.climate import check_climate

    return check_climate(pd.DataFrame(_rows(path, ("year",))))


def _rows(path: Path, columns: tuple[str, ...]) -> list[dict[str, str]]:
    """Rows of a small CSV. Raises OperatorError for one without ``columns``."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file)
            rows = [{key: value or "" for key, value in row.items() if key} for row in reader]
            names = reader.fieldnames or []
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise OperatorError(f"{path} cannot be read: {error}") from None
    missing = [name for name in columns if name not in names]
    if missing:
        raise OperatorError(f"{path} lacks the column {', '.join(missing)}")
    return rows
