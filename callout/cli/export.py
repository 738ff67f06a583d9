"""``callout export``: a survey's measurements in an open form.

Reads options and writes through ``reports.exchange``; nothing is changed on the way.
"""

from __future__ import annotations

import argparse
import importlib
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

from callout.core.errors import OperatorError

FORMS = ("datapackage", "darwincore", "parquet", "excel")


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("export")
    parser.add_argument("survey", type=Path, metavar="SURVEY", help="a survey or a united site")
    parser.add_argument("--form", choices=FORMS, default="datapackage")
    parser.add_argument(
        "--out", type=Path, required=True, metavar="PATH",
        help="a folder (datapackage, parquet) or a file (darwincore .zip, excel .xlsx)",
    )  # fmt: skip
    parser.add_argument("--title", help="of the data set (the survey folder's name)")
    parser.add_argument("--creator", default="not told", help="person or office")
    parser.add_argument("--licence", default="", help="as CC0-1.0 or CC-BY-4.0")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the form and say where it is."""
    if args.form in ("darwincore", "excel") and args.out.is_dir():
        raise OperatorError(f"{args.out} is a folder: name a file for {args.form}")
    if args.form in ("datapackage", "parquet") and args.out.is_file():
        raise OperatorError(f"{args.out} is a file: name a folder for {args.form}")
    from callout.reports.exchange.cells import About
    from callout.reports.frames import survey_frames

    measurements, plots = survey_frames(args.survey)
    about = About(
        title=args.title or args.survey.resolve().name,
        creator=args.creator,
        created=datetime.now().astimezone().replace(microsecond=0).isoformat(),
        licence=args.licence,
    )
    if args.form == "datapackage":
        from callout.reports.exchange.datapackage import write_package
        from callout.reports.frames import survey_trees

        write_package(args.out, measurements, plots, about, survey_trees(args.survey))
    else:
        _writer(args.form)(args.out, measurements, plots, about)
    print(f"{len(measurements)} measurements of {len(plots)} plots: {args.out}")
    return 0


def _writer(form: str) -> Callable[..., object]:
    """What writes ``form``; only its own library is loaded."""
    module, name = {
        "darwincore": ("darwincore", "write_archive"),
        "parquet": ("parquet", "write_parquet"),
        "excel": ("excel", "write_workbook"),
    }[form]
    found = importlib.import_module(f"callout.reports.exchange.{module}")
    writer: Callable[..., object] = getattr(found, name)
    return writer
