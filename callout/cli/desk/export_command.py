"""``callout export``: a survey's measurements in an open format.

Reads options and writes through ``reports.exchange``; nothing is changed on the way.
"""

from __future__ import annotations

import argparse
import importlib
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from callout.core.counted import counted
from callout.core.errors import OperatorError
from callout.survey.files import storage_errors
from callout.survey.species_table import SPECIES_FILE

if TYPE_CHECKING:
    from callout.reports.exchange.metadata import About
    from callout.reports.exchange.scientific import Named

FORMS = ("datapackage", "darwincore", "parquet", "excel")


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("export")
    parser.add_argument("survey", type=Path, metavar="SURVEY", help="a survey or a united site")
    parser.add_argument("--form", choices=FORMS, default="datapackage")
    parser.add_argument(
        "--out",
        type=Path,
        required=True,
        metavar="PATH",
        help="a folder (datapackage, parquet) or a file (darwincore .zip, excel .xlsx)",
    )
    parser.add_argument("--title", help="of the data set (the survey folder's name)")
    parser.add_argument("--creator", default="not told", help="person or office")
    parser.add_argument("--licence", help="as CC0-1.0 or CC-BY-4.0")
    parser.add_argument(
        "--about",
        type=Path,
        metavar="TOML",
        help="title, contributors, licence, version, methods, where plots lie "
        "(default: about.toml in the survey)",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the export and say where it is."""
    if args.form in ("darwincore", "excel") and args.out.is_dir():
        raise OperatorError(f"{args.out} is a folder: name a file for {args.form}")
    if args.form in ("datapackage", "parquet") and args.out.is_file():
        raise OperatorError(f"{args.out} is a file: name a folder for {args.form}")
    from callout.reports.exchange.taken import taking

    if args.about is not None and not args.about.is_file():
        raise OperatorError(f"there is no file at {args.about}")
    data = taking.survey_dataset(args.survey, _base(args), args.about)
    about = data.about or _base(args)
    given = {"title": args.title, "licence": args.licence}
    about = replace(about, **{name: text for name, text in given.items() if text is not None})
    if args.form == "darwincore":
        from callout.reports.exchange.darwincore import write_archive

        write_archive(args.out, data, about, _scientific(args.survey))
    else:
        _writer(args.form)(args.out, data, about)
    own = args.survey / SPECIES_FILE
    if args.form == "datapackage" and own.is_file():  # its groups and names, for reports
        with storage_errors(f"cannot write into {args.out}"):
            (args.out / SPECIES_FILE).write_bytes(own.read_bytes())
    many = counted(len(data.measurements), "measurement")
    print(f"{many} of {counted(len(data.plots), 'plot')}: {args.out}")
    for words in _untold(about):
        print(f"note: {words}")
    return 0


def _base(args: argparse.Namespace) -> About:
    from callout.reports.exchange.metadata import About

    return About(
        title=args.survey.resolve().name,
        creator=args.creator,
        created=datetime.now().astimezone().replace(microsecond=0).isoformat(),
    )


def _untold(about: About) -> list[str]:
    """Metadata that others need to cite and use the data, but that are missing."""
    wanted = (
        (about.licence, "a licence"),
        (about.contributors, "contributors"),
        (about.places, "where plots lie"),
        (about.version, "a version"),
    )
    lacking = [words for value, words in wanted if not value]
    return [f"not told: {', '.join(lacking)}; see --about"] if lacking else []


def _scientific(path: Path) -> Named:
    """Names from the species tables of the survey, or of each recorder; then the reference list."""
    from callout.crews.site import Site, is_site, site_folders
    from callout.reports.exchange.scientific import scientific_names
    from callout.survey.species_table import reference_species, species_of

    folders = [one.path for one in site_folders(Site(path))] if is_site(path) else [path]
    return scientific_names(*(species_of(folder) for folder in folders), reference_species())


def _writer(form: str) -> Callable[..., object]:
    """The function that writes ``form``; only its own library is loaded."""
    module, name = {
        "datapackage": ("datapackage", "write_package"),
        "parquet": ("parquet", "write_parquet"),
        "excel": ("excel", "write_workbook"),
    }[form]
    found = importlib.import_module(f"callout.reports.exchange.{module}")
    writer: Callable[..., object] = getattr(found, name)
    return writer
