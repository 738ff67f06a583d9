"""``callout review``: one page for the office, with every reading, its sound, and its rulings."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from callout.core.errors import CalloutError, OperatorError
from callout.journal.folder import SurveyFolder, open_survey
from callout.journal.removals import removed_in
from callout.lookback.rehear import hear_again
from callout.lookback.replay import moments
from callout.proof.verify import take_snapshot
from callout.reports.review import review_page, review_rows
from callout.station.data import load_language
from callout.station.hearing.engines import ENGINES, choose_engine
from callout.station.scopes import plot_named, survey_species
from callout.survey.files import write_whole


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("review")
    parser.add_argument("survey", type=Path, metavar="SURVEY")
    parser.add_argument("--out", type=Path, required=True, metavar="FILE", help="e.g. review.html")
    parser.add_argument("--plot", help="only this plot")
    parser.add_argument("--engine", choices=ENGINES, help="set today's hearing beside each")
    parser.add_argument("--model", default="", help="folder of a Vosk model")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the page whole, replacing an older one."""
    folder = open_survey(args.survey)
    if not args.out.parent.is_dir() or args.out.is_dir():
        raise OperatorError(f"{args.out} cannot be a file: name one in a folder that exists")
    with folder.reading() as reader:
        if args.plot is not None:
            plot_named(reader.plots(), args.plot)
        today = _today(folder, args.engine, args.model) if args.engine else None
        rows = review_rows(reader, args.plot, today)
        removed = removed_in(reader.entries())
    name = folder.config().name or folder.path.name
    page = review_page(
        name, datetime.now().astimezone(), rows, lambda item: _sound(folder, removed, item)
    )
    write_whole(args.out, page.encode("utf-8"))
    print(f"{args.out}: {len(rows)} readings, {len(page) / 1e6:.1f} MB; it holds people's voices")
    return 0


def _sound(folder: SurveyFolder, removed: Mapping[str, int], digest: str) -> bytes | str:
    if digest in removed:
        return f"removed by order, entry {removed[digest]}"
    try:
        return folder.audio.read(digest)
    except CalloutError:
        return "missing or altered"  # 'callout verify' says which


def _today(folder: SurveyFolder, name: str, model: str) -> dict[int, str]:
    """What the engine hears now in the callout of each reading, by the reading's entry."""
    config = folder.config()
    with folder.reading() as reader:
        plots = reader.plots()
    language = load_language(config.language, survey_species(plots.values()))
    engine = choose_engine(name, language, model or config.listening.vosk_model)
    wanted = [
        moment
        for moment in moments(take_snapshot(folder.database).entries)
        if moment.saved and not moment.saved_by and moment.heard.audio == moment.saved.audio
    ]
    return {
        again.moment.saved.entry: again.words or again.fault or "nothing"
        for again in hear_again(wanted, engine, language, plots, folder.audio)
        if again.moment.saved
    }
