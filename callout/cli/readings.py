"""``callout readings``: the current value of every tree, as CSV or JSON."""

from __future__ import annotations

import argparse
import csv
import io
import json
import sys
from pathlib import Path
from typing import Any

from callout.journal.folder import open_survey
from callout.reports.readings import COLUMNS, current_rows


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("readings", help="print the current value of every tree")
    parser.add_argument("survey", type=Path, metavar="SURVEY")
    parser.add_argument("--format", choices=("csv", "json"), default="csv")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print one row a tree that has a reading or status."""
    with open_survey(args.survey).reading() as reader:
        rows = current_rows(reader)
    if args.format == "json":
        print(json.dumps(rows, ensure_ascii=False, indent=2))
        return 0
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows({**row, "warnings": "; ".join(row["warnings"])} for row in rows)
    sys.stdout.write(text.getvalue())
    return 0
