"""``callout review``: one page for the office, with every reading, its sound, and its rulings."""

from __future__ import annotations

import argparse
import base64
from collections.abc import Mapping, Sequence
from contextlib import closing
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from callout.core.counted import counted
from callout.core.errors import CalloutError, OperatorError
from callout.crews.place import read_place
from callout.crews.site import Site
from callout.crews.site_rulings import office_rulings
from callout.journal.folder import SurveyFolder
from callout.journal.reader import JournalReader
from callout.journal.removals import removed_in
from callout.lookback.rehear import hear_again
from callout.lookback.replay import moments
from callout.office.desk_growth import Growth
from callout.office.desk_index import DeskIndex, Found
from callout.proof.verify import take_snapshot
from callout.reports.readings import disagreeing
from callout.reports.review import About, ReviewRow, review_page, review_rows
from callout.station.data import load_language
from callout.station.hearing.engines import ENGINES, choose_engine
from callout.station.scopes import survey_species
from callout.survey.files import write_whole


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("review")
    parser.add_argument("survey", type=Path, metavar="SURVEY", help="a survey or a united site")
    parser.add_argument("--out", type=Path, required=True, metavar="FILE", help="e.g. review.html")
    parser.add_argument("--plot", help="only this plot")
    parser.add_argument("--engine", choices=ENGINES, help="set today's hearing beside each")
    parser.add_argument("--model", default="", help="folder of a Vosk model")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the page whole, replacing an older one."""
    if not args.out.parent.is_dir() or args.out.is_dir():
        raise OperatorError(f"{args.out} cannot be a file: name one in a folder that exists")
    with closing(DeskIndex(args.survey)) as index:
        return _write(args, index)


def _write(args: argparse.Namespace, index: DeskIndex) -> int:
    place = read_place(args.survey)
    differing = disagreeing(place)
    if args.plot is not None and args.plot not in index.plots():
        raise OperatorError(f"no plot {args.plot!r}: there are {', '.join(index.plots())}")
    growth = Growth(index)
    for plot in [args.plot] if args.plot else index.plots():
        growth.judge(plot)
    office = office_rulings(Site(args.survey).held()) if index.united else {}
    rows: list[ReviewRow] = []
    sounds: dict[str, tuple[SurveyFolder, Mapping[str, int]]] = {}
    for number, (recorder, folder) in enumerate(index.parts):
        name = recorder.id if recorder and index.united else ""
        today = _today(folder, args.engine, args.model) if args.engine else None
        with folder.reading() as reader:
            found = review_rows(reader, args.plot, today)
            removed = removed_in(reader.entries())
            for kept in (*(item.reading.audio for item in found), *_spoken(reader)):
                sounds.setdefault(kept or "", (folder, removed))
        rows += [
            replace(
                row,
                recorder=name,
                where=recorder.told if recorder and name else "",
                past=tuple(growth.past(Found(number, row.reading.entry), row.reading)),
                grown=index.grown(Found(number, row.reading.entry)),
                disagrees=differing.get((name, row.reading.entry), ""),
                ruling=office.get((name, row.reading.entry), row.ruling),
            )
            for row in found
        ]
    if index.united:  # what several recorders read of a tree stands together
        walk = [(name, tag) for name, plot in place.plots.items() for tag in plot.trees]
        order = {tree: at for at, tree in enumerate(walk)}
        rows.sort(key=lambda row: order.get((row.reading.plot, row.reading.tag), len(order)))

    def sound_of(digest: str) -> tuple[str, str]:
        return _sound(*sounds[digest], digest)

    page = review_page(_about(index, args.plot or "", rows), rows, sound_of)
    write_whole(args.out, page.encode("utf-8"))
    size = f"{len(page) / 1e6:.1f} MB"
    print(f"{args.out}: {counted(len(rows), 'reading')}, {size}; it holds people's voices")
    return 0


def _about(index: DeskIndex, plot: str, rows: Sequence[ReviewRow]) -> About:
    """The title, whose readings these are, and what no row tells."""
    people = ", ".join(dict.fromkeys(row.reading.who for row in rows)) or "nobody yet"
    days = sorted({row.reading.at[:10] for row in rows})
    when = "" if not days else days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}"
    whose = ", ".join(filter(None, (people, when)))
    if index.united:
        whose = f"{counted(len(index.parts), 'recorder')}: {whose}"
    left = [
        f"{tree.plot} {tree.tag} {tree.species} ({tree.survey})"
        for tree in index.left(plot=plot)[0]
    ]
    with_reading = {(row.reading.plot, row.reading.tag) for row in rows}
    notes: list[Mapping[str, Any]] = []
    for _, folder in index.parts:
        with folder.reading() as reader:
            notes += [
                memo
                for memo in reader.memos()
                if plot in ("", memo["plot"])
                and (memo["plot"], memo["tag"] or "") not in with_reading
            ]
    return About(index.name, whose, datetime.now().astimezone(), left, notes)


def _spoken(reader: JournalReader) -> list[str]:
    return [memo["audio"] for memo in reader.memos() if memo["audio"]]


def _sound(folder: SurveyFolder, removed: Mapping[str, int], digest: str) -> tuple[str, str]:
    if digest in removed:
        return "", f"removed by order, entry {removed[digest]}"
    try:
        flac = folder.audio.read(digest)
    except CalloutError:
        return "", "missing or altered"  # 'callout verify' says which
    return f"data:audio/flac;base64,{base64.b64encode(flac).decode('ascii')}", ""


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
