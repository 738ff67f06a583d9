"""``callout readings``: the current value of every tree, as CSV or JSON."""

from __future__ import annotations

import argparse
import csv
import io
import json
import sys
from pathlib import Path
from typing import Any

from callout.crews.place import read_place
from callout.reports.readings import COLUMNS, SITE_COLUMNS, csv_cells, current_rows, notes_elsewhere


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("readings")
    parser.add_argument("survey", type=Path, metavar="SURVEY", help="a survey or a united site")
    parser.add_argument("--format", choices=("csv", "json"), default="csv")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print one row per tree that has a reading or status."""
    place = read_place(args.survey)
    rows = current_rows(place)
    for told in notes_elsewhere(place):
        print(told, file=sys.stderr)
    if args.format == "json":
        print(json.dumps(rows, ensure_ascii=False, indent=2))
        return 0
    text = io.StringIO()
    columns = SITE_COLUMNS if place.united else COLUMNS
    writer = csv.DictWriter(text, columns, lineterminator="\n")
    writer.writeheader()
    writer.writerows(csv_cells(row) for row in rows)
    sys.stdout.write(text.getvalue())
    return 0
