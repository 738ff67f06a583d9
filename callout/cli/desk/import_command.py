"""``callout import``: a foreign table of trees, by a mapping proposed and confirmed.

Asks on the terminal, or takes a finished mapping; writes a data package, a roster and the refused
rows. Reads options and prints; nothing is guessed here.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from callout.cli.asking import yes
from callout.core.counted import counted
from callout.core.errors import OperatorError
from callout.survey.files import storage_errors

# Heavy modules are imported where needed, so that other commands start at once.
if TYPE_CHECKING:
    import pandas as pd

    from callout.reports.exchange.taken.importing import Refused
    from callout.reports.exchange.taken.mapping import TableMapping
    from callout.survey.sheets import Sheet

REFUSED_SHOWN = 20
PREVIEWED = 5


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("import")
    parser.add_argument("table", type=Path, metavar="TABLE", help="CSV or .xlsx")
    parser.add_argument("--out", type=Path, required=True, metavar="FOLDER")
    parser.add_argument(
        "--mapping",
        type=Path,
        metavar="TOML",
        help="what each column means; proposed and written there where the file is not yet",
    )
    parser.add_argument("--sheet", default="", metavar="NAME", help="of a workbook with several")
    parser.add_argument("--yes", action="store_true", help="use a finished mapping unasked")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Import the table; 1 where rows were refused."""
    from callout.reports.exchange.taken.importing import import_table
    from callout.survey.sheets import read_sheet

    table = read_sheet(args.table, args.sheet)
    path = args.mapping or args.table.with_suffix(".mapping.toml")
    mapping = _mapping(table, path)
    asked = mapping.open_questions()
    if asked:
        print(f"mapping: {path}")
        for question in asked:
            print(f"  still to say: {question}")
        raise OperatorError(f"fill in {path}, then run this again")
    frame, refused = import_table(table, mapping)
    if not args.yes and not _confirmed(table, mapping, frame, refused):
        print(f"Nothing imported. Change {path} and run this again.")
        return 0
    _write(args, table, frame, refused)
    return 1 if refused else 0


def _mapping(table: Sheet, path: Path) -> TableMapping:
    """The mapping at ``path``; where there is none, the proposed one is written there."""
    from callout.reports.exchange.taken.mapping import mapping_text, propose, read_mapping

    with storage_errors(f"cannot use {path}"):
        if path.exists():
            return read_mapping(path.read_bytes().decode("utf-8", errors="replace"))
        mapping = propose(table)
        path.write_text(mapping_text(mapping), encoding="utf-8")
    return mapping


def _confirmed(
    table: Sheet, mapping: TableMapping, frame: pd.DataFrame, refused: tuple[Refused, ...]
) -> bool:
    from callout.reports.exchange.taken.mapping import mapping_text

    print(table.told)
    print(mapping_text(mapping))
    print(f"would be made: {counted(len(frame), 'measurement')}, as")
    for row in frame.head(PREVIEWED).itertuples():
        size = "" if row.value is None else f"{row.value} {row.unit}, "
        print(f"  {row.plot} {row.tag} {row.species}: {row.date:%Y-%m-%d} {size}{row.status}")
    _tell_refused(refused)
    if not sys.stdin.isatty():
        raise OperatorError("the mapping must be confirmed: look at it, then add --yes")
    return yes("Import with this mapping? [y/N] ")


def _write(
    args: argparse.Namespace, table: Sheet, frame: pd.DataFrame, refused: tuple[Refused, ...]
) -> None:
    from callout.reports.exchange.cells import frame_csv
    from callout.reports.exchange.datapackage import write_package
    from callout.reports.exchange.metadata import About
    from callout.reports.exchange.rosters import roster_frame
    from callout.reports.exchange.taken.anothers import imported_dataset

    now = datetime.now().astimezone().replace(microsecond=0).isoformat()
    about = About(args.table.stem, "imported", now, description=f"imported from {table.name}")
    data, roster = imported_dataset(frame, args.table), roster_frame(frame)
    # The trees by themselves keep the order of the table, which is that of the walk.
    trees = roster[["plot", "tag", "species"]]
    data = replace(data, further={"trees": trees, **data.further})
    write_package(args.out, data, about)
    tables = {"roster.csv": roster, "refused.csv": refused_frame(refused)}
    with storage_errors(f"cannot write into {args.out}"):
        for name, rows in tables.items():
            (args.out / name).write_text(frame_csv(rows), encoding="utf-8")
    print(
        f"{counted(len(frame), 'measurement')} from {counted(len(table.rows), 'row')}: {args.out}"
    )
    for line in _changes(data.further.get("history")):
        print(f"  {line}")
    _tell_refused(refused)
    if refused:
        print(f"{counted(len(refused), 'row')} refused: {args.out / 'refused.csv'}")


def _tell_refused(refused: tuple[Refused, ...]) -> None:
    for item in refused[:REFUSED_SHOWN]:
        print(f"  line {item.line}, {item.column or 'row'}: {item.text!r}: {item.why}")
    if len(refused) > REFUSED_SHOWN:
        print(f"  and {len(refused) - REFUSED_SHOWN} more")


def _changes(history: pd.DataFrame | None) -> list[str]:
    """What changed in a plot, a line a day."""
    if history is None:
        return []
    facts = [name for name in history.columns if name not in ("plot", "from_day")]
    return [
        f"{row['plot']} from {row['from_day']}: "
        + ", ".join(f"{name} {row[name]}" for name in facts if row[name])
        for row in history.to_dict("records")
    ]


def refused_frame(refused: tuple[Refused, ...]) -> pd.DataFrame:
    """Refused rows as a table: line, column, text, why."""
    import pandas as pd

    return pd.DataFrame([vars(item) for item in refused], columns=["line", "column", "text", "why"])
